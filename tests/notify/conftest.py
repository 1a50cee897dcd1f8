"""An order book to have events in, endpoints to tell, and a sender to tell them."""

from __future__ import annotations

import os
import ssl
from collections.abc import Callable, Sequence
from datetime import date, timedelta

import httpx
import pytest
from sqlmodel import SQLModel

from service.notify.endpoints import RegisteredEndpoint, register_endpoint
from service.notify.sealing import Sealer
from service.notify.sender import Pace, Sender
from service.notify.transport import GuardedTransport
from service.store.database import Database
from service.store.outbox import record_event
from service.store.tables import CatalogueVersion, Order, Quote
from tests.conftest import FakeClock

HOLDER = "north-shop"
MIDDLE = 0.5
"""The jitter that changes nothing."""

SECRET_BYTES = bytes(range(32))


_NO_AUTHORITIES = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)


def local_transport() -> GuardedTransport:
    """The real transport, allowed to reach this machine over plain http.

    It believes no certificate: reading all public authorities anew for each test takes long.
    """
    return GuardedTransport(allow_private=True, ssl_context=_NO_AUTHORITIES)


class Books:
    """Orders and what happens to them, written as the shop writes them."""

    def __init__(self, database: Database, clock: FakeClock, new_id: Callable[[str], str]) -> None:
        self.database = database
        self.clock = clock
        self.new_id = new_id
        self.sealer = Sealer(bytes(32), os.urandom)
        self._catalogue_kept = False

    def order(self, holder: str = HOLDER) -> str:
        """A new order of ``holder``; gives its id."""
        return self.orders(1, holder)[0]

    def orders(self, count: int, holder: str = HOLDER) -> list[str]:
        """The ids of ``count`` new orders of ``holder``."""
        orders, now = [self.new_id("ord") for _ in range(count)], self.clock()
        rows = [row for order_id in orders for row in self._rows(order_id, holder)]
        if not self._catalogue_kept:
            rows.append(CatalogueVersion(version="cat-1", document_json="{}", created_at=now))
        self.database.write(lambda session: session.add_all(rows))
        self._catalogue_kept = True
        return orders

    def happen(self, order_id: str, kind: str = "ticket.moved", trace_id: str = "") -> str:
        """Something happened to an order; gives the event's id."""
        return self.happen_all([order_id], kind, trace_id)[0]

    def happen_all(
        self, order_ids: Sequence[str], kind: str = "ticket.moved", trace_id: str = ""
    ) -> list[str]:
        """The same to each of these orders in turn, in one transaction."""
        events = [(order_id, self.new_id("evt")) for order_id in order_ids]
        self.database.write(
            lambda session: [
                record_event(
                    session,
                    order=session.get_one(Order, order_id),
                    type_=kind,
                    payload={"note": "to be kept private"},
                    now=self.clock(),
                    event_id=event_id,
                    trace_id=trace_id,
                ).id
                for order_id, event_id in events
            ]
        )
        return [event_id for _, event_id in events]

    def _rows(self, order_id: str, holder: str) -> list[SQLModel]:
        now, day = self.clock(), date(2026, 3, 9)
        quote = Quote(
            id=self.new_id("quo"),
            holder=holder,
            catalogue_version="cat-1",
            request_json="{}",
            answer_json="{}",
            cost_json="{}",
            plan_json="{}",
            total_minor=1,
            currency="USD",
            promised_day=day,
            created_at=now,
            expires_at=now + timedelta(days=1),
        )
        order = Order(
            id=order_id,
            holder=holder,
            quote_id=quote.id,
            state="accepted",
            total_minor=1,
            currency="USD",
            promised_day=day,
            placed_at=now,
        )
        return [quote, order]

    def endpoint(
        self, url: str = "http://127.0.0.1:9/", holder: str = HOLDER, *kinds: str
    ) -> RegisteredEndpoint:
        """A registered endpoint that wants ``kinds``, or every event."""
        return register_endpoint(
            database=self.database,
            sealer=self.sealer,
            holder=holder,
            url=url,
            event_types=kinds,
            now=self.clock(),
            endpoint_id=self.new_id("whe"),
            secret_bytes=SECRET_BYTES,
            allow_private=True,
        )

    def sender(
        self,
        transport: httpx.AsyncBaseTransport,
        pace: Pace | None = None,
        database: Database | None = None,
    ) -> Sender:
        """A sender over ``transport``."""
        return Sender(
            database or self.database,
            transport,
            self.sealer,
            self.clock,
            self.new_id,
            lambda: MIDDLE,
            pace,
        )


@pytest.fixture
def books(database: Database, clock: FakeClock, ids: Callable[[str], str]) -> Books:
    """The order book, on each store."""
    return Books(database, clock, ids)


@pytest.fixture
def anyio_backend() -> str:
    """Asynchronous tests run on asyncio, as the service does."""
    return "asyncio"
