"""Orders of jobs: how near the published optimum, what a day gains, and what planning costs.

The gaps stand in the names of the rows, as the table has no column for them.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from functools import partial
from typing import TypeVar

from service.domain.nesting.numbers import Numbers
from service.domain.promising import StationWork, plan_work
from service.domain.sequencing import (
    QUICK,
    THOROUGH,
    Effort,
    insertion_order,
    least_makespan,
    least_total_flow,
    makespan,
)
from service.domain.ticket_sequence import DayJob, day_sequence, earliest_plan
from tests.benchmarks.figures import Burst, summarise, times_as_long
from tests.benchmarks.table import Row
from tests.domain.shops import tiny_calendar, tiny_stations
from tests.reference.flowshop_figures import INSTANCES, mean_gap

MONDAY = date(2026, 6, 1)
STATIONS = {station.id: station for station in tiny_stations()}
COURSE = ("print", "cut", "press", "bench")
DAY_TICKETS, ORDER_TICKETS, ORDERS = (10, 30), (3, 8, 40), 20

_MIN_S, _SEED = 60, 1

Given = TypeVar("Given")
Result = TypeVar("Result")
Ticket = tuple[StationWork, ...]


def measure_sequencing(only: str, *, thorough: bool) -> Iterator[Row]:
    """Rows of published flow shops, made days and made orders, if their kind holds ``only``.

    The published ones with little effort alone unless ``thorough``.
    """
    if only in "sequencing flow shops":
        for effort in (QUICK, THOROUGH) if thorough else (QUICK,):
            yield _makespans(effort)
            yield _flows(effort)
    numbers = Numbers(_SEED)
    if only in "sequencing a day of tickets":
        yield from (_day(_tickets(numbers, count, 30)) for count in DAY_TICKETS)
    if only in "sequencing an order of tickets":
        for count in ORDER_TICKETS:
            yield _orders([_tickets(numbers, count, 240) for _ in range(ORDERS)])


def _makespans(effort: Effort) -> Row:
    shops = [instance.times() for instance in INSTANCES]
    optima = [instance.optimum for instance in INSTANCES]
    inserted, bare = _timed(insertion_order, shops)
    found, bursts = _timed(partial(least_makespan, effort=effort), shops)
    bare_gap = _gap([makespan(*pair) for pair in zip(shops, inserted, strict=True)], optima)
    return Row(
        f"sequencing ten of 20 x 5: {_gap([one.value for one in found], optima)} over the optimum",
        summarise(bursts),
        f"insertion alone: {bare_gap}",
        summarise(bare),
        times_as_long(bursts, bare),
    )


def _flows(effort: Effort) -> Row:
    shops = [instance.times() for instance in INSTANCES]
    known = [instance.flow_known for instance in INSTANCES]
    found, bursts = _timed(partial(least_total_flow, effort=effort), shops)
    gap = _gap([one.value for one in found], known)
    return Row(
        f"sequencing ten of 20 x 5: total flow {gap} over the least known", summarise(bursts)
    )


def _day(tickets: Sequence[Ticket]) -> Row:
    jobs = [DayJob(str(index), works) for index, works in enumerate(tickets)]
    machines = {station.id: station.machines for station in STATIONS.values()}
    (day,), bursts = _timed(lambda given: day_sequence(given, machines), [jobs])
    gap = _gap([day.ends_s], [day.least_s])
    return Row(
        f"sequencing a day of {len(jobs)} tickets: {gap} over the bound",
        summarise(bursts),
        f"as given: {_gap([day.as_given_s], [day.least_s])}",
    )


def _orders(orders: Sequence[Sequence[Ticket]]) -> Row:
    plan = partial(
        plan_work, ready_day=MONDAY, calendar=tiny_calendar(), stations=STATIONS, booked={}
    )
    as_given, bare = _timed(plan, orders)
    plans, bursts = _timed(lambda works: earliest_plan(works, MONDAY, plan), orders)
    won = sum(
        (old.done_day - new.done_day for old, new in zip(as_given, plans, strict=True)),
        timedelta(0),
    )
    return Row(
        f"sequencing an order of {len(orders[0])} tickets: {won.days / len(orders):.2f} days won",
        summarise(bursts),
        "planned as given",
        summarise(bare),
        times_as_long(bursts, bare),
    )


def _tickets(numbers: Numbers, count: int, most_min: int) -> list[Ticket]:
    """Made tickets with four in five of the stations."""
    return [
        tuple(
            StationWork(station, _MIN_S * (1 + numbers.below(most_min)))
            for station in COURSE
            if numbers.below(5)
        )
        for _ in range(count)
    ]


def _gap(found: Sequence[int], known: Sequence[int]) -> str:
    return f"{float(mean_gap(list(zip(found, known, strict=True)))):.2%}"


def _timed(
    work: Callable[[Given], Result], questions: Sequence[Given]
) -> tuple[list[Result], list[Burst]]:
    """What each question's single call gives, and the processor time it took."""
    results, bursts = [], []
    for question in questions:
        started = time.process_time()
        results.append(work(question))
        taken_s = max(time.process_time() - started, 1e-9)
        bursts.append(Burst((taken_s,), taken_s, processor_s=taken_s))
    return results, bursts
