"""Orders that can no longer leave with their promised day's dispatch, whatever gives way to them.

Tickets are looked at from their latest start on (:mod:`service.intake.urgency`), so that mostly
there are none. Of those :mod:`service.domain.soonest_done` tells what is left at best: one whose
work goes on, or whose stations work longer or side by side, may well be in time yet.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from contextlib import suppress
from datetime import date, datetime
from typing import Final, NamedTuple

from sqlalchemy import bindparam, func
from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.calendar import NoWorkingDay
from service.domain.conformal import dispatch_day
from service.domain.replanning import not_begun
from service.domain.slack import epoch_s
from service.domain.soonest_done import InHand, soonest_done
from service.domain.ticket_states import TicketState
from service.intake.replanning import TicketPlace, places_of, work_left
from service.intake.services import Services
from service.intake.ticket_rows import document_of, standing_ticks, tick_rows
from service.store.ledger import OpenShare, open_shares
from service.store.tables import OrderPromise, Ticket, TicketMove, TicketPiece

_BATCH = 500

_TO_DO = (TicketState.WAITING, TicketState.ON_BENCH, TicketState.MADE, TicketState.HALTED)
_IN_HAND = frozenset({TicketState.ON_BENCH, TicketState.MADE})

_NOT_TOLD: Final = (
    sa_select(col(Ticket.order_id))
    .distinct()
    .where(
        col(Ticket.state).in_(_TO_DO),
        col(Ticket.latest_start_s) < bindparam("now_s"),
        # Not joined, so that no store begins with all open orders.
        sa_select(col(OrderPromise.order_id))
        .where(
            col(OrderPromise.order_id) == col(Ticket.order_id),
            ~col(OrderPromise.closed),
            col(OrderPromise.told_day).is_(None),
        )
        .exists(),
    )
    .order_by(col(Ticket.order_id))
)
"""Asked again and again, so it is made once."""


class SoonestLeave(NamedTuple):
    """A ticket that should have been begun by now, and with which day's dispatch it can leave."""

    ticket: TicketPlace
    day: date


def too_late(services: Services, session: Session) -> list[TicketPlace]:
    """The tickets by which orders that were not told late will be; one look where there are none.

    Orders from before promises were kept are nobody's news.
    """
    asked = {"now_s": epoch_s(services.clock())}
    orders = list(session.connection().execute(_NOT_TOLD, asked).scalars())
    return [
        one.ticket
        for start in range(0, len(orders), _BATCH)
        for one in soonest_leaves(services, session, orders[start : start + _BATCH])
        if one.day > one.ticket.promised_day
    ]


def soonest_leaves(
    services: Services, session: Session, order_ids: Collection[str]
) -> list[SoonestLeave]:
    """Of those orders, the tickets whose latest start is past; nothing is written.

    Left out is one with a station that no catalogue knows, or that works no more.
    """
    now = services.clock()
    tickets = places_of(
        session,
        col(Ticket.order_id).in_(order_ids),
        col(Ticket.state).in_(_TO_DO),
        col(Ticket.latest_start_s) < epoch_s(now),
    )
    if not tickets:
        return []
    shares = open_shares(session, [one.id for one in tickets])
    shares += [share for one in tickets for share in one.aside]
    return _soonest_leaves(services, session, tickets, shares, now)


def _soonest_leaves(
    services: Services,
    session: Session,
    tickets: Sequence[TicketPlace],
    shares: Sequence[OpenShare],
    now: datetime,
) -> list[SoonestLeave]:
    calendar = services.catalogues.current.catalogue.calendar
    left, stations = work_left(services, session, tickets, shares)
    works = {one.id: one.works for one in left}
    unknown = {one.ticket_id for one in shares} - works.keys()
    found = []
    for ticket in tickets:
        mine = works.get(ticket.id, ())
        at_work = _in_hand(session, ticket, {work.station for work in mine})
        with suppress(NoWorkingDay):
            if ticket.id not in unknown:
                done = soonest_done(mine, now, calendar, stations, at_work)
                found.append(SoonestLeave(ticket, dispatch_day(calendar, done)))
    return found


def _in_hand(session: Session, ticket: TicketPlace, stations: Collection[str]) -> InHand | None:
    """Since when the ticket is worked on at the stations that it still needs; None if it is not."""
    if ticket.state not in _IN_HAND:
        return None
    row = session.get_one(Ticket, ticket.id)
    document, ticks = document_of(row), tick_rows(session, row)
    moved, entered = (
        session.connection()
        .execute(sa_select(func.max(col(table.at))).where(col(table.ticket_id) == ticket.id))
        .scalar()
        for table in (TicketMove, TicketPiece)
    )
    began = moved or row.created_at
    station_of = {step.key: step.station for step in document.steps}
    elsewhere = [one.at for one in ticks if station_of.get(one.step_key) not in stations]
    return InHand(
        came_at=max(began, *elsewhere) if elsewhere else began,
        touched_at=max([began, *([entered] if entered else []), *(one.at for one in ticks)]),
        untouched=not_begun(document.steps, set(standing_ticks(ticks)), TicketState(ticket.state)),
    )
