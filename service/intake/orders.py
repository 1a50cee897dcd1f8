"""Orders: accept a quote exactly as it stands, show an order, cancel one not yet begun."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from itertools import chain
from typing import Any, NamedTuple

from sqlmodel import Session, col, select

from service.domain.canonical import rfc3339
from service.domain.capable_to_promise import Promise, promise
from service.domain.errors import Conflict, Gone, NotFound
from service.domain.promising import (
    HorizonExceeded,
    MaterialDay,
    PlannedBooking,
    StationWork,
)
from service.domain.stock_needs import Need, TicketStock, needs_of
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import Move, OrderState, TicketState
from service.intake.answers import MoneyAnswer, OrderAnswer, OrderTicketAnswer
from service.intake.holds import bookings_held, end_quote_hold
from service.intake.material import material_of, needs_read
from service.intake.promises import promise_written, record_of, shop_now
from service.intake.requests import MoveRequest, OrderRequest
from service.intake.services import Caller, Services
from service.intake.settling import settle_day
from service.intake.stock_tickets import need_rows
from service.intake.ticket_events import order_event
from service.intake.ticket_rows import (
    document_of,
    legal_now,
    next_station,
    piece_count,
    piece_rows,
)
from service.intake.tickets import apply_move
from service.intake.urgency import latest_start_s
from service.store.database import lock_shop
from service.store.ledger import OpenShare, book_shares
from service.store.new_orders import (
    QuoteToAccept,
    next_ticket_numbers,
    quote_to_accept,
    write_order,
    write_ticket_needs,
    write_tickets,
)
from service.store.tables import Order, OrderPromise, Ticket


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
    took the station time or the material its day needs.
    """
    lock_shop(session)
    settle_day(services, session, trace_id=trace_id)
    quote = _open_quote(services, session, caller, request.quote_id)
    planned = json.loads(quote.plan_json)
    booked = _what_is_held(services, session, quote, planned)
    if booked is None:
        booked = _what_is_free(services, session, quote, planned)
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
    tickets = _write_tickets(services, session, order, planned["tickets"])
    book_shares(
        session,
        [
            OpenShare(tickets[one.ticket_index].id, one.station, one.day, one.seconds, booked.rush)
            for one in booked.bookings
        ],
    )
    order_event(services, session, order, "order.accepted", trace_id)
    written = booked.promise
    method = _one_method(planned["tickets"])
    write_order(session, order, record_of(order.id, order.promised_day, written, method))
    return _answer(order, tickets, order.promised_day)


def get_order(services: Services, caller: Caller, order_id: str) -> tuple[OrderAnswer, int]:
    """The order and its version, for an ETag; ``NotFound`` for another caller's."""

    def look(session: Session) -> tuple[OrderAnswer, int]:
        order = _order(session, caller, order_id)
        expected = _expected_day(session, order)
        return _answer(order, _tickets(session, order), expected), order.version

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
    return _answer(order, tickets, _expected_day(session, order)), order.version


def _open_quote(
    services: Services, session: Session, caller: Caller, quote_id: str
) -> QuoteToAccept:
    quote = quote_to_accept(session, quote_id)
    if quote is None or not caller.may_see(quote.holder):
        raise NotFound("quote-not-found", "There is no such quote of yours.")
    if quote.order_id is not None:
        raise Conflict(
            "quote-already-accepted",
            f"This quote became order {quote.order_id}. Ask for a new quote to order again.",
            extra={"order_id": quote.order_id},
        )
    if quote.expires_at <= services.clock():
        raise Gone(
            "quote-expired",
            f"This quote stood until {rfc3339(quote.expires_at)}. Ask for a new one.",
            extra={"expired_at": rfc3339(quote.expires_at)},
        )
    return quote


class _Booked(NamedTuple):
    """The station time that an order takes, and what is kept of its promise."""

    bookings: Sequence[PlannedBooking]
    rush: bool
    promise: Mapping[str, Any]


def _what_is_held(
    services: Services, session: Session, quote: QuoteToAccept, planned: Mapping[str, Any]
) -> _Booked | None:
    """What the quote holds, turned into bookings as it is; None where nothing is held any more.

    It is not promised again: time and material were kept for it, and what others were promised
    since came after it. Only another catalogue put in force, or material that is gone, breaks a
    hold. Whatever is held is given back.
    """
    held, now = planned.get("held", {}), services.clock()
    if held is None or not end_quote_hold(session, quote.id) or "bookings" not in held:
        return None
    until = datetime.fromisoformat(held["until"])
    if until <= now or quote.catalogue_version != services.catalogues.current.version:
        return None
    bookings = bookings_held(held)
    material = _material(services, session, quote, planned["tickets"], until)
    if any(one.day < material.day for one in bookings):
        return None
    return _Booked(bookings, held["rush"], planned["promise"])


def _what_is_free(
    services: Services, session: Session, quote: QuoteToAccept, planned: Mapping[str, Any]
) -> _Booked:
    promised = _promise_again(services, session, quote, planned)
    written = planned.get("promise") or promise_written(promised)
    return _Booked(promised.plan.bookings, promised.rush, written)


