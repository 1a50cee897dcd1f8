"""Orders: show one, cancel one not yet begun."""

from __future__ import annotations

from datetime import date

from sqlmodel import Session, col, select

from service.domain.errors import Conflict, NotFound
from service.domain.ticket_states import Move, OrderState, TicketState
from service.intake.answers import OrderAnswer
from service.intake.order_answers import order_answer
from service.intake.requests import MoveRequest
from service.intake.services import Caller, Services
from service.intake.settling import settle_day
from service.intake.ticket_rows import (
    document_of,
    legal_now,
    piece_count,
    piece_rows,
)
from service.intake.tickets import apply_move
from service.store.database import lock_shop
from service.store.tables import Order, OrderPromise, Ticket


def get_order(services: Services, caller: Caller, order_id: str) -> tuple[OrderAnswer, int]:
    """The order and its version, for an ETag; ``NotFound`` for another caller's."""

    def look(session: Session) -> tuple[OrderAnswer, int]:
        order = _order(session, caller, order_id)
        expected = _expected_day(session, order)
        return order_answer(order, _tickets(session, order), expected), order.version

    return services.database.read(look)


def cancel_order(
    services: Services,
    session: Session,
    caller: Caller,
    order_id: str,
    *,
    who: str,
    trace_id: str = "",
) -> tuple[OrderAnswer, int]:
    """Cancel an order none of whose tickets has been begun, and give its station time back.

    Runs in the caller's transaction. Raises ``Conflict`` naming the tickets that were begun.
    """
    lock_shop(session)
    settle_day(services, session, trace_id=trace_id)
    order = _order(session, caller, order_id, lock=True)
    tickets = _tickets(session, order, lock=True)
    if order.state == OrderState.CANCELLED:
        raise Conflict("order-already-cancelled", f"Order {order.id} was cancelled before.")
    begun = [ticket.number for ticket in tickets if not _cancellable(session, ticket)]
    if begun:
        raise Conflict(
            "order-in-work",
            f"Work has begun on ticket {', '.join(begun)}, so the order can no longer be "
            "cancelled here. Call the shop.",
            extra={"begun_tickets": begun},
        )
    move = MoveRequest(move=Move.CANCEL, who=who)
    for ticket in tickets:
        if ticket.state != TicketState.CANCELLED:
            apply_move(
                services, session, order, ticket, move, trace_id=trace_id, with_its_order=True
            )
    return order_answer(order, tickets, _expected_day(session, order)), order.version


def _cancellable(session: Session, ticket: Ticket) -> bool:
    count = piece_count(document_of(ticket), piece_rows(session, ticket))
    return Move.CANCEL in legal_now(ticket, count) or ticket.state == TicketState.CANCELLED


def _order(session: Session, caller: Caller, order_id: str, *, lock: bool = False) -> Order:
    statement = select(Order).where(Order.id == order_id)
    order = session.exec(statement.with_for_update() if lock else statement).first()
    if order is None or not caller.may_see(order.holder):
        raise NotFound("order-not-found", "There is no such order of yours.")
    return order


def _tickets(session: Session, order: Order, *, lock: bool = False) -> list[Ticket]:
    """The order's tickets by line, each line's remakes after its own."""
    statement = (
        select(Ticket)
        .where(Ticket.order_id == order.id)
        .order_by(col(Ticket.line_index), col(Ticket.remake))
    )
    return list(session.exec(statement.with_for_update(of=Ticket) if lock else statement).all())


def _expected_day(session: Session, order: Order) -> date | None:
    """The day the order is done as things stand; None of one from before promises were kept."""
    kept = session.get(OrderPromise, order.id)
    return kept.expected_day if kept is not None else None
