"""Work planned anew: nothing lost, nothing before now, no day filled above its room."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.booked_time import BookedTime
from service.domain.calendar import StationHours, place_of
from service.domain.promising import HORIZON_DAYS, StationWork
from service.domain.replanning import (
    News,
    OpenTicket,
    Workdays,
    news_of,
    open_stations,
    plan_anew,
    remaining_works,
    without,
)
from service.domain.shop import StationException
from service.domain.ticket_states import TicketState
from service.domain.ticket_steps import StepKind, TicketStep
from tests.domain.shops import tiny_calendar, tiny_shop

MONDAY = date(2026, 6, 1)
SHOP = tiny_shop()
STATIONS = tuple(station.id for station in SHOP.stations)

names = st.sampled_from(STATIONS)
works = st.lists(
    st.builds(StationWork, names, st.integers(0, 40_000), st.sampled_from([0, 0, 3_600])),
    min_size=1,
    max_size=4,
)


@st.composite
def _tickets(draw: st.DrawFn) -> list[OpenTicket]:
    count = draw(st.integers(1, 5))
    return [
        OpenTicket(
            id=index,
            promised_day=MONDAY + timedelta(days=draw(st.integers(-3, 5))),
            rush=draw(st.booleans()),
            ready_day=MONDAY + timedelta(days=draw(st.sampled_from([0, 0, 0, 2]))),
            works=tuple(draw(works)),
        )
        for index in range(count)
    ]


booked_days = st.dictionaries(
    st.tuples(names, st.integers(0, 6).map(lambda ahead: MONDAY + timedelta(days=ahead))),
    st.tuples(st.integers(0, 40_000), st.integers(0, 9_000)).map(
        lambda pair: BookedTime(sum(pair), pair[1], 0)
    ),
    max_size=12,
)
moments = st.integers(-4, 30).map(
    lambda hours: datetime(2026, 6, 1, 6, tzinfo=UTC) + timedelta(hours=hours)
)


def _days(now: datetime, **changes: object) -> Workdays:
    calendar = tiny_calendar(**changes)
    return Workdays(calendar, SHOP.station_by_id, now, reserve_percent=10)


@given(tickets=_tickets(), booked=booked_days, now=moments)
def test_nothing_is_lost_or_before_now_and_no_day_filled_above_its_room(
    tickets: list[OpenTicket], booked: dict[tuple[str, date], BookedTime], now: datetime
) -> None:
    """Each station keeps its seconds; days over their room before take nothing more."""
    days = _days(now)
    planned = {one.ticket_id: one for one in plan_anew(tickets, booked, days)}
    today, _ = place_of(days.calendar, now)
    taken: Counter[tuple[str, date]] = Counter()
    for ticket in tickets:
        found, wanted = planned[ticket.id], Counter[str]()
        for work in ticket.works:
            wanted[work.station] += work.seconds
        kept: Counter[str] = Counter()
        for station, day, seconds in found.shares:
            kept[station] += seconds
            taken[station, day] += seconds
            assert max(today, ticket.ready_day) <= day <= found.done_day
        assert kept == +wanted
        assert found.rush == ticket.rush
    hours = StationHours(days.calendar)
    for (station, day), seconds in taken.items():
        room_s = hours.day_s(SHOP.station_by_id[station], day)
        room_s *= SHOP.station_by_id[station].machines
        before = booked.get((station, day), BookedTime())
        assert before.seconds + seconds <= room_s


@given(tickets=_tickets(), booked=booked_days, now=moments)
def test_the_most_urgent_is_planned_as_if_alone(
    tickets: list[OpenTicket], booked: dict[tuple[str, date], BookedTime], now: datetime
) -> None:
    """The earliest promised ticket, then the first written, gives way to no other."""
    first = min(tickets, key=lambda one: (one.promised_day, one.id))
    planned = {one.ticket_id: one for one in plan_anew(tickets, booked, _days(now))}
    (alone,) = plan_anew([first], booked, _days(now))
    assert planned[first.id] == alone
    again = plan_anew(list(reversed(tickets)), booked, _days(now))
    assert {one.ticket_id: one for one in again} == planned


def test_without_room_for_years_it_stands_on_the_last_day() -> None:
    """A station that stands still drops nobody: what is left is booked, and far too late."""
    shut = tuple(
        StationException(
            station=STATIONS[0], day=MONDAY + timedelta(days=ahead), minutes=0, why="broken"
        )
        for ahead in range(2 * HORIZON_DAYS)
    )
    work = (StationWork(STATIONS[0], 600), StationWork(STATIONS[1], 60))
    tickets = [
        OpenTicket(index, MONDAY, rush=False, ready_day=MONDAY, works=work) for index in (1, 2)
    ]
    days = _days(datetime(2026, 6, 1, 6, tzinfo=UTC), station_days=shut)
    for planned in plan_anew(tickets, {}, days):
        assert {(name, seconds) for name, _, seconds in planned.shares} == {
            (STATIONS[0], 600),
            (STATIONS[1], 60),
        }
        assert (planned.done_day - MONDAY).days > HORIZON_DAYS


@given(steps=works, share=st.integers(0, 3))
def test_what_is_left_keeps_each_stations_seconds(steps: list[StationWork], share: int) -> None:
    """In the order of the work, whether all, nothing or any number of seconds is left."""
    left_s = {name: 1_000 * share + index for index, name in enumerate(STATIONS)}
    found: Counter[str] = Counter()
    for work in remaining_works(steps, left_s):
        found[work.station] += work.seconds
    assert found == +Counter(left_s)
    whole: Counter[str] = Counter()
    for work in steps:
        whole[work.station] += work.seconds
    all_left = remaining_works(steps, whole)
    assert [one for one in all_left if one.seconds] == [one for one in steps if one.seconds]


def test_what_was_booked_comes_off() -> None:
    """A share given back takes its seconds and its rush with it, an ordinary one its square too."""
    key = (STATIONS[0], MONDAY)
    other = (STATIONS[1], MONDAY)
    booked = {key: BookedTime(50, 20, 500 + 100), other: BookedTime(5, 0, 25)}
    given = [(*key, 20, True), (*key, 10, False), (STATIONS[0], MONDAY + timedelta(1), 9, False)]
    assert without(booked, given) == {key: BookedTime(20, 0, 500), other: BookedTime(5, 0, 25)}


def _step(key: str, kind: StepKind, station: str) -> TicketStep:
    return TicketStep(number=1, key=key, kind=kind, station=station, words="", why="")


STEPS = (
    _step("a", StepKind.PRINT, "print"),
    _step("b", StepKind.PRESS, "press"),
    _step("c", StepKind.PRESS, "press"),
    _step("d", StepKind.CHECK, "look"),
    _step("e", StepKind.FOLD, "pack"),
    _step("f", StepKind.PACK, "pack"),
)
ALL = {"print", "press", "look", "pack"}


@pytest.mark.parametrize(
    ("state", "ticked", "left"),
    [
        (TicketState.WAITING, "", ALL),
        (TicketState.ON_BENCH, "ab", {"press", "look", "pack"}),
        (TicketState.ON_BENCH, "abc", {"look", "pack"}),
        (TicketState.MADE, "", {"look", "pack"}),
        (TicketState.MADE, "ef", {"look"}),
        (TicketState.CHECKED, "", {"pack"}),
        (TicketState.CHECKED, "ef", set()),
        (TicketState.SENT, "", set()),
        (TicketState.CANCELLED, "", set()),
    ],
)
def test_stations_that_a_ticket_still_needs(
    state: TicketState, ticked: str, left: set[str]
) -> None:
    """By its state, and by the stations whose every step is ticked; only of those booked."""
    assert open_stations(ALL, STEPS, set(ticked), state) == left
    assert open_stations({"press"}, STEPS, set(ticked), state) == left & {"press"}


def test_what_is_told_of_a_day() -> None:
    """Late once for each late day, on time once after that, and otherwise nothing."""
    tuesday, wednesday = MONDAY + timedelta(1), MONDAY + timedelta(2)
    assert news_of(tuesday, MONDAY, None) is None
    assert news_of(tuesday, tuesday, None) is None
    assert news_of(MONDAY, tuesday, None) is News.LATE
    assert news_of(MONDAY, tuesday, tuesday) is None
    assert news_of(MONDAY, wednesday, tuesday) is News.LATE
    assert news_of(tuesday, tuesday, wednesday) is News.ON_TIME_AGAIN
