"""What stations can do on each day, what is booked there, and which tickets lost their room."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from service.domain.calendar import (
    NoWorkingDay,
    StationHours,
    after_minutes,
    closed_because,
    opening,
    place_of,
)
from service.domain.machines import Station
from service.domain.shop import Catalogue, StationException

_S_PER_MIN = 60


@dataclass(frozen=True, slots=True)
class BookedShare:
    """A ticket's share of a station's day. ``place`` orders tickets as they were written.

    ``unfinished`` while the ticket still has to be worked on at the station.
    """

    station: str
    day: date
    seconds: int
    ticket: str
    order_id: str
    promised_day: date
    place: int
    unfinished: bool


@dataclass(frozen=True, slots=True)
class StationLoad:
    """A station's day in whole minutes of all its machines; ``usual_min`` without an exception.

    ``free_min`` is what plans may still take, rush with ordinary work, of the present day what is
    left of it.
    ``over_capacity_min`` is booked and does not fit. ``tickets`` counts the unfinished ones booked,
    ``due`` are those of them promised that day, and ``at_risk`` those without room: the minutes go
    to what is made already, then to the earliest promised. ``why`` tells of an exception.
    ``done_at`` is when all that is booked that day would be done, begun when the day opens and
    with nothing else booked; None at a station that the catalogue has lost, or that stands still
    for years.
    """

    station: str
    name: str
    capacity_min: int
    usual_min: int
    booked_min: int
    free_min: int
    over_capacity_min: int
    why: str
    tickets: int
    due: tuple[str, ...]
    at_risk: tuple[str, ...]
    done_at: datetime | None

    @property
    def excepted(self) -> bool:
        """Whether the calendar has an exception for the station on that day."""
        return bool(self.why)


@dataclass(frozen=True, slots=True)
class DayLoad:
    """A day's stations in the catalogue's order; ``closed`` says why it is not worked, or ''.

    ``due`` are the unfinished tickets promised that day, wherever and whenever they are booked.
    """

    day: date
    closed: str
    opens_at: datetime
    stations: tuple[StationLoad, ...]
    due: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OrderAtRisk:
    """An order and those of its tickets that have lost their room on a day."""

    order_id: str
    promised_day: date
    tickets: tuple[str, ...]


def day_loads(
    catalogue: Catalogue,
    booked_s: Mapping[tuple[str, date], int],
    shares: Iterable[BookedShare],
    *,
    due: Mapping[date, Sequence[str]],
    days: Iterable[date],
    now: datetime,
) -> tuple[DayLoad, ...]:
    """The load of all stations on those days; one that the catalogue has lost where it is booked.

    ``booked_s`` holds what is booked by station and day, whether or not its tickets are among
    ``shares``; ``due`` the unfinished tickets promised for a day.
    """
    looker = _Looker(catalogue, booked_s, shares, now)
    return tuple(looker.day(day, tuple(due.get(day, ()))) for day in days)


def orders_at_risk(
    loads: Iterable[DayLoad], shares: Iterable[BookedShare]
) -> tuple[OrderAtRisk, ...]:
    """Orders with tickets that have lost their room, the earliest promised first."""
    numbers = {number for load in loads for one in load.stations for number in one.at_risk}
    of_orders: dict[tuple[date, str], set[str]] = defaultdict(set)
    for share in shares:
        if share.ticket in numbers:
            of_orders[share.promised_day, share.order_id].add(share.ticket)
    return tuple(
        OrderAtRisk(order_id, promised_day, tuple(sorted(tickets)))
        for (promised_day, order_id), tickets in sorted(of_orders.items())
    )


class _Looker:
    def __init__(
        self,
        catalogue: Catalogue,
        booked_s: Mapping[tuple[str, date], int],
        shares: Iterable[BookedShare],
        now: datetime,
    ) -> None:
        self._catalogue = catalogue
        self._booked_s = booked_s
        self._lost: dict[date, set[str]] = defaultdict(set)
        for station, day in booked_s:
            if station not in catalogue.station_by_id:
                self._lost[day].add(station)
        self._shares: dict[tuple[str, date], list[BookedShare]] = defaultdict(list)
        for share in shares:
            self._shares[share.station, share.day].append(share)
        self._hours = StationHours(catalogue.calendar)
        self._exceptions: dict[tuple[str, date], StationException] = {
            (one.station, one.day): one for one in catalogue.calendar.station_days
        }
        self._today, self._gone_s = place_of(catalogue.calendar, now)

    def day(self, day: date, due: tuple[str, ...]) -> DayLoad:
        known = tuple(self._known(station, day) for station in self._catalogue.stations)
        lost = tuple(self._load(id_, id_, day, 0, 1) for id_ in sorted(self._lost.get(day, ())))
        calendar = self._catalogue.calendar
        closed = closed_because(calendar, day)
        return DayLoad(day, closed, opening(calendar, day), known + lost, due)

    def _known(self, station: Station, day: date) -> StationLoad:
        day_s = self._hours.day_s(station, day)
        return self._load(station.id, station.name, day, day_s, station.machines)

    def _load(self, id_: str, name: str, day: date, day_s: int, machines: int) -> StationLoad:
        booked_s, capacity_s = self._booked_s.get((id_, day), 0), day_s * machines
        shares = self._shares.get((id_, day), ())
        unfinished = sorted(
            (share for share in shares if share.unfinished),
            key=lambda share: (share.promised_day, share.place),
        )
        exception = self._exceptions.get((id_, day))
        station = self._catalogue.station_by_id.get(id_)
        usual_min = station.capacity_min if station is not None else 0
        capacity_min = capacity_s // _S_PER_MIN
        return StationLoad(
            station=id_,
            name=name,
            capacity_min=capacity_min,
            usual_min=usual_min if exception is not None else capacity_min,
            booked_min=_up(booked_s),
            free_min=max(0, min(capacity_s - booked_s, self._left_s(day, day_s) * machines))
            // _S_PER_MIN,
            over_capacity_min=_up(max(0, booked_s - capacity_s)),
            why=exception.why if exception is not None else "",
            tickets=len({share.ticket for share in unfinished}),
            due=tuple(share.ticket for share in unfinished if share.promised_day == day),
            at_risk=tuple(without_room(unfinished, booked_s, capacity_s)),
            done_at=self._done_at(station, day, booked_s),
        )

    def _left_s(self, day: date, day_s: int) -> int:
        """What of a machine's day is yet to come."""
        if day < self._today:
            return 0
        return day_s - self._gone_s if day == self._today else day_s

    def _done_at(self, station: Station | None, day: date, booked_s: int) -> datetime | None:
        if station is None or booked_s == 0:
            return None
        calendar = self._catalogue.calendar
        minutes = _up(-(-booked_s // station.machines))
        try:
            return after_minutes(
                calendar,
                opening(calendar, day),
                minutes,
                lambda each: self._hours.day_s(station, each),
            )
        except NoWorkingDay:
            return None


def without_room(
    unfinished: Sequence[BookedShare], booked_s: int, capacity_s: int
) -> Iterator[str]:
    """The tickets whose share no longer fits beside what is made and what is more urgent.

    ``unfinished`` are the shares of one station's day that may be moved, the most urgent first;
    ``booked_s`` is all that is booked that day, ``capacity_s`` what the station can do.
    """
    if booked_s <= capacity_s:
        return
    room_s = capacity_s - (booked_s - sum(share.seconds for share in unfinished))
    for share in unfinished:
        if share.seconds <= room_s:
            room_s -= share.seconds
        else:
            yield share.ticket


def _up(seconds: int) -> int:
    """Whole minutes, rounded up."""
    return -(-seconds // _S_PER_MIN)


def span(first: date, days: int) -> tuple[date, ...]:
    """So many days in a row; OverflowError past the last there is."""
    return tuple(first + timedelta(days=offset) for offset in range(days))
