"""The rows an accepted quote becomes, written in as few statements as there are tables.

Whoever calls these holds the shop's lock, and has a transaction in which all of it is kept or
nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import bindparam, insert, select
from sqlmodel import Session

from service.store.core import table_of
from service.store.tables import Order, OrderPromise, Quote, Ticket, TicketNeed

Values = Mapping[str, Any]
"""A row by the names of its columns."""

_TICKET_DIGITS: Final = 6

_ORDERS = table_of(Order)
_PROMISES = table_of(OrderPromise)
_QUOTES = table_of(Quote)
_TICKETS = table_of(Ticket)

_ORDER: Final = insert(_ORDERS)
_PROMISE: Final = insert(_PROMISES)
_NEED: Final = insert(table_of(TicketNeed))
_LAST_NUMBER: Final = select(_TICKETS.c.number).order_by(_TICKETS.c.id.desc()).limit(1)
_TICKET: Final = insert(_TICKETS).returning(_TICKETS.c.id, sort_by_parameter_order=True)


class QuoteToAccept(NamedTuple):
    """What accepting reads of a quote; ``order_id`` is the order it became, None if it has not."""

    id: str
    holder: str
    catalogue_version: str
    plan_json: str
    total_minor: int
    currency: str
    promised_day: date
    expires_at: datetime
    order_id: str | None


_QUOTE: Final = (
    select(*(_QUOTES.c[name] for name in QuoteToAccept._fields[:-1]), _ORDERS.c.id)
    .outerjoin(_ORDERS, _ORDERS.c.quote_id == _QUOTES.c.id)
    .where(_QUOTES.c.id == bindparam("quote"))
)


def quote_to_accept(session: Session, quote_id: str) -> QuoteToAccept | None:
    """The quote with the order it became; its long documents are left where they are."""
    row = session.connection().execute(_QUOTE, {"quote": quote_id}).first()
    return None if row is None else QuoteToAccept._make(row)


def next_ticket_numbers(session: Session, count: int) -> list[str]:
    """So many ticket numbers after the last."""
    last = session.connection().execute(_LAST_NUMBER).scalar()
    number = int(last[1:]) if last else 0
    return [f"T{number + 1 + index:0{_TICKET_DIGITS}d}" for index in range(count)]


def write_order(session: Session, order: Order, promise: Values) -> None:
    """Write an order that no session holds, and what it was promised."""
    connection = session.connection()
    connection.execute(_ORDER, {column.name: getattr(order, column.name) for column in _ORDERS.c})
    connection.execute(_PROMISE, promise)


def write_tickets(session: Session, tickets: Sequence[Values]) -> list[int]:
    """Write tickets, all with the same columns; gives their ids in the same order."""
    return list(session.connection().execute(_TICKET, [*tickets]).scalars())


def write_ticket_needs(session: Session, needs: Sequence[Values]) -> None:
    """Write what tickets take from stock."""
    if needs:
        session.connection().execute(_NEED, [*needs])
