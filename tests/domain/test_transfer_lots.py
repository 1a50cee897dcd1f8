"""Tickets handed on from station to station in lots of some pieces, before all pieces are done."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.booked_time import BookedTime, with_shares
from service.domain.calendar import is_working_day
from service.domain.capable_to_promise import promise
from service.domain.machines import Station
from service.domain.promising import (
    MOST_LOTS,
    MaterialDay,
    Plan,
    StationWork,
    plan_work,
    station_works,
)
from service.domain.shop import Policy, StationException, WorkCalendar
from service.domain.shop_now import ShopNow
from service.domain.work import line_work
from tests.domain.shops import tiny_calendar, tiny_line, tiny_shop, tiny_stations

HOUR_S = 3_600
MONDAY = date(2026, 6, 1)
CALENDAR = tiny_calendar(closures=frozenset({date(2026, 6, 17)}))
SHOP = tiny_shop()
STATIONS = {station.id: station for station in tiny_stations()}
"""Eight hours a day each; two presses, so sixteen hours at ``press``."""

Days = Mapping[tuple[str, date], int]


def _plan(
    *works: Sequence[StationWork],
    booked_s: Days | None = None,
    calendar: WorkCalendar = CALENDAR,
    stations: Mapping[str, Station] = STATIONS,
    now: datetime | None = None,
    ready_day: date = MONDAY,
) -> Plan:
    return plan_work(
        works,
        ready_day=ready_day,
        calendar=calendar,
        stations=stations,
        booked={key: BookedTime(seconds) for key, seconds in (booked_s or {}).items()},
        now=now,
    )


def _whole(steps: Sequence[StationWork]) -> list[StationWork]:
    return [StationWork(step.station, step.seconds, step.wait_s) for step in steps]


def _ends_h(steps: Sequence[StationWork]) -> float:
    """Hours after the opening at which the steps end on an idle Monday, found by a last hour.

    A step that takes the rest of the day from there on fits up to exactly that moment.
    """
    for rest_s in range(8 * HOUR_S, -1, -60):
        if _plan([*steps, StationWork("bench", rest_s)]).done_day == MONDAY:
            return 8 - rest_s / HOUR_S
    raise AssertionError(steps)


# 24 pieces in lots of 6 pieces: 4 lots. First station and second station, minutes each piece.
@pytest.mark.parametrize(
    ("first_min", "second_min", "whole_h", "lots_h"),
    [
        # First 2 h, second 4 h. The second begins after 30 min and then never waits.
        (5, 10, 6.0, 4.5),
        # First 4 h, second 2 h. The last lot comes after 4 h and takes the second 30 min.
        (10, 5, 6.0, 4.5),
        # Alike: the second is a lot behind all the time.
        (5, 5, 4.0, 2.5),
    ],
)
def test_two_stations_by_hand(
    first_min: int, second_min: int, whole_h: float, lots_h: float
) -> None:
    """The last lot is out after max(first lot + all of the second, all of the first + last lot).

    The arithmetic of overlapped operations with transfer batches: common practice, no source.
    """
    pieces, lots = 24, 4
    steps = [
        StationWork("print", pieces * first_min * 60, lots=lots),
        StationWork("cut", pieces * second_min * 60, lots=lots),
    ]
    first, second = (pieces * each / 60 for each in (first_min, second_min))
    assert max(first / lots + second, first + second / lots) == lots_h
    assert _ends_h(_whole(steps)) == whole_h == first + second
    assert _ends_h(steps) == lots_h


def test_what_is_set_up_comes_before_the_first_lot() -> None:
    """An hour of set-up at each of two stations, then four lots of half an hour at each.

    The first lot is through after 1.5 h; then the second is set up, and works its 2 h: 4.5 h.
    """
    steps = [StationWork(name, 3 * HOUR_S, lots=4, setup_s=HOUR_S) for name in ("print", "cut")]
    assert _ends_h(steps) == 4.5
    assert [steps[0].through_s(n) / HOUR_S for n in (1, 2, 3, 4)] == [1.5, 2.0, 2.5, 3.0]


def test_three_stations_and_two_machines() -> None:
    """Two presses work on each lot: 4 h of work in 2 h of the day.

    By hand, two lots: print 2 h each, press 1 h each, cut 1 h each. Printed at 2 and 4 h, pressed
    at 3 and 5 h, cut at 4 and 6 h.
    """
    steps = [
        StationWork("print", 4 * HOUR_S, lots=2),
        StationWork("press", 4 * HOUR_S, lots=2),
        StationWork("cut", 2 * HOUR_S, lots=2),
    ]
    assert _ends_h(steps) == 6.0
    assert _ends_h(_whole(steps)) == 8.0


def test_each_lot_dries_by_itself() -> None:
    """Printed at 1, 2 and 3 h, dry 3 h later: cut at 5, 6 and 7 h. As a whole it is another day."""
    steps = [StationWork("print", 3 * HOUR_S, 3 * HOUR_S, 3), StationWork("cut", 3 * HOUR_S, 0, 3)]
    assert _ends_h(steps) == 7.0
    assert _plan(_whole(steps)).done_day > MONDAY


def test_unattended_time_alone_passes_lots_on() -> None:
    """A step that takes nobody's time makes each lot wait, and no lot for the others."""
    steps = [
        StationWork("print", 3 * HOUR_S, lots=3),
        StationWork("bench", 0, 2 * HOUR_S, lots=3),
        StationWork("cut", 3 * HOUR_S, lots=3),
    ]
    assert _ends_h(steps) == 6.0


