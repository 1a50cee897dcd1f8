"""The outbox in the store: from new events to deliveries, and from attempts to what came of them.

Every function works inside the caller's transaction and is safe beside other senders.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, insert, select, update
from sqlalchemy.orm import Session
from sqlmodel import col

from service.notify.claims import Claimed
from service.store.tables import Delivery, DeliveryAttempt, Event, WebhookEndpoint

SPREAD_EVENTS_MAX = 200
"""Most events turned into deliveries in one transaction."""

GONE_REASON = "The receiver answered 410 Gone."


@dataclass(frozen=True, slots=True)
class Result:
    """What came of an attempt: a row for the record and the delivery's next state.

    ``next_at`` is set for state ``pending`` alone. ``endpoint_gone`` retires the endpoint.
    ``duration_ms`` is 0 without an answer: how long none came would tell open ports from closed.
    """

    claimed: Claimed
    began_at: datetime
    ended_at: datetime
    duration_ms: int
    status: int | None
    outcome: str
    state: str
    next_at: datetime | None = None
    endpoint_gone: bool = False


def spread_events(session: Session, now: datetime, limit: int = SPREAD_EVENTS_MAX) -> int:
    """Make the deliveries of up to ``limit`` new events, oldest first; gives how many events.

    An event goes to its holder's live endpoints that want its type and were there when it
    happened. The row locks make a second sender wait, so that no order's later event overtakes.
    """
    events = session.execute(_unspread(limit)).scalars().all()
    if not events:
        return 0
    endpoints = _live_endpoints(session, {event.holder for event in events})
    rows = [
        _new_delivery(event, endpoint, now)
        for event in events
        for endpoint in endpoints.get(event.holder, ())
        if _wants(endpoint, event)
    ]
    if rows:
        session.execute(insert(Delivery), rows)
    spread = update(Event).where(col(Event.seq).in_([event.seq for event in events]))
    session.execute(spread.values(spread_at=now).execution_options(synchronize_session=False))
    return len(events)


def record_results(session: Session, results: Iterable[Result]) -> list[Result]:
    """Write what came of attempts; gives those dropped because their claim had passed on."""
    dropped: list[Result] = []
    rows: list[dict[str, Any]] = []
    for result in sorted(results, key=lambda each: each.claimed.delivery_id):
        if not _settle(session, result):
            dropped.append(result)
            continue
        rows.append(_attempt_row(result))
        if result.endpoint_gone:
            _retire(session, result)
    if rows:
        session.execute(insert(DeliveryAttempt), rows)
    return dropped


def _unspread(limit: int) -> Select[Event]:
    """New events, locked, oldest first."""
    return (
        select(Event)
        .where(col(Event.spread_at).is_(None))
        .order_by(col(Event.seq))
        .limit(limit)
        .with_for_update()
    )


def _live_endpoints(session: Session, holders: Collection[str]) -> dict[str, list[WebhookEndpoint]]:
    query = select(WebhookEndpoint).where(
        col(WebhookEndpoint.holder).in_(holders), col(WebhookEndpoint.disabled_at).is_(None)
    )
    found: dict[str, list[WebhookEndpoint]] = {}
    for endpoint in session.execute(query).scalars():
        found.setdefault(endpoint.holder, []).append(endpoint)
    return found


def _wants(endpoint: WebhookEndpoint, event: Event) -> bool:
    types = json.loads(endpoint.event_types_json)
    return endpoint.created_at <= event.happened_at and (not types or event.type in types)


def _new_delivery(event: Event, endpoint: WebhookEndpoint, now: datetime) -> dict[str, Any]:
    return {
        "event_seq": event.seq,
        "endpoint_id": endpoint.id,
        "order_id": event.order_id,
        "sequence": event.sequence,
        "state": "pending",
        "attempts": 0,
        "next_at": now,
    }


def _settle(session: Session, result: Result) -> bool:
    """Move the delivery on, if this claim still holds it."""
    held = (
        col(Delivery.id) == result.claimed.delivery_id,
        col(Delivery.claim_token) == result.claimed.token,
        col(Delivery.state) == "pending",
    )
    changes: dict[str, Any] = {"state": result.state, "claim_token": None, "lease_until": None}
    changes |= {"next_at": result.next_at} if result.next_at else {"done_at": result.ended_at}
    settle = update(Delivery).where(*held).values(**changes).returning(col(Delivery.id))
    done = session.execute(settle.execution_options(synchronize_session=False))
    return done.scalar_one_or_none() is not None


def _attempt_row(result: Result) -> dict[str, Any]:
    return {
        "delivery_id": result.claimed.delivery_id,
        "attempt": result.claimed.attempt,
        "at": result.began_at,
        "duration_ms": result.duration_ms,
        "status_code": result.status,
        "outcome": result.outcome,
    }


def _retire(session: Session, result: Result) -> None:
    retire = update(WebhookEndpoint).where(
        col(WebhookEndpoint.id) == result.claimed.endpoint_id,
        col(WebhookEndpoint.disabled_at).is_(None),
    )
    session.execute(
        retire.values(disabled_at=result.ended_at, disabled_reason=GONE_REASON).execution_options(
            synchronize_session=False
        )
    )
