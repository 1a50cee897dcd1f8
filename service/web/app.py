"""The whole application: base, operations, and the sender that runs beside them."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from fastapi import FastAPI

from service.assembly import Assembly, utc_now
from service.notify.sender import Sender
from service.settings import Settings
from service.store.keys import find_key, key_is_live
from service.web.application import Documentation, create_base_app
from service.web.auth import LiveKey, Principal, Scope
from service.web.bench.router import router as bench_pages
from service.web.catalogue_watch import watch_catalogue
from service.web.examples import examples_folder, load_examples
from service.web.health import Check
from service.web.operations import (
    artworks,
    catalogue,
    checks,
    choices,
    orders,
    outlines,
    price_curves,
    proofs,
    quotes,
    rules,
    runs,
    schedule,
    standard_minutes,
    stock,
    ticket_papers,
    tickets,
    webhook_endpoints,
)
from service.web.parts import BoundedThreads, Rooms
from service.web.routes import templates_of
from service.web.rule_pages import router as rule_pages
from service.web.try_page import router as try_page
from service.web.webhook_docs import WEBHOOKS

SENDER_SILENT_AFTER = timedelta(seconds=90)
"""Longer than the sender's longest back-off; then /readyz says that it is not well."""

ROUTERS = (
    checks.router,
    quotes.router,
    orders.router,
    catalogue.router,
    choices.router,
    rules.router,
    artworks.router,
    proofs.router,
    outlines.router,
    price_curves.router,
    ticket_papers.router,
    tickets.router,
    runs.router,
    stock.router,
    schedule.router,
    standard_minutes.router,
    webhook_endpoints.router,
    rule_pages,
    try_page,
    bench_pages,
)
"""They are asked in this order for a path, so those that checkouts wait for come first."""


def create_app(
    assembly: Assembly,
    *,
    request_ids: Callable[[], UUID] = uuid4,
    documentation: Documentation | None = None,
) -> FastAPI:
    """The application over an assembly, which the caller closes after the application ended."""
    settings = assembly.settings
    compute_threads = ThreadPoolExecutor(settings.compute_threads, "compute")
    rooms = Rooms(
        assembly=assembly,
        store_threads=ThreadPoolExecutor(settings.store_threads, "store"),
        compute_threads=compute_threads,
        picture_threads=_picture_threads(settings, compute_threads),
        wake_sender=asyncio.Event(),
    )
    sender = assembly.sender() if settings.webhook_sender else None
    app = create_base_app(
        settings,
        request_ids=request_ids,
        clock=assembly.services.clock,
        find_key=_key_lookup(rooms),
        checks=_checks(rooms, sender),
        documentation=documentation or default_documentation(),
        lifespan=_lifespan(rooms, sender),
    )
    app.state.rooms = rooms
    app.state.accepting = orders.accepting_in(rooms, settings.public_url)
    _include_operations(app)
    return app


def _picture_threads(settings: Settings, compute: ThreadPoolExecutor) -> BoundedThreads:
    """One thread more than picture workers, so that a worker finds the next upload at hand.

    Only what runs in them is held in memory as a whole: what waits lies in files.
    """
    if settings.picture_workers == 0:
        return BoundedThreads(compute, settings.compute_threads + settings.pictures_waiting)
    threads = settings.picture_workers + 1
    most = settings.picture_workers + settings.pictures_waiting
    return BoundedThreads(ThreadPoolExecutor(threads, "pictures"), most)


def describe(settings: Settings) -> dict[str, Any]:
    """The OpenAPI document, without a store."""

    async def nobody(_: str) -> LiveKey | None:
        return None

    app = create_base_app(
        settings,
        request_ids=uuid4,
        clock=utc_now,
        find_key=nobody,
        checks={},
        documentation=default_documentation(),
    )
    _include_operations(app)
    return app.openapi()


def _include_operations(app: FastAPI) -> None:
    for router in ROUTERS:
        app.include_router(router)


def default_documentation() -> Documentation:
    """Examples from the example files, if they are there, and the webhooks."""
    folder = examples_folder()
    return Documentation(examples=load_examples(folder) if folder else (), webhooks=WEBHOOKS)


def _key_lookup(rooms: Rooms) -> Callable[[str], Awaitable[LiveKey | None]]:
    async def look_up(presented: str) -> LiveKey | None:
        services = rooms.services
        key = await rooms.in_store(
            lambda: services.database.read(lambda session: find_key(session, presented))
        )
        if key is None or not key_is_live(key, services.clock()):
            return None
        return LiveKey(Principal(key.holder, Scope(key.scope), key.id), key.expires_at)

    return look_up


def _checks(rooms: Rooms, sender: Sender | None) -> dict[str, Check]:
    async def store_ready() -> bool:
        ready, _ = await rooms.in_store(rooms.services.database.ready)
        return ready

    async def sender_turns() -> bool:
        if sender is None:
            return True
        last = sender.last_turn_at
        return last is not None and rooms.services.clock() - last < SENDER_SILENT_AFTER

    return {"store:ready": store_ready, "sender:turns": sender_turns}


def _lifespan(
    rooms: Rooms, sender: Sender | None
) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        templates_of(app)
        stop = asyncio.Event()
        rooms.services.picture_room.warm_up()
        sending = (
            asyncio.create_task(sender.run_forever(stop, wake=rooms.wake_sender))
            if sender is not None
            else None
        )
        watching = asyncio.create_task(watch_catalogue(rooms, stop))
        try:
            yield
        finally:
            stop.set()
            rooms.wake_sender.set()
            await watching
            if sender is not None and sending is not None:
                await sending
                await sender.aclose()
            # First, for the threads wait for it.
            rooms.services.picture_room.close()
            rooms.picture_threads.shutdown()
            rooms.compute_threads.shutdown()
            rooms.store_threads.shutdown()

    return lifespan
