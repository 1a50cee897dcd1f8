"""What handlers depend on, named once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated, TypeVar

from fastapi import Depends
from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response

from service.assembly import Assembly
from service.domain.errors import BadInput, FieldFault, ServiceError, Unavailable
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.artworks import artworks_at_hand, artworks_of
from service.intake.idempotency import Outcome, RefusalWriter, RequestKey, Work, do_once
from service.intake.picture_room import RETRY_AFTER_S
from service.intake.priced_lines import PriceInputs, price_inputs, price_inputs_at_hand
from service.intake.services import Caller, Services
from service.notify.addresses import Resolver, system_resolver
from service.web.auth import Principal, Require, Scope
from service.web.conditional import etag_for, not_modified
from service.web.idempotency import REPLAYED_HEADER, fingerprint, parse_idempotency_key
from service.web.problems import PROBLEM_MEDIA_TYPE, problem_of_error

T = TypeVar("T")


class BoundedThreads:
    """Threads for which no more than so much work waits; all of it from one event loop."""

    def __init__(self, threads: ThreadPoolExecutor, most: int) -> None:
        """``most`` counts what runs and what waits."""
        self._threads = threads
        self._most = most
        self._count = 0

    async def run(self, work: Callable[[], T]) -> T:
        """Run work in a thread; ``Unavailable`` when there is too much already."""
        if self._count >= self._most:
            detail = f"{self._count} pictures are being worked on or wait; send this one again."
            raise Unavailable("pictures-waiting", detail, retry_after_s=RETRY_AFTER_S)
        self._count += 1
        try:
            return await _in_thread(self._threads, work)
        finally:
            self._count -= 1

    def shutdown(self) -> None:
        """Wait for what runs and waits, and end the threads."""
        self._threads.shutdown()


@dataclass(frozen=True, slots=True)
class Rooms:
    """What the application was built with, and the threads that work off the event loop."""

    assembly: Assembly
    store_threads: ThreadPoolExecutor
    compute_threads: ThreadPoolExecutor
    picture_threads: BoundedThreads
    wake_sender: asyncio.Event
    resolver: Resolver = system_resolver

    @property
    def services(self) -> Services:
        """The use cases' services."""
        return self.assembly.services

    async def in_store(self, work: Callable[[], T]) -> T:
        """Run work that waits for the store, in a thread."""
        return await _in_thread(self.store_threads, work)

    async def computing(self, work: Callable[[], T]) -> T:
        """Run work that computes for more than a few milliseconds, in a thread."""
        return await _in_thread(self.compute_threads, work)

    async def at_pictures(self, work: Callable[[], T]) -> T:
        """Run work on a picture, which waits for the picture room, in a thread.

        Searches so never wait behind pictures. Raises ``Unavailable`` when too many wait already.
        """
        return await self.picture_threads.run(work)


async def _in_thread(threads: ThreadPoolExecutor, work: Callable[[], T]) -> T:
    # The context goes along, so that the request's mark is known to what is logged and written.
    loop = asyncio.get_running_loop()
    return await loop.run_in_executor(threads, copy_context().run, work)


async def _rooms(request: Request) -> Rooms:
    return rooms_of(request)


def rooms_of(request: Request) -> Rooms:
    """The application's rooms, for a handler that comes too often to have them handed in."""
    rooms: Rooms = request.app.state.rooms
    return rooms


RoomsPart = Annotated[Rooms, Depends(_rooms)]
"""The application's rooms, for a handler's signature."""


def _caller(principal: Principal) -> Caller:
    return Caller(principal.holder, in_shop=principal.scope is not Scope.STOREFRONT)


def _caller_of(*scopes: Scope) -> Require[Caller]:
    return Require(scopes, _caller)


AnyCaller = Annotated[Caller, Depends(_caller_of(Scope.STOREFRONT, Scope.STAFF))]
"""A storefront, staff or the owner."""

StorefrontCaller = Annotated[Caller, Depends(_caller_of(Scope.STOREFRONT))]
"""A storefront or the owner; staff do not buy."""

