"""What a storefront may see and do of the deliveries to its endpoints.

Whatever belongs to another holder is ``NotFound``, exactly like what does not exist.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlmodel import col

from service.domain.errors import Conflict, NotFound
from service.notify.endpoints import REMOVED, own_endpoint
from service.store.database import Database
from service.store.tables import Delivery, DeliveryAttempt, Event, WebhookEndpoint

ATTEMPTS_SHOWN_MAX = 20


@dataclass(frozen=True, slots=True)
class Attempt:
    """One attempt; ``outcome`` is a key of ``sender.OUTCOMES``. Counts from 1 after each replay.

    ``duration_ms`` is 0 where no answer came.
    """

    attempt: int
    at: datetime
    duration_ms: int
    status_code: int | None
    outcome: str


@dataclass(frozen=True, slots=True)
class DeliveryView:
    """A delivery as its holder sees it; ``attempt_list`` holds the last 20, oldest first."""

    id: int
    event_id: str
    event_type: str
    order_id: str
    sequence: int
    state: str
    attempts: int
    next_at: datetime | None
    done_at: datetime | None
    attempt_list: tuple[Attempt, ...]


@dataclass(frozen=True, slots=True)
class DeliveryPage:
    """Deliveries, newest first; ``next_cursor`` goes on below them and is None at the end."""

    items: tuple[DeliveryView, ...]
    next_cursor: int | None


def list_deliveries(
    database: Database, holder: str, endpoint_id: str, limit: int, cursor: int | None = None
) -> DeliveryPage:
    """Up to ``limit`` (1 to 100, checked by the caller) deliveries to an endpoint, newest first.

    ``cursor`` is the last page's ``next_cursor``. Raises ``NotFound``.
    """
    return database.read(
        partial(_page, holder=holder, endpoint_id=endpoint_id, limit=limit, cursor=cursor)
    )


def replay_delivery(
    database: Database, holder: str, delivery_id: int, now: datetime
) -> DeliveryView:
    """Make a delivery due at once with all its attempts anew, whatever came of it before.

    Raises ``NotFound``, and ``Conflict`` while it is being sent or its endpoint is disabled.
    """
    return database.write(partial(_replay, holder=holder, delivery_id=delivery_id, now=now))


def _page(
    session: Session, holder: str, endpoint_id: str, limit: int, cursor: int | None
) -> DeliveryPage:
    own_endpoint(session, holder, endpoint_id)
    query = (
        select(Delivery, col(Event.id), col(Event.type))
        .join(Event, col(Event.seq) == col(Delivery.event_seq))
        .where(col(Delivery.endpoint_id) == endpoint_id)
        .order_by(col(Delivery.id).desc())
        .limit(limit + 1)
    )
    if cursor is not None:
        query = query.where(col(Delivery.id) < cursor)
    rows = [(row[0], row[1], row[2]) for row in session.execute(query)]
    shown = rows[:limit]
    tried = _attempts(session, [_id(delivery) for delivery, _, _ in shown])
    items = tuple(
        _delivery_view(delivery, event_id, kind, tried.get(_id(delivery), ()))
        for delivery, event_id, kind in shown
    )
    return DeliveryPage(items, items[-1].id if len(rows) > limit else None)


def _replay(session: Session, holder: str, delivery_id: int, now: datetime) -> DeliveryView:
    query = (
        select(Delivery, col(Event.id), col(Event.type), col(WebhookEndpoint.disabled_at))
        .join(Event, col(Event.seq) == col(Delivery.event_seq))
        .join(WebhookEndpoint, col(WebhookEndpoint.id) == col(Delivery.endpoint_id))
        .where(
            col(Delivery.id) == delivery_id,
            col(WebhookEndpoint.holder) == holder,
            col(WebhookEndpoint.disabled_reason) != REMOVED,
        )
        .with_for_update(of=Delivery)
    )
    found = session.execute(query).one_or_none()
    if found is None:
        raise NotFound("delivery-not-found", "There is no such delivery.")
    delivery, event_id, kind, disabled_at = found
    _check_replayable(delivery, disabled_at, now)
    delivery.state, delivery.attempts, delivery.next_at = "pending", 0, now
    delivery.done_at = delivery.claim_token = delivery.lease_until = None
    session.flush()
    tried = _attempts(session, [delivery_id]).get(delivery_id, ())
    return _delivery_view(delivery, event_id, kind, tried)


def _check_replayable(delivery: Delivery, disabled_at: datetime | None, now: datetime) -> None:
    if disabled_at is not None:
        raise Conflict("endpoint-disabled", "The endpoint is disabled: enable it first.")
    if delivery.lease_until is not None and delivery.lease_until > now:
        raise Conflict("delivery-in-progress", "The delivery is being sent just now.")


def _attempts(session: Session, ids: Collection[int]) -> dict[int, tuple[Attempt, ...]]:
    query = (
        select(DeliveryAttempt)
        .where(col(DeliveryAttempt.delivery_id).in_(ids))
        .order_by(col(DeliveryAttempt.id))
    )
    found: dict[int, list[Attempt]] = {}
    for row in session.execute(query).scalars():
        one = Attempt(row.attempt, row.at, row.duration_ms, row.status_code, row.outcome)
        found.setdefault(row.delivery_id, []).append(one)
    return {key: tuple(tried[-ATTEMPTS_SHOWN_MAX:]) for key, tried in found.items()}


def _delivery_view(
    row: Delivery, event_id: str, kind: str, tried: tuple[Attempt, ...]
) -> DeliveryView:
    return DeliveryView(
        id=_id(row),
        event_id=event_id,
        event_type=kind,
        order_id=row.order_id,
        sequence=row.sequence,
        state=row.state,
        attempts=row.attempts,
        next_at=row.next_at if row.state == "pending" else None,
        done_at=row.done_at,
        attempt_list=tried,
    )


def _id(row: Delivery) -> int:
    """The key of a stored row, which is only missing before it is stored."""
    return row.id or 0
