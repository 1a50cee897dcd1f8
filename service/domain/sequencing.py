"""In what order jobs are taken up by stations in series: the permutation flow shop.

Every job visits the same stations one after the other, and every station takes the jobs in one and
the same order, one at a time; between stations a job waits as long as it must. Times are whole
numbers, 0 for a visit left out.

An order is built by putting in one job after the other where it does least harm (Nawaz, Enscore and
Ham, Omega 11(1):91-95, 1983), all places tried at once by heads and tails (Taillard, EJOR
47(1):65-74, 1990). Then a few jobs are taken out and put in again, over and over (iterated greedy:
Ruiz and Stützle, EJOR 177(3):2033-2049, 2007). These sources are told from memory. All work is
counted, and what looks like chance comes from a generator that is passed in or has a fixed
beginning, so that equal questions get equal answers on every machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from operator import add
from typing import Protocol

from service.domain.nesting.numbers import Numbers

Times = Sequence[Sequence[int]]
"""What each job takes at each station, none below 0: by job, then by station as visited.

In any unit; the results are in the same.
"""

Order = tuple[int, ...]
"""Indexes of jobs, each once."""

SEED = 0x9E3779B97F4A7C15
_TAKEN_OUT = 3
"""Jobs taken out at once; found by trial on published instances, as was the slack."""
_SLACK_DIVISOR = 10
"""An order worse by less than this part of a mean time is sometimes gone on from."""

_ROW, _PUTTING_IN = 3, 100
"""What a job's row of visits and what putting it in cost besides, in visits."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How much may be tried: ``visits`` of a job to a station that are reckoned, over all orders.

    What an order costs besides is counted in visits too. A million take about an eighth of a
    second.
    """

    visits: int


QUICK = Effort(600_000)
"""For an answer while someone waits: a tenth of a second at the most."""

THOROUGH = Effort(8_000_000)
"""For what is kept: a second or so, and less where an order is found that none can better."""


@dataclass(frozen=True, slots=True)
class Sequenced:
    """An order and its value; no order has one below ``least``."""

    order: Order
    value: int
    least: int


def completion_times(times: Times, order: Sequence[int]) -> tuple[int, ...]:
    """When each job of ``order``, which may be some of them, leaves the last station."""
    return tuple(ends[-1] if ends else 0 for ends in _heads(times, order)[1:])


def makespan(times: Times, order: Sequence[int]) -> int:
    """When the last job leaves the last station; 0 without jobs."""
    return max(completion_times(times, order), default=0)


def total_flow(times: Times, order: Sequence[int]) -> int:
    """The sum of all :func:`completion_times`: the less, the sooner jobs are done on the mean."""
    return sum(completion_times(times, order))


def makespan_bound(times: Times) -> int:
    """No order ends sooner.

    A station does all its work one after the other, begins when some job can have come to it, and
    after its last job the stations behind it are still to be visited; and each job takes its time.
    """
    bounds = [sum(job) for job in times]
    for station in range(len(times[0]) if times else 0):
        before = min(sum(job[:station]) for job in times)
        after = min(sum(job[station + 1 :]) for job in times)
        bounds.append(before + sum(job[station] for job in times) + after)
    return max(bounds, default=0)


def total_flow_bound(times: Times) -> int:
    """No order has less total flow.

    At best a station takes the shortest first, which is least for one station alone (Smith, Naval
    Research Logistics Quarterly 3:59-66, 1956, from memory), and then every job goes through
    without a wait.
    """
    bounds = [sum(map(sum, times))]
    for station in range(len(times[0]) if times else 0):
        before = min(sum(job[:station]) for job in times)
        ends = accumulate(sorted(job[station] for job in times), initial=before)
        after = sum(sum(job[station + 1 :]) for job in times)
        bounds.append(sum(ends) - before + after)
    return max(bounds)


def insertion_order(times: Times) -> Order:
    """Jobs put in one by one, those of most time first, each at the first of the best places.

    ValueError for times that are negative or not of one length.
    """
    goal = _Makespan(times)
    return tuple(_Search(goal, Effort(goal.cost(len(times)) * len(times)), None).built())


def least_makespan(
    times: Times, effort: Effort = THOROUGH, numbers: Numbers | None = None
) -> Sequenced:
    """An order that ends soon; never later than the jobs as they are given, which win a tie.

    ``numbers`` choose what is tried. ValueError as :func:`insertion_order`.
    """
    return _Search(_Makespan(times), effort, numbers).best()


def least_total_flow(
    times: Times, effort: Effort = THOROUGH, numbers: Numbers | None = None
) -> Sequenced:
    """An order of little total flow; otherwise as :func:`least_makespan`."""
    return _Search(_TotalFlow(times), effort, numbers).best()


def _heads(
    times: Times, order: Sequence[int], before: Sequence[int] | None = None
) -> list[Sequence[int]]:
    """When each station is free: ``before`` all jobs, and after each of them."""
    free = before if before is not None else [0] * (len(times[0]) if times else 0)
    heads = [free]
    for job in order:
        free = _ends(free, times[job])
        heads.append(free)
    return heads


def _ends(free: Sequence[int], row: Sequence[int]) -> list[int]:
    """When a job leaves each station, from when the station is free and what the job takes."""
    at = 0
    return [
        at := (at if at > since else since) + time  # noqa: FURB136 - a call takes twice as long
        for since, time in zip(free, row, strict=True)
    ]


class _Goal(Protocol):
    """What an order is to be good at; less is better."""

    least: int
    slack: int
    by_turn: list[int]
    """All jobs, in the order in which they are put in."""

    def value(self, order: Sequence[int]) -> int:
        """The value of an order of some of the jobs."""

    def places(self, order: Sequence[int], job: int) -> list[int]:
        """The value with ``job`` put in at each place of ``order``, the first to the last."""

    def cost(self, count: int) -> int:
        """Visits that are reckoned for the places among ``count`` jobs."""


def _stations(times: Times) -> int:
    if any(len(one) != len(other) for one, other in pairwise(times)):
        raise ValueError("every job needs a time for every station, 0 where it leaves one out")
    if any(time < 0 for job in times for time in job):
        raise ValueError("a time is below 0")
    return len(times[0]) if times else 0


def _mean_time(times: Times) -> int:
    return sum(map(sum, times)) // max(1, sum(map(len, times)))


class _Makespan:
    """The end of the last job, at all places at once: heads before the place, tails behind it."""

    def __init__(self, times: Times) -> None:
        self._times = times
        self._stations = _stations(times)
        self._backwards = [tuple(reversed(job)) for job in times]
        self.least = makespan_bound(times)
        self.slack = _mean_time(times) // _SLACK_DIVISOR
        self.by_turn = sorted(range(len(times)), key=lambda job: -sum(times[job]))

    def value(self, order: Sequence[int]) -> int:
        return makespan(self._times, order)

    def places(self, order: Sequence[int], job: int) -> list[int]:
        row = self._times[job]
        heads = _heads(self._times, order)
        tails = _heads(self._backwards, order[::-1])[::-1]
        return [
            max(map(add, _ends(head, row), reversed(tail)), default=0)
            for head, tail in zip(heads, tails, strict=True)
        ]

    def cost(self, count: int) -> int:
        return _PUTTING_IN + 3 * (count + 1) * (_ROW + self._stations)


class _TotalFlow:
    """The sum of all ends; what lies before a place is reckoned once, what lies behind it anew."""

    def __init__(self, times: Times) -> None:
        self._times = times
        self._stations = _stations(times)
        self.least = total_flow_bound(times)
        self.slack = _mean_time(times) * len(times) // _SLACK_DIVISOR
        self.by_turn = sorted(range(len(times)), key=lambda job: sum(times[job]))

    def value(self, order: Sequence[int]) -> int:
        return total_flow(self._times, order)

    def places(self, order: Sequence[int], job: int) -> list[int]:
        heads = _heads(self._times, order)
        done = accumulate((head[-1] for head in heads[1:] if head), initial=0)
        return [
            before + self._behind(head, [job, *order[place:]])
            for place, (before, head) in enumerate(zip(done, heads, strict=False))
        ]

    def _behind(self, head: Sequence[int], order: Sequence[int]) -> int:
        return sum(ends[-1] for ends in _heads(self._times, order, head)[1:] if ends)

    def cost(self, count: int) -> int:
        return _PUTTING_IN + (count + 1) * (count + 4) // 2 * (_ROW + self._stations)


class _Search:
    """A goal, and how much of the effort is left."""

    def __init__(self, goal: _Goal, effort: Effort, numbers: Numbers | None) -> None:
        self._goal = goal
        self._left = effort.visits
        self._numbers = numbers or Numbers(SEED)

    def best(self) -> Sequenced:
        """The best order found, or the jobs as given where none is better."""
        given = sorted(self._goal.by_turn)
        best = _Try(given, self._goal.value(given))
        if best.value > self._goal.least:
            built = self.built()
            best = min(best, _Try(built, self._goal.value(built)), key=_value)
            best = min(best, self._improved(best), key=_value)
        return Sequenced(tuple(best.order), best.value, self._goal.least)

    def built(self) -> list[int]:
        """Every job put in by turn; what the effort does not reach goes to the end."""
        order: list[int] = []
        for turn, job in enumerate(self._goal.by_turn):
            if not self._reaches(1, len(order)):
                return [*order, *self._goal.by_turn[turn:]]
            self._put_in(order, job, first=True)
        return order

    def _improved(self, best: _Try) -> _Try:
        count = len(best.order)
        out = min(_TAKEN_OUT, count)
        here = best = self._settled(best)
        while best.value > self._goal.least and self._reaches(out, count):
            order = list(here.order)
            taken = [order.pop(self._numbers.below(len(order))) for _ in range(out)]
            for job in taken:
                value = self._put_in(order, job)
            there = self._settled(_Try(order, value))
            if there.value <= here.value + self._numbers.below(self._goal.slack + 1):
                here = there
            best = min(best, there, key=_value)
        return best

    def _settled(self, start: _Try) -> _Try:
        """Jobs taken out and put in one by one, until none finds a better place."""
        order, value, before = list(start.order), start.value, start.value + 1
        while value < before:
            before = value
            jobs = list(order)
            self._numbers.shuffle(jobs)
            for job in jobs:
                if not self._reaches(1, len(order)):
                    return _Try(order, value)
                order.remove(job)
                value = self._put_in(order, job)
        return _Try(order, value)

    def _put_in(self, order: list[int], job: int, *, first: bool = False) -> int:
        """Put ``job`` at one of the best places and give the value."""
        self._left -= self._goal.cost(len(order))
        values = self._goal.places(order, job)
        least = min(values)
        places = [place for place, value in enumerate(values) if value == least]
        order.insert(places[0 if first else self._numbers.below(len(places))], job)
        return least

    def _reaches(self, jobs: int, count: int) -> bool:
        return self._left >= jobs * self._goal.cost(count)


@dataclass(frozen=True, slots=True)
class _Try:
    order: list[int]
    value: int


def _value(one: _Try) -> int:
    return one.value
