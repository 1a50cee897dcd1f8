"""Slack: working time to the promised dispatch, less the work, in an order no clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.domain.shop import StationException
from service.domain.slack import ShopHours, epoch_s, from_epoch_s
from tests.domain.shops import tiny_calendar, tiny_shop

SHOP = tiny_shop()
MONDAY = date(2026, 6, 1)
SHORTEST_S = min(station.minutes_per_day for station in SHOP.stations) * 60


def _hours(**changes: object) -> ShopHours:
    return ShopHours(tiny_calendar(opens=time(8), **changes), SHOP.stations)


def _berlin(day: date, hour: int, minute: int = 0) -> datetime:
    """Summer time."""
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC) - timedelta(hours=2)


def test_by_hand() -> None:
    """One hour of work for Monday must begin an hour before the end of the shortest station."""
    hours = _hours()
    ends = _berlin(MONDAY, 8) + timedelta(seconds=SHORTEST_S)
    assert hours.latest_start(MONDAY, 3_600) == ends - timedelta(hours=1)
    friday = MONDAY - timedelta(days=3)
    assert hours.latest_start(MONDAY, SHORTEST_S + 60) == (
        _berlin(friday, 8) + timedelta(seconds=SHORTEST_S - 60)
    )
    start = hours.latest_start(MONDAY, 3_600)
    assert hours.slack_s(_berlin(MONDAY, 8), start) == SHORTEST_S - 3_600
    assert hours.slack_s(_berlin(friday, 8), start) == 2 * SHORTEST_S - 3_600
    assert hours.slack_s(ends, start) == -3_600
    assert hours.slack_s(_berlin(MONDAY + timedelta(1), 9), start) == -7_200


def test_a_dispatch_ends_the_day_and_a_machine_down_takes_its_hours() -> None:
    """With a dispatch at ten only two hours of the day count; a half day has half."""
    assert _hours(dispatch=time(10)).latest_start(MONDAY, 0) == _berlin(MONDAY, 10)
    half = tuple(
        StationException(station=one.id, day=MONDAY, minutes=60, why="half day")
        for one in SHOP.stations
    )
    assert _hours(station_days=half).latest_start(MONDAY, 0) == _berlin(MONDAY, 9)
    down = (StationException(station=SHOP.stations[0].id, day=MONDAY, minutes=0, why="down"),)
    assert _hours(station_days=down).latest_start(MONDAY, 0) >= _hours().latest_start(MONDAY, 0)


@given(
    day=st.integers(0, 40),
    works=st.lists(st.integers(0, 200_000), min_size=2, max_size=2),
    hours_on=st.integers(-200, 900),
)
def test_the_order_of_slack_is_that_of_latest_starts(
    day: int, works: list[int], hours_on: int
) -> None:
    """At any moment: more work for the same day is never less urgent, and instants are kept."""
    hours, promised = _hours(), MONDAY + timedelta(days=day)
    now = datetime(2026, 6, 1, 6, tzinfo=UTC) + timedelta(hours=hours_on)
    starts = sorted(hours.latest_start(promised, work_s) for work_s in works)
    slacks = [hours.slack_s(now, start) for start in starts]
    assert slacks == sorted(slacks)
    assert starts[0] == hours.latest_start(promised, max(works))
    assert from_epoch_s(epoch_s(starts[0])) == starts[0]
    if now <= starts[0]:
        more = hours.slack_s(now, hours.latest_start(promised, 0)) - slacks[0]
        assert more == max(works)