def _promise_again(
    services: Services, session: Session, quote: QuoteToAccept, planned: Mapping[str, Any]
) -> Promise:
    """Promise the quote's work on what is free now; it must still leave by the promised day.

    The correction is the one the quote was given, so that a day slips by what was taken since, and
    by another catalogue put in force: days, minutes and policy are those of now, for a machine may
    have gone down. Work that may begin earlier than the quote assumed can, with several tickets,
    end later, as one takes another's place; so the quote's own start is tried too before the
    promise is broken. A station that is gone from the catalogue stays as it was quoted.
    """
    quoted = services.catalogues.of_version(session, quote.catalogue_version).catalogue
    in_force, now = services.catalogues.current.catalogue, services.clock()
    written = planned.get("promise", {})
    as_quoted = max(now, datetime.fromisoformat(planned.get("start", rfc3339(quote.expires_at))))
    works = [[StationWork(*work) for work in ticket["works"]] for ticket in planned["tickets"]]
    days: list[date] = []
    for start in dict.fromkeys((now, as_quoted)):
        shop = shop_now(
            services,
            session,
            in_force,
            start=start,
            more_stations=quoted.station_by_id,
        )
        try:
            promised = promise(
                shop,
                works,
                _material(services, session, quote, planned["tickets"], start),
                rush=written.get("rush", False),
                corrected_by=written.get("corrected_by", 0.0),
            )
        except HorizonExceeded:
            continue
        if promised.promised_day <= quote.promised_day:
            return promised
        days.append(promised.promised_day)
    raise _slipped(quote, min(days, default=None))


def _material(
    services: Services,
    session: Session,
    quote: QuoteToAccept,
    tickets: Sequence[Mapping[str, Any]],
    start: datetime,
) -> MaterialDay:
    catalogue = services.catalogues.current.catalogue
    return material_of(
        session,
        catalogue,
        [need for ticket in tickets for need in _needs(ticket)],
        start=start,
        now=services.clock(),
        quoted=services.catalogues.of_version(session, quote.catalogue_version).catalogue,
    )


def _needs(ticket: Mapping[str, Any]) -> list[Need]:
    """What a planned ticket takes; of a quote from before plans said so, by its document."""
    if "needs" in ticket:
        return needs_read(ticket["needs"])
    return list(needs_of(TicketStock.model_validate_json(ticket["document_json"])))


def _slipped(quote: QuoteToAccept, day: date | None) -> Conflict:
    new_day = day.isoformat() if day else None
    now_day = f"the earliest day is now {new_day}" if new_day else "no day can be given now"
    return Conflict(
        "promise-slipped",
        f"The time or the material that {quote.promised_day.isoformat()} needs is taken or gone; "
        f"{now_day}. Nothing was accepted. Ask for a new quote to take the new day.",
        extra={"promised_day": quote.promised_day.isoformat(), "new_day": new_day},
    )


class _NewTicket(NamedTuple):
    """What is told of a ticket just written."""

    id: int
    number: str
    line_index: int
    state: TicketState
    pieces: int


def _write_tickets(
    services: Services, session: Session, order: Order, planned: Sequence[dict[str, Any]]
) -> list[_NewTicket]:
    """Write the tickets, numbered on from the last; the shop's lock keeps numbers apart."""
    numbers = next_ticket_numbers(session, len(planned))
    catalogue = services.catalogues.current.catalogue
    rows = [
        {
            "number": number,
            "order_id": order.id,
            "line_index": index,
            "state": TicketState.WAITING,
            "method": entry.get("method", ""),
            "station": _first_station(entry),
            "pieces": entry["pieces"],
            "promised_day": order.promised_day,
            "latest_start_s": latest_start_s(
                catalogue, order.promised_day, sum(work[1] for work in entry["works"])
            ),
            "document_json": entry["document_json"],
            "created_at": order.placed_at,
        }
        for index, (number, entry) in enumerate(zip(numbers, planned, strict=True))
    ]
    ids = write_tickets(session, rows)
    needs = [need_rows(id_, _needs(entry)) for id_, entry in zip(ids, planned, strict=True)]
    write_ticket_needs(session, [*chain.from_iterable(needs)])
    return [
        _NewTicket(id_, number, index, TicketState.WAITING, entry["pieces"])
        for index, (id_, number, entry) in enumerate(zip(ids, numbers, planned, strict=True))
    ]


def _one_method(planned: Sequence[Mapping[str, Any]]) -> str:
    """The method of all tickets, empty where there are several."""
    methods = {entry.get("method", "") for entry in planned}
    return methods.pop() if len(methods) == 1 else ""


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


def _expected_day(session: Session, order: Order) -> date | None:
    """The day the order is done as things stand; None of one from before promises were kept."""
    kept = session.get(OrderPromise, order.id)
    return kept.expected_day if kept is not None else None


def _answer(
    order: Order, tickets: Sequence[Ticket | _NewTicket], expected_day: date | None
) -> OrderAnswer:
    return OrderAnswer(
        id=order.id,
        quote_id=order.quote_id,
        reference=order.reference,
        state=OrderState(order.state),
        total=MoneyAnswer(amount=order.total_minor, currency=order.currency),
        promised_day=order.promised_day,
        expected_day=expected_day,
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
