"""Following the store: a version put in force by another process, and a day that has begun."""

from __future__ import annotations

import asyncio
from typing import Final

import structlog

from service.intake.settling import settle_when_due
from service.web.parts import Rooms

LOOK_EVERY_S: Final = 30
"""How long a process may go on with the version before."""

_log = structlog.get_logger("service.web")


async def watch_catalogue(rooms: Rooms, stop: asyncio.Event) -> None:
    """Look again and again, until told to stop, and never end for what is found."""
    while not stop.is_set():
        try:
            await asyncio.wait_for(stop.wait(), LOOK_EVERY_S)
        except TimeoutError:
            await follow_catalogue(rooms)


async def follow_catalogue(rooms: Rooms) -> None:
    """Put the newest stored version in force if it is another; keep this one where it cannot be.

    Then what was left over from days before is planned anew, where nobody has written yet today,
    and orders that can no longer be in time are told. A store that is away and a version that a
    newer program has stored are logged and no more.
    """
    follow = rooms.computing(rooms.services.catalogues.follow)
    (followed,) = await asyncio.gather(follow, return_exceptions=True)
    if isinstance(followed, Exception):
        _log.warning("catalogue_not_followed", fault=type(followed).__name__)
    elif followed:
        _log.info("catalogue_followed", version=rooms.services.catalogues.current.version)
    settle = rooms.in_store(lambda: settle_when_due(rooms.services))
    (settled,) = await asyncio.gather(settle, return_exceptions=True)
    if isinstance(settled, Exception):
        _log.warning("day_not_settled", fault=type(settled).__name__)
