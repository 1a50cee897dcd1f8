"""Events about tickets and their orders, as the customer's side is told of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlmodel import Session

from service.intake.services import Services
from service.store.new_orders import NewOrder
from service.store.outbox import event_row, record_event
from service.store.tables import Order, Ticket


def ticket_event(
    services: Services,
    session: Session,
    order: Order,
    ticket: Ticket,
    type_: str,
    trace_id: str,
    more: Mapping[str, Any] | None = None,
) -> None:
    """Write an event about a ticket as it stands; ``more`` adds to or replaces what is told."""
    payload = {
        "reference": order.reference,
        "order_state": order.state,
        "ticket": ticket.number,
        "line": ticket.line_index,
        "from_state": ticket.state,
        "state": ticket.state,
        **(more or {}),
    }
    _record(services, session, order, type_, trace_id, payload)


def order_event(
    services: Services,
    session: Session,
    order: Order,
    type_: str,
    trace_id: str,
    more: Mapping[str, Any] | None = None,
) -> None:
    """Write an event about the order as a whole; ``more`` adds to what is told."""
    payload = {**_of_order(order), **(more or {})}
    _record(services, session, order, type_, trace_id, payload)


def accepted_event(services: Services, order: NewOrder, trace_id: str) -> dict[str, Any]:
    """The row of an order's first event, that it was accepted."""
    return event_row(
        order=order,
        sequence=order.event_sequence,
        type_="order.accepted",
        payload=_of_order(order),
        now=order.placed_at,
        event_id=services.new_id("evt"),
        trace_id=trace_id,
    )


def _of_order(order: Order | NewOrder) -> dict[str, Any]:
    return {
        "reference": order.reference,
        "order_state": order.state,
        "promised_day": order.promised_day.isoformat(),
    }


def _record(
    services: Services,
    session: Session,
    order: Order,
    type_: str,
    trace_id: str,
    payload: Mapping[str, Any],
) -> None:
    record_event(
        session,
        order=order,
        type_=type_,
        payload=payload,
        now=services.clock(),
        event_id=services.new_id("evt"),
        trace_id=trace_id,
    )
