"""Work that was booked and not done: which stations it still needs, and when it can be done now.

A ticket that was accepted is never dropped. What is left of it is planned from now on by the code
that plans new orders (:mod:`service.domain.promising`), in the ticket's own order of work, into
what is free; where no day that is planned ahead has room, it is booked on the last of them, full or
not, so that the order is told late and not forgotten. More urgent tickets come first.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from itertools import groupby

from service.domain.booked_time import (
    NOTHING_BOOKED,
    Booked,
    BookedDays,
    BookedTime,
    with_shares,
)
from service.domain.calendar import add_working_days
from service.domain.machines import Station
from service.domain.promising import HORIZON_DAYS, HorizonExceeded, Plan, StationWork, plan_work
from service.domain.shop import WorkCalendar
from service.domain.ticket_states import TicketState
from service.domain.ticket_steps import StepKind, TicketStep

Share = tuple[str, date, int]
"""Station, day and seconds."""

_PACKS = frozenset({StepKind.FOLD, StepKind.PACK})
_DONE_BUT_FOR: Mapping[TicketState, frozenset[StepKind]] = {
    TicketState.MADE: _PACKS | {StepKind.CHECK},
    TicketState.CHECKED: _PACKS,
    TicketState.SENT: frozenset(),
    TicketState.CANCELLED: frozenset(),
}
OFF_THE_BENCH = frozenset(_DONE_BUT_FOR)
"""States in which only some kinds of steps, or none, are still to do, ticked or not."""


class Why(StrEnum):
    """What moved an order's expected day."""

    NOT_DONE = "not-done"
    HALTED = "halted"
    RESUMED = "resumed"
    CAPACITY = "capacity"
    REMAKE = "remake"
    MATERIAL = "material"


class News(StrEnum):
    """What the customer's side is told of an expected day; values are event types."""

    LATE = "order.late"
    ON_TIME_AGAIN = "order.on_time_again"


def news_of(promised_day: date, expected_day: date, told_day: date | None) -> News | None:
    """What there is to tell; ``told_day`` is the late day that was told last, None if none was."""
    if expected_day > promised_day:
        return News.LATE if expected_day != told_day else None
    return News.ON_TIME_AGAIN if told_day is not None else None


def open_stations(
    booked: Iterable[str],
    steps: Sequence[TicketStep],
    ticked: Collection[str],
    state: TicketState,
) -> frozenset[str]:
    """Those of the ``booked`` stations at which a ticket in that state still has something to do.

    A station is done with when all its steps are ticked. Of a ticket that is made only checking,
    folding and packing are left, of one that is checked only folding and packing, of one that is
    sent or cancelled nothing. Where a station does both, what is left keeps it whole.
    """
    found = frozenset(booked)
    if state in _DONE_BUT_FOR:
        found &= {step.station for step in steps_left(steps, state)}
    known = {step.station for step in steps}
    unticked = {step.station for step in steps if step.key not in ticked}
    return found - (known - unticked)


def steps_left(steps: Sequence[TicketStep], state: TicketState) -> list[TicketStep]:
    """Those steps that a ticket in that state may still have before it."""
    left = _DONE_BUT_FOR.get(state)
    return [step for step in steps if left is None or step.kind in left]


def not_begun(
    steps: Sequence[TicketStep], ticked: Collection[str], state: TicketState
) -> frozenset[str]:
    """The stations at which nothing of a ticket in hand has begun, as far as its state tells.

    They are those that only check, fold and pack, until the ticket is made or a step is ticked.
    """
    if state is not TicketState.ON_BENCH:
        return frozenset()
    last = steps_left(steps, TicketState.MADE)
    begun = {step.station for step in steps if step not in last or step.key in ticked}
    return frozenset(step.station for step in steps) - begun


def remaining_works(
    works: Sequence[StationWork], left_s: Mapping[str, int]
) -> tuple[StationWork, ...]:
    """What is left of a ticket's works, in their order; each station keeps its seconds left.

    They are shared out over a station's works as these were planned. Unattended time counts as
    long as something before it is still to do. Stations that no work names come last.
    """
    whole_s: dict[str, int] = {}
    for work in works:
        whole_s[work.station] = whole_s.get(work.station, 0) + work.seconds
    found: list[StationWork] = []
    passed_s = dict.fromkeys(whole_s, 0)
    for work in works:
        total_s, before_s = whole_s[work.station], passed_s[work.station]
        passed_s[work.station] = before_s + work.seconds
        left = left_s.get(work.station, 0)
        seconds = (
            left * passed_s[work.station] // total_s - left * before_s // total_s if total_s else 0
        )
        if seconds or (work.wait_s and found and not work.seconds):
            found.append(work.left(seconds))
    rest = ((name, seconds) for name, seconds in left_s.items() if not whole_s.get(name))
    return (*found, *(StationWork(name, seconds) for name, seconds in rest if seconds))


