"""Tickets: show and move them. Every move is an audit row and an event.

A move tells what is done, so it frees station time, gives it back or takes it up again, and the
order's expected day follows (:mod:`service.intake.replanning`, :mod:`service.intake.order_days`).
"""

from __future__ import annotations

from collections.abc import Collection

from sqlmodel import Session, select

from service.domain.errors import Conflict
from service.domain.pieces import PieceCount
from service.domain.replanning import OFF_THE_BENCH, Why
from service.domain.ticket_states import Move, OrderState, TicketState, after, order_state
from service.intake.answers import TicketAnswer
from service.intake.order_days import note_order_state, refresh_days
from service.intake.replanning import note_told, set_aside, take_up_again
from service.intake.requests import MoveRequest
from service.intake.services import Services
from service.intake.settling import settle_day
from service.intake.stock_tickets import book_ticket
from service.intake.ticket_events import order_event, ticket_event
from service.intake.ticket_rows import (
    document_of,
    find_ticket,
    legal_now,
    next_station,
    piece_count,
    piece_rows,
    standing_ticks,
    tick_rows,
    ticket_answer,
    ticket_to_change,
)
from service.store.database import lock_shop
from service.store.ledger import take_up
from service.store.tables import Order, Ticket, TicketMove

_PIECES_MATTER = frozenset({Move.FINISH, Move.CANCEL})
"""Moves whose legality hangs on the count of pieces too."""

_CHANGES_NO_TIME = frozenset({Move.START, Move.PUT_BACK})
"""Moves after which the same work is to be done as before."""

_WHY = {Move.HALT: Why.HALTED, Move.RESUME: Why.RESUMED}

_ORDER_EVENTS = {
    OrderState.READY: "order.ready",
    OrderState.SENT: "order.sent",
    OrderState.CANCELLED: "order.cancelled",
}


def get_ticket(services: Services, number: str) -> tuple[TicketAnswer, int]:
    """The ticket and its version, for an ETag; ``NotFound`` if there is none of that number."""

    def look(session: Session) -> tuple[TicketAnswer, int]:
        ticket = find_ticket(session, number)
        return ticket_answer(session, ticket), ticket.version

    return services.database.read(look)


def move_ticket(
    services: Services,
    session: Session,
    number: str,
    request: MoveRequest,
    *,
    allowed_versions: Collection[int] | None = None,
    trace_id: str = "",
) -> tuple[TicketAnswer, int]:
    """Make a move, within the caller's transaction; returns the ticket and its new version.

    Raises ``Conflict`` naming the legal moves, or ``ticket-changed`` when its version is not
    among ``allowed_versions``: someone else changed it first.
    """
    if request.move not in _CHANGES_NO_TIME:
        lock_shop(session)
        settle_day(services, session, trace_id=trace_id)
    order, ticket = ticket_to_change(session, number, allowed_versions)
    apply_move(services, session, order, ticket, request, trace_id=trace_id)
    return ticket_answer(session, ticket), ticket.version


def apply_move(
    services: Services,
    session: Session,
    order: Order,
    ticket: Ticket,
    request: MoveRequest,
    *,
    trace_id: str = "",
    with_its_order: bool = False,
) -> None:
    """Move a locked ticket of a locked order: state, audit row, stock, time, order and events.

    Whoever moves it on, sets it aside or cancels it holds the shop's lock, for its station time
    changes. ``with_its_order`` says that all tickets go at once, so that none is told of by itself.
    """
    state = TicketState(ticket.state)
    target = _target(session, ticket, request.move)
    now = services.clock()
    ticket.state = target
    ticket.halted_from = state if request.move is Move.HALT else None
    ticket.version += 1
    if request.move not in {Move.HALT, Move.RESUME} and {state, target} & OFF_THE_BENCH:
        ticked = standing_ticks(tick_rows(session, ticket))
        ticket.station = next_station(document_of(ticket), ticked, target)
    session.add(ticket)
    session.add(
        TicketMove(
            ticket_id=ticket.id or 0,
            move=request.move,
            from_state=state,
            to_state=ticket.state,
            who=request.who,
            note=request.note,
            at=now,
        )
    )
    session.flush()
    book_ticket(session, ticket, request, now)
    if request.move not in _CHANGES_NO_TIME:
        _settle_time(services, session, ticket, request.move)
    _settle_order(
        services, session, order, ticket, state, trace_id, tell_of_ticket=not with_its_order
    )
    if request.move not in _CHANGES_NO_TIME and not with_its_order:
        why = _WHY.get(request.move, Why.NOT_DONE)
        refresh_days(services, session, [order.id], why, trace_id=trace_id, counted=True)


def _settle_time(services: Services, session: Session, ticket: Ticket, move: Move) -> None:
    """Give back, keep or book station time as the move tells; ``redo`` books none."""
    if move is Move.HALT:
        set_aside(session, ticket)
    elif move is Move.RESUME:
        take_up_again(services, session, ticket)
    elif move is Move.CANCEL:
        take_up(session, ticket.id or 0)
        ticket.aside_json = "[]"
        session.add(ticket)
    elif move is not Move.REDO:
        ticked = standing_ticks(tick_rows(session, ticket))
        note_told(services, session, ticket, document_of(ticket), ticked)


def _target(session: Session, ticket: Ticket, move: Move) -> TicketState:
    """The state the move leads to; raises ``move-not-legal``, with those that are."""
    state = TicketState(ticket.state)
    halted_from = TicketState(ticket.halted_from) if ticket.halted_from else None
    target = after(state, move, halted_from)
    if target is not None and move not in _PIECES_MATTER:
        return target
    count = piece_count(document_of(ticket), piece_rows(session, ticket))
    legal = legal_now(ticket, count)
    if target is not None and move in legal:
        return target
    short = count if target is not None and move is Move.FINISH else None
    raise _illegal(ticket, move, legal, short)


def _illegal(
    ticket: Ticket, move: Move, legal: tuple[Move, ...], short: PieceCount | None
) -> Conflict:
    left = short.remaining if short else {}
    still = ", ".join(f"{pieces} of size {size}" for size, pieces in left.items())
    why = f" Pieces still to come: {still}; enter them, or open a remake." if still else ""
    open_moves = ", ".join(legal) if legal else "none, it is finished"
    return Conflict(
        "move-not-legal",
        f"Ticket {ticket.number} is '{ticket.state}', from where '{move}' is not possible.{why} "
        f"Moves open to it: {open_moves}.",
        extra={"state": ticket.state, "legal_moves": list(legal)},
    )


def _settle_order(
    services: Services,
    session: Session,
    order: Order,
    ticket: Ticket,
    from_state: TicketState,
    trace_id: str,
    *,
    tell_of_ticket: bool,
) -> None:
    states = session.exec(select(Ticket.state).where(Ticket.order_id == order.id)).all()
    before, now = OrderState(order.state), order_state(map(TicketState, states))
    order.state = now
    order.version += 1
    session.add(order)
    if tell_of_ticket:
        type_ = "ticket.halted" if ticket.state == TicketState.HALTED else "ticket.moved"
        ticket_event(services, session, order, ticket, type_, trace_id, {"from_state": from_state})
    if now is not before and now in _ORDER_EVENTS:
        order_event(services, session, order, _ORDER_EVENTS[now], trace_id)
    note_order_state(services, session, order)
