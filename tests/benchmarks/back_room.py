"""What the benchmark does behind the service's back: keys, quotes to accept, and a look at rows."""

from __future__ import annotations

from datetime import timedelta

from sqlmodel import Session, col, select

from service.assembly import random_id, random_key, utc_now
from service.demo_artwork import DEMO_HOLDER
from service.store.database import Database
from service.store.keys import new_key
from service.store.tables import Order, Quote, Ticket, metadata

FAR_AHEAD = timedelta(days=500)
"""So late that no accepted order can take the day a prepared quote promises."""


def make_keys(database: Database) -> dict[str, str]:
    """A key for the storefront and one for staff, by kind."""
    holders = {"storefront": DEMO_HOLDER, "staff": "invented-workroom"}

    def make(session: Session) -> dict[str, str]:
        return {
            scope: new_key(
                session,
                holder=holder,
                scope=scope,
                label="benchmark",
                now=utc_now(),
                secret=random_key(),
                key_id=random_id("key"),
            )
            for scope, holder in holders.items()
        }

    return database.write(make)


def prepare_quotes(database: Database, quote_id: str, count: int) -> list[str]:
    """Write ``count`` copies of a quote that promise a day far ahead; gives their ids.

    With the day it was given, most copies could not be accepted: the first of them fill it.
    """

    def copy(session: Session) -> list[str]:
        kept = session.get_one(Quote, quote_id).model_dump()
        kept["promised_day"] += FAR_AHEAD
        ids = [random_id("quote") for _ in range(count)]
        session.add_all(Quote(**{**kept, "id": id_}) for id_ in ids)
        return ids

    return database.write(copy)


def waiting_tickets(database: Database, most: int) -> list[str]:
    """Numbers of up to ``most`` tickets on which work has not begun, one an order."""
    statement = (
        select(Ticket.number)
        .join(Order, col(Order.id) == col(Ticket.order_id))
        .where(Ticket.state == "waiting", Ticket.line_index == 0)
        .order_by(col(Ticket.id))
        .limit(most)
    )
    return database.read(lambda session: list(session.exec(statement).all()))


def stored_chars(database: Database) -> int:
    """Length of all rows of all tables, each value written as text."""

    def count(session: Session) -> int:
        return sum(
            len(str(value))
            for table in metadata.sorted_tables
            for row in session.connection().execute(table.select())
            for value in row
        )

    return database.read(count)
