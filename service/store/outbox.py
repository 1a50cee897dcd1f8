"""Writing what happened, in the transaction that made it true."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final, Protocol

from sqlalchemy import bindparam, inspect, update
from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session

from service.domain.canonical import canonical_json, rfc3339
from service.store.core import table_of
from service.store.many_rows import TableRows, write_tables
from service.store.tables import Event, Order

_TYPE: Final = re.compile(r"[a-zA-Z0-9_]+(?:\.[a-zA-Z0-9_]+)*", re.ASCII)
"""Dotted words, as Standard Webhooks 1.0.0 wants an event's type (rule W1)."""

_OURS: Final = frozenset({"order_id", "sequence"})

_ORDERS: Final = table_of(Order)
_EVENTS: Final = table_of(Event)
_COUNT_ON: Final = (
    update(_ORDERS)
    .where(_ORDERS.c.id == bindparam("of"))
    .values(event_sequence=_ORDERS.c.event_sequence + 1)
    .returning(_ORDERS.c.event_sequence)
)
"""One statement, so that of two transactions on one order the second counts on from the first."""


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

    As :func:`event_row` has it.
    """
    row = event_row(
        order=order,
        sequence=_next_sequence(session, order),
        type_=type_,
        payload=payload,
        now=now,
        event_id=event_id,
        trace_id=trace_id,
    )
    write_tables(session.connection(), [rows_of_events([row])])
    return Event(**row)


class ToldOf(Protocol):
    """An order, as an event tells of it."""

    @property
    def id(self) -> str:
        """Its id."""
        ...

    @property
    def holder(self) -> str:
        """Whose it is."""
        ...


def event_row(
    *,
    order: ToldOf,
    sequence: int,
    type_: str,
    payload: Mapping[str, Any],
    now: datetime,
    event_id: str,
    trace_id: str = "",
) -> dict[str, Any]:
    """The row of an event, by names of columns.

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
    data = {**payload, "order_id": order.id, "sequence": sequence}
    return {
        "id": event_id,
        "holder": order.holder,
        "order_id": order.id,
        "sequence": sequence,
        "type": type_,
        "payload_json": canonical_json({"type": type_, "timestamp": rfc3339(now), "data": data}),
        "trace_id": trace_id,
        "happened_at": now,
    }


def rows_of_events(rows: Sequence[Mapping[str, Any]]) -> TableRows:
    """Rows of :func:`event_row`, as they are written."""
    return TableRows(_EVENTS, rows)


def _next_sequence(session: Session, order: Order) -> int:
    if not inspect(order).persistent:
        # Nobody else can see an order that is still to be written.
        order.event_sequence += 1
        return order.event_sequence
    session.flush()
    sequence: int = session.connection().execute(_COUNT_ON, {"of": order.id}).scalar_one()
    set_committed_value(order, "event_sequence", sequence)
    return sequence
