"""The outbox in the store: from new events to deliveries, and from attempts to what came of them.

Every function works inside the caller's transaction and is safe beside other senders.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Row, bindparam, func, insert, select, update
from sqlalchemy.orm import Session

from service.notify.claims import Claimed, fail_hopeless
from service.store.tables import metadata

SPREAD_EVENTS_MAX: Final = 200
"""Most events turned into deliveries in one transaction."""

GONE_REASON: Final = "The receiver answered 410 Gone."

_deliveries = metadata.tables["delivery"]
_attempts = metadata.tables["delivery_attempt"]
_events = metadata.tables["event"]
_endpoints = metadata.tables["webhook_endpoint"]


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


@dataclass(frozen=True, slots=True)
class Spread:
    """How many events were spread, and how many deliveries they made: none where nobody listens."""

    events: int = 0
    deliveries: int = 0


def spread_events(session: Session, now: datetime, limit: int = SPREAD_EVENTS_MAX) -> Spread:
    """Make the deliveries of up to ``limit`` new events, oldest first.

    An event goes to its holder's live endpoints that want its type and were there when it
    happened. The row locks make a second sender wait, so that no order's later event overtakes.
    """
    connection = session.connection()
    events = connection.execute(_UNSPREAD, {"limit": limit}).all()
    if not events:
        return Spread()
    holders = sorted({event.holder for event in events})
    live: dict[str, list[_Listener]] = {holder: [] for holder in holders}
    for row in connection.execute(_LIVE, {"holders": holders}):
        live[row.holder].append(_Listener(row.id, row.created_at, json.loads(row.event_types_json)))
    rows = [
        _new_delivery(event, listener.id, now)
        for event in events
        for listener in live[event.holder]
        if listener.wants(event)
    ]
    if rows:
        connection.execute(insert(_deliveries), rows)
    connection.execute(_MARK_SPREAD, {"seqs": [event.seq for event in events], "now": now}).close()
    return Spread(len(events), len(rows))


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
        session.connection().execute(insert(_attempts), rows)
    return dropped


@dataclass(frozen=True, slots=True)
class _Listener:
    """A live endpoint: since when, and for which types (none means all)."""

    id: str
    since: datetime
    types: list[str]

    def wants(self, event: Row[*tuple[Any, ...]]) -> bool:
        return self.since <= event.happened_at and (not self.types or event.type in self.types)


def _new_delivery(event: Row[*tuple[Any, ...]], endpoint_id: str, now: datetime) -> dict[str, Any]:
    return {
        "event_seq": event.seq,
        "endpoint_id": endpoint_id,
        "order_id": event.order_id,
        "sequence": event.sequence,
        "state": "pending",
        "attempts": 0,
        "next_at": now,
    }


def _settle(session: Session, result: Result) -> bool:
    """Move the delivery on, if this claim still holds it."""
    given = {
        "held_id": result.claimed.delivery_id,
        "held_token": result.claimed.token,
        "new_state": result.state,
        "new_next_at": result.next_at,
        "new_done_at": None if result.next_at else result.ended_at,
    }
    settled = session.connection().execute(_SETTLE, given)
    return settled.scalar_one_or_none() is not None


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
    given = {"gone_id": result.claimed.endpoint_id, "gone_at": result.ended_at}
    session.connection().execute(_RETIRE, given).close()
    # Here, for a sender that has nothing due and nobody to tell claims nothing.
    fail_hopeless(session, result.ended_at)


_UNSPREAD = (
    select(
        _events.c.seq,
        _events.c.holder,
        _events.c.order_id,
        _events.c.sequence,
        _events.c.type,
        _events.c.happened_at,
    )
    .where(_events.c.spread_at.is_(None))
    .order_by(_events.c.seq)
    .limit(bindparam("limit"))
    .with_for_update()
)

_LIVE = select(
    _endpoints.c.id,
    _endpoints.c.holder,
    _endpoints.c.created_at,
    _endpoints.c.event_types_json,
).where(
    _endpoints.c.holder.in_(bindparam("holders", expanding=True)),
    _endpoints.c.disabled_at.is_(None),
)

_MARK_SPREAD = (
    update(_events)
    .where(_events.c.seq.in_(bindparam("seqs", expanding=True)))
    .values(spread_at=bindparam("now"))
)

_SETTLE = (
    update(_deliveries)
    .where(
        _deliveries.c.id == bindparam("held_id"),
        _deliveries.c.claim_token == bindparam("held_token"),
        _deliveries.c.state == "pending",
    )
    .values(
        state=bindparam("new_state"),
        next_at=func.coalesce(bindparam("new_next_at"), _deliveries.c.next_at),
        done_at=bindparam("new_done_at"),
        claim_token=None,
        lease_until=None,
    )
    .returning(_deliveries.c.id)
)

_RETIRE = (
    update(_endpoints)
    .where(_endpoints.c.id == bindparam("gone_id"), _endpoints.c.disabled_at.is_(None))
    .values(disabled_at=bindparam("gone_at"), disabled_reason=GONE_REASON)
)
