"""What accepting reads of quotes, and the rows that they become, for :mod:`.many_rows` to write.

Whoever asks for quotes or tickets to come holds the shop's lock until the rows are written.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import Integer, bindparam, func, literal_column, select
from sqlmodel import Session

from service.domain.ticket_states import OrderState
from service.store.core import table_of
from service.store.many_rows import TableRows
from service.store.tables import Order, OrderPromise, Quote, Ticket, TicketNeed

Values = Mapping[str, Any]
"""A row by the names of its columns."""

_TICKET_DIGITS: Final = 6

_ORDERS = table_of(Order)
_PROMISES = table_of(OrderPromise)
_QUOTES = table_of(Quote)
_TICKETS = table_of(Ticket)
_NEEDS = table_of(TicketNeed)

_LAST: Final = select(_TICKETS.c.id, _TICKETS.c.number).order_by(_TICKETS.c.id.desc()).limit(1)
_LAST_NUMBER: Final = _LAST.with_only_columns(_TICKETS.c.number)
_NEXT_IDS: Final = select(
    func.nextval(literal_column("'ticket_id_seq'")), _LAST_NUMBER.scalar_subquery()
).select_from(func.generate_series(1, bindparam("count", type_=Integer)))


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


def tickets_to_come(session: Session, count: int) -> Iterator[tuple[int, str]]:
    """Ids and numbers of the next tickets, so many at most; what is not taken is left out.

    Numbers go on from the last without a gap, ids mount.
    """
    connection = session.connection()
    if connection.dialect.name == "postgresql":
        rows = connection.execute(_NEXT_IDS, {"count": count}).all()
        ids, last = [row[0] for row in rows], rows[0][1] if rows else None
    else:
        found = connection.execute(_LAST).first()
        last_id, last = found or (0, None)
        ids = [last_id + 1 + at for at in range(count)]
    return ((id_, _numbered(_plain(last) + at)) for at, id_ in enumerate(ids, 1))


def _plain(number: str | None) -> int:
    return int(number[1:]) if number else 0


def _numbered(number: int) -> str:
    return f"T{number:0{_TICKET_DIGITS}d}"


def rows_of_orders(orders: Iterable[NewOrder], promises: Sequence[Values]) -> list[TableRows]:
    """Orders and what each was promised, as they are written."""
    told = [order._asdict() for order in orders]
    return [TableRows(_ORDERS, told), TableRows(_PROMISES, promises)]


def rows_of_tickets(tickets: Sequence[Values]) -> TableRows:
    """Tickets, all with the same columns, as they are written."""
    return TableRows(_TICKETS, tickets)


def rows_of_needs(needs: Sequence[Values]) -> TableRows:
    """What tickets take from stock, as it is written."""
    return TableRows(_NEEDS, needs)
