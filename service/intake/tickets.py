"""Tickets: list, show and move them. Every move is an audit row and an event."""

from __future__ import annotations

from collections.abc import Collection

from sqlmodel import Session, col, or_, select

from service.domain.errors import Conflict, NotFound
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import (
    Move,
    OrderState,
    TicketState,
    after,
    legal_moves,
    order_state,
)
from service.intake.answers import TicketAnswer, TicketMoveAnswer, TicketPage, TicketSummary
from service.intake.cursors import Cursor
from service.intake.requests import MoveRequest
from service.intake.services import Services
from service.store.database import lock_shop
from service.store.ledger import give_back
from service.store.outbox import record_event
from service.store.tables import Order, Ticket, TicketMove

_ORDER_EVENTS = {
    OrderState.READY: "order.ready",
    OrderState.SENT: "order.sent",
    OrderState.CANCELLED: "order.cancelled",
}


def list_tickets(
    services: Services, *, states: tuple[TicketState, ...], limit: int, cursor: Cursor | None
) -> tuple[TicketPage, Cursor | None]:
    """Tickets by promised day, earliest first, of the given states (all if none is given)."""
    statement = select(Ticket).order_by(col(Ticket.promised_day), col(Ticket.id)).limit(limit + 1)
    if states:
        statement = statement.where(col(Ticket.state).in_(states))
    if cursor is not None:
        statement = statement.where(
            or_(
                col(Ticket.promised_day) > cursor.day,
                (col(Ticket.promised_day) == cursor.day) & (col(Ticket.id) > cursor.id),
            )
        )
    rows = services.database.read(lambda session: session.exec(statement).all())
    page, more = rows[:limit], len(rows) > limit
    following = Cursor(page[-1].promised_day, page[-1].id or 0) if more else None
    return TicketPage(tickets=tuple(_summary(row) for row in page)), following


def get_ticket(services: Services, number: str) -> tuple[TicketAnswer, int]:
    """The ticket and its version, for an ETag; ``NotFound`` if there is none of that number."""

    def look(session: Session) -> tuple[TicketAnswer, int]:
        ticket = _ticket(session, number)
        return _answer(session, ticket), ticket.version

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
    among ``allowed_versions``: someone else moved it first.
    """
    if request.move is Move.CANCEL:
        lock_shop(session)
    order, ticket = _locked(session, number)
    if allowed_versions is not None and ticket.version not in allowed_versions:
        raise Conflict("ticket-changed", _who_moved(session, ticket))
    apply_move(services, session, order, ticket, request, trace_id=trace_id)
    return _answer(session, ticket), ticket.version


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
    """Move a locked ticket of a locked order: state, audit row, order state and events.

    Whoever cancels holds the shop's lock, for the ticket's station time is given back.
    ``with_its_order`` says that all tickets go at once, so that none is told of by itself.
    """
    state = TicketState(ticket.state)
    halted_from = TicketState(ticket.halted_from) if ticket.halted_from else None
    target = after(state, request.move, halted_from)
    if target is None:
        raise _illegal(ticket, request.move, legal_moves(state, halted_from))
    now = services.clock()
    ticket.state = target
    ticket.halted_from = state if request.move is Move.HALT else None
    ticket.version += 1
    session.add(ticket)
    session.add(
        TicketMove(
            ticket_id=ticket.id or 0,
            move=request.move,
            from_state=state,
            to_state=target,
            who=request.who,
            note=request.note,
            at=now,
        )
    )
    session.flush()
    if target is TicketState.CANCELLED:
        give_back(session, ticket.id or 0, now.date())
    _settle_order(
        services, session, order, ticket, state, trace_id, tell_of_ticket=not with_its_order
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
    payload = {
        "reference": order.reference,
        "order_state": now,
        "ticket": ticket.number,
        "line": ticket.line_index,
        "from_state": from_state,
        "state": ticket.state,
    }
    type_ = "ticket.halted" if ticket.state == TicketState.HALTED else "ticket.moved"
    types = [type_] if tell_of_ticket else []
    if now is not before and now in _ORDER_EVENTS:
        types.append(_ORDER_EVENTS[now])
    for kind in types:
        told = payload if kind.startswith("ticket.") else _order_payload(order)
        record_event(
            session,
            order=order,
            type_=kind,
            payload=told,
            now=services.clock(),
            event_id=services.new_id("evt"),
            trace_id=trace_id,
        )


def _order_payload(order: Order) -> dict[str, str]:
    return {
        "reference": order.reference,
        "order_state": order.state,
        "promised_day": order.promised_day.isoformat(),
    }


def order_event(
    services: Services, session: Session, order: Order, type_: str, trace_id: str
) -> None:
    """Write an event about the order as a whole."""
    record_event(
        session,
        order=order,
        type_=type_,
        payload=_order_payload(order),
        now=services.clock(),
        event_id=services.new_id("evt"),
        trace_id=trace_id,
    )


def _locked(session: Session, number: str) -> tuple[Order, Ticket]:
    """Lock the order and then the ticket: everyone in this order, so that nobody deadlocks."""
    order_id = session.exec(select(Ticket.order_id).where(Ticket.number == number)).first()
    if order_id is None:
        raise _no_such_ticket(number)
    order = session.exec(select(Order).where(Order.id == order_id).with_for_update()).one()
    ticket = session.exec(select(Ticket).where(Ticket.number == number).with_for_update()).one()
    return order, ticket


def _ticket(session: Session, number: str) -> Ticket:
    ticket = session.exec(select(Ticket).where(Ticket.number == number)).first()
    if ticket is None:
        raise _no_such_ticket(number)
    return ticket


def _no_such_ticket(number: str) -> NotFound:
    return NotFound("ticket-not-found", f"There is no ticket '{number}'.")


def _illegal(ticket: Ticket, move: Move, legal: tuple[Move, ...]) -> Conflict:
    open_moves = ", ".join(legal) if legal else "none, it is finished"
    return Conflict(
        "move-not-legal",
        f"Ticket {ticket.number} is '{ticket.state}', from where '{move}' is not possible. "
        f"Moves open to it: {open_moves}.",
        extra={"state": ticket.state, "legal_moves": list(legal)},
    )


def _who_moved(session: Session, ticket: Ticket) -> str:
    last = session.exec(
        select(TicketMove)
        .where(TicketMove.ticket_id == ticket.id)
        .order_by(col(TicketMove.id).desc())
        .limit(1)
    ).first()
    who = f"{last.who} made the move '{last.move}'" if last else "it changed"
    return f"Since you looked at ticket {ticket.number}, {who}. Look again, then decide."


def _summary(row: Ticket) -> TicketSummary:
    return TicketSummary(
        number=row.number,
        order_id=row.order_id,
        line=row.line_index,
        state=TicketState(row.state),
        pieces=row.pieces,
        promised_day=row.promised_day,
        created_at=row.created_at,
    )


def _answer(session: Session, row: Ticket) -> TicketAnswer:
    moves = session.exec(
        select(TicketMove).where(TicketMove.ticket_id == row.id).order_by(col(TicketMove.id))
    ).all()
    halted_from = TicketState(row.halted_from) if row.halted_from else None
    return TicketAnswer(
        **_summary(row).model_dump(),
        legal_moves=legal_moves(TicketState(row.state), halted_from),
        document=TicketDocument.model_validate_json(row.document_json),
        moves=tuple(
            TicketMoveAnswer(
                move=Move(move.move),
                from_state=TicketState(move.from_state),
                to_state=TicketState(move.to_state),
                who=move.who,
                note=move.note,
                at=move.at,
            )
            for move in moves
        ),
    )
