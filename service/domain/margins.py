"""What later orders may cost those that were accepted before them.

The quantile of an order's courses lies before the dispatch that it is promised for, and what lies
between is its *margin*: the time by which all of its stations may come late to it, and the courses
in which they may be later still, so that as many courses as the shop promises still end in time.
What is booked later at a station, for a day before one on which the order is worked there, may make
the station come to that day later. So an accepted order leaves its margin at each of its stations
on the day it is done there, and the least is kept by station and day. What is booked before such a
day takes from it what it delays, and is put on or behind the day where that is more than is left.
So no order's quantile passes its promise by what is accepted after it; and no order is looked up.

Time that is given back may be booked anew without a toll, until somebody is promised a later day
there without it.

On one day of a station what was accepted first is worked first (:mod:`service.domain.completion`),
so on the day itself nothing is taken. Ordinary work and rush run through rooms of their own, and
what is in the way of one may not be in the way of the other, so each has margins of its own.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np

from service.domain.booked_time import NOTHING_BOOKED, Booked, BookedDays, BookedTime
from service.domain.completion import Workroom
from service.domain.promising import PlannedBooking
from service.domain.station_stands import Floats
from service.domain.timetable import timetable


class Margin(NamedTuple):
    """How late a station may come, in seconds of its own time, and in how many courses later."""

    seconds: int
    courses: int

    def less(self, delays_s: Floats) -> Margin | None:
        """What is left once each course is delayed by so much; None where that is too much."""
        borne = delays_s <= self.seconds
        beyond = delays_s.size - int(np.count_nonzero(borne))
        if beyond > self.courses:
            return None
        most_s = math.ceil(delays_s[borne].max(initial=0.0))
        return Margin(self.seconds - most_s, self.courses - beyond)

    def and_also(self, other: Margin) -> Margin:
        """What both bear."""
        return Margin(min(self.seconds, other.seconds), min(self.courses, other.courses))


Margins = Mapping[tuple[str, bool], Mapping[date, Margin]]
"""By station and whether they are of rush, and then by day."""


@dataclass(frozen=True, slots=True)
class Toll:
    """What bookings take: the margins that are then left, and where they would take too much.

    ``refused`` tells of those stations the day before which the work may not be begun there.
    """

    left: dict[tuple[str, bool], dict[date, Margin]]
    refused: dict[str, date]


def toll(
    rooms: Mapping[bool, Workroom],
    margins: Margins,
    bookings: Sequence[PlannedBooking],
    freed: Booked,
    *,
    rush: bool,
) -> Toll:
    """What those bookings of one order take, itself ``rush`` or not.

    ``rooms`` are those of ordinary work and, by True, of rush. Where something is refused, what is
    left is told in part.
    """
    left: dict[tuple[str, bool], dict[date, Margin]] = {}
    refused: dict[str, date] = {}
    mine: dict[str, list[PlannedBooking]] = defaultdict(list)
    for booking in bookings:
        mine[booking.station].append(booking)
    for station, shares in mine.items():
        first = min(share.day for share in shares)
        for of_rush, room in rooms.items():
            # Days for which nothing is booked any more belong to nobody.
            booked = BookedDays.of(room.booked).at(station)
            after = {
                day: margin
                for day, margin in margins.get((station, of_rush), {}).items()
                if day > first and booked.get(day, NOTHING_BOOKED).seconds
            }
            if not after:
                continue
            for day, delays_s in _delays_s(room, station, shares, after, freed, rush=rush):
                rest = after[day].less(delays_s)
                if rest is None:
                    refused[station] = min(day, refused.get(station, day))
                    break
                left.setdefault((station, of_rush), {})[day] = rest
    return Toll(left, refused)


def freed_after(
    freed: Booked, bookings: Sequence[PlannedBooking], *, rush: bool
) -> dict[tuple[str, date], BookedTime]:
    """What changes of that which was given back, once an order with those bookings is accepted.

    It was promised what is booked before its own days, so there nothing more is given back.
    """
    last: dict[str, date] = {}
    for one in bookings:
        last[one.station] = max(one.day, last.get(one.station, one.day))
    changed: dict[tuple[str, date], BookedTime] = {}
    for (station, day), time in freed.items():
        if station in last and day <= last[station]:
            taken = NOTHING_BOOKED
            for one in bookings:
                if (one.station, one.day) == (station, day):
                    taken = taken.and_also(one.seconds, rush=rush)
            changed[station, day] = time.less(taken) if day == last[station] else NOTHING_BOOKED
    return changed


def _delays_s(
    room: Workroom,
    station: str,
    shares: Sequence[PlannedBooking],
    after: Mapping[date, Margin],
    freed: Booked,
    *,
    rush: bool,
) -> Iterator[tuple[date, Floats]]:
    """Which of the days ``after`` begin later in some courses, and by how much in each."""
    stands, week = room.stands(station), timetable(room.calendar, room.first_day)
    last = week.index(max(after))
    days = week.days(last + 1)
    by_day = BookedDays.of(room.booked).at(station)
    booked = [by_day.get(day, NOTHING_BOOKED) for day in days]
    more: dict[int, BookedTime] = {}
    for share in shares:
        index = week.index(share.day)
        if index < last:
            more[index] = more.get(index, booked[index]).and_also(share.seconds, rush=rush)
    if freed:
        places = [(station, day) for day in days]
        booked = [
            time.plus(freed.get(place, NOTHING_BOOKED))
            for time, place in zip(booked, places, strict=True)
        ]
        more = {index: time.at_least(booked[index]) for index, time in more.items()}
    for index, delays_s in stands.delays_s(booked, more, last):
        if days[index] in after:
            yield days[index], delays_s
