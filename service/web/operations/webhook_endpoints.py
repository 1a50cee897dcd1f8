"""Webhook endpoints: where a storefront hears what happened, and what it was told."""

from __future__ import annotations

import asyncio
from dataclasses import asdict
from typing import Annotated

from fastapi import Path, Query
from starlette.responses import Response

from service.domain.errors import BadInput, FieldFault
from service.intake.answers import Answer, Moment
from service.intake.requests import EndpointRequest, Identifier
from service.notify.addresses import HOST_FAULT, endpoint_url_fault, host_fault
from service.notify.deliveries import DeliveryView, list_deliveries, replay_delivery
from service.notify.endpoints import (
    Endpoint,
    get_endpoint,
    list_endpoints,
    register_endpoint,
    remove_endpoint,
)
from service.web.application import new_router
from service.web.openapi import problems
from service.web.parts import Rooms, RoomsPart, StorefrontCaller, json_answer

router = new_router("webhook endpoints", "/v1")

SECRET_BYTES = 32
RESOLVE_S = 5
DELIVERY_ID_MAX = 2**31 - 1
"""What the store's column holds; PostgreSQL refuses to compare it with more."""

DeliveryId = Annotated[int, Path(ge=1, le=DELIVERY_ID_MAX)]


class EndpointAnswer(Answer):
    """An endpoint. No event type named means all; a disabled one is told nothing."""

    id: str
    url: str
    event_types: tuple[str, ...]
    created_at: Moment
    disabled_at: Moment | None
    disabled_reason: str


class NewEndpointAnswer(EndpointAnswer):
    """A new endpoint with its signing secret, shown this once."""

    secret: str


class EndpointList(Answer):
    """The caller's endpoints, newest first."""

    endpoints: tuple[EndpointAnswer, ...]


class AttemptAnswer(Answer):
    """One attempt to tell; ``outcome`` is a word of ours."""

    attempt: int
    at: Moment
    duration_ms: int
    status_code: int | None
    outcome: str


class DeliveryAnswer(Answer):
    """The telling of one event to one endpoint, with its last attempts."""

    id: int
    event_id: str
    event_type: str
    order_id: str
    sequence: int
    state: str
    attempts: int
    next_at: Moment | None
    done_at: Moment | None
    attempt_list: tuple[AttemptAnswer, ...]


class DeliveryList(Answer):
    """Deliveries, newest first; ``next`` is the address of the next page, None on the last."""

    deliveries: tuple[DeliveryAnswer, ...]
    next: str | None = None


@router.post(
    "/webhook-endpoints",
    status_code=201,
    summary="Register a webhook endpoint",
    response_model=NewEndpointAnswer,
    responses=problems("conflict"),
)
async def register(rooms: RoomsPart, caller: StorefrontCaller, body: EndpointRequest) -> Response:
    """Register an address to be told of events. The secret in the answer is shown this once.

    Deliveries are signed as Standard Webhooks 1.0.0 has it; order events carry a `sequence`.
    """
    allow_private = rooms.assembly.settings.webhook_private_addresses
    await _check_host(rooms, body.url, allow_private=allow_private)
    registered = await rooms.in_store(
        lambda: register_endpoint(
            database=rooms.services.database,
            sealer=rooms.assembly.sealer,
            holder=caller.holder,
            url=body.url,
            event_types=body.event_types,
            now=rooms.services.clock(),
            endpoint_id=rooms.services.new_id("whe"),
            secret_bytes=rooms.services.random_bytes(SECRET_BYTES),
            allow_private=allow_private,
        )
    )
    answer = NewEndpointAnswer(
        **_answer(registered.endpoint).model_dump(), secret=registered.secret
    )
    return json_answer(answer, 201, {"Location": f"/v1/webhook-endpoints/{answer.id}"})