def test_a_station_does_not_run_ahead_of_what_has_come() -> None:
    """Printing has an hour on Monday and then none before Thursday: cutting waits for the rest.

    Cutting is idle all week; it does on Monday what came on Monday, and no more.
    """
    booked = {("print", MONDAY): 7 * HOUR_S}
    booked |= {("print", MONDAY + timedelta(days=n)): 8 * HOUR_S for n in (1, 2)}
    steps = [StationWork("print", 4 * HOUR_S, lots=4), StationWork("cut", 4 * HOUR_S, lots=4)]
    plan = _plan(steps, booked_s=booked)
    cut = {b.day: b.seconds / HOUR_S for b in plan.bookings if b.station == "cut"}
    assert cut == {MONDAY: 1.0, MONDAY + timedelta(days=3): 3.0}


def test_a_station_is_done_with_a_ticket_before_it_has_it_again() -> None:
    """The bench weeds all lots before it checks the first, though that is pressed by then.

    Weeded at 1, 2, 3 and 4 h, pressed on two presses a quarter of an hour later; the bench begins
    again at 4 h, not at 1.25 h, finds each lot there and fills its day: the cutter has no more.
    """
    steps = [
        StationWork("bench", 4 * HOUR_S, lots=4),
        StationWork("press", 2 * HOUR_S, lots=4),
        StationWork("bench", 4 * HOUR_S, lots=4),
    ]
    assert _ends_h(steps[:2]) == 4.25
    assert _plan(steps).done_day == MONDAY
    assert _plan([*steps, StationWork("cut", 60)]).done_day > MONDAY


@pytest.mark.parametrize(
    ("pieces", "lot_pieces", "lots"), [(5, 0, 1), (5, 5, 1), (5, 4, 2), (6, 1, 6), (300, 1, 40)]
)
def test_how_many_lots(pieces: int, lot_pieces: int, lots: int) -> None:
    """As few as hold no more pieces than may be, up to the most; a ticket of one lot is whole."""
    work = line_work(SHOP, tiny_line(SHOP, {"S": pieces}))
    assert work.starts == pieces
    works = station_works(work, transfer_pieces=lot_pieces)
    assert {step.lots for step in works} == {lots}
    assert lots <= MOST_LOTS
    if lots == 1:
        assert works == station_works(work)


def test_a_lines_works_in_lots() -> None:
    """The same seconds at the same stations; of them the set-ups come before the first lot.

    By hand from the tiny shop, five pieces in lots of two: three lots.
    """
    work = line_work(SHOP, tiny_line(SHOP, {"S": 5}))
    works, whole = station_works(work, transfer_pieces=2), station_works(work)
    seconds = [Counter[str](), Counter[str]()]
    for counter, steps in zip(seconds, (works, whole), strict=True):
        for step in steps:
            counter[step.station] += step.seconds
            assert 0 <= step.setup_s <= step.seconds
    assert seconds[0] == seconds[1]
    set_up = Counter[str]()
    for operation in work.operations:
        set_up[operation.station] += int((operation.setup_min + operation.run_setup_min) * 60)
    found = Counter[str]()
    for step in works:
        found[step.station] += step.setup_s
    assert +found == +set_up
    kept = json.loads(json.dumps([step.written() for step in (*works, *whole)]))
    assert [StationWork(*each) for each in kept] == [*works, *whole]
    assert {len(each) for each in kept} == {3, 5}


def test_a_sample_is_pressed_and_held_whole() -> None:
    """Nothing is pressed after a sample before that has been held, whatever lots there are."""
    work = line_work(SHOP, tiny_line(SHOP, {"S": 6}))
    works = station_works(work, hold_h=24, transfer_pieces=1)
    (sample,) = (index for index, step in enumerate(works) if step.wait_s == 24 * HOUR_S)
    assert works[sample].lots == 1
    assert {step.lots for step in works} == {1, 6}
    assert _plan(works).done_day == MONDAY + timedelta(days=1)


