"""Tables of promises: what quotes hold for a while, and what orders were promised and became.

Import them from :mod:`service.store.tables`. A hold is over by its time alone: whoever reads holds
asks for those whose ``expires_at`` is to come. Rows of holds that are over are cleared by chance.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import BigInteger, Index, text
from sqlmodel import Field, SQLModel

from service.store.table_parts import at_least


class CapacityHold(SQLModel, table=True):
    """Seconds of a station's day that a quote holds; ``part`` tells its shares apart."""

    __tablename__ = "capacity_hold"
    __table_args__: Any = (Index(None, "expires_at"), at_least("seconds", 1), at_least("part", 0))

    quote_id: str = Field(primary_key=True, max_length=40, foreign_key="quote.id")
    part: int = Field(primary_key=True)
    station: str = Field(max_length=48)
    day: date
    seconds: int
    rush: bool = False
    expires_at: datetime


class StockHold(SQLModel, table=True):
    """So much of one thing that a quote holds; columns as those of what tickets need."""

    __tablename__ = "stock_hold"
    __table_args__: Any = (Index(None, "expires_at"), at_least("quantity", 1))

    quote_id: str = Field(primary_key=True, max_length=40, foreign_key="quote.id")
    kind: str = Field(primary_key=True, max_length=16)
    item: str = Field(primary_key=True, max_length=48)
    colour: str = Field(primary_key=True, max_length=200)
    size: str = Field(primary_key=True, max_length=16)
    quantity: int = Field(sa_type=BigInteger)
    unit: str = Field(max_length=16)
    expires_at: datetime


class OrderPromise(SQLModel, table=True):
    """What an order was promised, by what it was found, and what became of it.

    ``nominal_day`` is that of the plan by standard minutes; ``load_permille`` what was booked of
    the tightest station's coming days; ``corrected_millidays`` what was added to ``quantile_at``,
    in thousandths of a dispatch. ``method`` is the one method of all its lines, empty for several.
    ``expected_day`` is the day it is done as things stand, and ``told_day`` the late day that the
    customer's side was last told, None where it was told of none. ``done_at`` is when its last
    piece was checked; ``closed`` once it is done or cancelled.
    """

    __tablename__ = "order_promise"
    __table_args__: Any = (
        Index(None, "promised_day", "order_id"),
        Index(None, "closed", "expected_day"),
        at_least("load_permille", 0),
    )

    order_id: str = Field(primary_key=True, max_length=40, foreign_key="customer_order.id")
    method: str = Field(default="", max_length=48)
    rush: bool = False
    promised_day: date
    nominal_day: date
    median_at: datetime
    quantile_at: datetime
    target_percent: int
    load_permille: int
    corrected_millidays: int
    expected_day: date
    told_day: date | None = None
    done_at: datetime | None = None
    closed: bool = False


class SettledDay(SQLModel, table=True):
    """A day of the shop whose leftovers from before were planned anew, by whoever wrote first.

    ``catalogue_version`` is the one by which it was last settled.
    """

    __tablename__ = "settled_day"

    day: date = Field(primary_key=True)
    at: datetime
    catalogue_version: str = Field(
        default="", max_length=64, sa_column_kwargs={"server_default": text("''")}
    )
