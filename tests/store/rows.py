"""Rows for tests, each valid as it stands; a test names only what it is about. All invented."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime
from typing import Any

from sqlmodel import SQLModel

from service.store.tables import (
    CatalogueVersion,
    KeptDocument,
    Order,
    Quote,
    StoredAnswer,
    Ticket,
)

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
DAY = date(2026, 3, 9)
NOTHING = hashlib.sha256(b"{}").hexdigest()
"""The name of a document that says nothing."""


def catalogue_version(**changes: Any) -> CatalogueVersion:
    """A catalogue version ``v1``."""
    known = {"version": "v1", "document_json": "{}", "created_at": NOON}
    return CatalogueVersion(**{**known, **changes})


def quote(**changes: Any) -> Quote:
    """A quote ``quo_1`` of the catalogue version ``v1``."""
    known = {
        "id": "quo_1",
        "holder": "corner-shop",
        "catalogue_version": "v1",
        "request_json": "{}",
        "answer_json": "{}",
        "cost_json": "{}",
        "plan_json": "{}",
        "total_minor": 1_999,
        "currency": "EUR",
        "promised_day": DAY,
        "created_at": NOON,
        "expires_at": NOON,
    }
    return Quote(**{**known, **changes})


def kept_document(**changes: Any) -> KeptDocument:
    """A document that says nothing."""
    return KeptDocument(**{"sha256": NOTHING, "document_json": "{}", **changes})


def order(**changes: Any) -> Order:
    """An order ``ord_1`` of the quote ``quo_1``."""
    known = {
        "id": "ord_1",
        "holder": "corner-shop",
        "quote_id": "quo_1",
        "state": "accepted",
        "total_minor": 1_999,
        "currency": "EUR",
        "promised_day": DAY,
        "placed_at": NOON,
    }
    return Order(**{**known, **changes})


def ticket(**changes: Any) -> Ticket:
    """The ticket of the first line of the order ``ord_1``."""
    known = {
        "number": "T-1",
        "order_id": "ord_1",
        "line_index": 0,
        "state": "waiting",
        "station": "cutting",
        "pieces": 12,
        "promised_day": DAY,
        "document_sha256": NOTHING,
        "created_at": NOON,
    }
    return Ticket(**{**known, **changes})


def stored_answer(**changes: Any) -> StoredAnswer:
    """An answer kept under the key ``key-1`` of one caller; it refers to no other row."""
    known = {
        "caller": "corner-shop",
        "key": "key-1",
        "fingerprint": "f",
        "status": 201,
        "headers_json": "{}",
        "body_json": "{}",
        "created_at": NOON,
        "expires_at": NOON,
    }
    return StoredAnswer(**{**known, **changes})


def placed_order() -> list[SQLModel]:
    """An order with all that it and its tickets refer to."""
    return [catalogue_version(), quote(), kept_document(), order()]
