"""Quote lines: judge, price and date them, and keep the answer until it expires."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from service.domain.calendar import first_work_day, working_days_between
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput, NotFound
from service.domain.promising import HorizonExceeded, Promise, promise, station_works
from service.domain.ticket import TicketDocument, write_ticket
from service.domain.wishes import Line
from service.domain.work import LineWork
from service.intake.answers import MoneyAnswer
from service.intake.price_answers import PromiseAnswer, QuoteAnswer
from service.intake.price_views import line_answer, more_answer, row_texts, tax_answer
from service.intake.priced_lines import PricedLines, PriceInputs, price_lines
from service.intake.requests import QuoteRequest
from service.intake.services import Caller, Services
from service.intake.ticket_rows import next_station
from service.store.ledger import booked_seconds
from service.store.tables import Quote


@dataclass(frozen=True, slots=True)
class QuoteReady:
    """All of a quote that needs no store: its prices, and what is kept of them as JSON text."""

    inputs: PriceInputs
    priced: PricedLines
    inputs_json: str
    cost_json: str
    tickets_json: str


def prepare_quote(inputs: PriceInputs, request: QuoteRequest) -> QuoteReady:
    """Price the lines and write their tickets; computes only, errors as :func:`price_lines`."""
    priced = price_lines(inputs, request)
    tickets = [
        _planned_ticket(line, write_ticket(inputs.compiled, line, verdicts, price.work), price.work)
        for line, verdicts, price in zip(
            priced.lines, priced.verdicts, priced.price.lines, strict=True
        )
    ]
    costs = [row_texts(line.rows) for line in priced.price.lines]
    return QuoteReady(inputs, priced, inputs.as_json(), _compact(costs), _compact(tickets))


def quote_lines(
    services: Services,
    session: Session,
    caller: Caller,
    request: QuoteRequest,
    ready: QuoteReady,
) -> QuoteAnswer:
    """Promise a day, keep the quote and answer, within the caller's transaction.

    The day holds for the whole life of the quote: it is planned as if accepted at the last moment.
    """
    now, compiled, priced = services.clock(), ready.inputs.compiled, ready.priced
    expires_at = now + timedelta(minutes=compiled.catalogue.policy.quote_valid_min)
    promised = _promise(compiled, session, priced, expires_at)
    answer = _answer(services.new_id("quote"), compiled, priced, promised, (now, expires_at))
    session.add(
        Quote(
            id=answer.id,
            holder=caller.holder,
            catalogue_version=compiled.version,
            request_json=request.model_dump_json(),
            answer_json=answer.model_dump_json(),
            inputs_json=ready.inputs_json,
            cost_json=ready.cost_json,
            plan_json=_plan_json(compiled, ready.tickets_json, promised, expires_at),
            total_minor=priced.price.total_minor,
            currency=priced.price.currency,
            promised_day=promised.promised_day,
            created_at=now,
            expires_at=expires_at,
        )
    )
    return answer


def get_quote(services: Services, caller: Caller, quote_id: str) -> QuoteAnswer:
    """The quote as it was given; ``NotFound`` for another caller's."""
    row = services.database.read(lambda session: session.get(Quote, quote_id))
    if row is None or not caller.may_see(row.holder):
        raise NotFound("quote-not-found", "There is no such quote of yours.")
    return QuoteAnswer.model_validate_json(row.answer_json)


def _promise(
    compiled: CompiledCatalogue, session: Session, priced: PricedLines, start: datetime
) -> Promise:
    catalogue = compiled.catalogue
    booked = booked_seconds(session, first_work_day(catalogue.calendar, start))
    works = [line.work for line in priced.price.lines]
    try:
        return promise(catalogue, works, now=start, booked_s=booked)
    except HorizonExceeded as full:
        name = catalogue.station_by_id[full.station].name
        raise BadInput(
            "more-than-the-shop-can-make",
            f"This does not fit into the working days the shop plans ahead; {name} is the "
            "tightest station. Ask for fewer pieces.",
        ) from full


def _plan_json(
    compiled: CompiledCatalogue, tickets_json: str, promised: Promise, start: datetime
) -> str:
    """What accepting needs: each ticket's document and station work, and days for material."""
    calendar = compiled.catalogue.calendar
    first = first_work_day(calendar, start)
    lead_days = working_days_between(calendar, first, promised.material.day)
    head = {"material_lead_days": lead_days, "ready_day": promised.material.day.isoformat()}
    return f'{_compact(head)[:-1]},"tickets":{tickets_json}}}'


def _compact(document: object) -> str:
    """JSON text of what is kept, of texts and whole numbers alone."""
    return json.dumps(document, separators=(",", ":"))


def _planned_ticket(line: Line, document: TicketDocument, work: LineWork) -> dict[str, Any]:
    return {
        "pieces": line.pieces,
        "method": _only_method(line),
        "station": next_station(document, ()),
        "document_json": document.model_dump_json(),
        "works": [[step.station, step.seconds, step.wait_s] for step in station_works(work)],
    }


def _only_method(line: Line) -> str:
    """The method of the line's one decoration, from whose spoilage it learns; empty for several."""
    return (line.decorations[0].method_id or "") if len(line.decorations) == 1 else ""


def _answer(
    quote_id: str,
    compiled: CompiledCatalogue,
    priced: PricedLines,
    promised: Promise,
    stands: tuple[datetime, datetime],
) -> QuoteAnswer:
    price = priced.price
    return QuoteAnswer(
        id=quote_id,
        catalogue_version=compiled.version,
        created_at=stands[0],
        expires_at=stands[1],
        lines=tuple(
            line_answer(line, verdicts, line_price)
            for line, verdicts, line_price in zip(
                priced.lines, priced.verdicts, price.lines, strict=True
            )
        ),
        goods=MoneyAnswer(amount=price.lines_minor, currency=price.currency),
        tax=tax_answer(price),
        total=MoneyAnswer(amount=price.total_minor, currency=price.currency),
        offer=priced.terms.offer_id,
        more_costs_less=more_answer(price),
        promise=PromiseAnswer(
            day=promised.promised_day,
            time_zone=compiled.catalogue.calendar.time_zone,
            reason=promised.reason,
        ),
    )
