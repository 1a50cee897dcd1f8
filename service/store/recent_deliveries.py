"""What the shop's endpoints were told of late, over all storefronts, for the people of the shop."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlsplit

from sqlmodel import Session, col, select

from service.store.tables import Delivery, Event, WebhookEndpoint


@dataclass(frozen=True, slots=True)
class RecentDelivery:
    """One event told to one endpoint. ``host`` is all that is shown of the endpoint's address.

    ``next_at`` is None unless it will be tried again, ``done_at`` None while it is pending.
    """

    id: int
    holder: str
    host: str
    event_type: str
    order_id: str
    state: str
    attempts: int
    happened_at: datetime
    next_at: datetime | None
    done_at: datetime | None


def recent_deliveries(session: Session, limit: int) -> list[RecentDelivery]:
    """The newest deliveries, newest first."""
    statement = (
        select(Delivery, Event, WebhookEndpoint.url)
        .join(Event, col(Event.seq) == col(Delivery.event_seq))
        .join(WebhookEndpoint, col(WebhookEndpoint.id) == col(Delivery.endpoint_id))
        .order_by(col(Delivery.id).desc())
        .limit(limit)
    )
    return [_shown(*row) for row in session.exec(statement).all()]


def _shown(delivery: Delivery, event: Event, url: str) -> RecentDelivery:
    return RecentDelivery(
        id=delivery.id or 0,
        holder=event.holder,
        host=urlsplit(url).hostname or "",
        event_type=event.type,
        order_id=delivery.order_id,
        state=delivery.state,
        attempts=delivery.attempts,
        happened_at=event.happened_at,
        next_at=delivery.next_at if delivery.state == "pending" else None,
        done_at=delivery.done_at,
    )
