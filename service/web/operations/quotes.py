"""Quotes: a price and a day that stand for a while."""

from __future__ import annotations

from typing import NoReturn

from starlette.requests import Request
from starlette.responses import Response

from service.domain.errors import BadInput
from service.intake.idempotency import Outcome, StoreSession, Work
from service.intake.price_answers import QuoteAnswer, QuoteAuditAnswer
from service.intake.priced_lines import asked_artworks
from service.intake.quote_audit import audit_quote, stored_quote
from service.intake.quotes import get_quote, prepare_quote, quote_lines
from service.intake.requests import Identifier, QuoteRequest
from service.web.application import new_router
from service.web.openapi import problems
from service.web.parts import (
    AnyCaller,
    RoomsPart,
    StaffCaller,
    StorefrontCaller,
    do,
    json_answer,
    price_inputs_for,
    request_key,
)

router = new_router("quotes", "/v1")


@router.post(
    "/quotes",
    status_code=201,
    summary="Price lines and promise a day",
    response_model=QuoteAnswer,
    responses=problems(
        "cannot-be-made",
        "more-than-the-shop-can-make",
        "too-many-holds",
        "idempotency-key-malformed",
        "idempotency-key-reused",
    ),
)
async def ask_quote(
    request: Request, rooms: RoomsPart, caller: StorefrontCaller, body: QuoteRequest
) -> Response:
    """Price what can be made and promise the day it leaves the shop.

    The quote stands until `expires_at`. What cannot be made is a 422 that carries the whole check.
    """
    key = request_key(request, caller, body.model_dump(mode="json"))
    inputs = await price_inputs_for(rooms, caller, asked_artworks(body))
    try:
        ready = await rooms.computing(lambda: prepare_quote(inputs, body))
    except BadInput as refused:
        if key is None:
            raise
        # What was answered under the key before goes first, as it was given by another catalogue.
        return await do(rooms, request, key, _refuse(refused))

    def keep(session: StoreSession) -> Outcome:
        answer = quote_lines(rooms.services, session, caller, body, ready)
        return Outcome.of(201, answer, location=f"/v1/quotes/{answer.id}")

    return await do(rooms, request, key, keep)


def _refuse(refused: BadInput) -> Work:
    def work(_: StoreSession) -> NoReturn:
        raise refused

    return work


@router.get(
    "/quotes/{quote_id}",
    summary="Show a quote",
    response_model=QuoteAnswer,
    responses=problems("quote-not-found", "fields-refused"),
)
async def show_quote(rooms: RoomsPart, caller: AnyCaller, quote_id: Identifier) -> Response:
    """The quote exactly as it was given, also after it has expired."""
    answer = await rooms.in_store(lambda: get_quote(rooms.services, caller, quote_id))
    return json_answer(answer)


@router.get(
    "/quotes/{quote_id}/audit",
    summary="Price a quote anew, with its build-up",
    response_model=QuoteAuditAnswer,
    responses=problems("quote-not-found", "quote-not-recomputable", "fields-refused"),
)
async def show_audit(rooms: RoomsPart, _: StaffCaller, quote_id: Identifier) -> Response:
    """The quote recomputed from its own inputs and catalogue version, to the cent.

    Every row says what it is for, how much of what at what rate; they sum to the line's total.
    """
    stored = await rooms.in_store(lambda: stored_quote(rooms.services, quote_id))
    return json_answer(await rooms.computing(lambda: audit_quote(stored)))
