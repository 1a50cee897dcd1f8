"""The day an order can be done: forward through finite station time, after its material is there.

Time is kept in buckets of one station and one working day. A ticket's work at a station begins no
earlier than its work at the station before has ended; it may begin on the same day as long as
what the ticket itself takes in a row fits into that day. Work that does not fit goes on the next
working day. What is booked already is never moved and no bucket is ever filled above its
capacity. Unattended time runs on by the clock, nights and closures too; it is taken to begin when
all that is booked at its station that day is done, and where it ends after hours or on a closed
day the work goes on with the next working day. A later version that looks at times within the
day, or at the spread of what really happens, can answer in the same terms.

Days are dates in the shop's own zone, and begin when it opens. A station's bucket is what its
machines work that day, exceptions of the calendar included. Of the present day only what comes
after now counts; what is booked that day is taken to be worked first, from the opening on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from service.domain.calendar import (
    StationHours,
    add_working_days,
    first_work_day,
    next_working_day,
    opening,
    place_of,
    working_days_between,
)
from service.domain.machines import Station
from service.domain.shop import Catalogue, WorkCalendar
from service.domain.work import LineWork

HORIZON_DAYS = 400
"""Working days looked ahead before a plan is given up."""

_S_PER_MIN = 60


class HorizonExceeded(Exception):
    """The work does not fit into the working days looked ahead; ``station`` is where it stuck."""

    def __init__(self, station: str) -> None:
        """Keep the id of the station whose days ran out."""
        super().__init__(f"station '{station}' is full for {HORIZON_DAYS} working days")
        self.station = station


@dataclass(frozen=True, slots=True)
class StationWork:
    """Attended ``seconds`` at a station, then ``wait_s`` unattended seconds, as for drying."""

    station: str
    seconds: int
    wait_s: int = 0


@dataclass(frozen=True, slots=True)
class PlannedBooking:
    """A ticket's share of a station's day; one for each ticket, station and day."""

    ticket_index: int
    station: str
    day: date
    seconds: int


@dataclass(frozen=True, slots=True)
class Plan:
    """When the tickets are worked on. Bookings are sorted by ticket, day and station.

    ``done_days`` holds the day each ticket is done, ``done_day`` the last of them. ``bottleneck``
    is the station at which the last ticket loses most working days, or spends most time where it
    loses none; empty when there is no work.
    """

    bookings: tuple[PlannedBooking, ...]
    first_day: date
    done_days: tuple[date, ...]
    done_day: date
    bottleneck: str


@dataclass(frozen=True, slots=True)
class MaterialDay:
    """The day all material is in the house; ``waits_for`` names the slowest, empty if none."""

    day: date
    waits_for: str


@dataclass(frozen=True, slots=True)
class Promise:
    """The day an order leaves, the plan that holds it, and what decided it in words."""

    promised_day: date
    plan: Plan
    material: MaterialDay
    reason: str


def station_works(work: LineWork) -> tuple[StationWork, ...]:
    """A line's work in station order; neighbours at one station with no wait between are one."""
    joined: list[StationWork] = []
    for operation in work.operations:
        seconds = math.ceil(operation.minutes * _S_PER_MIN)
        wait_s = operation.wait_min * _S_PER_MIN
        last = joined[-1] if joined else None
        if last is not None and last.station == operation.station and not last.wait_s:
            joined[-1] = StationWork(last.station, last.seconds + seconds, wait_s)
        else:
            joined.append(StationWork(operation.station, seconds, wait_s))
    return tuple(step for step in joined if step.seconds or step.wait_s)


