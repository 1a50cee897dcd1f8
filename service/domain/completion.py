"""When planned work will really be done: many courses of the shop's present state, told by day.

Real minutes scatter about the standard ones. In each of :data:`PATHS` courses what is booked at a
station on a day takes

    booked + spread * z * sqrt(sum of the squares of its shares)

seconds, where ``z`` is a lognormal of mean 0 and deviation 1 (mean and variance are exactly those
of independent lognormal shares of that spread, the skew that of one share, so that few shares are
told exactly and many a little too skewed). What does not fit into its day goes on the next working
day, before what is booked there: for the seconds of work ``W`` and the room ``C`` of each day,

    done(d) = max(done(d - 1), C(1) + ... + C(d - 1)) + W(d)

is where the station stands after day ``d`` (Lindley, Proc. Cambridge Phil. Soc. 48, 1952, from
memory). A ticket's share is worked after all that was booked on its day before it and not before
its own step before; so nothing is asked of single tickets, however many there are, and what is
booked later changes nothing of what was found before. Of a ticket handed on in lots a step is not
done before the first lot has come and all of it is worked, nor before the last has come and is
worked; its own first lot is taken to be through when all but the work behind that is done.

The courses are drawn once: equal arguments give equal answers, and more booked work makes no
course end earlier, for a day's seconds grow with every share in each course (``spread * z`` is
above -1, and the root of a sum of squares grows by no more than what is added).
"""

from __future__ import annotations

import math
import zlib
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.domain.booked_time import (
    NOTHING_BOOKED,
    Booked,
    ordinary_s,
    ordinary_squares_s2,
    reserved_s,
)
from service.domain.calendar import StationHours, next_working_day, opening, place_of
from service.domain.machines import Station
from service.domain.memo import Same
from service.domain.promising import HORIZON_DAYS, Plan, StationWork
from service.domain.shop import WorkCalendar

PATHS = 500
"""Courses that are followed."""

_ROWS = 256
"""Rows of drawn numbers; station days and steps take theirs by name."""

_APART = 7_919
_SEED = 20_000
_DAYS_BEYOND = 15
"""Days on which a station works that are looked at beyond its last in the plan; a course that has
not ended is taken to then."""

_Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Workroom:
    """What courses run through: the shop's days, stations, what is booked, and what is kept.

    Courses begin ``now``, with what is booked from its day on; the work itself no earlier than
    ``start``. ``spread`` is that of stations that state none.
    """

    calendar: WorkCalendar
    stations: Mapping[str, Station]
    booked: Booked
    now: datetime
    reserve_percent: int
    spread: float
    start: datetime | None = None


def completions(
    room: Workroom, works: Sequence[Sequence[StationWork]], plan: Plan, ready_day: date
) -> _Floats:
    """When the last of the tickets is done in each course, in ascending seconds of the epoch.

    ``plan`` is that of ``works`` in ``room``; no ticket is begun before ``ready_day`` opens.
    """
    opens = opening(room.calendar, ready_day)
    begins = max(room.start or room.now, opens).timestamp()
    courses = _Courses(room, plan)
    taken: dict[tuple[int, int], list[tuple[date, int]]] = defaultdict(list)
    for share in plan.shares:
        taken[share.ticket_index, share.step_index].append((share.day, share.seconds))
    latest = np.full(PATHS, begins)
    # In the order in which they were planned, for that is how they take their places.
    for ticket in dict.fromkeys((*(ticket for ticket, _ in taken), *range(len(works)))):
        come = _Come.whole(np.full(PATHS, begins))
        for index, step in enumerate(works[ticket]):
            if (ticket, index) in taken:
                come = courses.work(step, taken[ticket, index], come, (ticket, index))
            elif step.lots != come.lots:
                come = _Come.whole(come.last)
            come = come.after(step.wait_s)
        latest = np.maximum(latest, come.last)
    return np.sort(latest)


class _Come(NamedTuple):
    """When a ticket's first and last lot have come to its next step in each course.

    ``left`` holds when stations were done with what they worked on the ticket in lots.
    """

    first: _Floats
    last: _Floats
    lots: int
    left: dict[str, _Floats]

    @classmethod
    def whole(cls, come: _Floats) -> _Come:
        """All of it at once."""
        return cls(come, come, 1, {})

    def after(self, wait_s: int) -> _Come:
        """When each lot has waited so long."""
        last = self.last + wait_s
        first = last if self.lots == 1 else self.first + wait_s
        return self._replace(first=first, last=last)


