"""When planned work will really be done: many courses of the shop's present state, told by day.

What is booked at a station on a day is worked as :mod:`service.domain.station_stands` tells. A
ticket's share is worked after all that was booked on its day before it and not before its own step
before; so nothing is asked of single tickets, however many there are, and what is booked later
changes nothing of what was found before. Of a ticket handed on in lots a step is not done before
the first lot has come and all of it is worked, nor before the last has come and is worked; its own
first lot is taken to be through when all but the work behind that is done.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

import numpy as np

from service.domain.booked_time import NOTHING_BOOKED, Booked, BookedTime
from service.domain.calendar import next_working_day, opening, place_of
from service.domain.machines import Station
from service.domain.promising import Plan, StationWork
from service.domain.shop import WorkCalendar
from service.domain.station_stands import (
    PATHS,
    Floats,
    StationStands,
    row_of,
    station_stands,
)
from service.domain.timetable import timetable


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
) -> Floats:
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

    first: Floats
    last: Floats
    lots: int
    left: dict[str, Floats]

    @classmethod
    def whole(cls, come: Floats) -> _Come:
        """All of it at once."""
        return cls(come, come, 1, {})

    def after(self, wait_s: int) -> _Come:
        """When each lot has waited so long."""
        last = self.last + wait_s
        first = last if self.lots == 1 else self.first + wait_s
        return self._replace(first=first, last=last)


def quantile_of(ascending: Floats, percent: int) -> float:
    """The least value that at least so many percent of the sample do not pass."""
    return float(ascending[max(0, math.ceil(len(ascending) * percent / 100) - 1)])


class _Courses:
    """The stations that the plan needs, each with all courses of its days."""

    def __init__(self, room: Workroom, plan: Plan) -> None:
        self._room = room
        self._first = next_working_day(room.calendar, place_of(room.calendar, room.now)[0])
        self._week = timetable(room.calendar, self._first)
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
        row = row_of(f"{step.station}/{at[1]}", at[0])
        shares = [(self._index[day], seconds) for day, seconds in taken]
        if step.lots == 1:
            return _Come.whole(queue.work(shares, come.last, row))
        first = come.first if come.lots == step.lots else come.last
        first = np.maximum(first, come.left.get(step.station, first))
        first, last = queue.work_lots(shares, (first, come.last), row, step)
        return _Come(first, last, step.lots, {**come.left, step.station: last})

    def _queue(self, station: Station) -> _Queue:
        room, last = self._room, self._last[station.id]
        spread = station.spread_or(room.spread)
        stands = station_stands(room.calendar, self._first, station, room.reserve_percent, spread)
        days, booked = self._week.days(last + 1), room.booked
        times = [booked.get((station.id, day), NOTHING_BOOKED) for day in days]
        return _Queue(stands, times, last)


class _Queue:
    """One station in every course: what others booked there, and what the plan takes besides."""

    def __init__(self, stands: StationStands, booked: Sequence[BookedTime], last: int) -> None:
        self._stands, self._booked = stands, booked
        self._room = stands.room(last)
        self._mine: dict[int, Floats] = {}

    def work(self, taken: Sequence[tuple[int, int]], before: Floats, row: int) -> Floats:
        """When those shares, by index of day, are done, the step before them done at ``before``."""
        own, stretch = self._own(taken, row)
        seconds = sum(share for _, share in taken)
        room = self._room
        return room.moment(np.maximum(own, room.work_by(before) + seconds * stretch))

    def work_lots(
        self,
        taken: Sequence[tuple[int, int]],
        come: tuple[Floats, Floats],
        row: int,
        step: StationWork,
    ) -> tuple[Floats, Floats]:
        """The same of a step in lots, for its first and last lot, which come at such moments."""
        own, stretch = self._own(taken, row)
        first, last = (self._room.work_by(moment) for moment in come)
        last_lot_s = step.seconds - step.through_s(step.lots - 1)
        own = np.maximum(own, first + step.seconds * stretch)
        own = np.maximum(own, last + last_lot_s * stretch)
        behind_s = step.seconds - step.through_s(1)
        return self._room.moment(own - behind_s * stretch), self._room.moment(own)

    def _own(self, taken: Sequence[tuple[int, int]], row: int) -> tuple[Floats, Floats]:
        """Where the station stands when those shares are worked as well, and their stretch."""
        stretch = 1 + self._stands.scatter[row]
        for index, seconds in taken:
            self._mine[index] = self._mine.get(index, 0) + seconds * stretch
        return self._stands_after(taken[-1][0]), stretch

    def _stands_after(self, last: int) -> Floats:
        """Where the station stands when all of that day and before is worked."""
        first = min(self._mine)
        stands = self._stands.entering(self._booked, first)
        # Day after day: a sum over all days at once is slower, and says no more.
        for index in range(first, last + 1):
            stands = np.maximum(stands, self._room.begins[index])
            stands += self._stands.load(index, self._booked[index])
            if index in self._mine:
                stands += self._mine[index]
        return stands
