"""When what is left of a ticket is done at the soonest; sums by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.calendar import place_of
from service.domain.promising import StationWork, plan_work
from service.domain.soonest_done import InHand, soonest_done
from tests.domain.shops import tiny_calendar, tiny_shop

CALENDAR = tiny_calendar(opens=time(8))
STATIONS = tiny_shop().station_by_id
MONDAY = date(2026, 6, 1)
HOUR_S = 3_600
PRINT_AND_PACK = (StationWork("print", 2 * HOUR_S), StationWork("bench", HOUR_S))


def _at(day: int, hour: float) -> datetime:
    """That time of a day of June 2026 in Berlin, two hours ahead of UTC; the 1st is a Monday."""
    return datetime(2026, 6, day, tzinfo=UTC) + timedelta(hours=hour - 2)


def _done(now: datetime, *works: StationWork, in_hand: InHand | None = None) -> datetime:
    return soonest_done(works, now, CALENDAR, STATIONS, in_hand)


def test_one_station_after_the_other_in_their_hours() -> None:
    """Eight hours from 08:00 on working days; two presses halve, waits run by the clock."""
    assert _done(_at(1, 9), *PRINT_AND_PACK) == _at(1, 12)
    assert _done(_at(1, 14), *PRINT_AND_PACK) == _at(2, 9)
    assert _done(_at(5, 15), *PRINT_AND_PACK) == _at(8, 10)
    assert _done(_at(1, 9), StationWork("press", 4 * HOUR_S)) == _at(1, 11)
    dried = StationWork("print", HOUR_S, wait_s=3 * HOUR_S), StationWork("bench", HOUR_S)
    assert _done(_at(1, 9), *dried) == _at(1, 14)
    assert _done(_at(1, 14), *dried) == _at(2, 9)
    assert _done(_at(1, 9)) == _at(1, 9) + timedelta(seconds=1)


def test_lots_are_handed_on() -> None:
    """Four lots of half an hour: the second station ends half an hour after the first."""
    lots = [StationWork(name, 2 * HOUR_S, lots=4) for name in ("print", "cut")]
    assert _done(_at(1, 9), *lots) == _at(1, 11.5)
    set_up = [StationWork("print", 3 * HOUR_S, lots=4, setup_s=HOUR_S), lots[1]]
    assert _done(_at(1, 9), *set_up) == _at(1, 12.5)


@pytest.mark.parametrize(
    ("now", "touched", "done"),
    [
        (_at(1, 10), _at(1, 9), _at(1, 12)),  # as it was begun, at 09:00
        (_at(1, 11.5), _at(1, 9), _at(1, 12.5)),  # but nothing is packed before it is made
        (_at(1, 14), _at(1, 9), _at(1, 15)),  # slow, yet within twice its three hours
        (_at(2, 9), _at(1, 9), _at(2, 12)),  # so long that it lies
        (_at(2, 9), _at(2, 8), _at(2, 10)),  # or is very slow, for something was entered
        (_at(1, 8), _at(1, 9), _at(1, 11)),  # a clock that went back
    ],
)
def test_work_in_hand_goes_on(now: datetime, touched: datetime, done: datetime) -> None:
    """Three hours of work in hand since 09:00, packing not begun."""
    in_hand = InHand(_at(1, 9), touched, frozenset({"bench"}))
    assert _done(now, *PRINT_AND_PACK, in_hand=in_hand) == done


works = st.lists(
    st.builds(
        StationWork,
        st.sampled_from(sorted(STATIONS)),
        st.integers(1, 40_000),
        st.sampled_from([0, 0, 3_600]),
        st.sampled_from([1, 1, 4]),
    ),
    min_size=1,
    max_size=4,
)


@given(works=works, hour=st.integers(0, 23))
def test_no_plan_is_done_sooner(works: list[StationWork], hour: int) -> None:
    """Not even one with nothing else booked, which is on the same day where nothing waits."""
    now = _at(1, hour)
    plan = plan_work(
        [works], ready_day=MONDAY, calendar=CALENDAR, stations=STATIONS, booked={}, now=now
    )
    day, into_s = place_of(CALENDAR, soonest_done(works, now, CALENDAR, STATIONS))
    assert day <= plan.done_day
    if not any(work.wait_s for work in works) and 30 < into_s < 28_770:
        assert day == plan.done_day