def quantile_of(ascending: _Floats, percent: int) -> float:
    """The least value that at least so many percent of the sample do not pass."""
    return float(ascending[max(0, math.ceil(len(ascending) * percent / 100) - 1)])


@lru_cache(maxsize=1)
def _normals() -> _Floats:
    """Rows of standard normal numbers: in each the same quantiles, in another order."""
    normal = NormalDist()
    row = np.array([normal.inv_cdf((index + 0.5) / PATHS) for index in range(PATHS)])
    generator = np.random.default_rng(_SEED)
    return np.stack([generator.permutation(row) for _ in range(_ROWS)])


@lru_cache(maxsize=256)
def _scatter(spread: float) -> _Floats:
    """Rows of how far a share of that spread is off its mean of 1; all above -1."""
    sigma = math.sqrt(math.log1p(spread * spread))
    drawn: _Floats = np.exp(sigma * _normals() - sigma * sigma / 2)
    drawn /= drawn.mean(axis=1, keepdims=True)
    return drawn - 1


def _row(name: str, place: int) -> int:
    return (zlib.crc32(name.encode()) + place * _APART) % _ROWS


class _Courses:
    """The stations that the plan needs, each with all courses of its days."""

    def __init__(self, room: Workroom, plan: Plan) -> None:
        self._room = room
        today, _ = place_of(room.calendar, room.now)
        self._week = _timetable(Same(room.calendar), next_working_day(room.calendar, today))
        self._index = {day: self._week.index(day) for day in {one.day for one in plan.bookings}}
        self._last: dict[str, int] = {}
        for booking in plan.bookings:
            index = self._index[booking.day]
            self._last[booking.station] = max(index, self._last.get(booking.station, 0))
        self._queues: dict[str, _Queue] = {}

    def work(
        self, step: StationWork, taken: Sequence[tuple[date, int]], come: _Come, at: tuple[int, int]
    ) -> _Come:
        """When the lots of a step are through that takes so much of those days."""
        queue = self._queues.get(step.station)
        if queue is None:
            queue = self._queues[step.station] = self._queue(self._room.stations[step.station])
        row = _row(f"{step.station}/{at[1]}", at[0])
        shares = [(self._index[day], seconds) for day, seconds in taken]
        if step.lots == 1:
            return _Come.whole(queue.work(shares, come.last, row))
        first = come.first if come.lots == step.lots else come.last
        first = np.maximum(first, come.left.get(step.station, first))
        first, last = queue.work_lots(shares, (first, come.last), row, step)
        return _Come(first, last, step.lots, {**come.left, step.station: last})

    def _queue(self, station: Station) -> _Queue:
        room, last = self._room, self._last[station.id]
        hours = self._week.hours_beyond(station, last)
        days = self._week.days(last + 1)
        capacity = [day_s * station.machines for day_s in hours]
        kept = [reserved_s(full_s, room.reserve_percent) for full_s in capacity]
        times = [room.booked.get((station.id, day), NOTHING_BOOKED) for day in days]
        booked = [ordinary_s(time, kept_s) for time, kept_s in zip(times, kept, strict=False)]
        squares = [
            ordinary_squares_s2(time, kept_s) for time, kept_s in zip(times, kept, strict=False)
        ]
        scatter = _scatter(station.spread_or(room.spread))
        ordinals = np.array([day.toordinal() for day in days])
        loads = scatter[(zlib.crc32(station.id.encode()) + ordinals * _APART) % _ROWS]
        loads *= np.sqrt(np.array(squares, np.float64))[:, None]
        loads += np.array(booked, np.float64)[:, None]
        room_s = np.array(capacity) - np.array(kept)
        opens = np.array(self._week.opens(len(hours)))
        return _Queue(opens, np.array(hours, np.float64), room_s, loads, scatter)