station_ids = st.sampled_from(sorted(STATIONS))
days_strategy = st.integers(0, 20).map(lambda n: MONDAY + timedelta(days=n))
booked_strategy = st.dictionaries(
    st.tuples(station_ids, days_strategy), st.integers(0, 17 * HOUR_S), max_size=40
)
minutes_strategy = st.dictionaries(
    st.tuples(station_ids, days_strategy), st.sampled_from([0, 60, 240, 480, 600, 1_440])
)
now_strategy = st.none() | st.integers(-20, 300).map(
    lambda hours: datetime(2026, 6, 1, 8, tzinfo=UTC) + timedelta(hours=hours, minutes=7)
)


@st.composite
def _steps(draw: st.DrawFn) -> list[StationWork]:
    """A ticket in lots; now and then a step takes it whole."""
    lots = draw(st.integers(2, 7))
    found = []
    for _ in range(draw(st.integers(1, 5))):
        seconds = draw(st.integers(0, 20 * HOUR_S))
        wait_s = draw(st.sampled_from([0, 0, 600, 5 * HOUR_S, 30 * HOUR_S]))
        setup_s = draw(st.sampled_from([0, 0, seconds // 7, seconds]))
        step = StationWork(draw(station_ids), seconds, wait_s, lots, setup_s)
        found.append(step if draw(st.integers(0, 9)) else replace(step, lots=1, setup_s=0))
    return found


def _shorter(minutes: Days) -> WorkCalendar:
    exceptions = tuple(
        StationException(station=station, day=day, minutes=each, why="a test")
        for (station, day), each in minutes.items()
    )
    return CALENDAR.model_copy(update={"station_days": exceptions})


@given(steps=_steps(), booked=booked_strategy, minutes=minutes_strategy, now=now_strategy)
def test_lots_never_make_a_ticket_later(
    steps: list[StationWork],
    booked: dict[tuple[str, date], int],
    minutes: dict[tuple[str, date], int],
    now: datetime | None,
) -> None:
    """A ticket planned alone is done by the day on which it would be done as a whole, or before."""
    calendar = _shorter(minutes)
    in_lots = _plan(steps, booked_s=booked, calendar=calendar, now=now)
    whole = _plan(_whole(steps), booked_s=booked, calendar=calendar, now=now)
    assert in_lots.done_day <= whole.done_day


@given(works=st.lists(_steps(), max_size=3), booked=booked_strategy, ready=days_strategy)
def test_no_station_day_is_overfilled_and_no_work_lost(
    works: list[list[StationWork]], booked: dict[tuple[str, date], int], ready: date
) -> None:
    """Bookings fit what is free, lie on working days after the material, and hold all the work."""
    plan = _plan(*works, booked_s=booked, ready_day=ready)
    taken: Counter[tuple[str, date]] = Counter()
    done: Counter[tuple[int, str]] = Counter()
    for booking in plan.bookings:
        taken[booking.station, booking.day] += booking.seconds
        done[booking.ticket_index, booking.station] += booking.seconds
        assert booking.seconds > 0
        assert is_working_day(CALENDAR, booking.day)
        assert ready <= plan.first_day <= booking.day <= plan.done_days[booking.ticket_index]
    for (station, day), seconds in taken.items():
        assert seconds <= STATIONS[station].capacity_min * 60 - booked.get((station, day), 0)
    wanted: Counter[tuple[int, str]] = Counter()
    for index, steps in enumerate(works):
        for step in steps:
            wanted[index, step.station] += step.seconds
    assert done == +wanted
    places = [(one.ticket_index, one.step_index, one.day) for one in plan.shares]
    assert len(set(places)) == len(places)


@given(steps=_steps(), booked=booked_strategy, more=booked_strategy, closed=minutes_strategy)
def test_less_room_never_makes_a_ticket_in_lots_earlier(
    steps: list[StationWork],
    booked: dict[tuple[str, date], int],
    more: dict[tuple[str, date], int],
    closed: dict[tuple[str, date], int],
) -> None:
    """More booked and shorter days only ever put the day off."""
    fewer = {key: min(each, STATIONS[key[0]].minutes_per_day) for key, each in closed.items()}
    alone = _plan(steps, booked_s=booked).done_day
    crowded = Counter(booked) + Counter(more)
    assert alone <= _plan(steps, booked_s=crowded).done_day
    assert alone <= _plan(steps, booked_s=booked, calendar=_shorter(fewer)).done_day


@given(
    steps=_steps(), taken=st.lists(st.tuples(station_ids, days_strategy, st.integers(60, 14_400)))
)
def test_no_promise_is_later_for_lots(
    steps: list[StationWork], taken: list[tuple[str, date, int]]
) -> None:
    """Nor before its plan, nor before its material."""
    now, material = datetime(2026, 6, 1, 7, tzinfo=UTC), MaterialDay(date(2026, 6, 3), "Film")
    shop = replace(ShopNow.of(SHOP, now, with_shares({}, taken)), policy=Policy())
    in_lots, whole = (promise(shop, [one], material) for one in (steps, _whole(steps)))
    assert material.day <= in_lots.plan.done_day <= in_lots.promised_day <= whole.promised_day
