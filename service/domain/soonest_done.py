"""When what is left of a ticket is done at the soonest: everything else gives way to it.

A plan (:mod:`service.domain.promising`) puts work where others leave room. This asks what nobody
can better: every station takes the ticket up as soon as it comes, in the hours that the station
works, and goes on with nothing else. What is not done in time so, cannot be.

Of a ticket in hand nobody tells how far a station has come with it. Its work is taken to have gone
on since it came to the stations that it still needs, as long as that is to be believed: until twice
the time is over that it takes, counted from then or from what was last entered. After that it lies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from service.domain.calendar import StationHours, after_seconds
from service.domain.machines import Station
from service.domain.promising import StationWork
from service.domain.shop import WorkCalendar

_SECOND = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class InHand:
    """A ticket that is worked on.

    ``came_at`` is when its present stations got it, ``touched_at`` when anything of it was last
    entered. At the ``untouched`` stations nothing has begun yet, for that follows another state.
    """

    came_at: datetime
    touched_at: datetime
    untouched: frozenset[str]


def soonest_done(
    works: Sequence[StationWork],
    now: datetime,
    calendar: WorkCalendar,
    stations: Mapping[str, Station],
    in_hand: InHand | None = None,
) -> datetime:
    """When what is left of a ticket is done, in UTC; never before the next second.

    All machines of a station work at it, and lots are handed on, as in a plan. KeyError for an
    unknown station; :class:`~service.domain.calendar.NoWorkingDay` where one works no more.
    """
    next_second = now + _SECOND
    done = partial(_done, calendar=calendar, stations=stations)
    if in_hand is None:
        return max(next_second, done(works, now))
    # A clock that went back makes nothing begin later than now.
    going_on = done(works, min(now, in_hand.came_at))
    if now > max(done(works, going_on), done(works, in_hand.touched_at)):
        return max(next_second, done(works, now))
    to_come = [work for work in works if work.station in in_hand.untouched]
    return max(next_second, going_on, done(to_come, now))


def _done(
    works: Sequence[StationWork],
    start: datetime,
    calendar: WorkCalendar,
    stations: Mapping[str, Station],
) -> datetime:
    """When the works are done that are begun at ``start`` and kept waiting by nothing."""
    hours = StationHours(calendar)
    lots = [start]
    left: dict[str, datetime] = {}
    for work in works:
        station = stations[work.station]
        if len(lots) != work.lots:
            lots = [lots[-1]] * work.lots
        at, worked_s = left.get(work.station, start), 0
        for number, come in enumerate(lots):
            through_s = work.through_s(number + 1)
            # One after the other, so that what is rounded up is less than a second for each lot.
            lot_s = -(-(through_s - worked_s) // station.machines)
            begun = max(at, come)
            day_s = partial(hours.day_s, station)
            at = after_seconds(calendar, begun, lot_s, day_s) if lot_s else begun
            worked_s = through_s
            lots[number] = at + timedelta(seconds=work.wait_s)
        left[work.station] = at
    return lots[-1]
