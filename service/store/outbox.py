"""Writing what happened, in the transaction that made it true."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from sqlalchemy import inspect, update
from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session, col

from service.domain.canonical import canonical_json, rfc3339
from service.store.tables import Event, Order

_TYPE: Final = re.compile(r"[a-zA-Z0-9_]+(?:\.[a-zA-Z0-9_]+)*", re.ASCII)
"""Dotted words, as Standard Webhooks 1.0.0 wants an event's type (rule W1)."""

_OURS: Final = frozenset({"order_id", "sequence"})


def record_event(
    session: Session,
    *,
    order: Order,
    type_: str,
    payload: Mapping[str, Any],
    now: datetime,
    event_id: str,
    trace_id: str = "",
) -> Event:
    """Write that ``type_`` happened to ``order`` at ``now``, as the order's next event.

    ``payload`` is JSON-ready, says how things stand at the event, and leaves ``order_id`` and
    ``sequence`` to this function. The body (Standard Webhooks 1.0.0: type, timestamp, data) is made
    here once; every delivery sends these very bytes. Raises :class:`ValueError` for a type that is
    not dotted words, a naive ``now``, or a payload that names our members.
    """
    if not _TYPE.fullmatch(type_):
        raise ValueError(f"an event's type is dotted words, not '{type_}'")
    taken = _OURS & payload.keys()
    if taken:
        raise ValueError(f"the payload of '{type_}' may not set {', '.join(sorted(taken))}")
    sequence = _next_sequence(session, order)
    data = {**payload, "order_id": order.id, "sequence": sequence}
    event = Event(
        id=event_id,
        holder=order.holder,
        order_id=order.id,
        sequence=sequence,
        type=type_,
        payload_json=canonical_json({"type": type_, "timestamp": rfc3339(now), "data": data}),
        trace_id=trace_id,
        happened_at=now,
    )
    session.add(event)
    return event


def _next_sequence(session: Session, order: Order) -> int:
    if not inspect(order).persistent:
        # Nobody else can see an order that is still to be written.
        order.event_sequence += 1
        return order.event_sequence
    # One statement, so that of two transactions on one order the second counts on from the first.
    session.flush()
    count_on = (
        update(Order)
        .where(col(Order.id) == order.id)
        .values(event_sequence=col(Order.event_sequence) + 1)
        .returning(col(Order.event_sequence))
        .execution_options(synchronize_session=False)
    )
    sequence = session.connection().execute(count_on).scalar_one()
    set_committed_value(order, "event_sequence", sequence)
    return sequence
