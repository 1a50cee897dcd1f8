"""Working days against numpy's business-day functions and published clock-change cases."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.calendar import (
    add_working_days,
    is_working_day,
    next_working_day,
    working_days_between,
)
from service.domain.promising import StationWork, plan_work
from service.domain.shop import WorkCalendar
from tests.domain.shops import tiny_calendar, tiny_stations

days = st.dates(date(2025, 1, 1), date(2030, 12, 31))
calendars = st.builds(
    tiny_calendar,
    working_weekdays=st.frozensets(st.integers(0, 6), min_size=1),
    closures=st.frozensets(days, max_size=60),
)


def _numpy(calendar: WorkCalendar) -> np.busdaycalendar:
    mask = [day in calendar.working_weekdays for day in range(7)]
    return np.busdaycalendar(weekmask=mask, holidays=sorted(calendar.closures))


@given(calendar=calendars, start=days, end=days)
def test_counts_agree_with_numpy(calendar: WorkCalendar, start: date, end: date) -> None:
    """Source: numpy.busday_count and is_busday on spans with holidays."""
    start, end = sorted((start, end))
    expected = int(np.busday_count(start, end, busdaycal=_numpy(calendar)))
    assert working_days_between(calendar, start, end) == expected
    assert is_working_day(calendar, start) == bool(np.is_busday(start, busdaycal=_numpy(calendar)))


@given(calendar=calendars, start=days, count=st.integers(0, 250))
def test_steps_agree_with_numpy(calendar: WorkCalendar, start: date, count: int) -> None:
    """Source: numpy.busday_offset, rolling forward, with holidays."""
    expected = np.busday_offset(start, count, roll="forward", busdaycal=_numpy(calendar))
    assert add_working_days(calendar, start, count) == expected.astype(object)
    first = np.busday_offset(start, 0, roll="forward", busdaycal=_numpy(calendar))
    assert next_working_day(calendar, start) == first.astype(object)


@pytest.mark.parametrize(
    ("day", "gone_min", "work_min", "done"),
    [
        # Friday 15:30 + 200 min is Monday 10:50, over the night the clock is put forward.
        (date(2026, 3, 27), 390, 200, date(2026, 3, 30)),
        # Friday 16:59 + 1 min is 17:00 the same day; + 2 min is Monday 09:01, the clock put back.
        (date(2026, 10, 23), 479, 1, date(2026, 10, 23)),
        (date(2026, 10, 23), 479, 2, date(2026, 10, 26)),
    ],
)
def test_work_across_a_clock_change(day: date, gone_min: int, work_min: int, done: date) -> None:
    """Source: calendar check of algorithms topic 3, Monday to Friday 09:00 to 17:00, Berlin.

    The part of the day gone is a booking of that length; the last day holds what the source says.
    """
    plan = plan_work(
        [[StationWork("print", work_min * 60)]],
        ready_day=day,
        calendar=tiny_calendar(),
        stations={station.id: station for station in tiny_stations()},
        booked_s={("print", day): gone_min * 60},
    )
    assert plan.done_day == done
    on_friday_min = min(work_min, 480 - gone_min)
    assert plan.bookings[0].seconds == on_friday_min * 60
    assert sum(booking.seconds for booking in plan.bookings) == work_min * 60
    assert plan.first_day + timedelta(days=0 if done == day else 3) == done
