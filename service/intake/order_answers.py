"""What is told of an order."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from service.domain.ticket_states import OrderState, TicketState
from service.intake.answers import MoneyAnswer, OrderAnswer, OrderTicketAnswer
from service.store.new_orders import NewOrder
from service.store.tables import Order, Ticket


class NewTicket(NamedTuple):
    """What is told of a ticket that is just written."""

    number: str
    line_index: int
    state: TicketState
    pieces: int


def order_answer(
    order: Order | NewOrder, tickets: Sequence[Ticket | NewTicket], expected_day: date | None
) -> OrderAnswer:
    """An order with its tickets, and the day it is done as things stand, None where unknown."""
    return OrderAnswer(
        id=order.id,
        quote_id=order.quote_id,
        reference=order.reference,
        state=OrderState(order.state),
        total=MoneyAnswer(amount=order.total_minor, currency=order.currency),
        promised_day=order.promised_day,
        expected_day=expected_day,
        placed_at=order.placed_at,
        tickets=tuple(
            OrderTicketAnswer(
                number=ticket.number,
                line=ticket.line_index,
                state=TicketState(ticket.state),
                pieces=ticket.pieces,
            )
            for ticket in tickets
        ),
    )
