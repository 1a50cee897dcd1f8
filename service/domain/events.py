"""What a storefront can be told of.

One event is one thing that happened to an order or a ticket; ``EVENT_TYPES`` is the closed list of
their types, and ``EVENT_MEANINGS`` says in one line what each tells.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

EVENT_MEANINGS: Mapping[str, str] = MappingProxyType(
    {
        "order.accepted": "The order was accepted exactly as quoted and its tickets were written.",
        "order.cancelled": "The order was cancelled and its station time was given back.",
        "order.ready": "Every ticket of the order is made and checked.",
        "order.sent": "Every ticket of the order has left the shop.",
        "order.late": "As things stand the order is done after its promised day; told at once.",
        "order.on_time_again": "An order that was told late is expected by its promised day again.",
        "ticket.moved": "A ticket went on to its next state at the bench.",
        "ticket.halted": "A ticket was stopped at the bench; its note says why.",
        "ticket.short": "More pieces were spoiled than there were spares for: the day may slip.",
        "ticket.remade": "A further ticket was written that makes spoiled pieces anew.",
    }
)
"""Event type to its meaning, in the order in which they are shown."""

EVENT_TYPES: tuple[str, ...] = tuple(EVENT_MEANINGS)
"""Every event type, dotted as Standard Webhooks 1.0.0 asks (rule W1)."""