StaffCaller = Annotated[Caller, Depends(_caller_of(Scope.STAFF))]
"""Staff or the owner."""

OwnerCaller = Annotated[Caller, Depends(_caller_of())]
"""The owner alone."""


def json_answer(
    answer: BaseModel, status: int = 200, headers: Mapping[str, str] | None = None
) -> Response:
    """The answer as JSON, written once by its own model."""
    body = answer.model_dump_json()
    return Response(body, status, headers=headers, media_type="application/json")


async def artworks_for(
    rooms: Rooms, caller: Caller, artwork_ids: Collection[str]
) -> Mapping[str, ShelvedArtwork]:
    """Those of the artworks that exist and are the caller's, from memory where at hand."""
    at_hand = artworks_at_hand(rooms.services, caller, artwork_ids)
    if at_hand is not None:
        return at_hand
    return await rooms.in_store(lambda: artworks_of(rooms.services, caller, artwork_ids))


async def price_inputs_for(
    rooms: Rooms, caller: Caller, artwork_ids: Collection[str]
) -> PriceInputs:
    """What a price is reckoned from just now, from memory where at hand."""
    at_hand = price_inputs_at_hand(rooms.services, caller, artwork_ids)
    if at_hand is not None:
        return at_hand
    return await rooms.in_store(lambda: price_inputs(rooms.services, caller, artwork_ids))


def once_each(request: Request, may_repeat: Collection[str] = ()) -> None:
    """Refuse a parameter given twice: which of the two is meant cannot be known."""
    names = [name for name, _ in request.query_params.multi_items()]
    twice = sorted({name for name in names if names.count(name) > 1}.difference(may_repeat))
    if twice:
        detail = "Some parameters are given more than once."
        faults = [
            FieldFault("Give it once at most.", parameter=name, code="too-many") for name in twice
        ]
        raise BadInput("fields-refused", detail, faults=faults)


def tagged_answer(request: Request, answer: BaseModel) -> Response:
    """The answer with an ETag of its own text, or 304 to whoever has it already."""
    mark = sha256(answer.model_dump_json().encode()).hexdigest()[:32]
    return not_modified(request, mark) or json_answer(answer, headers={"ETag": etag_for(mark)})


def request_key(
    request: Request, caller: Caller, body: object, key: str | None = None
) -> RequestKey | None:
    """The request's idempotency key with its fingerprint; None where none was sent.

    ``key`` is given where the operation demands one and has read it already.
    """
    sent = request.headers.getlist("idempotency-key")
    if key is None and not sent:
        return None
    return known_request(request, caller, body, key or parse_idempotency_key(sent))


def known_request(request: Request, caller: Caller, body: object, key: str) -> RequestKey:
    """A request under the key it came with, and its fingerprint."""
    query = request.query_params.multi_items()
    mark = fingerprint(request.method, request.scope["path"], query, caller.holder, body)
    return RequestKey(caller.holder, key, mark)


async def do(rooms: Rooms, request: Request, key: RequestKey | None, work: Work) -> Response:
    """Run work in one transaction, once per key, and answer with what came of it."""
    refusal = refusal_writer(request.app.state.public_url)
    outcome = await rooms.in_store(lambda: do_once(rooms.services, key, work, refusal))
    return done(rooms, outcome)


def refusal_writer(base_url: str) -> RefusalWriter:
    """Writes the answer to a deterministic refusal, so that it can be kept and given again."""

    def refusal(error: ServiceError) -> Outcome:
        answer = problem_of_error(base_url, error)
        return Outcome(
            answer.status_code, bytes(answer.body).decode(), {"content-type": PROBLEM_MEDIA_TYPE}
        )

    return refusal


def done(rooms: Rooms, outcome: Outcome) -> Response:
    """The answer to what was done in the store; whoever is to be told of it is told."""
    rooms.wake_sender.set()
    headers = {"content-type": "application/json", **outcome.headers}
    if outcome.replayed:
        headers[REPLAYED_HEADER] = "true"
    return Response(outcome.body_json, status_code=outcome.status, headers=headers)
