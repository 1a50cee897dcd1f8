"""Price curves: what a line costs at several quantities. Computes only; nothing is kept."""

from __future__ import annotations

from service.domain.errors import BadInput, FieldFault
from service.domain.money import TooMuchMoney
from service.domain.price_curve import BreakAhead, CurvePoint, price_curve
from service.domain.work import OutlineUnknown
from service.intake.answers import MoneyAnswer
from service.intake.price_answers import (
    BreakAheadAnswer,
    CurvePointAnswer,
    PriceCurveAnswer,
    StaffCurvePointAnswer,
    StaffPriceCurveAnswer,
)
from service.intake.price_views import (
    mean_unit_price,
    methods_of,
    more_answer,
    unit_price_answers,
)
from service.intake.priced_lines import (
    PriceInputs,
    decided_lines,
    outline_unknown,
    price_terms,
    too_much_money,
)
from service.intake.requests import PriceCurveRequest


def ask_price_curve(
    inputs: PriceInputs, request: PriceCurveRequest, *, with_cost: bool
) -> PriceCurveAnswer | StaffPriceCurveAnswer:
    """The line at every quantity; ``with_cost`` tells staff what it costs the shop besides.

    Raises ``BadInput`` as for a quote, and for a quantity above what one order may have.
    """
    catalogue = inputs.compiled.catalogue
    most = catalogue.policy.max_pieces_per_order
    faults = [
        FieldFault(
            f"{quantity} pieces; this shop takes at most {most} in one order.",
            ("quantities", index),
            code="too-many-pieces",
        )
        for index, quantity in enumerate(request.quantities)
        if quantity > most
    ]
    if faults:
        raise BadInput("fields-refused", "Some quantities are too large.", faults=faults)
    terms = price_terms(inputs.compiled, request)
    (line,), _ = decided_lines(inputs, [request.line], path=("line",))
    try:
        points = price_curve(catalogue, line, request.quantities, terms, inputs.seen)
    except OutlineUnknown as unknown:
        raise outline_unknown(unknown, [request.line], path=("line",)) from unknown
    except TooMuchMoney as much:
        raise too_much_money(("quantities",)) from much
    head = {
        "catalogue_version": inputs.compiled.version,
        "methods": methods_of(line),
        "breaks_from": tuple(step.from_pieces for step in catalogue.prices.breaks),
    }
    if with_cost:
        return StaffPriceCurveAnswer(points=tuple(map(_staff_point, points)), **head)
    return PriceCurveAnswer(points=tuple(map(_point, points)), **head)


def _point(point: CurvePoint) -> CurvePointAnswer:
    (line,), price = point.price.lines, point.price
    return CurvePointAnswer(
        pieces=line.pieces,
        pieces_by_size=point.pieces_by_size,
        unit_prices=unit_price_answers(line),
        mean_unit_price=mean_unit_price(line),
        total=MoneyAnswer(amount=price.total_minor, currency=price.currency),
        one_more=(
            None
            if point.one_more_minor is None
            else MoneyAnswer(amount=point.one_more_minor, currency=price.currency)
        ),
        next_break=None if point.next_break is None else _ahead(point.next_break),
        more_costs_less=more_answer(price),
    )


def _ahead(ahead: BreakAhead) -> BreakAheadAnswer:
    price = ahead.price
    return BreakAheadAnswer(
        more_pieces=ahead.more_pieces,
        unit_prices=unit_price_answers(price.lines[0]),
        total=MoneyAnswer(amount=price.total_minor, currency=price.currency),
    )


def _staff_point(point: CurvePoint) -> StaffCurvePointAnswer:
    line = point.price.lines[0]
    return StaffCurvePointAnswer(
        **_point(point).model_dump(),
        starts=line.work.starts,
        cost=line.cost,
        one_more_cost=point.one_more_cost,
    )
