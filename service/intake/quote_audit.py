"""A stored quote priced anew from what was stored, and its build-up; for staff alone."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from sqlmodel import Session

from service.domain.compiled import CompiledCatalogue
from service.domain.costing import ARTWORK_CHECK, CostPart
from service.domain.errors import Conflict, NotFound
from service.domain.line_price import LinePrice
from service.domain.spoilage import RedoChoice, redo_starts
from service.domain.starts import spoilage_belief
from service.intake.answers import MoneyAnswer
from service.intake.price_answers import (
    AuditLineAnswer,
    QuoteAnswer,
    QuoteAuditAnswer,
    SpoilageAnswer,
)
from service.intake.price_views import row_answers, unit_price_answers
from service.intake.priced_lines import PricedLines, PriceInputs, price_lines
from service.intake.requests import QuoteRequest
from service.intake.services import Services
from service.store.tables import Quote


@dataclass(frozen=True, slots=True)
class StoredQuote:
    """A quote's row, and what its price was reckoned from."""

    row: Quote
    inputs: PriceInputs


def stored_quote(services: Services, quote_id: str) -> StoredQuote:
    """Read the quote and its version of the catalogue.

    Raises ``NotFound`` for no such quote and ``Conflict`` for one given before inputs were kept.
    """

    def look(session: Session) -> tuple[Quote, CompiledCatalogue]:
        row = session.get(Quote, quote_id)
        if row is None:
            raise NotFound("quote-not-found", "There is no such quote.")
        return row, services.catalogues.of_version(session, row.catalogue_version)

    row, compiled = services.database.read(look)
    inputs = PriceInputs.from_json(compiled, row.inputs_json)
    if inputs is None:
        raise Conflict(
            "quote-not-recomputable",
            "This quote was given before what prices are reckoned from was kept with them; it "
            "stands as it was told, but cannot be recomputed.",
        )
    return StoredQuote(row, inputs)


def audit_quote(stored: StoredQuote) -> QuoteAuditAnswer:
    """Price the quote again, from its request, its inputs and its catalogue. Computes only."""
    row, inputs = stored.row, stored.inputs
    told = QuoteAnswer.model_validate_json(row.answer_json)
    request = QuoteRequest.model_validate_json(row.request_json)
    priced = price_lines(inputs, request, rush_days=told.promise.rush_days)
    differences = tuple(_differences(row, told, priced))
    currency = priced.price.currency
    return QuoteAuditAnswer(
        quote_id=row.id,
        catalogue_version=row.catalogue_version,
        told_total=MoneyAnswer(amount=row.total_minor, currency=row.currency),
        recomputed_total=MoneyAnswer(amount=priced.price.total_minor, currency=currency),
        same=not differences,
        differences=differences,
        spoilage={
            method: SpoilageAnswer(made=seen.made, spoiled=seen.spoiled)
            for method, seen in inputs.seen.items()
        },
        lines=tuple(build_up(inputs, priced, index) for index in range(len(priced.price.lines))),
    )


def build_up(inputs: PriceInputs, priced: PricedLines, index: int) -> AuditLineAnswer:
    """The rows of one line, and the starts that would cost least."""
    price = priced.price.lines[index]
    least = _least_cost(inputs, priced, index)
    return AuditLineAnswer(
        rows=row_answers(price.rows),
        pieces=price.pieces,
        starts=price.work.starts,
        starts_of_least_cost=None if least is None else least.starts,
        least_cost_probability=None if least is None else round(least.probability_reached, 4),
        cost=price.cost,
        below_cost=price.below_cost,
        total=MoneyAnswer(amount=price.total_minor, currency=price.currency),
    )


def _differences(row: Quote, told: QuoteAnswer, priced: PricedLines) -> Iterator[str]:
    """What comes out otherwise than it was told, in words."""
    if priced.price.total_minor != row.total_minor:
        yield f"the total was told as {row.total_minor} and comes out as {priced.price.total_minor}"
    stored_rows = json.loads(row.cost_json)
    for index, (line, price) in enumerate(zip(told.lines, priced.price.lines, strict=True)):
        now = [one.model_dump(mode="json") for one in row_answers(price.rows)]
        if now != stored_rows[index]:
            yield f"rows of line {index} come out otherwise"
        if dict(line.unit_prices) != dict(unit_price_answers(price)):
            yield f"prices of a piece of line {index} come out otherwise"
        totals = {size: money.amount for size, money in line.totals_by_size.items()}
        if totals != dict(price.totals_minor):
            yield f"totals by size of line {index} come out otherwise"


def _least_cost(inputs: PriceInputs, priced: PricedLines, index: int) -> RedoChoice | None:
    """The starts that cost least if a shortfall is made up by another run at the same set-up.

    None where it cannot be worked out: too many pieces, too great a share, or pieces for nothing.
    """
    line, price = priced.lines[index], priced.price.lines[index]
    catalogue = inputs.compiled.catalogue
    methods = [catalogue.method_by_id[one.method_id or ""] for one in line.decorations]
    share = spoilage_belief(catalogue.prices, methods, inputs.seen).share
    once, each = _once_and_each(price)
    try:
        return redo_starts(price.pieces, share, once, each)
    except ValueError:
        return None


def _once_and_each(price: LinePrice) -> tuple[Decimal, Decimal]:
    """What another run costs before its first piece, and what every piece started costs.

    An artwork is not checked again for another run. Blanks of good pieces and of spares are rows
    of their own, so no piece started counts twice.
    """
    once = each = Decimal(0)
    for row in price.rows:
        if row.part in _EACH:
            each += row.amount
        elif row.part is CostPart.SET_UP and row.label != ARTWORK_CHECK:
            once += row.amount
    return once, (each / price.work.starts).quantize(Decimal("0.0001"))


_EACH = frozenset(
    {
        CostPart.BLANK,
        CostPart.MEDIUM,
        CostPart.INK,
        CostPart.LABOUR,
        CostPart.MACHINE,
        CostPart.CONSUMABLES,
        CostPart.SPOILAGE,
    }
)
