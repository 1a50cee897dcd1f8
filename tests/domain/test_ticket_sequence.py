"""The order in which tickets are taken up on a day, and planned in an order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.booked_time import BookedTime
from service.domain.promising import HorizonExceeded, Plan, ReadyDay, StationWork, plan_work
from service.domain.sequencing import Effort
from service.domain.ticket_sequence import (
    FEW_TICKETS,
    FEW_TRIES,
    MANY_TRIES,
    DayJob,
    day_sequence,
    earliest_plan,
)
from tests.domain.shops import tiny_calendar, tiny_stations

HOUR_S = 3_600
MONDAY = date(2026, 6, 1)
STATIONS = {station.id: station for station in tiny_stations()}
MACHINES = {station.id: station.machines for station in STATIONS.values()}

Works = Sequence[Sequence[StationWork]]

in_order = partial(
    plan_work, ready_day=MONDAY, calendar=tiny_calendar(), stations=STATIONS, booked={}
)


def _job(name: str, *works: tuple[str, float]) -> DayJob:
    return DayJob(name, tuple(StationWork(at, round(hours * HOUR_S)) for at, hours in works))


steps = st.builds(
    StationWork,
    station=st.sampled_from(sorted(STATIONS)),
    seconds=st.integers(0, 12 * HOUR_S),
    wait_s=st.sampled_from([0, 0, 0, 600, 5 * HOUR_S]),
)
tickets = st.lists(steps, max_size=4)


def test_what_the_last_stations_wait_for_is_taken_up_first() -> None:
    """Half an hour of printing lets five hours of pressing on two presses begin."""
    long = _job("long print", ("print", 4), ("press", 1))
    short = _job("long press", ("print", 0.5), ("press", 5))
    day = day_sequence([long, short], MACHINES)
    assert day.ids == ("long press", "long print")
    assert (day.ends_s, day.as_given_s) == (5 * HOUR_S, 7 * HOUR_S)
    assert day.least_s == 5 * HOUR_S


def test_a_ticket_that_dries_keeps_no_station() -> None:
    """The printer goes on while the first print dries; it is cut when dry."""
    dries = DayJob("dries", (StationWork("print", HOUR_S, 3 * HOUR_S), StationWork("cut", HOUR_S)))
    day = day_sequence([_job("plain", ("print", 2), ("cut", 1)), dries], MACHINES)
    assert day.ids == ("dries", "plain")
    assert (day.ends_s, day.as_given_s) == (5 * HOUR_S, 7 * HOUR_S)


def test_a_station_visited_twice_is_one_station() -> None:
    """Weeding and packing share the bench: two hours each of two tickets are eight there."""
    twice = [_job(name, ("bench", 2), ("press", 1), ("bench", 2)) for name in "ab"]
    assert day_sequence(twice, MACHINES).ends_s == 8 * HOUR_S


@given(st.lists(tickets, max_size=7), st.sampled_from([0, 300, 20_000]))
def test_a_day_holds_every_ticket_and_ends_no_later_than_as_given(
    works: list[list[StationWork]], visits: int
) -> None:
    """And not before the least; equal days get equal orders, and the order told ends as told."""
    jobs = [DayJob(f"ticket {index}", tuple(steps)) for index, steps in enumerate(works)]
    day = day_sequence(jobs, MACHINES, Effort(visits))
    by_id = {job.id: job for job in jobs}
    assert sorted(day.ids) == sorted(by_id)
    assert day.least_s <= day.ends_s <= day.as_given_s
    assert day == day_sequence(jobs, MACHINES, Effort(visits))
    again = day_sequence([by_id[one] for one in day.ids], MACHINES, Effort(0))
    assert (again.ids, again.ends_s) == (day.ids, day.ends_s)
    assert day.ends_s < day.as_given_s or day.ids == tuple(by_id)


def test_the_earlier_order_of_two_tickets_is_planned() -> None:
    """Eight hours of printing first leave the other until Wednesday; after it all is done Tuesday.

    The plan is told by the tickets' own indexes, whichever was planned first.
    """
    works = [
        [StationWork("print", 8 * HOUR_S)],
        [StationWork("print", 4 * HOUR_S), StationWork("cut", 8 * HOUR_S)],
    ]
    assert in_order(works).done_day == MONDAY + timedelta(days=2)
    plan = earliest_plan(works, MONDAY, in_order)
    tuesday = MONDAY + timedelta(days=1)
    assert plan.done_days == (tuesday, tuesday)
    assert [(b.ticket_index, b.station, b.day, b.seconds // HOUR_S) for b in plan.bookings] == [
        (0, "print", MONDAY, 4),
        (0, "print", tuesday, 4),
        (1, "cut", MONDAY, 4),
        (1, "print", MONDAY, 4),
        (1, "cut", tuesday, 4),
    ]


@given(
    st.lists(tickets, max_size=4),
    st.dictionaries(
        st.tuples(
            st.sampled_from(sorted(STATIONS)),
            st.integers(0, 6).map(lambda day: MONDAY + timedelta(days=day)),
        ),
        st.integers(0, 17 * HOUR_S).map(BookedTime),
    ),
)
def test_a_plan_is_no_later_than_as_given_and_loses_no_work(
    works: list[list[StationWork]], booked: dict[tuple[str, date], BookedTime]
) -> None:
    """It is the plan of one of the orders, told by the tickets' own indexes."""
    plan_all = partial(in_order, booked=booked)
    plan = earliest_plan(works, MONDAY, plan_all)
    assert plan.done_day <= plan_all(works).done_day
    assert plan.done_day == max(plan.done_days, default=plan.done_day)
    assert plan == earliest_plan(works, MONDAY, plan_all)
    done: Counter[tuple[int, str]] = Counter()
    for booking in plan.bookings:
        done[booking.ticket_index, booking.station] += booking.seconds
        assert booking.day <= plan.done_days[booking.ticket_index]
    wanted: Counter[tuple[int, str]] = Counter()
    for index, ticket in enumerate(works):
        for step in ticket:
            wanted[index, step.station] += step.seconds
    assert done == +wanted
    for share in plan.shares:
        assert share.seconds <= works[share.ticket_index][share.step_index].seconds
    orders = permutations(range(len(works)))
    assert plan.done_days in {_done_days(works, order, plan_all) for order in orders}