@router.get("/webhook-endpoints", summary="List endpoints", response_model=EndpointList)
async def show_endpoints(rooms: RoomsPart, caller: StorefrontCaller) -> Response:
    """The caller's endpoints, newest first, without their secrets."""
    found = await rooms.in_store(lambda: list_endpoints(rooms.services.database, caller.holder))
    return json_answer(EndpointList(endpoints=tuple(_answer(one) for one in found)))


@router.get(
    "/webhook-endpoints/{endpoint_id}",
    summary="Show an endpoint",
    response_model=EndpointAnswer,
    responses=problems("fields-refused"),
)
async def show_endpoint(
    rooms: RoomsPart, caller: StorefrontCaller, endpoint_id: Identifier
) -> Response:
    """One endpoint, without its secret."""
    database = rooms.services.database
    found = await rooms.in_store(lambda: get_endpoint(database, caller.holder, endpoint_id))
    return json_answer(_answer(found))


@router.delete(
    "/webhook-endpoints/{endpoint_id}",
    status_code=204,
    summary="Remove an endpoint",
    responses=problems("fields-refused"),
)
async def remove(rooms: RoomsPart, caller: StorefrontCaller, endpoint_id: Identifier) -> Response:
    """Stop telling this address. What was told stays on record."""
    services = rooms.services
    await rooms.in_store(
        lambda: remove_endpoint(services.database, caller.holder, endpoint_id, services.clock())
    )
    return Response(status_code=204)


@router.get(
    "/webhook-endpoints/{endpoint_id}/deliveries",
    summary="List deliveries",
    response_model=DeliveryList,
)
async def show_deliveries(
    rooms: RoomsPart,
    caller: StorefrontCaller,
    endpoint_id: Identifier,
    limit: Annotated[int, Query(ge=1, le=100)] = 50,
    before: Annotated[int | None, Query(ge=1, le=DELIVERY_ID_MAX)] = None,
) -> Response:
    """What this endpoint was told, newest first, with the last attempts of each delivery."""
    database = rooms.services.database
    page = await rooms.in_store(
        lambda: list_deliveries(database, caller.holder, endpoint_id, limit, before)
    )
    address = f"/v1/webhook-endpoints/{endpoint_id}/deliveries?limit={limit}&before="
    following = f"{address}{page.next_cursor}" if page.next_cursor is not None else None
    headers = {"Link": f'<{following}>; rel="next"'} if following else {}
    answer = DeliveryList(deliveries=tuple(map(_delivery, page.items)), next=following)
    return json_answer(answer, headers=headers)


@router.post(
    "/webhook-deliveries/{delivery_id}/replay",
    summary="Send a delivery again",
    response_model=DeliveryAnswer,
    responses=problems("conflict", "fields-refused"),
)
async def replay(rooms: RoomsPart, caller: StorefrontCaller, delivery_id: DeliveryId) -> Response:
    """Make a delivery due now, with all its attempts anew, whatever came of it before."""
    services = rooms.services
    view = await rooms.in_store(
        lambda: replay_delivery(services.database, caller.holder, delivery_id, services.clock())
    )
    rooms.wake_sender.set()
    return json_answer(_delivery(view))


async def _check_host(rooms: Rooms, url: str, *, allow_private: bool) -> None:
    """Refuse a name that leads inside. A URL of a wrong form is refused later, with its fault."""
    if endpoint_url_fault(url, allow_private=allow_private) is not None:
        return
    try:
        async with asyncio.timeout(RESOLVE_S):
            fault = await host_fault(url, rooms.resolver, allow_private=allow_private)
    except TimeoutError:
        # Slow or unknown are told alike, so that inner names stay hidden.
        fault = HOST_FAULT
    if fault is not None:
        faults = [FieldFault(detail=fault, path=("url",), code="url-refused")]
        raise BadInput("fields-refused", "The endpoint cannot be registered.", faults=faults)


def _answer(endpoint: Endpoint) -> EndpointAnswer:
    return EndpointAnswer.model_validate(asdict(endpoint))


def _delivery(view: DeliveryView) -> DeliveryAnswer:
    return DeliveryAnswer.model_validate(asdict(view))
