"""A remake: a further ticket for pieces that were spoiled beyond the spares.

It is the same work for fewer pieces, under its own number and on its own station time, booked by
the code that makes promises and within the shop's lock. It takes blanks and media of its own from
stock; for its day they count as bought in, with their suppliers' days, as they do for an order. Of
garments the customer brought there is no other blank: the ticket waits for what the customer
brings.

The order's promised day stays what was promised, and the remake's urgency with it. Where its work
cannot be done by then, the customer's side is told ``order.late`` with the day that can be kept.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from sqlmodel import Session, func, select

from service.domain.calendar import first_work_day
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput, Conflict
from service.domain.pieces import PieceEventKind
from service.domain.promising import HorizonExceeded, Promise, promise
from service.domain.remakes import remake_document
from service.domain.starts import NOTHING_SEEN
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import TicketState
from service.domain.wishes import Line
from service.domain.work import LineWork, line_work
from service.intake.answers import RemakeAnswer
from service.intake.bench_work import AT_THE_PRESS, at_bench
from service.intake.price_answers import QuoteAnswer
from service.intake.priced_lines import PriceInputs
from service.intake.requests import QuoteRequest, RemakeRequest
from service.intake.resolve import artwork_ids, resolve_lines
from service.intake.services import Services
from service.intake.stock_tickets import write_needs
from service.intake.ticket_events import order_event, ticket_event
from service.intake.ticket_rows import next_numbers, next_station, ticket_answer
from service.store.database import lock_shop
from service.store.ledger import book, booked_seconds
from service.store.tables import Order, Quote, Ticket, TicketPiece


@dataclass(frozen=True, slots=True)
class _Planned:
    """What is to be made anew, and when."""

    document: TicketDocument
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
    return _Planned(
        remake_document(document, before, now), _promise(services, session, compiled, now)
    )


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
    services: Services, session: Session, compiled: CompiledCatalogue, work: LineWork
) -> Promise:
    catalogue, now = compiled.catalogue, services.clock()
    booked = booked_seconds(session, first_work_day(catalogue.calendar, now))
    try:
        return promise(catalogue, [work], now=now, booked_s=booked)
    except HorizonExceeded as full:
        name = catalogue.station_by_id[full.station].name
        raise BadInput(
            "more-than-the-shop-can-make",
            f"The remake does not fit into the working days the shop plans ahead; {name} is the "
            "tightest station. Make room there first.",
        ) from full


def _write(
    services: Services,
    session: Session,
    ticket: Ticket,
    planned: _Planned,
    missing: Mapping[str, int],
) -> Ticket:
    """Write the ticket and book its station time."""
    earlier = select(func.max(Ticket.remake)).where(
        Ticket.order_id == ticket.order_id, Ticket.line_index == ticket.line_index
    )
    (number,) = next_numbers(session, 1)
    remake = Ticket(
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
        document_json=planned.document.model_dump_json(),
        created_at=services.clock(),
    )
    session.add(remake)
    session.flush()
    write_needs(session, [remake])
    taken = [(one.station, one.day, one.seconds) for one in planned.promised.plan.bookings]
    book(session, remake.id or 0, taken)
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
    if planned.promised.promised_day > order.promised_day:
        expected = {"expected_day": planned.promised.promised_day.isoformat()}
        order_event(services, session, order, "order.late", trace_id, expected)


def _answer(session: Session, order: Order, remake: Ticket, promised: Promise) -> RemakeAnswer:
    return RemakeAnswer(
        ticket=ticket_answer(session, remake),
        done_day=promised.promised_day,
        promised_day=order.promised_day,
        late=promised.promised_day > order.promised_day,
        reason=promised.reason,
    )