def _done_days(works: Works, order: tuple[int, ...], plan_all: partial[Plan]) -> tuple[date, ...]:
    days = plan_all([works[ticket] for ticket in order]).done_days
    return tuple(days[order.index(ticket)] for ticket in range(len(works)))


@pytest.mark.parametrize(
    ("count", "most"), [(FEW_TICKETS, FEW_TRIES), (FEW_TICKETS + 1, MANY_TRIES), (1, 1)]
)
def test_few_orders_are_tried(count: int, most: int) -> None:
    """So many whole plans are made at the most, and one ticket is planned once."""
    planned: list[int] = []

    def plan(works: Works, *, ready_day: ReadyDay) -> Plan:
        planned.append(len(works))
        return in_order(works, ready_day=ready_day)

    works = [[StationWork("cut", 5 * HOUR_S + index)] for index in range(count)]
    earliest_plan(works, MONDAY, plan)
    assert planned.count(count) <= most


def test_an_order_that_does_not_fit_is_passed_over() -> None:
    """As given the plan stands; where that itself does not fit, it is said."""
    given = [[StationWork("print", 8 * HOUR_S)], [StationWork("print", 9 * HOUR_S)]]

    def only_as_given(works: Works, *, ready_day: ReadyDay) -> Plan:
        if len(works) == 2 and works[0] != given[0]:
            raise HorizonExceeded("print")
        return in_order(works, ready_day=ready_day)

    assert earliest_plan(given, MONDAY, only_as_given) == in_order(given)
    with pytest.raises(HorizonExceeded):
        earliest_plan([[StationWork("print", 8 * 400 * HOUR_S)], given[0]], MONDAY, in_order)
