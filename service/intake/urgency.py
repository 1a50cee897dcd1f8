"""When what is left of tickets must begin, by which the queue is ordered.

It is kept with the ticket: found when it is written and again whenever some of its work is done, so
that a page of the queue is read from an index. A new catalogue, whose days may differ, has it found
anew for all open tickets (:mod:`service.intake.settling`).
"""

from __future__ import annotations

import json
from datetime import date

from sqlalchemy import func, update
from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.shop import Catalogue
from service.domain.slack import ShopHours, epoch_s
from service.domain.ticket_states import TicketState
from service.intake.services import Services
from service.store.tables import Booking, Ticket

OPEN_STATES = (
    TicketState.WAITING,
    TicketState.ON_BENCH,
    TicketState.MADE,
    TicketState.CHECKED,
    TicketState.HALTED,
)
"""Tickets of which something may still be to do."""


def latest_start_s(catalogue: Catalogue, promised_day: date, work_s: int) -> int:
    """When so much work must begin for the promised day, in seconds of the epoch."""
    hours = ShopHours(catalogue.calendar, catalogue.stations)
    return epoch_s(hours.latest_start(promised_day, work_s))


def note_left(services: Services, session: Session, ticket: Ticket) -> None:
    """Find the latest start again of a locked ticket, by what is booked of it and not worked."""
    left = sa_select(func.coalesce(func.sum(col(Booking.seconds)), 0)).where(
        col(Booking.ticket_id) == ticket.id, ~col(Booking.worked)
    )
    work_s = int(session.connection().execute(left).scalar_one())
    catalogue = services.catalogues.current.catalogue
    ticket.latest_start_s = latest_start_s(catalogue, ticket.promised_day, work_s)
    session.add(ticket)


def find_all_anew(services: Services, session: Session) -> None:
    """Find the latest start of every open ticket by the catalogue in force."""
    catalogue, connection = services.catalogues.current.catalogue, session.connection()
    hours = ShopHours(catalogue.calendar, catalogue.stations)
    open_ids = sa_select(col(Ticket.id)).where(col(Ticket.state).in_(OPEN_STATES))
    sums = (
        sa_select(col(Booking.ticket_id), func.sum(col(Booking.seconds)))
        .where(~col(Booking.worked), col(Booking.ticket_id).in_(open_ids))
        .group_by(col(Booking.ticket_id))
    )
    left_s = {ticket_id: int(seconds) for ticket_id, seconds in connection.execute(sums)}
    tickets = sa_select(
        col(Ticket.id), col(Ticket.promised_day), col(Ticket.latest_start_s), col(Ticket.aside_json)
    ).where(col(Ticket.state).in_(OPEN_STATES))
    found: dict[tuple[date, int], int] = {}
    changed = []
    for ticket_id, promised_day, known_s, aside_json in connection.execute(tickets).all():
        work_s = left_s.get(ticket_id or 0, 0) + sum(one[2] for one in json.loads(aside_json))
        key = promised_day, work_s
        if key not in found:
            found[key] = epoch_s(hours.latest_start(promised_day, work_s))
        if found[key] != known_s:
            changed.append((ticket_id, found[key]))
    for ticket_id, start_s in changed:
        connection.execute(
            update(Ticket).where(col(Ticket.id) == ticket_id).values(latest_start_s=start_s)
        )
