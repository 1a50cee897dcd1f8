"""What is to be made anew of a ticket, and when that could be done.

A remake is opened by :mod:`service.intake.remakes`. Until somebody does, the day of a ticket whose
blanks are no longer enough is the one on which a remake could be done that is opened now.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import select as sa_select
from sqlmodel import Session, col, select

from service.domain.calendar import add_working_days
from service.domain.capable_to_promise import Promise, promise
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput
from service.domain.pieces import PieceEventKind
from service.domain.promising import HORIZON_DAYS, StationWork, station_works
from service.domain.remakes import remake_document
from service.domain.shop import Catalogue
from service.domain.starts import NOTHING_SEEN
from service.domain.stock_needs import Need, TicketStock, needs_of
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import TicketState
from service.domain.wishes import Line
from service.domain.work import line_work
from service.intake.material import material_of
from service.intake.price_answers import QuoteAnswer
from service.intake.priced_lines import PriceInputs
from service.intake.promises import planned_ahead, shop_now
from service.intake.replanning import shop_day
from service.intake.requests import QuoteRequest
from service.intake.resolve import artwork_ids, resolve_lines
from service.intake.services import Services
from service.intake.ticket_rows import document_of, piece_count, piece_rows
from service.store.tables import Order, Quote, Ticket, TicketPiece

_MAY_BE_SHORT = (
    col(Ticket.state).in_((TicketState.ON_BENCH, TicketState.HALTED)),
    sa_select(col(TicketPiece.id))
    .where(
        col(TicketPiece.ticket_id) == col(Ticket.id),
        col(TicketPiece.kind) == PieceEventKind.SPOILED,
    )
    .exists(),
)
"""Tickets that are made or done have all their pieces."""


@dataclass(frozen=True, slots=True)
class RemakePlan:
    """What is to be made anew, and when."""

    document: TicketDocument
    needs: tuple[Need, ...]
    promised: Promise


def orders_short(session: Session) -> set[str]:
    """Open orders with tickets of which pieces were spoiled, whether or not spares are enough."""
    return set(
        session.connection()
        .execute(sa_select(col(Ticket.order_id)).where(*_MAY_BE_SHORT))
        .scalars()
    )


def remake_days(
    services: Services, session: Session, order_ids: Collection[str]
) -> dict[str, date]:
    """Of orders whose blanks are no longer enough, the day all could be made anew if opened now.

    Nothing is written. Work that does not fit into the days planned ahead is done on the last.
    """
    found: dict[str, date] = {}
    spoiled = select(Ticket).where(col(Ticket.order_id).in_(order_ids), *_MAY_BE_SHORT)
    for ticket in session.exec(spoiled.order_by(col(Ticket.id))).all():
        document = document_of(ticket)
        missing = piece_count(document, piece_rows(session, ticket)).to_remake
        if missing:
            day = _done_day(services, session, ticket, document, missing)
            found[ticket.order_id] = max(day, found.get(ticket.order_id, day))
    return found


def _done_day(
    services: Services,
    session: Session,
    ticket: Ticket,
    document: TicketDocument,
    missing: Mapping[str, int],
) -> date:
    order = session.get_one(Order, ticket.order_id)
    try:
        planned = plan_remake(services, session, order, ticket, document, missing)
    except BadInput:
        calendar = services.catalogues.current.catalogue.calendar
        return add_working_days(calendar, shop_day(services), HORIZON_DAYS - 1)
    return planned.promised.plan.done_day


def plan_remake(
    services: Services,
    session: Session,
    order: Order,
    ticket: Ticket,
    document: TicketDocument,
    missing: Mapping[str, int],
) -> RemakePlan:
    """The work by the order's own version of the catalogue, on the station time free now.

    Nothing is written. ``BadInput`` when the work does not fit the days that the shop plans ahead.
    """
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
    return RemakePlan(again, needs, promised)


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
    # A station that is gone from the catalogue is planned as it was quoted.
    stations = {**quoted.station_by_id, **catalogue.station_by_id}
    with planned_ahead(stations):
        shop = shop_now(services, session, catalogue, start=now, now=now)
        shop = replace(shop, stations=stations, margins={})
        material = material_of(session, catalogue, needs, start=now, now=now, quoted=quoted)
        return promise(shop, [works], material)
