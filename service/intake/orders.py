"""Orders: accept a quote exactly as it stands, show an order, cancel one not yet begun."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlmodel import Session, col, select

from service.domain.calendar import add_working_days, first_work_day
from service.domain.canonical import rfc3339
from service.domain.errors import Conflict, Gone, NotFound
from service.domain.promising import HorizonExceeded, Plan, StationWork, plan_work
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import Move, OrderState, TicketState
from service.intake.answers import MoneyAnswer, OrderAnswer, OrderTicketAnswer
from service.intake.requests import MoveRequest, OrderRequest
from service.intake.services import Caller, Services
from service.intake.stock_tickets import write_needs
from service.intake.ticket_events import order_event
from service.intake.ticket_rows import (
    document_of,
    legal_now,
    next_numbers,
    next_station,
    piece_count,
    piece_rows,
)
from service.intake.tickets import apply_move
from service.store.database import lock_shop
from service.store.ledger import book, booked_seconds
from service.store.tables import Order, Quote, Ticket


def accept_quote(
    services: Services,
    session: Session,
    caller: Caller,
    request: OrderRequest,
    *,
    trace_id: str = "",
) -> OrderAnswer:
    """Turn a quote into an order with its tickets, station time and event, all or nothing.

    Runs in the caller's transaction. Raises ``NotFound`` for another caller's quote, ``Gone`` for
    an expired one, ``Conflict`` when it was accepted before or when, since it was given, others
    took the station time its day needs.
    """
    lock_shop(session)
    quote = _open_quote(services, session, caller, request.quote_id)
    plan_document = json.loads(quote.plan_json)
    plan = _plan_again(services, session, quote, plan_document)
    order = Order(
        id=services.new_id("order"),
        holder=quote.holder,
        quote_id=quote.id,
        reference=request.reference,
        state=OrderState.ACCEPTED,
        total_minor=quote.total_minor,
        currency=quote.currency,
        promised_day=quote.promised_day,
        placed_at=services.clock(),
    )
    session.add(order)
    session.flush()
    tickets = _write_tickets(session, order, plan_document["tickets"])
    for ticket in tickets:
        taken = [b for b in plan.bookings if b.ticket_index == ticket.line_index]
        book(session, ticket.id or 0, [(b.station, b.day, b.seconds) for b in taken])
    order_event(services, session, order, "order.accepted", trace_id)
    return _answer(order, tickets)


def get_order(services: Services, caller: Caller, order_id: str) -> tuple[OrderAnswer, int]:
    """The order and its version, for an ETag; ``NotFound`` for another caller's."""

    def look(session: Session) -> tuple[OrderAnswer, int]:
        order = _order(session, caller, order_id)
        return _answer(order, _tickets(session, order)), order.version

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
    return _answer(order, tickets), order.version


def _open_quote(services: Services, session: Session, caller: Caller, quote_id: str) -> Quote:
    quote = session.get(Quote, quote_id)
    if quote is None or not caller.may_see(quote.holder):
        raise NotFound("quote-not-found", "There is no such quote of yours.")
    earlier = session.exec(select(Order.id).where(Order.quote_id == quote.id)).first()
    if earlier is not None:
        raise Conflict(
            "quote-already-accepted",
            f"This quote became order {earlier}. Ask for a new quote to order again.",
            extra={"order_id": earlier},
        )
    if quote.expires_at <= services.clock():
        raise Gone(
            "quote-expired",
            f"This quote stood until {rfc3339(quote.expires_at)}. Ask for a new one.",
            extra={"expired_at": rfc3339(quote.expires_at)},
        )
    return quote


def _plan_again(
    services: Services, session: Session, quote: Quote, plan_document: dict[str, Any]
) -> Plan:
    """Plan the quote's work on what is free now; it must still be done by the promised day.

    Work that may begin earlier than the quote assumed can, with several tickets, end later, as one
    takes another's place. So the quote's own first day and hour are tried too before the promise is
    broken. Days and minutes are those in force now: a machine may have gone down since. A station
    that is gone from the catalogue stays as it was quoted.
    """
    quoted = services.catalogues.of_version(session, quote.catalogue_version).catalogue
    in_force, now = services.catalogues.current.catalogue, services.clock()
    calendar = in_force.calendar
    start = first_work_day(calendar, now)
    earliest = add_working_days(calendar, start, int(plan_document["material_lead_days"]))
    as_quoted = date.fromisoformat(plan_document["ready_day"])
    works = [
        [StationWork(station, seconds, wait_s) for station, seconds, wait_s in ticket["works"]]
        for ticket in plan_document["tickets"]
    ]
    booked = booked_seconds(session, start)
    done_days: list[date] = []
    for ready_day, from_now in ((earliest, now), (max(earliest, as_quoted), quote.expires_at)):
        try:
            plan = plan_work(
                works,
                ready_day=ready_day,
                calendar=calendar,
                stations={**quoted.station_by_id, **in_force.station_by_id},
                booked_s=booked,
                now=from_now,
            )
        except HorizonExceeded:
            continue
        if plan.done_day <= quote.promised_day:
            return plan
        done_days.append(plan.done_day)
    raise _slipped(quote, min(done_days, default=None))


def _slipped(quote: Quote, day: date | None) -> Conflict:
    new_day = day.isoformat() if day else None
    now_day = f"the earliest day is now {new_day}" if new_day else "no day can be given now"
    return Conflict(
        "promise-slipped",
        f"Others took the time that {quote.promised_day.isoformat()} needs; {now_day}. Nothing "
        "was accepted. Ask for a new quote to take the new day.",
        extra={"promised_day": quote.promised_day.isoformat(), "new_day": new_day},
    )


def _write_tickets(
    session: Session, order: Order, planned: Sequence[dict[str, Any]]
) -> list[Ticket]:
    """Write the tickets, numbered on from the last; the shop's lock keeps numbers apart."""
    numbers = next_numbers(session, len(planned))
    tickets = [
        Ticket(
            number=numbers[index],
            order_id=order.id,
            line_index=index,
            state=TicketState.WAITING,
            method=entry.get("method", ""),
            station=_first_station(entry),
            pieces=entry["pieces"],
            promised_day=order.promised_day,
            document_json=entry["document_json"],
            created_at=order.placed_at,
        )
        for index, entry in enumerate(planned)
    ]
    session.add_all(tickets)
    session.flush()
    write_needs(session, tickets)
    return tickets


def _first_station(entry: dict[str, Any]) -> str:
    """Where the ticket waits; a quote from before plans said so is looked up in its document."""
    if "station" in entry:
        return str(entry["station"])
    return next_station(TicketDocument.model_validate_json(entry["document_json"]), ())


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
    return list(session.exec(statement.with_for_update() if lock else statement).all())


def _answer(order: Order, tickets: Sequence[Ticket]) -> OrderAnswer:
    return OrderAnswer(
        id=order.id,
        quote_id=order.quote_id,
        reference=order.reference,
        state=OrderState(order.state),
        total=MoneyAnswer(amount=order.total_minor, currency=order.currency),
        promised_day=order.promised_day,
        placed_at=order.placed_at,
        tickets=tuple(
            OrderTicketAnswer(
                number=ticket.number,
                line=ticket.line_index,
                state=TicketState(ticket.state),
                pieces=ticket.pieces,
            )
            for ticket in tickets
        ),
    )
