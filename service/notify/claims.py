"""Which deliveries are due, and who holds them.

A claim is one UPDATE under a token and a lease, safe beside other senders: SQLite has one writer at
a time, PostgreSQL locks the rows and passes over those locked elsewhere. An order's events reach an
endpoint one after another: a delivery is due only once no earlier one of that order to that
endpoint is pending.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import httpx
from sqlalchemy import ColumnElement, exists, or_, select, true, update
from sqlalchemy.orm import Session, aliased
from sqlmodel import col

from service.notify.retry import ATTEMPTS_MAX
from service.store.tables import Delivery, Event, WebhookEndpoint

_CANDIDATES_PAGE = 100
_CANDIDATE_PAGES_MAX = 10


@dataclass(frozen=True, slots=True)
class Claimed:
    """A delivery held by one sender under ``token``; ``attempt`` counts from 1.

    What belongs to the holder alone (address, secret, payload) stays out of its printed form.
    """

    delivery_id: int
    token: str
    attempt: int
    endpoint_id: str
    event_id: str
    event_type: str
    trace_id: str
    url: str = field(repr=False)
    secret_sealed: bytes = field(repr=False)
    payload_json: str = field(repr=False)

    @property
    def host(self) -> str:
        """What counts as one receiver when attempts at a time are bounded."""
        return host_of(self.url)


def host_of(url: str) -> str:
    """Host and port of ``url``, lower case; empty for a URL that cannot be read."""
    try:
        return httpx.URL(url).netloc.decode("ascii")
    except (httpx.InvalidURL, UnicodeError):
        return ""


def anything_to_do(session: Session, now: datetime) -> bool:
    """Whether an event waits to be spread or a delivery is due. Reads only."""
    delivery = aliased(Delivery)
    waiting = exists().where(col(Event.spread_at).is_(None))
    due = exists().where(*_due(delivery, now))
    return bool(session.execute(select(or_(waiting, due))).scalar_one())


def claim_due(
    session: Session,
    now: datetime,
    token: str,
    limit: int,
    lease: timedelta,
    per_host: int,
    in_flight: Mapping[str, int],
) -> list[Claimed]:
    """Hold up to ``limit`` due deliveries under ``token`` until ``now + lease``.

    No receiver gets more than ``per_host`` at a time, those ``in_flight`` (by host) counted.

    The attempt is counted here, before anything is sent, so that a sender which dies has used it.
    """
    fail_hopeless(session, now)
    chosen = _choose(session, now, limit, _HostRoom(per_host, in_flight))
    if not chosen:
        return []
    held = aliased(Delivery)
    free = (
        select(col(held.id))
        .where(col(held.id).in_(chosen), *_due(held, now))
        .with_for_update(of=held, skip_locked=True)
    )
    claim = (
        update(Delivery)
        .where(col(Delivery.id).in_(free))
        .values(
            claim_token=token,
            lease_until=now + lease,
            attempts=col(Delivery.attempts) + 1,
        )
        .returning(col(Delivery.id))
        .execution_options(synchronize_session=False)
    )
    taken = session.execute(claim).scalars().all()
    return _read_claimed(session, taken, token)


def fail_hopeless(session: Session, now: datetime) -> None:
    """Fail what can no longer be sent: its endpoint is disabled, or its last sender died on it."""
    lost = aliased(Delivery)
    disabled = select(col(WebhookEndpoint.id)).where(col(WebhookEndpoint.disabled_at).is_not(None))
    hopeless = (
        select(col(lost.id))
        .where(
            col(lost.state) == "pending",
            _unheld(lost, now),
            or_(col(lost.endpoint_id).in_(disabled), col(lost.attempts) >= ATTEMPTS_MAX),
        )
        .with_for_update(of=lost, skip_locked=True)
    )
    fail = update(Delivery).where(col(Delivery.id).in_(hopeless))
    session.execute(
        fail.values(
            state="failed", done_at=now, claim_token=None, lease_until=None
        ).execution_options(synchronize_session=False)
    )


class _HostRoom:
    """How many more attempts each receiver may be given at a time."""

    def __init__(self, per_host: int, in_flight: Mapping[str, int]) -> None:
        self._per_host = per_host
        self._taken = Counter(in_flight)

    def take(self, host: str) -> bool:
        """Take a place at ``host``; False if all are taken."""
        if self._taken[host] >= self._per_host:
            return False
        self._taken[host] += 1
        return True


def _unheld(delivery: type[Delivery], now: datetime) -> ColumnElement[bool]:
    return or_(col(delivery.lease_until).is_(None), col(delivery.lease_until) <= now)


def _due(delivery: type[Delivery], now: datetime) -> tuple[ColumnElement[bool], ...]:
    earlier = aliased(Delivery)
    blocked = exists().where(
        col(earlier.endpoint_id) == col(delivery.endpoint_id),
        col(earlier.order_id) == col(delivery.order_id),
        col(earlier.sequence) < col(delivery.sequence),
        col(earlier.state) == "pending",
    )
    return (
        col(delivery.state) == "pending",
        col(delivery.next_at) <= now,
        _unheld(delivery, now),
        ~blocked,
    )


def _choose(session: Session, now: datetime, limit: int, room: _HostRoom) -> list[int]:
    """Ids of due deliveries, longest due first, passing over receivers that have no room.

    Endpoints without room leave the next page, so a receiver's long queue hides nobody else's.
    """
    chosen: list[int] = []
    full: set[str] = set()
    for _ in range(_CANDIDATE_PAGES_MAX):
        page = _candidates(session, now, chosen, full)
        for delivery_id, endpoint_id, url in page:
            if len(chosen) == limit:
                return chosen
            if room.take(host_of(url)):
                chosen.append(delivery_id)
            else:
                full.add(endpoint_id)
        if len(page) < _CANDIDATES_PAGE:
            break
    return chosen


def _candidates(
    session: Session, now: datetime, chosen: Sequence[int], full: Collection[str]
) -> Sequence[tuple[int, str, str]]:
    delivery = aliased(Delivery)
    query = (
        select(col(delivery.id), col(delivery.endpoint_id), col(WebhookEndpoint.url))
        .join(WebhookEndpoint, col(WebhookEndpoint.id) == col(delivery.endpoint_id))
        .where(
            *_due(delivery, now),
            col(WebhookEndpoint.disabled_at).is_(None),
            col(delivery.id).not_in(chosen) if chosen else true(),
            col(delivery.endpoint_id).not_in(full) if full else true(),
        )
        .order_by(col(delivery.next_at), col(delivery.id))
        .limit(_CANDIDATES_PAGE)
    )
    return [
        (delivery_id, endpoint_id, url)
        for delivery_id, endpoint_id, url in session.execute(query)
        if delivery_id is not None
    ]


def _read_claimed(session: Session, ids: Sequence[int | None], token: str) -> list[Claimed]:
    query = (
        select(
            col(Delivery.id),
            col(Delivery.attempts),
            col(Event.id),
            col(Event.type),
            col(Event.trace_id),
            col(Event.payload_json),
            WebhookEndpoint,
        )
        .join(Event, col(Event.seq) == col(Delivery.event_seq))
        .join(WebhookEndpoint, col(WebhookEndpoint.id) == col(Delivery.endpoint_id))
        .where(col(Delivery.id).in_(ids))
        .order_by(col(Delivery.next_at), col(Delivery.id))
    )
    return [
        Claimed(
            delivery_id=delivery_id,
            token=token,
            attempt=attempts,
            endpoint_id=endpoint.id,
            event_id=event_id,
            event_type=event_type,
            trace_id=trace_id,
            url=endpoint.url,
            secret_sealed=endpoint.secret_sealed,
            payload_json=payload_json,
        )
        for delivery_id, attempts, event_id, event_type, trace_id, payload_json, endpoint in (
            session.execute(query)
        )
        if delivery_id is not None
    ]
