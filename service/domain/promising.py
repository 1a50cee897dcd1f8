"""The day an order can be done: forward through finite station time, as its material is there.

Time is kept in buckets of one station and one working day. A ticket's work at a station begins no
earlier than its work at the station before has ended; it may begin on the same day as long as
what the ticket itself takes in a row fits into that day. A ticket that is handed on in lots
(:func:`station_works`) is worked on lot by lot: a station takes up each as it comes, and only what
it works is booked. Work that does not fit goes on the next working day. What is booked already is
never moved and no bucket is ever filled above its capacity, by ordinary work not beyond what rush
leaves it (:mod:`service.domain.booked_time`).
Unattended time runs on by the clock, nights and closures too; it is taken to begin when all that is
booked at its station that day is done, and where it ends after hours or on a closed day the work
goes on with the next working day. What really happens scatters about such a plan:
:mod:`service.domain.capable_to_promise` makes a promise of it.

Days are dates in the shop's own zone, and begin when it opens. A station's bucket is what its
machines work that day, exceptions of the calendar included. Of the present day only what comes
after now counts; what is booked that day is taken to be worked first, from the opening on.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from service.domain.booked_time import (
    NOTHING_BOOKED,
    Booked,
    BookedDays,
    ordinary_s,
    reserved_s,
)
from service.domain.calendar import add_working_days, first_work_day, next_working_day
from service.domain.machines import Station
from service.domain.memo import Same
from service.domain.methods import OperationKind
from service.domain.shop import Catalogue, WorkCalendar
from service.domain.timetable import timetable
from service.domain.work import LineWork
from service.domain.work_hours import AT_ONCE, Moment, WorkHours

HORIZON_DAYS = 400
"""Working days looked ahead before a plan is given up."""

MOST_LOTS = 40
"""A ticket is handed on in no more lots; those of a larger ticket are larger."""

_S_PER_MIN = 60
_S_PER_HOUR = 3_600

ReadyDay = date | Sequence[date]
"""The day before which no ticket is begun, or such a day for each of them."""


class HorizonExceeded(Exception):
    """The work does not fit into the working days looked ahead; ``station`` is where it stuck."""

    def __init__(self, station: str) -> None:
        """Keep the id of the station whose days ran out."""
        super().__init__(f"station '{station}' is full for {HORIZON_DAYS} working days")
        self.station = station


@dataclass(frozen=True, slots=True)
class StationWork:
    """Attended ``seconds`` at a station, then ``wait_s`` unattended seconds, as for drying.

    The pieces come and are handed on in so many ``lots``, all alike, each with a wait of its own.
    ``setup_s`` of the seconds come before the first lot is begun; without lots they are not told.
    """

    station: str
    seconds: int
    wait_s: int = 0
    lots: int = 1
    setup_s: int = 0

    def through_s(self, lots: int) -> int:
        """Attended seconds until so many lots, from 1 on, are through."""
        return self.setup_s - (self.setup_s - self.seconds) * lots // self.lots

    def left(self, seconds: int) -> StationWork:
        """The same with so many seconds of it left."""
        setup_s = self.setup_s * seconds // self.seconds if self.seconds else 0
        return StationWork(self.station, seconds, self.wait_s, self.lots, setup_s)

    def written(self) -> list[str | int]:
        """As it is kept: what it is made of, in order, without lots where there is but one."""
        whole: list[str | int] = [self.station, self.seconds, self.wait_s]
        return whole if self.lots == 1 else [*whole, self.lots, self.setup_s]


class PlannedBooking(NamedTuple):
    """A ticket's share of a station's day; one for each ticket, station and day."""

    ticket_index: int
    station: str
    day: date
    seconds: int


class PlannedShare(NamedTuple):
    """What one step of a ticket takes of a day, by the indexes of ticket and step."""

    ticket_index: int
    step_index: int
    day: date
    seconds: int


@dataclass(frozen=True, slots=True)
class Plan:
    """When the tickets are worked on. Bookings are sorted by ticket, day and station.

    ``shares`` tell the same step by step, as they were planned. ``done_days`` holds the day each
    ticket is done, ``done_day`` the last of them. ``bottlenecks`` are the stations at which each
    loses most working days, or spends most time where it loses none; empty when there is no work.
    """

    bookings: tuple[PlannedBooking, ...]
    shares: tuple[PlannedShare, ...]
    first_day: date
    done_days: tuple[date, ...]
    done_day: date
    bottlenecks: tuple[str, ...]

    @property
    def bottleneck(self) -> str:
        """That of the ticket that is done last; empty without any."""
        last = zip(self.done_days, self.bottlenecks, strict=True)
        return next((name for day, name in last if day == self.done_day), "")


@dataclass(frozen=True, slots=True)
class MaterialDay:
    """The day all material is in the house; ``waits_for`` names the slowest, empty if none.

    ``of_tickets`` tells it of each ticket of an order; empty where they all wait for that day.
    """

    day: date
    waits_for: str
    of_tickets: tuple[MaterialDay, ...] = ()

    @classmethod
    def of_order(cls, tickets: Sequence[MaterialDay]) -> MaterialDay:
        """That of an order with those tickets, one at least."""
        last = max(tickets, key=lambda one: (one.day, one.waits_for))
        alike = all(one.day == last.day for one in tickets)
        return last if alike else cls(last.day, last.waits_for, tuple(tickets))

    @property
    def ready_day(self) -> ReadyDay:
        """The days before which tickets are not begun."""
        return tuple(one.day for one in self.of_tickets) if self.of_tickets else self.day

    def of_ticket(self, index: int) -> MaterialDay:
        """What the ticket of that index waits for."""
        return self.of_tickets[index] if self.of_tickets else self


def station_works(
    work: LineWork, hold_h: int = 0, transfer_pieces: int = 0
) -> tuple[StationWork, ...]:
    """A line's work in station order; neighbours at one station with no wait between are one.

    With ``hold_h`` a first piece is pressed and held so many hours before the rest is. With
    ``transfer_pieces`` stations hand on lots of no more pieces than that, as far as
    :data:`MOST_LOTS` are enough; 0 hands on whole tickets. What is set up anew then stands apart.
    """
    joined: list[StationWork] = []
    for step in _steps(work, hold_h, _lots(work.starts, transfer_pieces)):
        last = joined[-1] if joined else None
        if last is not None and _is_one(last, step):
            seconds = last.seconds + step.seconds
            joined[-1] = replace(last, seconds=seconds, wait_s=step.wait_s)
        else:
            joined.append(step)
    return tuple(step for step in joined if step.seconds or step.wait_s)


def _is_one(last: StationWork, step: StationWork) -> bool:
    """Whether a station goes on from one work to the next piece by piece, or has them whole."""
    alike = (last.station, last.lots) == (step.station, step.lots)
    return alike and not last.wait_s and not step.setup_s


def _lots(pieces: int, transfer_pieces: int) -> int:
    """In how many lots of at most so many pieces a ticket is handed on; 0 hands it on whole."""
    return min(MOST_LOTS, -(-pieces // transfer_pieces)) if transfer_pieces and pieces else 1


def _steps(work: LineWork, hold_h: int, lots: int) -> Iterator[StationWork]:
    held = hold_h == 0
    for operation in work.operations:
        minutes, setup_min = operation.minutes, operation.setup_min + operation.run_setup_min
        if not held and operation.kind is OperationKind.PRESS:
            held = True
            rest = operation.run_min + operation.machine_min
            first = minutes - rest + rest / operation.starts
            sample_s = math.ceil(first * _S_PER_MIN)
            yield StationWork(operation.station, sample_s, hold_h * _S_PER_HOUR)
            minutes, setup_min = minutes - first, Decimal(0)
        yield StationWork(
            operation.station,
            math.ceil(minutes * _S_PER_MIN),
            operation.wait_min * _S_PER_MIN,
            lots,
            math.floor(setup_min * _S_PER_MIN) if lots > 1 else 0,
        )


def material_ready_day(
    catalogue: Catalogue, works: Sequence[LineWork], now: datetime
) -> MaterialDay:
    """The day blanks and media of all lines are there: everything is bought in for the order.

    Garments the customer brings are taken to be there. The rule where no stock is looked at.
    """
    leads = {(0, "")}
    for work in works:
        if work.blank_id is not None:
            blank = catalogue.blank_by_id[work.blank_id]
            leads.add((blank.supplier_lead_days, blank.name))
        media = (catalogue.medium_by_id[use.medium] for use in work.media)
        leads.update((medium.supplier_lead_days, medium.name) for medium in media)
    days, name = max(leads, key=lambda lead: (lead[0], lead[1]))
    first = first_work_day(catalogue.calendar, now)
    return MaterialDay(add_working_days(catalogue.calendar, first, days), name if days else "")


def days_of(ready_day: ReadyDay, works: Sequence[Sequence[StationWork]]) -> Sequence[date]:
    """The ready day of each ticket."""
    return [ready_day] * len(works) if isinstance(ready_day, date) else ready_day


def plan_work(
    works: Sequence[Sequence[StationWork]],
    *,
    ready_day: ReadyDay,
    calendar: WorkCalendar,
    stations: Mapping[str, Station],
    booked: Booked,
    now: datetime | None = None,
    reserve_percent: int = 0,
    not_before: Mapping[str, date] = MappingProxyType({}),
) -> Plan:
    """Plan each ticket's station works, ticket after ticket, none before ``now``.

    Nor is a ticket begun before its ready day. ``reserve_percent`` of every day is kept for rush; 0
    plans rush itself. More that is booked, a ticket planned before, a later ``now`` or ready day,
    another closed day or a shorter one never makes a ticket done earlier than it would be alone,
    nor do lots make it done later than a whole ticket is. Among several tickets planned together
    one held up may leave another a place it would not have had. Without ``now`` every day counts in
    full. ``not_before`` names stations at which nothing is begun before a day.
    Equal arguments give equal plans. KeyError for an unknown station, :class:`HorizonExceeded`
    when the days run out, :class:`~service.domain.calendar.NoWorkingDay` when there are none.
    """
    hours = WorkHours(calendar, now)
    days = _Days(calendar, hours.today, ready_day)
    planner = _Planner(days, hours, stations, BookedDays.of(booked), reserve_percent, not_before)
    tracks = [planner.run(index, steps, days.begin(index)) for index, steps in enumerate(works)]
    first = days.at(0, "")
    done_days = tuple(days.at(track.end.day_index, "") for track in tracks)
    return Plan(
        bookings=planner.bookings(),
        shares=planner.shares(),
        first_day=min((day for _, _, day in planner.shares_s), default=first),
        done_days=done_days,
        done_day=max(done_days, default=first),
        bottlenecks=tuple(track.bottleneck() for track in tracks),
    )


class _Days:
    """Working days from the first on which a ticket is ready, as far as is planned ahead.

    That is so far beyond the last on which one is.
    """

    def __init__(self, calendar: WorkCalendar, today: date, ready_day: ReadyDay) -> None:
        """Of tickets that are ready then, but none before ``today``."""
        first = max(today, ready_day if isinstance(ready_day, date) else min(ready_day))
        self.calendar = calendar
        self._week = timetable(calendar, next_working_day(calendar, first))
        self._begins: Sequence[Moment] = ()
        self._count = HORIZON_DAYS
        if not isinstance(ready_day, date):
            days = [next_working_day(calendar, max(first, day)) for day in ready_day]
            self._begins = [Moment(self._week.index(day), 0) for day in days]
            self._count += max(self._begins).day_index

    def begin(self, ticket: int) -> Moment:
        """When that ticket may be begun."""
        return self._begins[ticket] if self._begins else AT_ONCE

    def at(self, index: int, station: str) -> date:
        """The working day of that index; HorizonExceeded, naming ``station``, past the last."""
        if index >= self._count:
            raise HorizonExceeded(station)
        return self._week.day(index)

    def index(self, day: date) -> int:
        """The place of a working day among them."""
        return self._week.index(day)

    def worked(self, index: int, station: Station) -> Sequence[tuple[date, int]]:
        """The first days to that one at least, and seconds that the station works on each."""
        if index >= self._count:
            raise HorizonExceeded(station.id)
        return self._week.worked(station, index + 1)[: self._count]

    def from_day(self, index: int, day: date, station: str) -> tuple[int, bool]:
        """Index, from ``index`` on, of the first working day on or after ``day``; True if on it."""
        while self.at(index, station) < day:
            index += 1
        return index, self.at(index, station) == day


@dataclass(slots=True)
class _Track:
    """How one ticket went: where it ended, and days and seconds by station."""

    end: Moment
    spent: dict[str, tuple[int, int]] = field(default_factory=dict)

    def add(self, station: str, days: int, seconds: int, end: Moment) -> None:
        """Note a step that took so many working days and seconds and ended at ``end``."""
        days_before, seconds_before = self.spent.get(station, (0, 0))
        self.spent[station] = (days_before + days, seconds_before + seconds)
        self.end = end

    def bottleneck(self) -> str:
        """The station with most days, then most seconds, the earlier of equals."""
        return max(self.spent, key=lambda station: self.spent[station], default="")


class _StationDays:
    """A station's days by index: what others leave of them, and what the plan has taken.

    Each day is looked up once. Seconds are those of all its machines but for :meth:`worked`.
    """

    def __init__(
        self, station: Station, days: _Days, booked: BookedDays, reserve_percent: int
    ) -> None:
        self.station = station
        self.taken_s: defaultdict[int, int] = defaultdict(int)
        self._days, self._booked, self._reserve_percent = days, booked, reserve_percent
        self._by_day = booked.at(station.id)
        self._room = Same(station), Same(days.calendar), reserve_percent
        self._worked: Sequence[tuple[date, int]] = ()
        self._left_s: dict[int, int] = {}

    def worked(self, index: int) -> tuple[date, int]:
        """That day, and seconds of the clock that it works then."""
        if index >= len(self._worked):
            self._worked = self._days.worked(index, self.station)
        return self._worked[index]

    def left_s(self, index: int) -> int:
        """What others leave of that day; none or less if it is full."""
        left_s = self._left_s.get(index)
        if left_s is None:
            day, day_s = self.worked(index)
            capacity_s = day_s * self.station.machines
            kept_s = reserved_s(capacity_s, self._reserve_percent)
            booked = self._by_day.get(day, NOTHING_BOOKED)
            left_s = self._left_s[index] = capacity_s - kept_s - ordinary_s(booked, kept_s)
        return left_s

    def first_free(self, index: int) -> int:
        """The first day from that one on that is not full; HorizonExceeded if there is none."""
        day, _ = self.worked(index)
        # Most days are full where much is promised, and they stay so.
        known = self._booked.full_until(self._room, day)
        free = index if known == day else self._days.index(known)
        while self.left_s(free) <= 0:
            free += 1
        if free > index:
            self._booked.note_full(self._room, day, self.worked(free)[0])
        return free

    def all_taken_s(self, index: int) -> int:
        """What is taken of that day by others and by the plan."""
        day, _ = self.worked(index)
        return self._by_day.get(day, NOTHING_BOOKED).seconds + self.taken_s[index]


class _Planner:
    """Fills station days; knows what was booked before and what it has taken itself."""

    def __init__(
        self,
        days: _Days,
        hours: WorkHours,
        stations: Mapping[str, Station],
        booked: BookedDays,
        reserve_percent: int,
        not_before: Mapping[str, date],
    ) -> None:
        self.days = days
        self.shares_s: defaultdict[tuple[int, int, date], int] = defaultdict(int)
        self._bookings_s: defaultdict[tuple[int, date, str], int] = defaultdict(int)
        self._hours = hours
        self._not_before = not_before
        self._station = cache(
            lambda name: _StationDays(stations[name], days, booked, reserve_percent)
        )

    def run(self, ticket: int, steps: Sequence[StationWork], begin: Moment) -> _Track:
        """Plan one ticket's steps in order, from ``begin`` on."""
        track = _Track(begin)
        lots: list[Moment] = []
        left: dict[str, Moment] = {}
        for index, step in enumerate(steps):
            if len(lots) != step.lots:
                lots = [track.end] * step.lots
            there, worked_s = self._station(step.station), 0
            machines = there.station.machines
            # What it did for the ticket before is over before it begins with something else.
            at = left.get(step.station, AT_ONCE)
            for number, (day, into_s) in enumerate(lots):
                through_s = step.through_s(number + 1)
                come = max(at, Moment(day, into_s * machines))
                at = self._work((ticket, index), there, through_s - worked_s, come)
                worked_s = through_s
                over = Moment(at.day_index, -(-at.into_day_s // machines))
                lots[number] = self._wait(there, over, step.wait_s) if step.wait_s else over
            left[step.station], end = at, lots[-1]
            track.add(step.station, end.day_index - track.end.day_index, step.seconds, end)
        return track

    def bookings(self) -> tuple[PlannedBooking, ...]:
        """Everything taken, sorted by ticket, day and station."""
        return tuple(
            PlannedBooking(ticket, station, day, seconds)
            for (ticket, day, station), seconds in sorted(self._bookings_s.items())
        )

    def shares(self) -> tuple[PlannedShare, ...]:
        """The same step by step, as it was taken."""
        return tuple(PlannedShare(*place, seconds) for place, seconds in self.shares_s.items())

    def _work(self, place: tuple[int, int], there: _StationDays, left_s: int, at: Moment) -> Moment:
        """Work so long from ``at`` on; both moments in seconds of all machines."""
        name, machines = there.station.id, there.station.machines
        if left_s and name in self._not_before:
            index, _ = self.days.from_day(at.day_index, self._not_before[name], name)
            at = max(at, Moment(index, 0))
        while left_s > 0:
            index = there.first_free(at.day_index)
            day, day_s = there.worked(index)
            gone_s = self._hours.gone_s(day)
            into_s = max(at.into_day_s if index == at.day_index else 0, gone_s * machines)
            free_s = min(there.left_s(index), (day_s - gone_s) * machines) - there.taken_s[index]
            room_s = min(left_s, free_s, day_s * machines - into_s)
            if room_s > 0:
                there.taken_s[index] += room_s
                self.shares_s[*place, day] += room_s
                self._bookings_s[place[0], day, name] += room_s
                left_s -= room_s
                at = Moment(index, into_s + room_s)
            if left_s > 0:
                at = Moment(index + 1, 0)
        return at

    def _wait(self, there: _StationDays, at: Moment, wait_s: int) -> Moment:
        """Let unattended time run from when the station is done that day, at the latest."""
        station, (day, _) = there.station, there.worked(at.day_index)
        queue_s = math.ceil(there.all_taken_s(at.day_index) / station.machines)
        from_s = max(queue_s, at.into_day_s, self._hours.gone_s(day))
        ends, into_s = self._hours.wait(station, day, from_s, wait_s)
        index, on_the_day = self.days.from_day(at.day_index, ends, station.id)
        return Moment(index, into_s if on_the_day else 0)