def material_ready_day(
    catalogue: Catalogue, works: Sequence[LineWork], now: datetime
) -> MaterialDay:
    """The day blanks and media of all lines are there: everything is bought in for the order.

    Garments the customer brings are taken to be there. A stock ledger can take this rule's place.
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


def plan_work(
    works: Sequence[Sequence[StationWork]],
    *,
    ready_day: date,
    calendar: WorkCalendar,
    stations: Mapping[str, Station],
    booked_s: Mapping[tuple[str, date], int],
    now: datetime | None = None,
) -> Plan:
    """Plan each ticket's station works, ticket after ticket, none before ``ready_day`` or ``now``.

    ``booked_s`` holds the seconds taken already by station and day; a missing entry is 0. More of
    it, a ticket planned before, a later ``now``, another closed day or a shorter one never makes a
    ticket done earlier than it would be alone. Among several tickets planned together one held up
    may leave another a place it would not have had. Without ``now`` every day counts in full.
    Equal arguments give equal plans. KeyError for an unknown station, :class:`HorizonExceeded`
    when the days run out, :class:`~service.domain.calendar.NoWorkingDay` when there are none.
    """
    hours = _Hours(calendar, now)
    days = _Days(calendar, max(ready_day, hours.today))
    planner = _Planner(days, hours, stations, booked_s)
    tracks = [planner.run(index, steps) for index, steps in enumerate(works)]
    first = planner.days.at(0, "")
    done_days = tuple(planner.days.at(track.end.day_index, "") for track in tracks)
    last = max(tracks, key=lambda track: track.end.day_index, default=None)
    return Plan(
        bookings=planner.bookings(),
        first_day=min((day for _, _, day in planner.taken_s), default=first),
        done_days=done_days,
        done_day=max(done_days, default=first),
        bottleneck=last.bottleneck() if last else "",
    )


def promise(
    catalogue: Catalogue,
    works: Sequence[LineWork],
    *,
    now: datetime,
    booked_s: Mapping[tuple[str, date], int],
) -> Promise:
    """Promise the day the last line is done, one ticket a line; errors as :func:`plan_work`."""
    material = material_ready_day(catalogue, works, now)
    plan = plan_work(
        [station_works(work) for work in works],
        ready_day=material.day,
        calendar=catalogue.calendar,
        stations=catalogue.station_by_id,
        booked_s=booked_s,
        now=now,
    )
    return Promise(plan.done_day, plan, material, _reason(catalogue, plan, material, now))


def _reason(catalogue: Catalogue, plan: Plan, material: MaterialDay, now: datetime) -> str:
    calendar = catalogue.calendar
    waiting = working_days_between(calendar, first_work_day(calendar, now), material.day)
    working = working_days_between(calendar, material.day, plan.done_day)
    if material.waits_for and waiting >= working:
        return (
            f"{material.waits_for} is here on {material.day}, {_days(waiting)} from the start; "
            f"the work itself adds {_days(working)}"
        )
    if not plan.bottleneck:
        return "there is no work to wait for"
    name = catalogue.station_by_id[plan.bottleneck].name
    return f"{name} is the tightest station; from {material.day} the work adds {_days(working)}"


def _days(count: int) -> str:
    return f"{count} working day{'' if count == 1 else 's'}"


@dataclass(frozen=True, slots=True)
class _Moment:
    """A place in a ticket's course: a working day by index, and seconds into it."""

    day_index: int
    into_day_s: int


class _Days:
    """Working days from the first on or after a day, found as they are needed."""

    def __init__(self, calendar: WorkCalendar, start: date) -> None:
        self._calendar = calendar
        self._found = [next_working_day(calendar, start)]

    def at(self, index: int, station: str) -> date:
        """The working day of that index; HorizonExceeded, naming ``station``, past the last."""
        if index >= HORIZON_DAYS:
            raise HorizonExceeded(station)
        while len(self._found) <= index:
            following = self._found[-1] + timedelta(days=1)
            self._found.append(next_working_day(self._calendar, following))
        return self._found[index]

    def from_day(self, index: int, day: date, station: str) -> tuple[int, bool]:
        """Index, from ``index`` on, of the first working day on or after ``day``; True if on it."""
        while self.at(index, station) < day:
            index += 1
        return index, self.at(index, station) == day


class _Hours:
    """How long stations work on each day, and how much of it is gone by ``now``."""

    def __init__(self, calendar: WorkCalendar, now: datetime | None) -> None:
        self._calendar = calendar
        self.today, self._gone_s = place_of(calendar, now) if now is not None else (date.min, 0)
        self.day_s = StationHours(calendar).day_s

    def gone_s(self, day: date) -> int:
        """Seconds since the day's opening that nothing can be planned in any more."""
        return self._gone_s if day == self.today else 0

    def wait(self, station: Station, day: date, from_s: int, wait_s: int) -> tuple[date, int]:
        """Day and seconds into it at which a wait ends; if after hours, the next morning."""
        opened = opening(self._calendar, day)
        # A day booked beyond its end is not waited for longer than the day itself.
        began = min(
            opened + timedelta(seconds=from_s), opening(self._calendar, day + timedelta(days=1))
        )
        ends, into_s = place_of(self._calendar, began + timedelta(seconds=wait_s))
        if into_s > station.minutes_per_day * _S_PER_MIN:
            return ends + timedelta(days=1), 0
        return ends, into_s


