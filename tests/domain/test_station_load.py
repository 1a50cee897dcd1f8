"""The load of stations by day: what fits, what is left of today, and who lost the room."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.domain.shop import PublicHolidays, StationException
from service.domain.station_load import (
    BookedShare,
    DayLoad,
    StationLoad,
    day_loads,
    orders_at_risk,
    span,
)
from tests.domain.shops import tiny_calendar, tiny_shop

MONDAY = date(2026, 6, 1)
MORNING = datetime(2026, 6, 1, 5, tzinfo=UTC)
"""Seven in Berlin, an hour before the stations begin."""


def _share(
    ticket: str, minutes: int, promised_day: date = MONDAY, **changes: object
) -> BookedShare:
    known: dict[str, object] = {
        "station": "cut",
        "day": MONDAY,
        "seconds": minutes * 60,
        "ticket": ticket,
        "order_id": f"order-{ticket[0]}",
        "promised_day": promised_day,
        "place": int(ticket[1:]),
        "unfinished": True,
    }
    return BookedShare(**{**known, **changes})  # type: ignore[arg-type] # as named above


def _loads(
    shares: list[BookedShare],
    *,
    minutes: int | None = None,
    days: int = 1,
    now: datetime = MORNING,
    first: date = MONDAY,
    **calendar: object,
) -> tuple[DayLoad, ...]:
    exceptions = (
        ()
        if minutes is None
        else (
            StationException(station="cut", day=MONDAY, minutes=minutes, why="blade holder broken"),
        )
    )
    shop = tiny_shop(calendar=tiny_calendar(station_days=exceptions, **calendar))
    booked: dict[tuple[str, date], int] = {}
    for share in shares:
        at = share.station, share.day
        booked[at] = booked.get(at, 0) + share.seconds
    due = {MONDAY: ["A1"]}
    return day_loads(shop, booked, shares, due=due, days=span(first, days), now=now)


def _cut(loads: tuple[DayLoad, ...]) -> StationLoad:
    return next(load for load in loads[0].stations if load.station == "cut")


def test_a_day_says_what_is_booked_and_free() -> None:
    """Eight hours of cutting, 100 minutes booked; two presses can do sixteen."""
    loads = _loads([_share("A1", 100), _share("A2", 30, MONDAY + timedelta(2), unfinished=False)])
    cut = _cut(loads)
    assert (cut.capacity_min, cut.booked_min, cut.free_min, cut.over_capacity_min) == (
        480, 130, 350, 0,
    )  # fmt: skip
    assert (cut.tickets, cut.due, cut.at_risk, cut.excepted) == (1, ("A1",), (), False)
    assert cut.done_at == datetime(2026, 6, 1, 8, 10, tzinfo=UTC)
    assert loads[0].due == ("A1",)
    press = next(load for load in loads[0].stations if load.station == "press")
    assert (press.capacity_min, press.free_min, press.done_at) == (960, 960, None)


def test_minutes_are_told_so_that_none_is_promised_twice() -> None:
    """Half a minute booked is told as one, and half a minute free as none."""
    cut = _cut(_loads([_share("A1", 0, seconds=30)]))
    assert (cut.booked_min, cut.free_min) == (1, 479)


def test_of_today_only_what_is_left_is_free() -> None:
    """At three in the afternoon an hour is left, whatever was booked; yesterday has none."""
    at_three = datetime(2026, 6, 1, 13, tzinfo=UTC)
    assert _cut(_loads([], now=at_three)).free_min == 60
    assert _cut(_loads([_share("A1", 450)], now=at_three)).free_min == 30
    assert _cut(_loads([], now=at_three + timedelta(days=1))).free_min == 0


def test_capacity_lowered_under_bookings_flags_who_lost_the_room() -> None:
    """Made first, then the earliest promised, then as written; what fits beside stays."""
    shares = [
        _share("A1", 60, MONDAY + timedelta(3)),
        _share("A2", 50, MONDAY + timedelta(1)),
        _share("B3", 45, MONDAY + timedelta(1)),
        _share("B4", 20, MONDAY + timedelta(5)),
        _share("C5", 30, unfinished=False),
    ]
    loads = _loads(shares, minutes=120)
    cut = _cut(loads)
    assert (cut.capacity_min, cut.usual_min, cut.booked_min, cut.over_capacity_min) == (
        120, 480, 205, 85,
    )  # fmt: skip
    assert (cut.why, cut.free_min, cut.tickets) == ("blade holder broken", 0, 4)
    # 120 - 30 made = 90: A2 takes 50, B3 of 45 has no room, A1 of 60 neither, B4 of 20 has.
    assert cut.at_risk == ("B3", "A1")
    assert [(one.order_id, one.tickets) for one in orders_at_risk(loads, shares)] == [
        ("order-B", ("B3",)),
        ("order-A", ("A1",)),
    ]
    # The station opens again on Tuesday: 120 minutes on Monday, 85 on Tuesday from eight on.
    assert cut.done_at == datetime(2026, 6, 2, 7, 25, tzinfo=UTC)


def test_a_machine_down_puts_all_its_tickets_at_risk() -> None:
    """With no minutes left nobody has room."""
    cut = _cut(_loads([_share("A1", 10), _share("B2", 10)], minutes=0))
    assert (cut.capacity_min, cut.over_capacity_min, cut.at_risk) == (0, 20, ("A1", "B2"))


def test_closed_days_say_why_and_keep_what_is_booked() -> None:
    """A holiday put on a booked day has no capacity, and its tickets are at risk."""
    holidays = PublicHolidays(country="DE", days={MONDAY: "Whit Monday"})
    loads = _loads([_share("A1", 10)], holidays=holidays)
    assert loads[0].closed == "Whit Monday"
    assert _cut(loads).at_risk == ("A1",)
    assert [day.closed for day in _loads([], days=6)] == ["", "", "", "", "", "no working weekday"]


def test_a_lost_station_is_named_by_its_id() -> None:
    """What is booked at a station that the catalogue no longer has is never left out."""
    lost = _loads([_share("A1", 61, station="mill")])[0].stations[-1]
    assert (lost.station, lost.name, lost.capacity_min, lost.over_capacity_min, lost.done_at) == (
        "mill", "mill", 0, 61, None,
    )  # fmt: skip
    assert lost.at_risk == ("A1",)


@given(
    shares=st.lists(st.tuples(st.integers(1, 300), st.integers(-5, 5), st.booleans()), max_size=12),
    minutes=st.none() | st.integers(0, 600),
)
def test_nobody_is_at_risk_where_all_fits(
    shares: list[tuple[int, int, bool]], minutes: int | None
) -> None:
    """At risk is someone exactly when unfinished work is booked beyond the room; the rest fits."""
    rows = [
        _share(f"A{place}", taken, MONDAY + timedelta(days), unfinished=unfinished)
        for place, (taken, days, unfinished) in enumerate(shares)
    ]
    cut = _cut(_loads(rows, minutes=minutes))
    booked = sum(taken for taken, _, _ in shares)
    open_min = {f"A{n}": taken for n, (taken, _, unfinished) in enumerate(shares) if unfinished}
    assert cut.over_capacity_min == max(0, booked - cut.capacity_min)
    assert cut.free_min == max(0, cut.capacity_min - booked)
    staying = sum(open_min.values()) - sum(open_min[ticket] for ticket in cut.at_risk)
    made = booked - sum(open_min.values())
    assert staying <= max(0, cut.capacity_min - made)
    if cut.over_capacity_min and open_min:
        assert cut.at_risk
    if not cut.over_capacity_min:
        assert not cut.at_risk
