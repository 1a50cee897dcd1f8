"""Which deliveries are due, and who holds them.

A claim is one UPDATE under a token and a lease, safe beside other senders: SQLite has one writer at
a time, PostgreSQL locks the rows and passes over those locked elsewhere. An order's events reach an
endpoint one after another: a delivery is due only once no earlier one of that order to that
endpoint is pending.

The statements are built once: building them costs more than running them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Final

import httpx
from sqlalchemy import ColumnElement, FromClause, bindparam, exists, or_, select, update
from sqlalchemy.orm import Session

from service.notify.retry import ATTEMPTS_MAX
from service.store.tables import metadata

_CANDIDATES_PAGE: Final = 100
_CANDIDATE_PAGES_MAX: Final = 10

_deliveries = metadata.tables["delivery"]
_events = metadata.tables["event"]
_endpoints = metadata.tables["webhook_endpoint"]


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


@dataclass(frozen=True, slots=True)
class Waiting:
    """What there is to do: events to spread, deliveries to send."""

    events: bool
    deliveries: bool


@lru_cache(maxsize=4_096)
def host_of(url: str) -> str:
    """Host and port of ``url``, lower case; empty for a URL that cannot be read."""
    try:
        return httpx.URL(url).netloc.decode("ascii")
    except (httpx.InvalidURL, UnicodeError):
        return ""


def look(session: Session, now: datetime) -> Waiting:
    """What waits to be done at ``now``. Reads only."""
    events, deliveries = session.connection().execute(_LOOK, {"now": now}).one()
    return Waiting(bool(events), bool(deliveries))


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

    No receiver gets more than ``per_host`` at a time, those ``in_flight`` (by host) counted. The
    attempt is counted here, before anything is sent, so that a sender which dies has used it.
    """
    fail_hopeless(session, now)
    chosen = _choose(session, now, limit, _HostRoom(per_host, in_flight))
    if not chosen:
        return []
    connection = session.connection()
    hold = {"now": now, "chosen": chosen, "new_token": token, "new_lease": now + lease}
    taken = connection.execute(_HOLD, hold).scalars().all()
    rows = connection.execute(_READ_HELD, {"taken": taken}).mappings()
    return [Claimed(token=token, **row) for row in rows]


def fail_hopeless(session: Session, now: datetime) -> None:
    """Fail what can no longer be sent: its endpoint is disabled, or its last sender died on it."""
    session.connection().execute(_FAIL_HOPELESS, {"now": now}).close()


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
) -> list[tuple[int, str, str]]:
    given = {"now": now, "chosen": chosen, "full": sorted(full)}
    rows = session.connection().execute(_CANDIDATES, given)
    return [(delivery_id, endpoint_id, url) for delivery_id, endpoint_id, url in rows]


def _unheld(delivery: FromClause) -> ColumnElement[bool]:
    return or_(delivery.c.lease_until.is_(None), delivery.c.lease_until <= bindparam("now"))


def _due(delivery: FromClause) -> tuple[ColumnElement[bool], ...]:
    """Pending, its time come, held by nobody, and the first of its order."""
    earlier = _deliveries.alias("earlier")
    blocked = exists().where(
        earlier.c.endpoint_id == delivery.c.endpoint_id,
        earlier.c.order_id == delivery.c.order_id,
        earlier.c.sequence < delivery.c.sequence,
        earlier.c.state == "pending",
    )
    return (
        delivery.c.state == "pending",
        delivery.c.next_at <= bindparam("now"),
        _unheld(delivery),
        ~blocked,
    )


_it = _deliveries.alias("it")

_LOOK = select(
    exists().where(_events.c.spread_at.is_(None)),
    exists().where(*_due(_it)),
)

_CANDIDATES = (
    select(_it.c.id, _it.c.endpoint_id, _endpoints.c.url)
    .join(_endpoints, _endpoints.c.id == _it.c.endpoint_id)
    .where(
        *_due(_it),
        _endpoints.c.disabled_at.is_(None),
        _it.c.id.not_in(bindparam("chosen", expanding=True)),
        _it.c.endpoint_id.not_in(bindparam("full", expanding=True)),
    )
    .order_by(_it.c.next_at, _it.c.id)
    .limit(_CANDIDATES_PAGE)
)

_HOLD = (
    update(_deliveries)
    .where(
        _deliveries.c.id.in_(
            select(_it.c.id)
            .where(_it.c.id.in_(bindparam("chosen", expanding=True)), *_due(_it))
            .with_for_update(of=_it, skip_locked=True)
        )
    )
    .values(
        claim_token=bindparam("new_token"),
        lease_until=bindparam("new_lease"),
        attempts=_deliveries.c.attempts + 1,
    )
    .returning(_deliveries.c.id)
)

_READ_HELD = (
    select(
        _deliveries.c.id.label("delivery_id"),
        _deliveries.c.attempts.label("attempt"),
        _endpoints.c.id.label("endpoint_id"),
        _events.c.id.label("event_id"),
        _events.c.type.label("event_type"),
        _events.c.trace_id,
        _endpoints.c.url,
        _endpoints.c.secret_sealed,
        _events.c.payload_json,
    )
    .join(_events, _events.c.seq == _deliveries.c.event_seq)
    .join(_endpoints, _endpoints.c.id == _deliveries.c.endpoint_id)
    .where(_deliveries.c.id.in_(bindparam("taken", expanding=True)))
    .order_by(_deliveries.c.next_at, _deliveries.c.id)
)

_FAIL_HOPELESS = (
    update(_deliveries)
    .where(
        _deliveries.c.id.in_(
            select(_it.c.id)
            .where(
                _it.c.state == "pending",
                _unheld(_it),
                or_(
                    _it.c.attempts >= ATTEMPTS_MAX,
                    _it.c.endpoint_id.in_(
                        select(_endpoints.c.id).where(_endpoints.c.disabled_at.is_not(None))
                    ),
                ),
            )
            .with_for_update(of=_it, skip_locked=True)
        )
    )
    .values(state="failed", done_at=bindparam("now"), claim_token=None, lease_until=None)
)
