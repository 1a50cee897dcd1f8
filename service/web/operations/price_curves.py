"""Price curves: what more pieces would cost each."""

from __future__ import annotations

from starlette.responses import Response

from service.intake.price_answers import PriceCurveAnswer, StaffPriceCurveAnswer
from service.intake.price_curves import ask_price_curve
from service.intake.priced_lines import asked_artworks
from service.intake.requests import PriceCurveRequest
from service.web.application import new_router
from service.web.openapi import problems
from service.web.parts import AnyCaller, RoomsPart, json_answer, price_inputs_for

router = new_router("quotes", "/v1")


@router.post(
    "/price-curves",
    summary="Price a line at several quantities",
    response_model=PriceCurveAnswer | StaffPriceCurveAnswer,
    responses=problems("cannot-be-made"),
)
async def show_price_curve(
    rooms: RoomsPart, caller: AnyCaller, body: PriceCurveRequest
) -> Response:
    """What the line costs at each quantity, its sizes in proportion, and what one more adds.

    `next_break` says from how many pieces more each costs less. No price of a piece rises with the
    quantity and no total falls. Staff are told cost besides. Nothing is kept.
    """
    inputs = await price_inputs_for(rooms, caller, asked_artworks(body))
    answer = await rooms.computing(lambda: ask_price_curve(inputs, body, with_cost=caller.in_shop))
    return json_answer(answer)
