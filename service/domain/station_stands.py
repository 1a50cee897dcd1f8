"""Where a station stands at the end of each of its days, in many courses of what is booked there.

Real minutes scatter about the standard ones. In each of :data:`PATHS` courses what is booked at a
station on a day takes

    booked + spread * z * sqrt(sum of the squares of its shares)

seconds, where ``z`` is a lognormal of mean 0 and deviation 1 (mean and variance are exactly those
of independent lognormal shares of that spread, the skew that of one share, so that few shares are
told exactly and many a little too skewed). What does not fit into its day goes on the next working
day, before what is booked there: for the seconds of work ``W`` and the room ``C`` of each day,

    done(d) = max(done(d - 1), C(1) + ... + C(d - 1)) + W(d)

is where the station stands after day ``d`` (Lindley, Proc. Cambridge Phil. Soc. 48, 1952, from
memory).

The courses are drawn once: equal arguments give equal answers, and more booked work makes no
course end earlier, for a day's seconds grow with every share in each course (``spread * z`` is
above -1, and the root of a sum of squares grows by no more than what is added).
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from functools import lru_cache
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.domain.booked_time import (
    NOTHING_BOOKED,
    BookedTime,
    ordinary_s,
    ordinary_squares_s2,
    reserved_s,
)
from service.domain.machines import Station
from service.domain.memo import Same
from service.domain.promising import HORIZON_DAYS
from service.domain.shop import WorkCalendar
from service.domain.timetable import Timetable, timetable

PATHS = 500
"""Courses that are followed."""

_ROWS = 256
"""Rows of drawn numbers; station days and steps take theirs by name."""

_APART = 7_919
_SEED = 20_000
_DAYS_BEYOND = 15
"""Days on which a station works that are looked at beyond its last in the plan; a course that has
not ended by then is taken to end as the last of them closes."""

_DAYS_AT_ONCE = 64
"""Days are laid out by so many, so that few layouts are kept."""

Floats = NDArray[np.float64]


class Room(NamedTuple):
    """A station's days in a row. Work is counted from the first one's opening, in seconds of room.

    ``begins`` is the room before each day. Between the ``clock``'s points, openings and closings in
    seconds of the epoch, so much as ``worked`` could be done; work up to ``points`` is done at
    ``moments``.
    """

    begins: Floats
    clock: Floats
    worked: Floats
    points: Floats
    moments: Floats

    @classmethod
    def of(cls, opens: Floats, hours: Floats, room_s: Floats) -> Room:
        """Of days that open then, are worked so many seconds, and have so much room."""
        ends = np.cumsum(room_s)
        begins = ends - room_s
        # A day of the clock change may be shorter than its hours.
        closes = np.minimum(opens + hours, np.append(opens[1:], np.inf))
        in_use = room_s > 0
        in_use[-1] |= not in_use.any()
        # Work that a day just has room for is done as it closes, a hair more the next morning.
        first = np.nextafter(begins, np.inf)
        return cls(
            begins,
            _in_turn(opens, closes),
            _in_turn(begins, ends),
            _in_turn(first[in_use], ends[in_use]),
            _in_turn(opens[in_use], (opens + hours)[in_use]),
        )

    def moment(self, work: Floats) -> Floats:
        """When so much work is done; what the days have no room for, as the last one closes."""
        return np.interp(work, self.points, self.moments)

    def work_by(self, moment: Floats) -> Floats:
        """How much work could be done by then."""
        return np.interp(moment, self.clock, self.worked)


def _in_turn(one: Floats, other: Floats) -> Floats:
    """The first of each, the second of each, and so on."""
    return np.stack((one, other), axis=1).ravel()


class StationStands:
    """All courses of one station; asked again, it goes on from the first day that changed.

    ``reserve_percent`` of each day's room is kept from the work that is looked at.
    """

    def __init__(
        self, week: Timetable, station: Station, reserve_percent: int, spread: float
    ) -> None:
        """Use :func:`station_stands`."""
        self.scatter = _scatter(spread)
        self._week, self._station, self._reserve_percent = week, station, reserve_percent
        self._row = zlib.crc32(station.id.encode())
        # Each is only ever replaced whole, so that threads need not wait for each other: what room
        # there is before each day with what is kept of it, how many days are laid out for a last
        # one, what was last asked with where the station stood then, and what each day took.
        self._days = self._days_of(_DAYS_BEYOND)
        self._counts: dict[int, int] = {}
        self._rooms: dict[int, Room] = {}
        self._known: tuple[Sequence[BookedTime], list[Floats]] = (), []
        self._loads: dict[int, tuple[BookedTime, Floats]] = {}

    def room(self, last: int) -> Room:
        """Its days to that one and as far beyond as a course is followed."""
        count = self._counts.get(last)
        if count is None:
            enough = self._count_beyond(last)
            count = -(-enough // _DAYS_AT_ONCE) * _DAYS_AT_ONCE
            count = self._counts[last] = count if self._week.has(count) else enough
        room = self._rooms.get(count)
        if room is None:
            hours, room_s, _ = self._hours(count)
            opens = np.array(self._week.opens(count))
            room = self._rooms[count] = Room.of(opens, hours, room_s)
        return room

    def load(self, index: int, booked: BookedTime) -> Floats:
        """Seconds that what is booked on the day of that index takes in each course.

        The answer is kept with the day, and not to be changed.
        """
        known, loads = self._loads.get(index, _NO_LOAD)
        if known != booked:
            loads = self._load(index, booked)
            self._loads[index] = booked, loads
        return loads

    def _load(self, index: int, booked: BookedTime) -> Floats:
        day, kept_s = self._week.day(index), self._first_days(index + 1)[1][index]
        row = self.scatter[(self._row + day.toordinal() * _APART) % _ROWS]
        loads: Floats = row * math.sqrt(ordinary_squares_s2(booked, kept_s))
        loads += ordinary_s(booked, kept_s)
        return loads

    def entering(self, booked: Sequence[BookedTime], index: int) -> Floats:
        """Where it stands when all before the day of that index is worked, of what is booked.

        ``booked`` tells at least those days. The answer is not to be changed.
        """
        return self._stands(booked, index)[index - 1] if index else _NOTHING

    def _stands(self, booked: Sequence[BookedTime], count: int) -> list[Floats]:
        """Where it stands at the end of each of the first days, at least so many."""
        known, stands = self._known
        same = _alike(known, booked, count)
        if same < count:
            stands, begins = stands[:same], self._first_days(count)[0]
            before = stands[-1] if stands else _NOTHING
            for day in range(same, count):
                before = np.maximum(before, begins[day])
                before += self.load(day, booked[day])
                stands.append(before)
            self._known = booked[:count], stands
        return stands

    def delays_s(
        self, booked: Sequence[BookedTime], more: Mapping[int, BookedTime], last: int
    ) -> Iterator[tuple[int, Floats]]:
        """Which days, to that one, begin later with more booked, and by how much in each course.

        ``more`` tells by index of day what is booked there then; ``booked`` tells all those days.
        Told are seconds of the station's own time.
        """
        if not more:
            return
        begins, without = self._first_days(last + 1)[0], self._stands(booked, last)
        index, ends = min(more), max(more)
        stands = np.maximum(self.entering(booked, index), begins[index])
        while index < last:
            if index in more:
                stands += self._load(index, more[index])
            else:
                stands += self.load(index, booked[index])
            index += 1
            np.maximum(stands, begins[index], out=stands)
            delays_s = stands - np.maximum(without[index - 1], begins[index])
            if np.count_nonzero(delays_s):
                yield index, delays_s / self._station.machines
            elif index > ends:
                return

    def _count_beyond(self, last: int) -> int:
        """Its days to that one, and so many more that it works on enough of them."""
        count = last + 1 + _DAYS_BEYOND
        hours = self._week.hours(self._station, count)
        while sum(day_s > 0 for day_s in hours[last + 1 :]) < _DAYS_BEYOND:
            if count > HORIZON_DAYS + _DAYS_BEYOND:
                break
            count += _DAYS_BEYOND
            hours = self._week.hours(self._station, count)
        return count

    def _first_days(self, count: int) -> tuple[Floats, list[int]]:
        days = self._days
        if len(days[1]) < count:
            days = self._days = self._days_of(count + _DAYS_BEYOND)
        return days

    def _days_of(self, count: int) -> tuple[Floats, list[int]]:
        _, room_s, kept_s = self._hours(count)
        return np.cumsum(room_s) - room_s, kept_s

    def _hours(self, count: int) -> tuple[Floats, Floats, list[int]]:
        """Seconds that it works on each of so many days, their room, and what of it is kept."""
        hours_s = self._week.hours(self._station, count)
        full_s = [day_s * self._station.machines for day_s in hours_s]
        kept_s = [reserved_s(one, self._reserve_percent) for one in full_s]
        room_s = np.array(full_s, np.float64) - kept_s
        return np.array(hours_s, np.float64), room_s, kept_s


def station_stands(
    calendar: WorkCalendar, first: date, station: Station, reserve_percent: int, spread: float
) -> StationStands:
    """The courses of a station from that working day on, which know what they were asked last."""
    return _station_stands(Same(calendar), first, Same(station), reserve_percent, spread)


def row_of(name: str, place: int) -> int:
    """The row of drawn numbers for what has that name, at that place among its like."""
    return (zlib.crc32(name.encode()) + place * _APART) % _ROWS


_NOTHING: Floats = np.zeros(PATHS)
_NOTHING.setflags(write=False)
_NO_LOAD: tuple[BookedTime, Floats] = NOTHING_BOOKED, _NOTHING


def _alike(known: Sequence[BookedTime], booked: Sequence[BookedTime], most: int) -> int:
    """How many of the first days have the same booked in both."""
    if known[:most] == booked[:most]:
        return min(len(known), most)
    pairs = zip(known[:most], booked, strict=False)
    return next(
        (at for at, (one, other) in enumerate(pairs) if one != other), min(len(known), most)
    )


@lru_cache(maxsize=32)
def _station_stands(
    calendar: Same[WorkCalendar],
    first: date,
    station: Same[Station],
    reserve_percent: int,
    spread: float,
) -> StationStands:
    return StationStands(timetable(calendar.it, first), station.it, reserve_percent, spread)


@lru_cache(maxsize=1)
def _normals() -> Floats:
    """Rows of standard normal numbers: in each the same quantiles, in another order."""
    normal = NormalDist()
    row = np.array([normal.inv_cdf((index + 0.5) / PATHS) for index in range(PATHS)])
    generator = np.random.default_rng(_SEED)
    return np.stack([generator.permutation(row) for _ in range(_ROWS)])


@lru_cache(maxsize=256)
def _scatter(spread: float) -> Floats:
    """Rows of how far a share of that spread is off its mean of 1; all above -1."""
    sigma = math.sqrt(math.log1p(spread * spread))
    drawn: Floats = np.exp(sigma * _normals() - sigma * sigma / 2)
    drawn /= drawn.mean(axis=1, keepdims=True)
    return drawn - 1
