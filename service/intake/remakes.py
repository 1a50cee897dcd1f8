"""A remake: a further ticket for pieces that were spoiled beyond the spares.

It is the same work for fewer pieces, under its own number and on its own station time, booked by
the code that makes promises and within the shop's lock. It takes blanks and media of its own from
stock, and waits for them as an order does. Of garments the customer brought there is no other
blank: the ticket waits for what the customer brings.

The order's promised day stays what was promised, and the remake's urgency with it. Where its work
cannot be done by then, the customer's side is told ``order.late`` with the day that can be kept.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from sqlmodel import Session, func, select

from service.domain.capable_to_promise import Promise, promise
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import Conflict
from service.domain.pieces import PieceEventKind
from service.domain.promising import StationWork, station_works
from service.domain.remakes import remake_document
from service.domain.replanning import Why
from service.domain.shop import Catalogue
from service.domain.starts import NOTHING_SEEN
from service.domain.stock_needs import Need, TicketStock, needs_of
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import TicketState
from service.domain.wishes import Line
from service.domain.work import line_work
from service.intake.answers import RemakeAnswer
from service.intake.bench_work import AT_THE_PRESS, at_bench
from service.intake.material import material_of
from service.intake.order_days import refresh_days
from service.intake.price_answers import QuoteAnswer
from service.intake.priced_lines import PriceInputs
from service.intake.promises import planned_ahead, shop_now
from service.intake.requests import QuoteRequest, RemakeRequest
from service.intake.resolve import artwork_ids, resolve_lines
from service.intake.services import Services
from service.intake.settling import settle_day
from service.intake.stock_tickets import write_needs
from service.intake.ticket_events import order_event, ticket_event
from service.intake.ticket_rows import next_station, ticket_answer
from service.intake.urgency import latest_start_s
from service.store.database import lock_shop
from service.store.ledger import book
from service.store.new_orders import tickets_to_come
from service.store.tables import Order, OrderPromise, Quote, Ticket, TicketPiece
from service.store.ticket_documents import document_name, keep_documents


@dataclass(frozen=True, slots=True)
class _Planned:
    """What is to be made anew, and when."""

    document: TicketDocument
    needs: tuple[Need, ...]
    promised: Promise


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
    planned = _plan(services, session, order, ticket, bench.document, missing)
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


def _plan(
    services: Services,
    session: Session,
    order: Order,
    ticket: Ticket,
    document: TicketDocument,
    missing: Mapping[str, int],
) -> _Planned:
    """The work by the order's own version of the catalogue, on the station time free now."""
    quote = session.get_one(Quote, order.quote_id)
    compiled = services.catalogues.of_version(session, quote.catalogue_version)
    inputs = _inputs(services, session, compiled, quote)
    line = _line_again(inputs, quote, ticket.line_index)
    before, now = (
        line_work(compiled.catalogue, replace(line, pieces_by_size=dict(pieces)), inputs.seen)
        for pieces in (document.pieces_by_size, missing)
    )
    again = remake_document(document, before, now)
    needs = tuple(needs_of(TicketStock.model_validate_json(again.model_dump_json())))
    lot_pieces = services.catalogues.current.catalogue.policy.transfer_pieces
    works = station_works(now, transfer_pieces=lot_pieces)
    promised = _promise(services, session, compiled.catalogue, works, needs)
    return _Planned(again, needs, promised)


def _inputs(
    services: Services, session: Session, compiled: CompiledCatalogue, quote: Quote
) -> PriceInputs:
    """What the quote was reckoned from, as the ticket was; just now, where that was not kept."""
    kept = PriceInputs.from_json(compiled, quote.inputs_json)
    if kept is not None:
        return kept
    request = QuoteRequest.model_validate_json(quote.request_json)
    artworks = services.artworks.fetch(session, artwork_ids(request.lines))
    return PriceInputs(compiled, artworks, NOTHING_SEEN)


def _line_again(inputs: PriceInputs, quote: Quote, index: int) -> Line:
    """The line as it was quoted, each decoration with the method that was chosen then."""
    request = QuoteRequest.model_validate_json(quote.request_json).lines[index]
    methods = QuoteAnswer.model_validate_json(quote.answer_json).lines[index].methods
    (line,) = resolve_lines(inputs.compiled, [request], inputs.artworks)
    decorations = tuple(
        replace(one, method_id=methods[one.placement_id]) for one in line.decorations
    )
    return replace(line, decorations=decorations)


def _promise(
    services: Services,
    session: Session,
    quoted: Catalogue,
    works: Sequence[StationWork],
    needs: Sequence[Need],
) -> Promise:
    """By the calendar and stations in force; a remake takes no minutes that are kept for rush.

    It is of an order that was accepted before others, so it goes where there is room first.
    """
    catalogue, now = services.catalogues.current.catalogue, services.clock()
    with planned_ahead(catalogue.station_by_id):
        shop = replace(shop_now(services, session, catalogue, start=now, now=now), margins={})
        material = material_of(session, catalogue, needs, start=now, now=now, quoted=quoted)
        return promise(shop, [works], material)


def _write(
    services: Services,
    session: Session,
    ticket: Ticket,
    planned: _Planned,
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
    planned: _Planned,
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
