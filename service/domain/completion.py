"""When planned work will really be done: many courses of the shop's present state, told by day.

What is booked at a station on a day is worked as :mod:`service.domain.station_stands` tells. A
ticket's share is worked after all that was booked on its day before it and not before its own step
before; so nothing is asked of single tickets, however many there are. What is booked later for an
earlier day may put it off, as far as :mod:`service.domain.margins` lets it. Of a ticket handed on
in lots a step is not done before the first lot has come and all of it is worked, nor before the
last has come and is worked; its own first lot is taken to be through when all but the work behind
that is done.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import NamedTuple

import numpy as np

from service.domain.booked_time import NOTHING_BOOKED, Booked, BookedDays, BookedTime
from service.domain.calendar import next_working_day, opening, place_of
from service.domain.machines import Station
from service.domain.promising import PlannedShare, ReadyDay, StationWork, days_of
from service.domain.shop import WorkCalendar
from service.domain.station_stands import (
    PATHS,
    Floats,
    Room,
    StationStands,
    row_of,
    station_stands,
)
from service.domain.timetable import timetable


@dataclass(frozen=True)
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

    @cached_property
    def first_day(self) -> date:
        """The working day from which on courses are followed."""
        return next_working_day(self.calendar, place_of(self.calendar, self.now)[0])

    def stands(self, station: str) -> StationStands:
        """Where that station stands in each course; KeyError for an unknown one."""
        known = self.stations[station]
        spread = known.spread_or(self.spread)
        first, reserve = self.first_day, self.reserve_percent
        return station_stands(self.calendar, first, known, reserve, spread)


_Turn = tuple[int, Floats, Floats, Floats]
"""A step's last day at its station, what the order takes of it up to the step, how far the step
stretches, and its time."""


class Courses:
    """An order's tickets in each course."""

    def __init__(
        self,
        room: Workroom,
        works: Sequence[Sequence[StationWork]],
        shares: Sequence[PlannedShare],
        ready_day: ReadyDay,
    ) -> None:
        """Let the stations work what is booked, and the tickets.

        ``shares`` are those of a plan of ``works`` in ``room``, in its order; no ticket is begun
        before its ready day opens.
        """
        start, days = room.start or room.now, days_of(ready_day, works)
        self._start, self._works = start.timestamp(), works
        # All courses begin at one moment, which stands for every one of them.
        self._begins = [
            np.array([max(start, opening(room.calendar, day)).timestamp()]) for day in days
        ]
        taken: dict[tuple[int, int], list[tuple[date, int]]] = defaultdict(list)
        for share in shares:
            taken[share.ticket_index, share.step_index].append((share.day, share.seconds))
        queues = _queues(room, works, shares)
        self.places: set[tuple[str, date]] = set()
        """Stations, and the day on which each is done with a step of the work."""
        turns: list[tuple[tuple[int, int], _Queue, _Turn]] = []
        # As they were planned, for that is how they take their places on a day.
        for step, mine in taken.items():
            ticket, index = step
            station = works[ticket][index].station
            queue = queues[station]
            turns.append((step, queue, queue.take(mine, row_of(f"{station}/{index}", ticket))))
            self.places.add((station, mine[-1][0]))
        self._places = {step: queue.place(*turn) for step, queue, turn in turns}

    def ends(self, late_s: float = 0.0) -> Floats:
        """When the last ticket is done in each course, in ascending seconds of the epoch.

        With ``late_s`` each station comes so much later to each share of the work, in seconds of
        its own time.
        """
        latest = np.full(PATHS, self._start)
        for ticket in range(len(self._works)):
            np.maximum(latest, self._done(ticket, late_s), out=latest)
        latest.sort()
        return latest

    def ends_of(self, ticket: int) -> Floats:
        """When that ticket alone is done, as :meth:`ends` tells of the last."""
        return np.sort(self._done(ticket, 0.0))

    def _done(self, ticket: int, late_s: float) -> Floats:
        """When it is done in each course; one moment for all where nothing is done of it."""
        come = _Come.whole(self._begins[ticket])
        for index, step in enumerate(self._works[ticket]):
            place = self._places.get((ticket, index))
            if place is not None:
                come = place.work(step, come, late_s)
            elif step.lots != come.lots:
                come = _Come.whole(come.last)
            if step.wait_s:
                come = come.after(step.wait_s)
        return come.last

    def working_s(self, start: float, end: float) -> float:
        """How long the station of the last step works between two moments; 0 without any step."""
        if not self._places:
            return 0.0
        *_, place = self._places.values()
        begun, ended = place.room.work_by(np.array([start, end]))
        return float(ended - begun) / place.machines


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
    return float(ascending[max(1, rank_of(len(ascending), percent)) - 1])


