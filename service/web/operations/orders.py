"""Orders: accept a quote, follow it, cancel it."""

from __future__ import annotations

from collections.abc import Sequence
from contextvars import Context, copy_context
from typing import NamedTuple

from starlette.requests import Request
from starlette.responses import Response

from service.domain.errors import ServiceError
from service.intake.accepting import Acceptance, accept_quotes
from service.intake.answers import OrderAnswer
from service.intake.idempotency import (
    Outcome,
    RequestKey,
    StoreSession,
    WorkedOn,
    do_each_once,
)
from service.intake.orders import cancel_order, get_order
from service.intake.requests import Identifier, OrderRequest
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified
from service.web.idempotency import IdempotencyKey
from service.web.openapi import problems
from service.web.parts import (
    AnyCaller,
    Rooms,
    RoomsPart,
    StorefrontCaller,
    do,
    done,
    json_answer,
    known_request,
    refusal_writer,
    request_key,
    rooms_of,
)
from service.web.request_mark import current_mark
from service.web.together import Together

router = new_router("orders", "/v1")


class Accept(NamedTuple):
    """Who accepts what under which key; in ``around`` a refusal is named as this request's own."""

    key: RequestKey
    acceptance: Acceptance
    around: Context


Accepting = Together[Accept, Outcome]
"""Those who accept at the same moment do so in one transaction."""


def accepting_in(rooms: Rooms, base_url: str) -> Accepting:
    """Where the application's callers accept their quotes."""
    refusal = refusal_writer(base_url)

    async def turn(asked: Sequence[Accept]) -> Sequence[Outcome | ServiceError]:
        def accept(session: StoreSession, places: Sequence[int]) -> WorkedOn:
            wanted = [asked[place].acceptance for place in places]
            told, rows = accept_quotes(rooms.services, session, wanted)
            answers = [_accepted(one) if isinstance(one, OrderAnswer) else one for one in told]
            return WorkedOn(answers, rows)

        def refused(place: int, error: ServiceError) -> Outcome:
            return asked[place].around.run(refusal, error)

        keys = [one.key for one in asked]
        return await rooms.in_store(lambda: do_each_once(rooms.services, keys, accept, refused))

    return Together(turn)


def _accepted(answer: OrderAnswer) -> Outcome:
    return Outcome.of(201, answer, location=f"/v1/orders/{answer.id}", etag=etag_for(1))


@router.post(
    "/orders",
    status_code=201,
    summary="Accept a quote",
    response_model=OrderAnswer,
    responses=problems(
        "quote-not-found", "quote-already-accepted", "quote-expired", "promise-slipped"
    ),
)
async def place_order(
    request: Request, caller: StorefrontCaller, key: IdempotencyKey, body: OrderRequest
) -> Response:
    """Turn a quote into an order, exactly as it stands, once per Idempotency-Key.

    Station time is booked and tickets are written in the same step, or nothing is.
    """
    known = known_request(request, caller, body.model_dump(mode="json"), key)
    asked = Accept(known, Acceptance(caller, body, current_mark().trace_id), copy_context())
    accepting: Accepting = request.app.state.accepting
    return done(rooms_of(request), await accepting.ask(asked, apart=(known.caller, known.key)))


@router.get(
    "/orders/{order_id}",
    summary="Show an order",
    response_model=OrderAnswer,
    responses=problems("order-not-found", "fields-refused")
    | {304: {"description": "Unchanged since that ETag"}},
)
async def show_order(
    request: Request, rooms: RoomsPart, caller: AnyCaller, order_id: Identifier
) -> Response:
    """The order and where each of its tickets stands."""
    answer, version = await rooms.in_store(lambda: get_order(rooms.services, caller, order_id))
    unchanged = not_modified(request, version)
    return unchanged or json_answer(answer, headers={"ETag": etag_for(version)})


@router.post(
    "/orders/{order_id}/cancel",
    summary="Cancel an order",
    response_model=OrderAnswer,
    responses=problems(
        "order-not-found",
        "order-in-work",
        "order-already-cancelled",
        "fields-refused",
        "idempotency-key-malformed",
        "idempotency-key-reused",
    ),
)
async def cancel(
    request: Request, rooms: RoomsPart, caller: AnyCaller, order_id: Identifier
) -> Response:
    """Cancel an order on which no work has begun; its station time is given back."""

    def give_up(session: StoreSession) -> Outcome:
        answer, version = cancel_order(
            rooms.services,
            session,
            caller,
            order_id,
            who=caller.holder,
            trace_id=current_mark().trace_id,
        )
        return Outcome.of(200, answer, etag=etag_for(version))

    return await do(rooms, request, request_key(request, caller, None), give_up)
