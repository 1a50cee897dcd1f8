"""Tables of stock: the ledger, what open tickets need, the sums of both, and what is on its way.

Import them from :mod:`service.store.tables`. In all of them ``item`` is the id of a catalogue entry
of that ``kind``, and ``quantity`` is in whole ``unit``: ``pieces``, ``sheets``, ``um`` or ``ul``.
Kinds, units and reasons are open, for a ledger outlives their list.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Index, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.store.table_parts import at_least, one_of

INCOMING_STATES = ("expected", "received", "called_off")


class StockMove(SQLModel, table=True):
    """Stock taken, below 0, or brought: a ledger to which is only ever added.

    On hand is the sum of an item's moves. Only a count may move nothing: it found what was known.
    ``colour`` is a blank's colour id or the name of a film's; ``size`` is a blank's. ``run_id`` and
    ``ticket_id`` say for what it was taken.
    """

    __tablename__ = "stock_move"
    __table_args__: Any = (
        Index(None, "kind", "item", "colour", "size", "unit", "quantity"),
        Index(None, "at"),
        CheckConstraint("quantity <> 0 OR reason = 'count'", name="quantity_not_nothing"),
    )

    id: int | None = Field(default=None, primary_key=True)
    kind: str = Field(max_length=16)
    item: str = Field(max_length=48)
    colour: str = Field(default="", max_length=200)
    size: str = Field(default="", max_length=16)
    quantity: int = Field(sa_type=BigInteger)
    unit: str = Field(max_length=16)
    reason: str = Field(max_length=24)
    run_id: str | None = Field(default=None, max_length=40, foreign_key="run.id", index=True)
    ticket_id: int | None = Field(default=None, foreign_key="ticket.id", index=True)
    who: str = Field(max_length=64)
    note: str = Field(default="", sa_type=Text)
    at: datetime


class TicketNeed(SQLModel, table=True):
    """What an open ticket still needs; deleted once it was taken or the ticket is over.

    Blanks until it is first started, the rest until it is finished. What of it is on an accepted
    run was taken by that. ``decoration`` counts from 0, and is 0 for blanks.
    """

    __tablename__ = "ticket_need"
    __table_args__: Any = (
        Index(
            "ix_ticket_need_by_thing",
            *("kind", "item", "colour", "size", "unit", "decoration", "ticket_id", "quantity"),
        ),
        at_least("decoration", 0),
        at_least("quantity", 1),
    )

    ticket_id: int = Field(primary_key=True, foreign_key="ticket.id")
    kind: str = Field(primary_key=True, max_length=16)
    item: str = Field(primary_key=True, max_length=48)
    colour: str = Field(primary_key=True, max_length=200)
    size: str = Field(primary_key=True, max_length=16)
    decoration: int = Field(primary_key=True)
    quantity: int = Field(sa_type=BigInteger)
    unit: str = Field(max_length=16)


class StockSum(SQLModel, table=True):
    """What the rows of the ledger and of needs come to for one thing.

    ``on_hand`` is the sum of so many ``moves``. ``needed`` is the sum of the needs that are not on
    an accepted run. It has no check: a store judges what is to be added before it is added.
    """

    __tablename__ = "stock_sum"
    __table_args__: Any = (at_least("moves", 0),)

    kind: str = Field(primary_key=True, max_length=16)
    item: str = Field(primary_key=True, max_length=48)
    colour: str = Field(primary_key=True, max_length=200)
    size: str = Field(primary_key=True, max_length=16)
    unit: str = Field(primary_key=True, max_length=16)
    on_hand: int = Field(sa_type=BigInteger)
    moves: int
    needed: int = Field(sa_type=BigInteger)


class StockIncoming(SQLModel, table=True):
    """A delivery on its way. It is over when it was received or called off; never deleted.

    ``who`` entered it. ``move_id`` is the move that received it, whatever came.
    """

    __tablename__ = "stock_incoming"
    __table_args__: Any = (
        UniqueConstraint("id"),
        Index(None, "state", "expected_on", "seq"),
        one_of("state", INCOMING_STATES),
        at_least("quantity", 1),
    )

    seq: int | None = Field(default=None, primary_key=True)
    id: str = Field(max_length=40)
    kind: str = Field(max_length=16)
    item: str = Field(max_length=48)
    colour: str = Field(default="", max_length=200)
    size: str = Field(default="", max_length=16)
    quantity: int = Field(sa_type=BigInteger)
    unit: str = Field(max_length=16)
    expected_on: date
    state: str = Field(max_length=16)
    who: str = Field(max_length=64)
    note: str = Field(default="", sa_type=Text)
    at: datetime
    closed_by: str | None = Field(default=None, max_length=64)
    closed_note: str = Field(default="", sa_type=Text)
    closed_at: datetime | None = None
    move_id: int | None = Field(default=None, foreign_key="stock_move.id", index=True)