@dataclass(frozen=True, slots=True)
class OpenTicket:
    """What is left of a ticket, not to be begun before ``ready_day``."""

    id: int
    promised_day: date
    rush: bool
    ready_day: date
    works: tuple[StationWork, ...]


@dataclass(frozen=True, slots=True)
class Workdays:
    """The shop's calendar and stations, from ``now`` on, and what of each day rush may have."""

    calendar: WorkCalendar
    stations: Mapping[str, Station]
    now: datetime
    reserve_percent: int


@dataclass(frozen=True, slots=True)
class Replanned:
    """Where a ticket's work is to be done now; one share for each station and day."""

    ticket_id: int
    rush: bool
    shares: tuple[Share, ...]
    done_day: date


def without(booked: Booked, shares: Iterable[tuple[str, date, int, bool]]) -> BookedDays:
    """What is booked less those shares, the last of each telling whether it is rush."""
    found = dict(booked)
    for station, day, seconds, rush in shares:
        before = found.get((station, day))
        if before is not None:
            found[station, day] = BookedTime(
                max(0, before.seconds - seconds),
                max(0, before.rush_s - (seconds if rush else 0)),
                max(0, before.squares_s2 - (0 if rush else seconds * seconds)),
            )
    return BookedDays.of({key: time for key, time in found.items() if time != NOTHING_BOOKED})


def plan_anew(
    tickets: Iterable[OpenTicket], booked: Booked, days: Workdays
) -> tuple[Replanned, ...]:
    """Plan what is left of tickets, by promised day and then as they were written.

    ``booked`` holds nothing of theirs. Nothing is planned before now or a ticket's ready day, and
    no day is filled above its room but the last that is planned ahead. KeyError for an unknown
    station, :class:`~service.domain.calendar.NoWorkingDay` when there are no working days.
    """
    urgent = sorted(tickets, key=lambda one: (one.promised_day, one.id))
    found: list[Replanned] = []
    for (rush, _), group in groupby(urgent, key=lambda one: (one.rush, one.ready_day)):
        for planned in _plan_alike(list(group), booked, days):
            found.append(planned)
            booked = with_shares(booked, planned.shares, rush=rush)
    return tuple(found)


def _plan_alike(
    tickets: Sequence[OpenTicket], booked: Booked, days: Workdays
) -> Iterator[Replanned]:
    """Tickets of one lane and ready day, together; one by one where they do not all fit."""
    try:
        plan = _plan(tickets, booked, days)
    except HorizonExceeded:
        if len(tickets) == 1:
            yield _beyond(tickets[0], days)
            return
        for ticket in tickets:
            for planned in _plan_alike([ticket], booked, days):
                yield planned
                booked = with_shares(booked, planned.shares, rush=planned.rush)
        return
    of_ticket: dict[int, list[Share]] = {}
    for one in plan.bookings:
        of_ticket.setdefault(one.ticket_index, []).append((one.station, one.day, one.seconds))
    for index, ticket in enumerate(tickets):
        shares = tuple(of_ticket.get(index, ()))
        yield Replanned(ticket.id, ticket.rush, shares, plan.done_days[index])


def _plan(tickets: Sequence[OpenTicket], booked: Booked, days: Workdays) -> Plan:
    first = tickets[0]
    return plan_work(
        [ticket.works for ticket in tickets],
        ready_day=first.ready_day,
        calendar=days.calendar,
        stations=days.stations,
        booked=booked,
        now=days.now,
        reserve_percent=0 if first.rush else days.reserve_percent,
    )


def _beyond(ticket: OpenTicket, days: Workdays) -> Replanned:
    """All that is left of it on the last day that is planned ahead."""
    day = add_working_days(days.calendar, ticket.ready_day, HORIZON_DAYS - 1)
    seconds: dict[str, int] = {}
    for work in ticket.works:
        seconds[work.station] = seconds.get(work.station, 0) + work.seconds
    shares = tuple((station, day, each) for station, each in seconds.items() if each)
    return Replanned(ticket.id, ticket.rush, shares, day)
