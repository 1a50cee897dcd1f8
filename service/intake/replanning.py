"""Work that moves: told as done by the bench, set aside, taken up again, planned anew.

Whoever calls these holds the shop's lock. Nothing that is left of an accepted ticket is ever
dropped: while it is halted its share is kept with the ticket, and where no day has room it is
booked on the last one that is planned ahead (:mod:`service.domain.replanning`).

A tick that is taken back books nothing again, for what was given back was mostly worked; the
station is only asked for again when the ticket is next planned. A ticket that goes back to the
bench (``redo``) is planned nothing new either: how much of it is pressed again nobody has said, it
is mostly minutes, and pieces that are made anew have a ticket and time of their own.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from types import MappingProxyType
from typing import NamedTuple

from sqlalchemy import ColumnElement
from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.calendar import place_of
from service.domain.machines import Station
from service.domain.replanning import (
    OpenTicket,
    Replanned,
    Workdays,
    open_stations,
    plan_anew,
    remaining_works,
    without,
)
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import TicketState
from service.intake.services import Services
from service.intake.ticket_works import planned_works, stations_for
from service.intake.urgency import note_left
from service.store.ledger import OpenShare, booked_time, note_worked, open_shares, rebook
from service.store.tables import Ticket

_BATCH = 500


class TicketPlace(NamedTuple):
    """What replanning needs of a ticket; its document is not read."""

    id: int
    order_id: str
    line_index: int
    promised_day: date
    state: str
    aside_json: str
    created_at: datetime

    @property
    def aside(self) -> list[OpenShare]:
        """What a halt gave back."""
        return [
            OpenShare(self.id, station, date.fromisoformat(day), seconds, rush)
            for station, day, seconds, rush in json.loads(self.aside_json)
        ]


def places_of(session: Session, *which: ColumnElement[bool]) -> list[TicketPlace]:
    """The tickets that meet all those conditions, by id."""
    rows = session.connection().execute(
        sa_select(
            col(Ticket.id),
            col(Ticket.order_id),
            col(Ticket.line_index),
            col(Ticket.promised_day),
            col(Ticket.state),
            col(Ticket.aside_json),
            col(Ticket.created_at),
        )
        .where(*which)
        .order_by(col(Ticket.id))
    )
    return [TicketPlace(row[0] or 0, *row[1:]) for row in rows]


def places_by_id(session: Session, ids: Sequence[int]) -> list[TicketPlace]:
    """The tickets of those ids."""
    found: list[TicketPlace] = []
    for start in range(0, len(ids), _BATCH):
        found += places_of(session, col(Ticket.id).in_(ids[start : start + _BATCH]))
    return found


def shop_day(services: Services) -> date:
    """The present day as stations count it: from one opening to the next."""
    return place_of(services.catalogues.current.catalogue.calendar, services.clock())[0]


def plan_now(
    services: Services,
    session: Session,
    tickets: Sequence[TicketPlace],
    shares: Iterable[OpenShare],
    *,
    booked: bool,
    ready: Mapping[int, date] = MappingProxyType({}),
) -> tuple[Replanned, ...]:
    """Where the work of those shares can be done as things stand; nothing is written.

    ``booked`` says that the shares stand in the ledger, and are free to their tickets. Work whose
    first share is of a day to come stays behind that day, for its material may not be here before;
    so does that of a ticket of which ``ready`` tells a later day, by its id. A ticket with a
    station that no catalogue knows is left out.
    """
    catalogue, now = services.catalogues.current.catalogue, services.clock()
    shares = list(shares)
    open_tickets, stations = work_left(services, session, tickets, shares)
    if not open_tickets:
        return ()
    open_tickets = [
        replace(one, ready_day=max(one.ready_day, ready.get(one.id, one.ready_day)))
        for one in open_tickets
    ]
    taken = booked_time(session, shop_day(services), now=now)
    if booked:
        taken = without(taken, [(one.station, one.day, one.seconds, one.rush) for one in shares])
    days = Workdays(
        calendar=catalogue.calendar,
        stations=stations,
        now=now,
        reserve_percent=catalogue.policy.rush_reserve_percent,
    )
    return plan_anew(open_tickets, taken, days)


def work_left(
    services: Services,
    session: Session,
    tickets: Sequence[TicketPlace],
    shares: Iterable[OpenShare],
) -> tuple[list[OpenTicket], Mapping[str, Station]]:
    """What is left of the tickets that have any of those shares, and the stations that there are.

    A ticket with a station that no catalogue knows is left out.
    """
    today = shop_day(services)
    of_ticket: dict[int, list[OpenShare]] = {}
    for share in shares:
        of_ticket.setdefault(share.ticket_id, []).append(share)
    tickets = [one for one in tickets if one.id in of_ticket]
    works = planned_works(session, [(one.id, one.order_id, one.line_index) for one in tickets])
    open_tickets = []
    for one in tickets:
        mine = sorted(of_ticket[one.id], key=lambda share: (share.day, share.station))
        left_s: dict[str, int] = {}
        for share in mine:
            left_s[share.station] = left_s.get(share.station, 0) + share.seconds
        open_tickets.append(
            OpenTicket(
                id=one.id,
                promised_day=one.promised_day,
                rush=mine[0].rush,
                ready_day=max(today, mine[0].day),
                works=remaining_works(works[one.id].works, left_s),
            )
        )
    needed = {work.station for one in open_tickets for work in one.works}
    stations = stations_for(services, session, list(works.values()), needed)
    known = [one for one in open_tickets if all(work.station in stations for work in one.works)]
    return known, stations


def move_on(
    services: Services,
    session: Session,
    tickets: Sequence[TicketPlace],
    shares: Sequence[OpenShare],
    *,
    ready: Mapping[int, date] = MappingProxyType({}),
) -> None:
    """Book anew all that is left of those tickets, which is what ``shares`` hold.

    Nothing is booked before the day that ``ready`` tells of a ticket, by its id.
    """
    planned = plan_now(services, session, tickets, shares, booked=True, ready=ready)
    moved = {one.ticket_id for one in planned}
    _rebook(session, planned, [one for one in shares if one.ticket_id in moved])


def set_aside(session: Session, ticket: Ticket) -> None:
    """Give back what is left of a ticket that is halted, and keep it with the ticket."""
    shares = open_shares(session, [ticket.id or 0])
    rebook(session, shares, ())
    _keep_aside(session, ticket, shares)


def put_off_aside(session: Session, place: TicketPlace, ready: date) -> None:
    """Let what a halt keeps with a ticket wait for that day; its order is locked before."""
    ticket = session.get_one(Ticket, place.id, with_for_update=True)
    shares = [one._replace(day=max(ready, one.day)) for one in place.aside]
    _keep_aside(session, ticket, shares)


def _keep_aside(session: Session, ticket: Ticket, shares: Iterable[OpenShare]) -> None:
    ticket.aside_json = json.dumps(
        [[one.station, one.day.isoformat(), one.seconds, one.rush] for one in shares],
        separators=(",", ":"),
    )
    session.add(ticket)
    session.flush()


def take_up_again(services: Services, session: Session, ticket: Ticket) -> None:
    """Book what is left of a ticket that goes on after a halt, from now."""
    (place,) = places_by_id(session, [ticket.id or 0])
    booked = open_shares(session, [place.id])
    if booked:
        # It was halted before halts gave anything back.
        move_on(services, session, [place], booked)
        return
    planned = plan_now(services, session, [place], place.aside, booked=False)
    if planned:
        _rebook(session, planned, ())
        ticket.aside_json = "[]"
        session.add(ticket)
        session.flush()


def note_told(
    services: Services,
    session: Session,
    ticket: Ticket,
    document: TicketDocument,
    ticked: Collection[str],
) -> bool:
    """Take note of what the bench has told: work at stations that a ticket is done with is over.

    What was booked of it up to today stays where it was, later days are given back. True where
    anything was left there.
    """
    booked = {one.station for one in open_shares(session, [ticket.id or 0])}
    left = open_stations(booked, document.steps, ticked, TicketState(ticket.state))
    over = booked - left
    if over:
        note_worked(session, ticket.id or 0, shop_day(services), stations=over)
        note_left(services, session, ticket)
    return bool(over)


def _rebook(session: Session, planned: Iterable[Replanned], gone: Sequence[OpenShare]) -> None:
    taken = (
        OpenShare(one.ticket_id, station, day, seconds, one.rush)
        for one in planned
        for station, day, seconds in one.shares
    )
    rebook(session, gone, taken)
