"""A workroom played event by event: jobs queue at stations, and machines work when they are open.

What a machine has begun it ends; work cut off by the end of the day, or by a breakdown, goes on
when the machine is open again. A free machine takes the most urgent job that waits at its station.
After a step a job may wait unattended, by the clock, before it joins the next queue. Times are
seconds after any one instant. The same jobs always go the same way.
"""

from __future__ import annotations

import heapq
import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

Span = tuple[float, float]
"""From one time up to another."""

ALWAYS: tuple[Span, ...] = ((-math.inf, math.inf),)
"""Open round the clock."""

Urgency = tuple[int, ...]
"""The smallest comes first."""


class NeverOpen(ValueError):
    """A machine has no time left for what it is to do."""


class OpenTimes:
    """When a machine works."""

    def __init__(self, spans: Iterable[Span]) -> None:
        """Take spans that follow each other and do not overlap; empty ones are left out."""
        kept = [(begins, ends) for begins, ends in spans if ends > begins]
        self._begins = [begins for begins, _ in kept]
        self._ends = [ends for _, ends in kept]

    def next_open(self, at: float) -> float:
        """The first time from ``at`` on at which the machine is open; NeverOpen if none is left."""
        return max(at, self._begins[self._index(at)])

    def end_of(self, at: float, seconds: float) -> float:
        """When work of so many seconds, begun at ``at`` or when the machine opens, is done."""
        index, left = self._index(at), seconds
        while index < len(self._begins):
            begins = max(at, self._begins[index])
            room = self._ends[index] - begins
            if left <= room:
                return begins + left
            left -= room
            index += 1
        raise NeverOpen(f"{left:g} s of work are left when the machine closes for good")

    def open_s(self, since: float, until: float) -> float:
        """Seconds the machine is open between two times."""
        first, after = bisect_right(self._ends, since), bisect_left(self._begins, until)
        spans = zip(self._begins[first:after], self._ends[first:after], strict=True)
        return sum(min(ends, until) - max(begins, since) for begins, ends in spans)

    def _index(self, at: float) -> int:
        """The span that holds ``at``, its end left out, or the next one."""
        index = bisect_right(self._ends, at)
        if index == len(self._ends):
            raise NeverOpen("the machine has closed for good")
        return index


def without(spans: Iterable[Span], closed: Sequence[Span]) -> tuple[Span, ...]:
    """The spans less what is closed; both in order of time."""
    left: list[Span] = []
    for begins, ends in spans:
        at = begins
        for from_, until in closed:
            if until > at and from_ < ends:
                left.append((at, from_))
                at = until
        left.append((at, ends))
    return tuple((begins, ends) for begins, ends in left if ends > begins)


class JobStep(NamedTuple):
    """Real ``seconds`` at a station, then ``wait_s`` unattended ones."""

    station: str
    seconds: float
    wait_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Job:
    """Steps to be done one after another, none before ``from_s``."""

    name: int
    steps: tuple[JobStep, ...]
    urgency: Urgency
    from_s: float


@dataclass(frozen=True, slots=True)
class Worked:
    """A step that was done, the number of the machine that did it, and between which times.

    ``over_s`` is when its wait was over too.
    """

    job: int
    step: int
    station: str
    machine: int
    began_s: float
    ended_s: float
    over_s: float


@dataclass(slots=True)
class _Machine:
    number: int
    open_times: OpenTimes
    busy: bool = False
    wakes_at: float = -math.inf


@dataclass(slots=True)
class _Station:
    machines: list[_Machine]
    queue: list[tuple[Urgency, int, Job, int]] = field(default_factory=list)


_Event = tuple[Job, int] | Worked | str
"""A job that comes to a step, a step that is done, or a station that opens."""


class ShopFloor:
    """Stations with machines, and the jobs on them; jobs are added as time goes on."""

    def __init__(self, machines: Mapping[str, Sequence[OpenTimes]]) -> None:
        """Take the times of every station's machines."""
        self._stations = {
            id_: _Station([_Machine(number, times) for number, times in enumerate(open_times)])
            for id_, open_times in machines.items()
        }
        self._events: list[tuple[float, int, _Event]] = []
        self._count = 0
        self._now = -math.inf

    def add(self, job: Job) -> None:
        """Let a job come; ValueError for one that comes before what was played already."""
        if job.from_s < self._now:
            raise ValueError(f"the job comes at {job.from_s:g}, the floor is at {self._now:g}")
        self._put(job.from_s, (job, 0))

    def run(self, until: float = math.inf) -> list[Worked]:
        """Play on up to and with that time, or until all is done; gives what was done, in order."""
        done: list[Worked] = []
        while self._events and self._events[0][0] <= until:
            at, touched = self._events[0][0], dict[str, None]()
            while self._events and self._events[0][0] == at:
                touched[self._apply(heapq.heappop(self._events)[2], done)] = None
            self._now = at
            for station in touched:
                self._dispatch(self._stations[station], station, at)
        if math.isfinite(until):
            self._now = until
        return done

    def _apply(self, event: _Event, done: list[Worked]) -> str:
        """Take note of an event; gives the station at which something may begin now."""
        if isinstance(event, str):
            return event
        if isinstance(event, Worked):
            self._stations[event.station].machines[event.machine].busy = False
            done.append(event)
            return event.station
        job, index = event
        station = job.steps[index].station
        self._count += 1
        heapq.heappush(self._stations[station].queue, (job.urgency, self._count, job, index))
        return station

    def _dispatch(self, station: _Station, id_: str, at: float) -> None:
        for machine in station.machines:
            if machine.busy or not station.queue:
                continue
            opens = machine.open_times.next_open(at)
            if opens == at:
                _, _, job, index = heapq.heappop(station.queue)
                self._begin(machine, job, index, at)
            elif machine.wakes_at != opens:
                machine.wakes_at = opens
                self._put(opens, id_)

    def _begin(self, machine: _Machine, job: Job, index: int, at: float) -> None:
        step = job.steps[index]
        ends = machine.open_times.end_of(at, step.seconds)
        over = ends + step.wait_s
        machine.busy = True
        self._put(ends, Worked(job.name, index, step.station, machine.number, at, ends, over))
        if index + 1 < len(job.steps):
            self._put(over, (job, index + 1))

    def _put(self, at: float, event: _Event) -> None:
        self._count += 1
        heapq.heappush(self._events, (at, self._count, event))
