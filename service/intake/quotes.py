"""Quote lines: judge, price and date them, and keep the answer until it expires."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from service.domain.calendar import first_work_day, working_days_between
from service.domain.canonical import canonical_json
from service.domain.compiled import CompiledCatalogue
from service.domain.costing import CostRow, OrderPrice, price_line, price_order
from service.domain.errors import BadInput, NotFound
from service.domain.promising import HorizonExceeded, Promise, promise, station_works
from service.domain.rules import Severity
from service.domain.ticket import write_ticket
from service.domain.wishes import Line
from service.intake.answers import (
    MoneyAnswer,
    PromiseAnswer,
    QuoteAnswer,
    QuoteLineAnswer,
)
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.check import (
    SUPPLIED_RISK,
    LineVerdict,
    all_work,
    check_answer,
    finding_answers,
    judge_lines,
)
from service.intake.requests import QuoteRequest
from service.intake.resolve import resolve_lines
from service.intake.services import Caller, Services
from service.store.ledger import booked_seconds
from service.store.tables import Quote


@dataclass(frozen=True, slots=True)
class PricedLines:
    """Lines with their verdicts and prices, before a day is promised."""

    lines: tuple[Line, ...]
    verdicts: tuple[LineVerdict, ...]
    price: OrderPrice


def price_lines(
    compiled: CompiledCatalogue, request: QuoteRequest, artworks: Mapping[str, ShelvedArtwork]
) -> PricedLines:
    """Resolve, judge and price. Computes only.

    Raises ``BadInput`` for unknown names, and ``cannot-be-made`` carrying the whole check where a
    decoration has no working method.
    """
    lines = resolve_lines(compiled, request.lines, artworks)
    verdicts = judge_lines(compiled, lines)
    if not all_work(verdicts):
        check = check_answer(compiled, lines, verdicts)
        raise BadInput(
            "cannot-be-made",
            "At least one decoration cannot be made as asked, so there is no price. The member "
            "'check' says why and what would work instead.",
            extra={"check": check.model_dump(mode="json")},
        )
    decided = tuple(
        _decided(line, line_verdicts) for line, line_verdicts in zip(lines, verdicts, strict=True)
    )
    price = price_order([price_line(compiled.catalogue, line) for line in decided])
    return PricedLines(decided, verdicts, price)


def _decided(line: Line, verdicts: LineVerdict) -> Line:
    """The line with each decoration's method settled to the chosen one."""
    decorations = tuple(
        replace(verdict.decoration, method_id=verdict.chosen.method_id)
        for verdict in verdicts
        if verdict.chosen is not None
    )
    return replace(line, decorations=decorations)


def quote_lines(
    services: Services,
    session: Session,
    caller: Caller,
    request: QuoteRequest,
    compiled: CompiledCatalogue,
    priced: PricedLines,
) -> QuoteAnswer:
    """Promise a day, keep the quote and answer, within the caller's transaction.

    ``compiled`` is the catalogue that ``priced`` was priced by.
    The day holds for the whole life of the quote: it is planned as if accepted at the last moment.
    """
    now = services.clock()
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
            cost_json=canonical_json([_rows(line.rows) for line in priced.price.lines]),
            plan_json=canonical_json(_plan(compiled, priced, promised, expires_at)),
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


def _plan(
    compiled: CompiledCatalogue, priced: PricedLines, promised: Promise, start: datetime
) -> dict[str, Any]:
    """What accepting needs: each ticket's document and station work, and days for material."""
    calendar = compiled.catalogue.calendar
    lead_days = working_days_between(
        calendar, first_work_day(calendar, start), promised.material.day
    )
    tickets = [
        {
            "pieces": line.pieces,
            "document_json": write_ticket(compiled, line, verdicts, price.work).model_dump_json(),
            "works": [
                [work.station, work.seconds, work.wait_s] for work in station_works(price.work)
            ],
        }
        for line, verdicts, price in zip(
            priced.lines, priced.verdicts, priced.price.lines, strict=True
        )
    ]
    return {
        "material_lead_days": lead_days,
        "ready_day": promised.material.day.isoformat(),
        "tickets": tickets,
    }


def _rows(rows: Sequence[CostRow]) -> list[dict[str, str]]:
    """Cost rows as text, every Decimal exact."""
    return [
        {
            "label": row.label,
            "part": row.part,
            "quantity": str(row.quantity),
            "unit": row.unit,
            "rate": str(row.rate),
            "rate_per": str(row.rate_per),
            "amount": str(row.amount),
        }
        for row in rows
    ]


def _answer(
    quote_id: str,
    compiled: CompiledCatalogue,
    priced: PricedLines,
    promised: Promise,
    stands: tuple[datetime, datetime],
) -> QuoteAnswer:
    currency = priced.price.currency
    lines = tuple(
        QuoteLineAnswer(
            garment=line.garment.blank_id or "supplied",
            colour=line.garment.colour_id or line.garment.srgb,
            methods={
                decoration.placement_id: decoration.method_id or ""
                for decoration in line.decorations
            },
            pieces_by_size=line.pieces_by_size,
            unit_prices={
                size: MoneyAnswer(amount=amount, currency=currency)
                for size, amount in price.unit_prices.items()
            },
            total=MoneyAnswer(amount=price.total_minor, currency=currency),
            findings=finding_answers(
                [
                    finding
                    for verdict in verdicts
                    if verdict.chosen
                    for finding in verdict.chosen.at_least(Severity.NOTES)
                ]
            ),
            risk=SUPPLIED_RISK if line.garment.supplied else "",
        )
        for line, verdicts, price in zip(
            priced.lines, priced.verdicts, priced.price.lines, strict=True
        )
    )
    return QuoteAnswer(
        id=quote_id,
        catalogue_version=compiled.version,
        created_at=stands[0],
        expires_at=stands[1],
        lines=lines,
        total=MoneyAnswer(amount=priced.price.total_minor, currency=currency),
        promise=PromiseAnswer(
            day=promised.promised_day,
            time_zone=compiled.catalogue.calendar.time_zone,
            reason=promised.reason,
        ),
    )
