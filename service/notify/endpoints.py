"""What a storefront may do with its webhook endpoints.

Each use case is one transaction. Whatever belongs to another holder is ``NotFound``, exactly like
what does not exist.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial

from sqlalchemy import func, select
from sqlalchemy.orm import Session
from sqlmodel import col

from service.domain.errors import BadInput, Conflict, FieldFault, NotFound
from service.domain.events import EVENT_TYPES
from service.notify.addresses import endpoint_url_fault
from service.notify.claims import fail_hopeless
from service.notify.sealing import Sealer
from service.notify.signing import secret_from_bytes
from service.store.database import Database
from service.store.tables import WebhookEndpoint

ENDPOINTS_MAX = 20
"""Most live endpoints of one holder."""

LISTED_MAX = 100
"""Most endpoints listed, newest first; disabled ones count."""

DISABLED_BY_OWNER = "Disabled by its owner."
REMOVED = "Removed by its owner."

_SHOWN_VALUE_LENGTH_MAX = 64


@dataclass(frozen=True, slots=True)
class Endpoint:
    """An endpoint as its holder sees it. ``event_types`` empty means every type."""

    id: str
    url: str
    event_types: tuple[str, ...]
    created_at: datetime
    disabled_at: datetime | None
    disabled_reason: str


@dataclass(frozen=True, slots=True)
class RegisteredEndpoint:
    """A new endpoint with its secret, which is shown this once and never again."""

    endpoint: Endpoint
    secret: str = field(repr=False)


def register_endpoint(  # noqa: PLR0913 -- all keyword-only, each a different thing
    *,
    database: Database,
    sealer: Sealer,
    holder: str,
    url: str,
    event_types: Sequence[str],
    now: datetime,
    endpoint_id: str,
    secret_bytes: bytes,
    allow_private: bool,
) -> RegisteredEndpoint:
    """Keep a new endpoint and give its secret, made of 24 to 64 random ``secret_bytes``.

    Raises ``BadInput`` for a URL or type that cannot be used and ``Conflict`` beyond 20 endpoints.
    What the host name resolves to is checked by ``addresses.host_fault`` before.
    """
    _check_new(url, event_types, allow_private=allow_private)
    secret = secret_from_bytes(secret_bytes)
    sealed = sealer.seal(secret, endpoint_id)

    def insert(session: Session) -> Endpoint:
        _check_room(session, holder)
        row = WebhookEndpoint(
            id=endpoint_id,
            holder=holder,
            url=url,
            event_types_json=json.dumps(list(dict.fromkeys(event_types))),
            secret_sealed=sealed,
            created_at=now,
        )
        session.add(row)
        session.flush()
        return _view(row)

    return RegisteredEndpoint(database.write(insert), secret)


def list_endpoints(database: Database, holder: str) -> list[Endpoint]:
    """The holder's endpoints that are not removed, newest first, disabled ones among them."""
    query = (
        select(WebhookEndpoint)
        .where(
            col(WebhookEndpoint.holder) == holder, col(WebhookEndpoint.disabled_reason) != REMOVED
        )
        .order_by(col(WebhookEndpoint.created_at).desc(), col(WebhookEndpoint.id).desc())
        .limit(LISTED_MAX)
    )
    return database.read(lambda session: [_view(row) for row in session.execute(query).scalars()])


def get_endpoint(database: Database, holder: str, endpoint_id: str) -> Endpoint:
    """The holder's endpoint; raises ``NotFound``, for a removed one too."""
    return database.read(lambda session: _view(own_endpoint(session, holder, endpoint_id)))


def disable_endpoint(database: Database, holder: str, endpoint_id: str, now: datetime) -> Endpoint:
    """Stop telling an endpoint; its pending deliveries fail, to be replayed once it is enabled.

    Disabling twice changes nothing. Raises ``NotFound``.
    """
    return database.write(
        partial(_disable, holder=holder, endpoint_id=endpoint_id, now=now, reason=DISABLED_BY_OWNER)
    )


