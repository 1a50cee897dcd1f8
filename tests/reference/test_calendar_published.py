"""Working days against numpy's business-day functions and published clock-change cases."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import holidays
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.booked_time import BookedTime
from service.domain.calendar import (
    add_working_days,
    after_minutes,
    is_working_day,
    next_working_day,
    working_days_between,
)
from service.domain.promising import StationWork, plan_work
from service.domain.shop import PublicHolidays, WorkCalendar
from tests.domain.shops import tiny_calendar, tiny_stations

days = st.dates(date(2025, 1, 1), date(2030, 12, 31))
country_days = st.sampled_from(
    [("DE", "HE"), ("US", "CA"), ("JP", ""), ("AE", ""), ("NZ", "AUK")]
).map(
    lambda at: PublicHolidays(
        country=at[0],
        subdivision=at[1],
        days=dict(holidays.country_holidays(at[0], subdiv=at[1] or None, years=range(2025, 2032))),
    )
)
calendars = st.builds(
    tiny_calendar,
    working_weekdays=st.frozensets(st.integers(0, 6), min_size=1),
    closures=st.frozensets(days, max_size=60),
    holidays=st.none() | country_days,
)
DAY_S = 8 * 3_600


def _numpy(calendar: WorkCalendar) -> np.busdaycalendar:
    mask = [day in calendar.working_weekdays for day in range(7)]
    closed = calendar.closures.union(calendar.holidays.days if calendar.holidays else ())
    return np.busdaycalendar(weekmask=mask, holidays=sorted(closed))


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
        booked={("print", day): BookedTime(gone_min * 60)},
    )
    assert plan.done_day == done
    on_friday_min = min(work_min, 480 - gone_min)
    assert plan.bookings[0].seconds == on_friday_min * 60
    assert sum(booking.seconds for booking in plan.bookings) == work_min * 60
    assert plan.first_day + timedelta(days=0 if done == day else 3) == done


@pytest.mark.parametrize(
    ("begun", "work_min", "done"),
    [
        ("2026-03-27T15:30", 200, "2026-03-30T10:50:00+02:00"),
        ("2026-10-23T16:59", 1, "2026-10-23T17:00:00+02:00"),
        ("2026-10-23T16:59", 2, "2026-10-26T09:01:00+01:00"),
    ],
)
def test_minutes_of_work_across_a_clock_change(begun: str, work_min: int, done: str) -> None:
    """Source: calendar check of algorithms topic 3, Monday to Friday 09:00 to 17:00, Berlin."""
    zone = ZoneInfo("Europe/Berlin")
    calendar = tiny_calendar(opens=time(9))
    moment = datetime.fromisoformat(begun).replace(tzinfo=zone)
    found = after_minutes(calendar, moment, work_min, lambda _: DAY_S)
    assert found.astimezone(zone).isoformat() == done


def test_time_elapsed_is_an_hour_less_than_the_clock_shows() -> None:
    """Source: calendar check of algorithms topic 3: 66 h 20 min elapsed, 67 h 20 min shown."""
    zone = ZoneInfo("Europe/Berlin")
    friday = datetime(2026, 3, 27, 15, 30, tzinfo=zone)
    done = after_minutes(tiny_calendar(opens=time(9)), friday, 200, lambda _: DAY_S)
    assert done - friday.astimezone(UTC) == timedelta(hours=66, minutes=20)
    assert done.astimezone(zone) - friday == timedelta(hours=67, minutes=20)  # one zone: the wall


@given(
    calendar=calendars,
    begun=st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31)),  # noqa: DTZ001 - a zone is added below
    work_min=st.integers(1, 2_000),
)
def test_minutes_agree_with_every_minute_counted(
    calendar: WorkCalendar, begun: datetime, work_min: int
) -> None:
    """Source: numpy.busday_count and whole days of work, minute by minute over the rest.

    Nine to five in UTC: whole days of eight hours are counted by numpy, the parts by hand.
    """
    calendar = calendar.model_copy(update={"time_zone": "UTC", "opens": time(9)})
    moment = begun.replace(second=0, microsecond=0, tzinfo=UTC)
    done = after_minutes(calendar, moment, work_min, lambda _: DAY_S)

    def worked_min(until: datetime) -> int:
        day = until.date()
        whole = int(np.busday_count(date(2026, 1, 1), day, busdaycal=_numpy(calendar)))
        into = (until.hour - 9) * 60 + until.minute
        part = min(max(into, 0), 480) if np.is_busday(day, busdaycal=_numpy(calendar)) else 0
        return whole * 480 + part

    assert worked_min(done) - worked_min(moment) == work_min
    assert worked_min(done - timedelta(minutes=1)) - worked_min(moment) == work_min - 1


@pytest.mark.parametrize("year", range(2025, 2032))
def test_holidays_that_move_with_easter(year: int) -> None:
    """Source: the Gregorian computus as published anonymously in 1876, from memory.

    Good Friday, Easter Monday, Ascension, Whit Monday and Corpus Christi are -2, 1, 39, 50 and 60
    days from it.
    """
    golden, (century, rest) = year % 19, divmod(year, 100)
    leap, left = divmod(century, 4)
    moon = (century - (century + 8) // 25 + 1) // 3
    epact = (19 * golden + century - leap - moon + 15) % 30
    sunday = (32 + 2 * left + 2 * (rest // 4) - epact - rest % 4) % 7
    late = (golden + 11 * epact + 22 * sunday) // 451
    month, day = divmod(epact + sunday - 7 * late + 114, 31)
    easter = date(year, month, day + 1)
    known = holidays.country_holidays("DE", subdiv="HE", years=year)
    for offset in (-2, 1, 39, 50, 60):
        assert easter + timedelta(days=offset) in known
    fixed = {date(year, *md) for md in ((1, 1), (5, 1), (10, 3), (12, 25), (12, 26))}
    assert len(set(known) - fixed) == 5
