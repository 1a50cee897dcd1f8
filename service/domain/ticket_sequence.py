"""In what order tickets are taken up: on a day at the bench, and when an order is planned."""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import accumulate, chain
from statistics import fmean
from typing import Protocol

from service.domain.nesting.numbers import Numbers
from service.domain.promising import HorizonExceeded, Plan, ReadyDay, StationWork, days_of
from service.domain.sequencing import QUICK, SEED, Effort, Order, Times, least_makespan

FEW_TICKETS, FEW_TRIES, MANY_TRIES = 8, 12, 3
"""Up to so many tickets of an order are planned whole in so many orders, more in ``MANY_TRIES``."""

_EVENTS = 12
"""What a visit costs in a day that is played through, in visits of the flow shop."""

# A day at the bench


@dataclass(frozen=True, slots=True)
class DayJob:
    """A ticket and what is left of it to do, station by station."""

    id: str
    works: tuple[StationWork, ...]


@dataclass(frozen=True, slots=True)
class DaySequence:
    """Tickets in the order to take them up.

    The last is done after ``ends_s`` seconds, after ``as_given_s`` in the order given; no order
    ends before ``least_s``.
    """

    ids: tuple[str, ...]
    ends_s: int
    as_given_s: int
    least_s: int


def day_sequence(
    jobs: Sequence[DayJob], machines: Mapping[str, int], effort: Effort = QUICK
) -> DaySequence:
    """The order in which the bench should take up ``jobs`` so that all are done soonest.

    A station that is free takes, of the tickets that have come to it, the one that stands first. As
    in a plan, all ``machines`` of a station (1 where it is missing) work on one ticket, and
    unattended time holds the ticket and not the station. All stations begin together and run on
    without closing, so that seconds are to be read as working time. Never worse than the order
    given, which wins a tie. The order of a flow shop is tried, then single tickets are moved.
    """
    day = _Day(jobs, machines)
    order: Order = tuple(range(len(jobs)))
    ends_s = as_given_s = day.ends_s(order)
    numbers, left = Numbers(SEED), effort.visits
    candidate = least_makespan(day.columns(), effort).order
    while ends_s > day.least_s and left > 0:
        value = day.ends_s(candidate)
        left -= _EVENTS * day.visits
        if value <= ends_s:
            order, ends_s = candidate, value
        candidate = _one_moved(order, numbers)
    if ends_s == as_given_s:
        order = tuple(range(len(jobs)))
    return DaySequence(tuple(jobs[job].id for job in order), ends_s, as_given_s, day.least_s)


def _one_moved(order: Order, numbers: Numbers) -> Order:
    moved = list(order)
    job = moved.pop(numbers.below(len(moved)))
    moved.insert(numbers.below(len(order)), job)
    return tuple(moved)


@dataclass(frozen=True, slots=True)
class _Visit:
    """Seconds that a station is taken, and those before the ticket can go on."""

    station: int
    taken_s: int
    until_next_s: int


class _Day:
    """The tickets of a day, with stations by number."""

    def __init__(self, jobs: Sequence[DayJob], machines: Mapping[str, int]) -> None:
        numbers: dict[str, int] = {}
        self._jobs = [
            [
                _visit(numbers.setdefault(work.station, len(numbers)), work, machines)
                for work in job.works
            ]
            for job in jobs
        ]
        self._stations = len(numbers)
        self.visits = max(1, sum(map(len, self._jobs)))
        self.least_s = max(self._bounds_s(), default=0)

    def _bounds_s(self) -> Iterator[int]:
        """Each ticket's own time, and each station's with the least before and behind it."""
        loads: Counter[int] = Counter()
        before: dict[int, list[int]] = defaultdict(list)
        behind: dict[int, list[int]] = defaultdict(list)
        for job in self._jobs:
            begins = list(accumulate((visit.until_next_s for visit in job), initial=0))
            done = begins.pop()
            yield done
            first: dict[int, int] = {}
            last: dict[int, int] = {}
            for visit, at in zip(job, begins, strict=True):
                loads[visit.station] += visit.taken_s
                first.setdefault(visit.station, at)
                last[visit.station] = at + visit.taken_s
            for station, at in first.items():
                before[station].append(at)
                behind[station].append(done - last[station])
        for station, load in loads.items():
            yield min(before[station]) + load + min(behind[station])

    def columns(self) -> Times:
        """The day as a flow shop: a column for each first, second, ... visit to a station.

        Columns stand in the order of the mean place that they have in the tickets' own courses.
        """
        rows: list[dict[tuple[int, int], int]] = []
        places: dict[tuple[int, int], list[int]] = defaultdict(list)
        for job in self._jobs:
            seen: Counter[int] = Counter()
            row: dict[tuple[int, int], int] = {}
            for place, visit in enumerate(job):
                column = visit.station, seen[visit.station]
                seen[visit.station] += 1
                row[column] = visit.taken_s
                places[column].append(place - len(job))
            rows.append(row)
        columns = sorted(places, key=lambda column: fmean(places[column]))
        return [[row.get(column, 0) for column in columns] for row in rows]

    def ends_s(self, order: Sequence[int]) -> int:
        """When the last ticket is done, played through from one moment of the day to the next."""
        courses = [iter(self._jobs[job]) for job in order]
        waiting: list[list[tuple[int, _Visit]]] = [[] for _ in range(self._stations)]
        free_s = [0] * self._stations
        arrivals = [(0, rank) for rank in range(len(order))]
        ends_s = 0
        while arrivals:
            now_s = arrivals[0][0]
            ends_s = max(ends_s, now_s)
            called: list[int] = []
            while arrivals and arrivals[0][0] == now_s:
                rank = heapq.heappop(arrivals)[1]
                if rank < 0:  # a station that has become free
                    called.append(~rank)
                elif (visit := next(courses[rank], None)) is not None:
                    heapq.heappush(waiting[visit.station], (rank, visit))
                    called.append(visit.station)
            for station in called:
                if waiting[station] and free_s[station] <= now_s:
                    rank, visit = heapq.heappop(waiting[station])
                    free_s[station] = now_s + visit.taken_s
                    heapq.heappush(arrivals, (free_s[station], ~station))
                    heapq.heappush(arrivals, (now_s + visit.until_next_s, rank))
        return ends_s