def enable_endpoint(database: Database, holder: str, endpoint_id: str) -> Endpoint:
    """Tell a disabled endpoint again, from the next event on.

    Raises ``NotFound``, and ``Conflict`` if the holder has 20 live endpoints already.
    """
    return database.write(partial(_enable, holder=holder, endpoint_id=endpoint_id))


def remove_endpoint(database: Database, holder: str, endpoint_id: str, now: datetime) -> None:
    """Disable an endpoint for good: it is shown no more. Raises ``NotFound``."""
    database.write(
        partial(_disable, holder=holder, endpoint_id=endpoint_id, now=now, reason=REMOVED)
    )


def own_endpoint(
    session: Session, holder: str, endpoint_id: str, *, locked: bool = False
) -> WebhookEndpoint:
    """The holder's stored endpoint, ``locked`` for a change; raises ``NotFound``."""
    query = select(WebhookEndpoint).where(
        col(WebhookEndpoint.id) == endpoint_id,
        col(WebhookEndpoint.holder) == holder,
        col(WebhookEndpoint.disabled_reason) != REMOVED,
    )
    found = session.execute(query.with_for_update() if locked else query).scalar_one_or_none()
    if found is None:
        raise NotFound("endpoint-not-found", "There is no such webhook endpoint.")
    return found


def _check_new(url: str, event_types: Sequence[str], *, allow_private: bool) -> None:
    faults = [
        FieldFault(
            f"{kind[:_SHOWN_VALUE_LENGTH_MAX]!r} is no event type; "
            f"there are {', '.join(EVENT_TYPES)}.",
            path=("event_types", index),
            code="unknown-event-type",
        )
        for index, kind in enumerate(event_types)
        if kind not in EVENT_TYPES
    ]
    url_fault = endpoint_url_fault(url, allow_private=allow_private)
    if url_fault is not None:
        faults.insert(0, FieldFault(url_fault, path=("url",), code="url-refused"))
    if faults:
        raise BadInput("fields-refused", "The endpoint cannot be registered.", faults=faults)


def _check_room(session: Session, holder: str) -> None:
    """Lock first, then count in a statement of its own: it sees what the lock waited for."""
    live = (col(WebhookEndpoint.holder) == holder, col(WebhookEndpoint.disabled_at).is_(None))
    ids = select(col(WebhookEndpoint.id)).where(*live).order_by(col(WebhookEndpoint.id))
    session.execute(ids.with_for_update()).all()
    count = session.execute(select(func.count()).select_from(WebhookEndpoint).where(*live))
    if count.scalar_one() >= ENDPOINTS_MAX:
        raise Conflict(
            "too-many-endpoints",
            f"There are {ENDPOINTS_MAX} live endpoints, the most a holder may have: "
            "disable or remove one first.",
        )


def _disable(
    session: Session, holder: str, endpoint_id: str, now: datetime, reason: str
) -> Endpoint:
    row = own_endpoint(session, holder, endpoint_id, locked=True)
    if row.disabled_at is None or reason == REMOVED:
        row.disabled_at = row.disabled_at or now
        row.disabled_reason = reason
        session.flush()
        # Here, for a sender that has nothing due and nobody to tell claims nothing.
        fail_hopeless(session, now)
    return _view(row)


def _enable(session: Session, holder: str, endpoint_id: str) -> Endpoint:
    row = own_endpoint(session, holder, endpoint_id, locked=True)
    if row.disabled_at is not None:
        _check_room(session, holder)
        row.disabled_at, row.disabled_reason = None, ""
        session.flush()
    return _view(row)


def _view(row: WebhookEndpoint) -> Endpoint:
    return Endpoint(
        id=row.id,
        url=row.url,
        event_types=tuple(json.loads(row.event_types_json)),
        created_at=row.created_at,
        disabled_at=row.disabled_at,
        disabled_reason=row.disabled_reason,
    )
