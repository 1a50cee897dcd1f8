"""A remake: a further ticket for pieces that were spoiled beyond the spares.

It is the same work for fewer pieces, under its own number and on its own station time, booked by
the code that makes promises and within the shop's lock. It takes blanks and media of its own from
stock, and waits for them as an order does. Of garments the customer brought there is no other
blank: the ticket waits for what the customer brings.

The order's promised day stays what was promised, and the remake's urgency with it. Where its work
cannot be done by then, the customer's side is told ``order.late`` with the day that can be kept,
mostly when the pieces are entered as spoiled (:mod:`service.intake.remake_plans`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from sqlmodel import Session, func, select

from service.domain.capable_to_promise import Promise
from service.domain.errors import Conflict
from service.domain.pieces import PieceEventKind
from service.domain.replanning import Why
from service.domain.ticket_states import TicketState
from service.intake.answers import RemakeAnswer
from service.intake.bench_work import AT_THE_PRESS, at_bench
from service.intake.order_days import refresh_days
from service.intake.remake_plans import RemakePlan, plan_remake
from service.intake.requests import RemakeRequest
from service.intake.services import Services
from service.intake.settling import settle_day
from service.intake.stock_tickets import write_needs
from service.intake.ticket_events import order_event, ticket_event
from service.intake.ticket_rows import next_station, ticket_answer
from service.intake.urgency import latest_start_s
from service.store.database import lock_shop
from service.store.ledger import book
from service.store.new_orders import tickets_to_come
from service.store.tables import Order, OrderPromise, Ticket, TicketPiece
from service.store.ticket_documents import document_name, keep_documents


def open_remake(
    services: Services,
    session: Session,
    number: str,
    request: RemakeRequest,
    *,
    allowed_versions: Collection[int] | None = None,
    trace_id: str = "",
) -> tuple[RemakeAnswer, int]:
    """Open a remake of all that the ticket has no blank for; returns it and its version.

    Runs in the caller's transaction. Raises ``nothing-to-remake`` while the blanks are enough,
    ``bench-work-not-legal`` off the bench, ``ticket-changed`` for another version of the ticket,
    ``BadInput`` when the work does not fit the days that the shop plans ahead.
    """
    lock_shop(session)
    settle_day(services, session, trace_id=trace_id)
    bench = at_bench(session, number, allowed_versions, AT_THE_PRESS, "A remake is opened")
    order, ticket, missing = bench.order, bench.ticket, bench.count.to_remake
    if not missing:
        raise _nothing_to_remake(ticket)
    planned = plan_remake(services, session, order, ticket, bench.document, missing)
    remake = _write(services, session, ticket, planned, missing)
    _move_pieces(services, session, ticket, missing, request, remake)
    order.version += 1
    session.add(order)
    session.flush()
    _tell(services, session, order, remake, planned, trace_id)
    return _answer(session, order, remake, planned.promised), remake.version


def _nothing_to_remake(ticket: Ticket) -> Conflict:
    return Conflict(
        "nothing-to-remake",
        f"Ticket {ticket.number} has blanks at hand for every piece still to come. Enter the "
        "spoiled pieces first.",
    )


def _write(
    services: Services,
    session: Session,
    ticket: Ticket,
    planned: RemakePlan,
    missing: Mapping[str, int],
) -> Ticket:
    """Write the ticket and book its station time."""
    taken = [(one.station, one.day, one.seconds) for one in planned.promised.plan.bookings]
    catalogue = services.catalogues.current.catalogue
    earlier = select(func.max(Ticket.remake)).where(
        Ticket.order_id == ticket.order_id, Ticket.line_index == ticket.line_index
    )
    ticket_id, number = next(tickets_to_come(session, 1))
    document = planned.document.model_dump_json()
    keep_documents(session, [document])
    remake = Ticket(
        id=ticket_id,
        number=number,
        order_id=ticket.order_id,
        line_index=ticket.line_index,
        state=TicketState.WAITING,
        method=ticket.method,
        station=next_station(planned.document, ()),
        remake=session.exec(earlier).one() + 1,
        remake_of=ticket.number,
        pieces=sum(missing.values()),
        promised_day=ticket.promised_day,
        latest_start_s=latest_start_s(
            catalogue, ticket.promised_day, sum(seconds for _, _, seconds in taken)
        ),
        document_sha256=document_name(document),
        created_at=services.clock(),
    )
    session.add(remake)
    session.flush()
    write_needs(session, remake, planned.needs)
    book(session, ticket_id, taken)
    return remake


def _move_pieces(
    services: Services,
    session: Session,
    ticket: Ticket,
    missing: Mapping[str, int],
    request: RemakeRequest,
    remake: Ticket,
) -> None:
    ticket.version += 1
    session.add(ticket)
    session.add_all(
        TicketPiece(
            ticket_id=ticket.id or 0,
            kind=PieceEventKind.MOVED,
            size=size,
            count=count,
            note=request.note or f"made anew by {remake.number}",
            who=request.who,
            at=services.clock(),
            version=ticket.version,
        )
        for size, count in missing.items()
    )


def _tell(
    services: Services,
    session: Session,
    order: Order,
    remake: Ticket,
    planned: RemakePlan,
    trace_id: str,
) -> None:
    more = {"remake_of": remake.remake_of, "pieces": dict(planned.document.pieces_by_size)}
    ticket_event(services, session, order, remake, "ticket.remade", trace_id, more)
    refresh_days(services, session, [order.id], Why.REMAKE, trace_id=trace_id, counted=True)
    late = planned.promised.plan.done_day > order.promised_day
    if late and session.get(OrderPromise, order.id) is None:
        # Of an order from before promises were kept there is no day to compare with but this.
        expected = {"expected_day": planned.promised.plan.done_day.isoformat(), "why": Why.REMAKE}
        order_event(services, session, order, "order.late", trace_id, expected)


def _answer(session: Session, order: Order, remake: Ticket, promised: Promise) -> RemakeAnswer:
    kept, done_day = session.get(OrderPromise, order.id), promised.plan.done_day
    return RemakeAnswer(
        ticket=ticket_answer(session, remake),
        done_day=done_day,
        promised_day=order.promised_day,
        late=max(done_day, kept.expected_day if kept else done_day) > order.promised_day,
        reason=promised.reason,
    )