def _visit(station: int, work: StationWork, machines: Mapping[str, int]) -> _Visit:
    taken_s = -(-work.seconds // machines.get(work.station, 1))
    return _Visit(station, taken_s, taken_s + work.wait_s)


# The tickets of one order


class Planner(Protocol):
    """Plans tickets one after the other, none before its ready day."""

    def __call__(self, works: Sequence[Sequence[StationWork]], *, ready_day: ReadyDay) -> Plan:
        """Such as a partial :func:`~service.domain.promising.plan_work`."""


def earliest_plan(
    works: Sequence[Sequence[StationWork]], ready_day: ReadyDay, plan: Planner
) -> Plan:
    """The plan that is done on the earliest day, of few orders of the tickets; a tie to the first.

    Tried are: the tickets as given; those first that are ready last, and of these those that have
    most to do late in their course (Palmer, Operational Research Quarterly 16(1):101-107, 1965,
    from memory); then again and again a ticket that was done last put before all others, or the
    order turned round. It ends with the first that is done when its slowest ticket would be done
    alone, or one station's work for all of them from the first ready day on: none is done before.
    Whole plans are made at most ``FEW_TRIES`` times, above ``FEW_TICKETS`` tickets ``MANY_TRIES``
    times; what is planned alone is as much work as one or two more. Indexes in the plan are those
    of ``works``. What ``plan`` raises for the tickets as given or alone is raised; another order
    that does not fit into the days looked ahead is passed over.
    """
    best = plan(works, ready_day=ready_day)
    if len(works) < 2 or best.done_day == best.first_day:
        return best
    days = days_of(ready_day, works)
    least = max(
        plan([work], ready_day=day).done_day
        for work, day in [*zip(works, days, strict=True), *_station_totals(works, min(days))]
    )
    order = tuple(range(len(works)))
    tried = {order}
    orders: Iterator[Order] = chain([_late_work_first(works, days)], _next_orders(order, best))
    for _ in range((FEW_TRIES if len(works) <= FEW_TICKETS else MANY_TRIES) - 1):
        order = next((one for one in orders if one not in tried), ())
        if best.done_day <= least or not order:
            break
        tried.add(order)
        try:
            planned = _in_order(works, days, order, plan)
        except HorizonExceeded:
            continue
        best = planned if planned.done_day < best.done_day else best
        orders = _next_orders(order, planned)
    return best


def _station_totals(
    works: Sequence[Sequence[StationWork]], first: date
) -> list[tuple[list[StationWork], date]]:
    """All work of each station as a ticket of its own, done no later than all tickets are.

    It is ready on the ``first`` day on which any of them is.
    """
    totals: Counter[str] = Counter()
    for ticket in works:
        for work in ticket:
            totals[work.station] += work.seconds
    return [([StationWork(station, seconds)], first) for station, seconds in totals.items()]


def _late_work_first(works: Sequence[Sequence[StationWork]], days: Sequence[date]) -> Order:
    """By ready day, the last first, for the others have days before it that it has not.

    Then by the slope index: seconds at a ticket's last stations speak for it, at its first not.
    """

    def slope(ticket: int) -> int:
        middle = len(works[ticket]) - 1
        return sum((2 * at - middle) * work.seconds for at, work in enumerate(works[ticket]))

    return tuple(
        sorted(range(len(works)), key=lambda ticket: (-days[ticket].toordinal(), -slope(ticket)))
    )


def _next_orders(order: Order, planned: Plan) -> Iterator[Order]:
    """Each ticket done last put first, beginning with the last planned; then turned round."""
    for late in reversed(order):
        if planned.done_days[late] == planned.done_day:
            yield (late, *(ticket for ticket in order if ticket != late))
    yield order[::-1]


def _in_order(
    works: Sequence[Sequence[StationWork]], days: Sequence[date], order: Order, plan: Planner
) -> Plan:
    """The plan of the works in that order, told by their own indexes."""
    planned = plan(
        [works[ticket] for ticket in order], ready_day=[days[ticket] for ticket in order]
    )
    places = sorted(range(len(order)), key=order.__getitem__)
    bookings = [one._replace(ticket_index=order[one.ticket_index]) for one in planned.bookings]
    return replace(
        planned,
        bookings=tuple(sorted(bookings, key=lambda one: (one.ticket_index, one.day, one.station))),
        shares=tuple(one._replace(ticket_index=order[one.ticket_index]) for one in planned.shares),
        done_days=tuple(planned.done_days[place] for place in places),
        bottlenecks=tuple(planned.bottlenecks[place] for place in places),
    )
