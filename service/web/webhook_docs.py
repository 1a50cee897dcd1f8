"""What endpoints are told, as the API description shows it."""

from __future__ import annotations

from datetime import date
from typing import Any

from pydantic import BaseModel, ConfigDict

from service.domain.events import EVENT_MEANINGS
from service.domain.replanning import Why
from service.domain.ticket_states import OrderState, TicketState
from service.intake.answers import Moment
from service.web.openapi import WebhookDoc


class Told(BaseModel):
    """Base of what is told; receivers ignore members they do not know."""

    model_config = ConfigDict(extra="forbid")


class OrderTold(Told):
    """How an order stands at the event. Drop a ``sequence`` lower than one seen."""

    order_id: str
    sequence: int
    reference: str
    order_state: OrderState
    promised_day: date


class TicketTold(Told):
    """How a ticket and its order stand at the event. Drop a ``sequence`` lower than one seen."""

    order_id: str
    sequence: int
    reference: str
    order_state: OrderState
    ticket: str
    line: int
    from_state: TicketState
    state: TicketState


class LateOrderTold(OrderTold):
    """How an order stands that is expected on ``expected_day``, after the promised one.

    ``why`` says what moved it: work that was ``not-done`` on its day, a ticket ``halted`` or
    ``resumed``, ``capacity`` that a station lost, a ``remake`` of spoiled pieces, opened or not, or
    ``material`` that was counted on and is not there.
    """

    expected_day: date
    why: Why


class OnTimeOrderTold(OrderTold):
    """How an order stands that was told late, and is expected by its promised day again."""

    expected_day: date


class ShortTicketTold(TicketTold):
    """A ticket whose blanks are no longer enough, and of how many pieces by size."""

    to_remake: dict[str, int]


class RemadeTicketTold(TicketTold):
    """A further ticket for ``pieces`` by size that ``remake_of`` does not make any more."""

    remake_of: str
    pieces: dict[str, int]


class OrderEvent(Told):
    """An event about an order; ``timestamp`` is when it happened."""

    type: str
    timestamp: Moment
    data: OrderTold


class TicketEvent(Told):
    """An event about a ticket; ``timestamp`` is when it happened."""

    type: str
    timestamp: Moment
    data: TicketTold


class LateOrderEvent(Told):
    """An order that will be late; ``timestamp`` is when that was found."""

    type: str
    timestamp: Moment
    data: LateOrderTold


class OnTimeOrderEvent(Told):
    """An order that was told late and is not; ``timestamp`` is when that was found."""

    type: str
    timestamp: Moment
    data: OnTimeOrderTold


class ShortTicketEvent(Told):
    """Spoiled pieces beyond the spares; ``timestamp`` is when they were entered."""

    type: str
    timestamp: Moment
    data: ShortTicketTold


class RemadeTicketEvent(Told):
    """A remake; ``timestamp`` is when it was opened."""

    type: str
    timestamp: Moment
    data: RemadeTicketTold


_ORDER: dict[str, Any] = {
    "order_id": "order_2tz3mw5qbydkzqkq7r4w3mzn5e",
    "sequence": 1,
    "reference": "invented-1001",
    "order_state": "accepted",
    "promised_day": "2026-12-04",
}
_TICKET: dict[str, Any] = {
    "order_id": "order_2tz3mw5qbydkzqkq7r4w3mzn5e",
    "sequence": 2,
    "reference": "invented-1001",
    "order_state": "in_work",
    "ticket": "T000001",
    "line": 0,
    "from_state": "waiting",
    "state": "on_bench",
}
_STATES = {
    "order.cancelled": "cancelled",
    "order.ready": "ready",
    "order.sent": "sent",
    "order.late": "in_work",
    "order.on_time_again": "in_work",
}
_ON_BENCH = {"from_state": "on_bench", "state": "on_bench"}
_MORE: dict[str, dict[str, Any]] = {
    "order.late": {"expected_day": "2026-12-08", "why": Why.NOT_DONE},
    "order.on_time_again": {"expected_day": "2026-12-04"},
    "ticket.halted": {"state": "halted"},
    "ticket.short": {**_ON_BENCH, "to_remake": {"M": 2}},
    "ticket.remade": {
        "ticket": "T000002",
        "state": "waiting",
        "remake_of": "T000001",
        "pieces": {"M": 2},
    },
}
_PAYLOADS: dict[str, type[BaseModel]] = {
    "order.late": LateOrderEvent,
    "order.on_time_again": OnTimeOrderEvent,
    "ticket.short": ShortTicketEvent,
    "ticket.remade": RemadeTicketEvent,
}


def _doc(name: str, meaning: str) -> WebhookDoc:
    about_ticket = name.startswith("ticket.")
    data = dict(_TICKET if about_ticket else _ORDER)
    if name in _STATES:
        data |= {"order_state": _STATES[name], "sequence": 9}
    data |= _MORE.get(name, {})
    payload = _PAYLOADS.get(name, TicketEvent if about_ticket else OrderEvent)
    return WebhookDoc(
        name=name,
        summary=meaning,
        description="Signed as Standard Webhooks 1.0.0 has it. Told at least once, and in order "
        "for each order; drop repeats by `webhook-id`.",
        payload=payload,
        example={"type": name, "timestamp": "2026-11-25T09:30:00.000Z", "data": data},
    )


WEBHOOKS: tuple[WebhookDoc, ...] = tuple(_doc(*each) for each in EVENT_MEANINGS.items())
"""One entry for each event type."""
