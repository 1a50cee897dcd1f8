"""From prices to what callers are told of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from service.domain.costing import CostRow
from service.domain.line_price import UNIT_DECIMALS, LinePrice
from service.domain.money import minor_units, wide_arithmetic
from service.domain.pricing import OrderPrice
from service.domain.rules import Severity
from service.domain.wishes import Line
from service.intake.answers import MoneyAnswer
from service.intake.check import SUPPLIED_RISK, LineVerdict, finding_answers
from service.intake.price_answers import (
    CostRowAnswer,
    MoreCostsLessAnswer,
    PiecesAddedAnswer,
    QuoteLineAnswer,
    TaxAnswer,
    UnitPriceAnswer,
)


def line_answer(line: Line, verdicts: LineVerdict, price: LinePrice, day: date) -> QuoteLineAnswer:
    """The price of one line, the day it is done, and what there is to know of it."""
    return QuoteLineAnswer(
        garment=line.garment.blank_id or "supplied",
        colour=line.garment.colour_id or line.garment.srgb,
        methods=methods_of(line),
        pieces_by_size=line.pieces_by_size,
        counted_pieces=price.counted,
        unit_prices=unit_price_answers(price),
        totals_by_size={
            size: MoneyAnswer(amount=minor, currency=price.currency)
            for size, minor in price.totals_minor.items()
        },
        total=MoneyAnswer(amount=price.total_minor, currency=price.currency),
        day=day,
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


def methods_of(line: Line) -> dict[str, str]:
    """The method of each placement."""
    return {one.placement_id: one.method_id or "" for one in line.decorations}


def unit_price_answers(price: LinePrice) -> Mapping[str, UnitPriceAnswer]:
    """What a piece of each size costs."""
    return {
        size: UnitPriceAnswer(per_piece=unit, currency=price.currency)
        for size, unit in price.unit_prices.items()
    }


def mean_unit_price(price: LinePrice) -> UnitPriceAnswer:
    """What a piece costs on the mean over the sizes."""
    digits = minor_units(price.currency)
    with wide_arithmetic():
        mean = Decimal(price.total_minor).scaleb(-digits) / price.pieces
        step = Decimal(1).scaleb(-digits - UNIT_DECIMALS)
        return UnitPriceAnswer(
            per_piece=mean.quantize(step, ROUND_HALF_UP), currency=price.currency
        )


def tax_answer(price: OrderPrice) -> TaxAnswer | None:
    """The tax in the total, None where none was asked for."""
    if price.tax is None:
        return None
    return TaxAnswer(
        region=price.tax.id,
        name=price.tax.name,
        rate=price.tax.rate,
        inclusive=price.tax.inclusive,
        amount=MoneyAnswer(amount=price.tax_minor, currency=price.currency),
    )


def more_answer(price: OrderPrice) -> MoreCostsLessAnswer | None:
    """What is to be said where more would cost less in total."""
    more = price.more_costs_less
    if more is None:
        return None
    return MoreCostsLessAnswer(
        added=tuple(
            PiecesAddedAnswer(line=one.line, size=one.size, pieces=one.pieces) for one in more.added
        ),
        total=MoneyAnswer(amount=more.total_minor, currency=price.currency),
    )


def row_texts(rows: Sequence[CostRow]) -> list[dict[str, str]]:
    """Rows of the build-up as they are kept: as :func:`row_answers` tells them, written faster."""
    return [
        {
            "label": row.label,
            "part": row.part,
            "quantity": f"{row.quantity:f}",
            "unit": row.unit,
            "rate": f"{row.rate:f}",
            "rate_per": f"{row.rate_per:f}",
            "amount": f"{row.amount:f}",
        }
        for row in rows
    ]


def row_answers(rows: Sequence[CostRow]) -> tuple[CostRowAnswer, ...]:
    """Rows of the build-up, every Decimal exact."""
    return tuple(
        CostRowAnswer(
            label=row.label,
            part=row.part,
            quantity=row.quantity,
            unit=row.unit,
            rate=row.rate,
            rate_per=row.rate_per,
            amount=row.amount,
        )
        for row in rows
    )
