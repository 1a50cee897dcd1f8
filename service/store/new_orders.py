"""The rows that accepted quotes become, written in as few statements as there are tables.

Whoever calls these holds the shop's lock, and has a transaction in which all of it is kept or
nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import Executable, bindparam, select
from sqlmodel import Session

from service.domain.ticket_states import OrderState
from service.store.core import table_of
from service.store.many_rows import StoreInsert, write_rows
from service.store.tables import Order, OrderPromise, Quote, Ticket, TicketNeed

Values = Mapping[str, Any]
"""A row by the names of its columns."""

_TICKET_DIGITS: Final = 6

_ORDERS = table_of(Order)
_PROMISES = table_of(OrderPromise)
_QUOTES = table_of(Quote)
_TICKETS = table_of(Ticket)

_NEEDS = table_of(TicketNeed)

_LAST_NUMBER: Final = select(_TICKETS.c.number).order_by(_TICKETS.c.id.desc()).limit(1)


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


class NewOrder(NamedTuple):
    """An order as it is accepted, by the columns of its table."""

    id: str
    holder: str
    quote_id: str
    reference: str
    state: OrderState
    total_minor: int
    currency: str
    promised_day: date
    placed_at: datetime
    version: int = 1
    event_sequence: int = 1
    """It has been told of once: that it was accepted."""


_QUOTE: Final = (
    select(*(_QUOTES.c[name] for name in QuoteToAccept._fields[:-1]), _ORDERS.c.id)
    .outerjoin(_ORDERS, _ORDERS.c.quote_id == _QUOTES.c.id)
    .where(_QUOTES.c.id.in_(bindparam("quotes", expanding=True)))
)


def quotes_to_accept(session: Session, quote_ids: Collection[str]) -> dict[str, QuoteToAccept]:
    """Those quotes that there are, by id, each with the order it became.

    Their long documents are left where they are.
    """
    rows = session.connection().execute(_QUOTE, {"quotes": sorted(set(quote_ids))})
    return {row[0]: QuoteToAccept._make(row) for row in rows}


def last_ticket_number(session: Session) -> int:
    """The last ticket's number without its letter; 0 before the first."""
    last = session.connection().execute(_LAST_NUMBER).scalar()
    return int(last[1:]) if last else 0


def ticket_number(number: int) -> str:
    """A ticket's number as people read it."""
    return f"T{number:0{_TICKET_DIGITS}d}"


def write_orders(session: Session, orders: Iterable[NewOrder], promises: Sequence[Values]) -> None:
    """Write orders, one at least, and what each was promised."""
    connection = session.connection()
    write_rows(connection, _ORDERS, [order._asdict() for order in orders])
    write_rows(connection, _PROMISES, promises)


def write_tickets(session: Session, tickets: Sequence[Values]) -> list[int]:
    """Write tickets, all with the same columns; gives their ids in the same order."""
    rows = write_rows(session.connection(), _TICKETS, tickets, _with_ids)
    id_of = {row.number: row.id for row in rows}
    return [id_of[ticket["number"]] for ticket in tickets]


def _with_ids(insert: StoreInsert) -> Executable:
    return insert.returning(_TICKETS.c.id, _TICKETS.c.number)


def write_ticket_needs(session: Session, needs: Sequence[Values]) -> None:
    """Write what tickets take from stock."""
    if needs:
        write_rows(session.connection(), _NEEDS, needs)