def rank_of(count: int, percent: int) -> int:
    """How many of so many that percentage is, at least."""
    return math.ceil(count * percent / 100)


def _queues(
    room: Workroom, works: Sequence[Sequence[StationWork]], shares: Sequence[PlannedShare]
) -> dict[str, _Queue]:
    """The stations that the shares need, by id, each with its days to the last of them there."""
    week = timetable(room.calendar, room.first_day)
    index = {day: week.index(day) for day in {one.day for one in shares}}
    last: dict[str, int] = {}
    for share in shares:
        station = works[share.ticket_index][share.step_index].station
        last[station] = max(index[share.day], last.get(station, 0))
    found = {}
    for station, end in last.items():
        by_day = BookedDays.of(room.booked).at(station)
        times = [by_day.get(day, NOTHING_BOOKED) for day in week.days(end + 1)]
        found[station] = _Queue(room.stands(station), times, index, room.stations[station].machines)
    return found


class _Queue:
    """One station in every course: what others booked there, and what the plan takes besides."""

    def __init__(
        self,
        stands: StationStands,
        booked: Sequence[BookedTime],
        index: Mapping[date, int],
        machines: int,
    ) -> None:
        self._stands, self._booked, self._index, self._machines = stands, booked, index, machines
        self._room = stands.room(len(booked) - 1)
        self._mine: dict[int, Floats] = {}

    def take(self, taken: Sequence[tuple[date, int]], row: int) -> _Turn:
        """Work those shares of a step as well, after those taken before on their days.

        Gives what :meth:`place` asks for.
        """
        stretch = 1 + self._stands.scatter[row]
        for day, seconds in taken:
            index = self._index[day]
            self._mine[index] = self._mine.get(index, 0) + seconds * stretch
        takes = sum(seconds for _, seconds in taken) * stretch
        last = self._index[taken[-1][0]]
        return last, self._mine[last], stretch, takes

    def place(self, last: int, mine_then: Floats, stretch: Floats, takes: Floats) -> _Place:
        """Where a step that was taken comes to stand, when all have been taken."""
        own = self._stands_after(last, mine_then)
        return _Place(self._room, own, stretch, takes, self._machines)

    def _stands_after(self, last: int, mine_then: Floats) -> Floats:
        """Where the station stands when all before that day is worked, and so much of mine then."""
        first = min(self._mine)
        stands = self._stands.entering(self._booked, first)
        # Day after day: a sum over all days at once is slower, and says no more.
        for index in range(first, last + 1):
            stands = np.maximum(stands, self._room.begins[index])
            stands += self._stands.load(index, self._booked[index])
            if index == last:
                stands += mine_then
            elif index in self._mine:
                stands += self._mine[index]
        return stands


class _Place(NamedTuple):
    """A step's place at its station: where that stands with it, how far it stretches, its time."""

    room: Room
    own: Floats
    stretch: Floats
    takes: Floats
    machines: int

    def work(self, step: StationWork, come: _Come, late_s: float) -> _Come:
        """When the lots of the step are through, the station so late with its own order of work."""
        own = self.own + late_s * self.machines if late_s else self.own
        if step.lots == 1:
            own = np.maximum(own, self.room.work_by(come.last) + self.takes)
            return _Come.whole(self.room.moment(own))
        begun = come.first if come.lots == step.lots else come.last
        if step.station in come.left:
            begun = np.maximum(begun, come.left[step.station])
        last = self.room.work_by(come.last)
        first = last if begun is come.last else self.room.work_by(begun)
        last_lot_s = step.seconds - step.through_s(step.lots - 1)
        own = np.maximum(own, first + step.seconds * self.stretch)
        own = np.maximum(own, last + last_lot_s * self.stretch)
        behind_s = step.seconds - step.through_s(1)
        done = self.room.moment(own)
        through = self.room.moment(own - behind_s * self.stretch)
        return _Come(through, done, step.lots, {**come.left, step.station: done})