@dataclass(slots=True)
class _Track:
    """How one ticket went: where it ended, and days and seconds by station."""

    end: _Moment
    spent: dict[str, tuple[int, int]] = field(default_factory=dict)

    def add(self, station: str, days: int, seconds: int, end: _Moment) -> None:
        """Note a step that took so many working days and seconds and ended at ``end``."""
        days_before, seconds_before = self.spent.get(station, (0, 0))
        self.spent[station] = (days_before + days, seconds_before + seconds)
        self.end = end

    def bottleneck(self) -> str:
        """The station with most days, then most seconds, the earlier of equals."""
        return max(self.spent, key=lambda station: self.spent[station], default="")


class _Planner:
    """Fills station days; knows what was booked before and what it has taken itself."""

    def __init__(
        self,
        days: _Days,
        hours: _Hours,
        stations: Mapping[str, Station],
        booked_s: Mapping[tuple[str, date], int],
    ) -> None:
        self.days = days
        self.taken_s: dict[tuple[int, str, date], int] = {}
        self._hours = hours
        self._stations = stations
        self._booked_s = booked_s
        self._own_s: dict[tuple[str, date], int] = {}

    def run(self, ticket: int, steps: Sequence[StationWork]) -> _Track:
        """Plan one ticket's steps in order."""
        track = _Track(_Moment(0, 0))
        for step in steps:
            end = self._wait(step, self._work(ticket, step, track.end))
            track.add(step.station, end.day_index - track.end.day_index, step.seconds, end)
        return track

    def bookings(self) -> tuple[PlannedBooking, ...]:
        """Everything taken, sorted by ticket, day and station."""
        rows = sorted((ticket, day, station) for ticket, station, day in self.taken_s)
        return tuple(
            PlannedBooking(ticket, station, day, self.taken_s[ticket, station, day])
            for ticket, day, station in rows
        )

    def _load_s(self, station: str, day: date) -> int:
        return self._booked_s.get((station, day), 0) + self._own_s.get((station, day), 0)

    def _work(self, ticket: int, step: StationWork, at: _Moment) -> _Moment:
        station = self._stations[step.station]
        machines, left_s = station.machines, step.seconds
        while left_s > 0:
            day = self.days.at(at.day_index, station.id)
            day_s, into_s = self._hours.day_s(station, day), self._into_s(at, day)
            free_s = day_s * machines - self._load_s(station.id, day)
            room_s = min(left_s, free_s, (day_s - into_s) * machines)
            if room_s > 0:
                self._take(ticket, station.id, day, room_s)
                left_s -= room_s
                at = replace(at, into_day_s=into_s + math.ceil(room_s / machines))
            if left_s > 0:
                at = _Moment(at.day_index + 1, 0)
        return at

    def _into_s(self, at: _Moment, day: date) -> int:
        return max(at.into_day_s, self._hours.gone_s(day))

    def _take(self, ticket: int, station: str, day: date, seconds: int) -> None:
        own, taken = (station, day), (ticket, station, day)
        self._own_s[own] = self._own_s.get(own, 0) + seconds
        self.taken_s[taken] = self.taken_s.get(taken, 0) + seconds

    def _wait(self, step: StationWork, at: _Moment) -> _Moment:
        """Let unattended time run from when the station is done that day, at the latest."""
        if step.wait_s == 0:
            return at
        station = self._stations[step.station]
        day = self.days.at(at.day_index, station.id)
        queue_s = math.ceil(self._load_s(station.id, day) / station.machines)
        from_s = max(queue_s, self._into_s(at, day))
        ends, into_s = self._hours.wait(station, day, from_s, step.wait_s)
        index, on_the_day = self.days.from_day(at.day_index, ends, station.id)
        return _Moment(index, into_s if on_the_day else 0)