class _Timetable:
    """Working days from a first one on, when they open, and what stations work on them.

    Found as far as they are needed, and kept. What is known is only ever replaced by more, whole,
    so that threads need not wait for each other.
    """

    def __init__(self, calendar: WorkCalendar, first: date) -> None:
        self._calendar, self._day_s = calendar, StationHours(calendar).day_s
        self._known = [first], [opening(calendar, first).timestamp()]
        self._hours: dict[Same[Station], list[int]] = {}

    def days(self, count: int) -> list[date]:
        """The first so many of them."""
        return self._at_least(count)[0][:count]

    def opens(self, count: int) -> list[float]:
        """When those open, in seconds of the epoch."""
        return self._at_least(count)[1][:count]

    def index(self, day: date) -> int:
        """The place of a working day among them."""
        days = self._known[0]
        while days[-1] < day:
            days = self._at_least(len(days) + 1)[0]
        return bisect_left(days, day)

    def hours(self, station: Station, count: int) -> list[int]:
        """Seconds that the station works on each of the first ``count`` days."""
        known = self._hours.get(Same(station), [])
        if len(known) < count:
            new = [self._day_s(station, day) for day in self.days(count)[len(known) :]]
            known = self._hours[Same(station)] = [*known, *new]
        return known[:count]

    def hours_beyond(self, station: Station, last: int) -> list[int]:
        """Its seconds on each day to that one, and on so many more that it works on enough."""
        count = last + 1 + _DAYS_BEYOND
        hours = self.hours(station, count)
        while sum(day_s > 0 for day_s in hours[last + 1 :]) < _DAYS_BEYOND:
            if count > HORIZON_DAYS + _DAYS_BEYOND:
                break
            count += _DAYS_BEYOND
            hours = self.hours(station, count)
        return hours

    def _at_least(self, count: int) -> tuple[list[date], list[float]]:
        days, opens = self._known
        if len(days) < count:
            days, opens = list(days), list(opens)
            while len(days) < count + _DAYS_BEYOND:
                day = next_working_day(self._calendar, days[-1] + timedelta(days=1))
                days.append(day)
                opens.append(opening(self._calendar, day).timestamp())
            self._known = days, opens
        return days, opens


@lru_cache(maxsize=8)
def _timetable(calendar: Same[WorkCalendar], first: date) -> _Timetable:
    return _Timetable(calendar.it, first)


class _Queue:
    """One station: days in a row, what each takes in every course, and where it stands then.

    Work is counted from the first day's opening, as seconds of capacity.
    """

    def __init__(
        self, opens: _Floats, hours: _Floats, capacity: _Floats, loads: _Floats, scatter: _Floats
    ) -> None:
        self._opens, self._hours = opens, hours
        self._ends = np.cumsum(capacity, dtype=np.float64)
        self._begins = self._ends - capacity
        self._rate = np.divide(capacity, hours, out=np.ones_like(hours), where=hours > 0)
        self._loads, self._scatter = loads, scatter

    def work(self, taken: Sequence[tuple[int, int]], before: _Floats, row: int) -> _Floats:
        """When those shares, by index of day, are done, the step before them done at ``before``."""
        own, stretch = self._own(taken, row)
        seconds = sum(share for _, share in taken)
        return self._moment(np.maximum(own, self._work_by(before) + seconds * stretch))

    def work_lots(
        self,
        taken: Sequence[tuple[int, int]],
        come: tuple[_Floats, _Floats],
        row: int,
        step: StationWork,
    ) -> tuple[_Floats, _Floats]:
        """The same of a step in lots, for its first and last lot, which come at such moments."""
        own, stretch = self._own(taken, row)
        first, last = (self._work_by(moment) for moment in come)
        last_lot_s = step.seconds - step.through_s(step.lots - 1)
        own = np.maximum(own, first + step.seconds * stretch)
        own = np.maximum(own, last + last_lot_s * stretch)
        behind_s = step.seconds - step.through_s(1)
        return self._moment(own - behind_s * stretch), self._moment(own)

    def _own(self, taken: Sequence[tuple[int, int]], row: int) -> tuple[_Floats, _Floats]:
        """Where the station stands when those shares are worked as well, and their stretch."""
        stretch = 1 + self._scatter[row]
        for index, seconds in taken:
            self._loads[index] += seconds * stretch
        return self._stands_after(taken[-1][0]), stretch

    def _stands_after(self, index: int) -> _Floats:
        """Where the station stands when all of that day and before is worked."""
        stands = np.zeros(PATHS)
        # Day after day in place: a sum over all days at once is slower, and says no more.
        for begins, load in zip(self._begins[: index + 1], self._loads, strict=False):
            np.maximum(stands, begins, out=stands)
            np.add(stands, load, out=stands)
        return stands

    def _moment(self, work: _Floats) -> _Floats:
        """When so much work is done."""
        index = np.minimum(np.searchsorted(self._ends, work), len(self._ends) - 1)
        into = np.minimum((work - self._begins[index]) / self._rate[index], self._hours[index])
        return self._opens[index] + into

    def _work_by(self, moment: _Floats) -> _Floats:
        """How much work could be done by then."""
        index = np.maximum(np.searchsorted(self._opens, moment, side="right") - 1, 0)
        into = np.clip(moment - self._opens[index], 0, self._hours[index])
        return self._begins[index] + into * self._rate[index]
