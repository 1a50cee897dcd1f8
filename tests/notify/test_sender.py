"""The sender against a real receiver: signed, in order, retried on plan, never twice."""

from __future__ import annotations

import asyncio
import os
import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from threading import Lock
from typing import TypeVar

import httpx
import pytest
from sqlalchemy import select
from sqlmodel import Session, col
from structlog.testing import capture_logs

from service.domain.errors import Unavailable
from service.notify.deliveries import DeliveryView, list_deliveries, replay_delivery
from service.notify.endpoints import enable_endpoint, get_endpoint
from service.notify.retry import ATTEMPTS_MAX, WAITS_S
from service.notify.sealing import Sealer
from service.notify.sender import OUTCOMES, Pace, Sender
from service.notify.signing import verify
from service.notify.transport import GuardedTransport
from service.store.database import Database
from service.store.tables import Event
from tests.notify.conftest import HOLDER, Books
from tests.notify.receiver import Receiver, Writer, answer, close, hang

T = TypeVar("T")

QUICK = Pace(deadline_s=0.2, lease_s=1.0)
TRACE = "0af7651916cd43dd8448eb211c80319c"


class Post:
    """A listening receiver, one endpoint at it, and a sender over the real transport."""

    def __init__(self, books: Books, receiver: Receiver, sender: Sender) -> None:
        self.books = books
        self.receiver = receiver
        self.sender = sender
        self.registered = books.endpoint(receiver.url)

    def deliveries(self) -> list[DeliveryView]:
        """Every delivery to the endpoint, oldest first."""
        endpoint_id = self.registered.endpoint.id
        page = list_deliveries(self.books.database, HOLDER, endpoint_id, 100)
        return list(reversed(page.items))

    def ids_received(self) -> list[str]:
        """The event ids in the order they came."""
        return [each.headers["webhook-id"] for each in self.receiver.received]


def with_post(
    books: Books,
    receiver: Receiver,
    work: Callable[[Post], object],
    *,
    pace: Pace | None = None,
) -> None:
    """Run the asynchronous ``work`` with everything in place."""

    async def run() -> None:
        async with receiver, GuardedTransport(allow_private=True) as transport:
            done = work(Post(books, receiver, books.sender(transport, pace)))
            if asyncio.iscoroutine(done):
                await done

    asyncio.run(run())
