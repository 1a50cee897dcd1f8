"""Tables of station time: what is booked by day, whose it is, and what may still go before it.

Import them from :mod:`service.store.tables`.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import BigInteger, Index, false, text
from sqlmodel import Field, SQLModel

from service.store.table_parts import at_least


class StationDay(SQLModel, table=True):
    """Seconds already promised at a station on a day, ``rush_s`` of them for rush.

    ``squares_s2`` is the sum of the squares of its ordinary bookings' seconds. What was given back
    since somebody was last promised a day behind it is kept in the same terms as ``freed``.
    """

    __tablename__ = "station_day"
    __table_args__: Any = (
        Index(None, "day"),
        at_least("booked_s", 0),
        at_least("rush_s", 0),
        at_least("freed_s", 0),
        at_least("freed_rush_s", 0),
        at_least("freed_squares_s2", 0),
    )

    station: str = Field(primary_key=True, max_length=48)
    day: date = Field(primary_key=True)
    booked_s: int
    rush_s: int = Field(default=0, sa_column_kwargs={"server_default": text("0")})
    squares_s2: int = Field(
        default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": text("0")}
    )
    freed_s: int = Field(default=0, sa_column_kwargs={"server_default": text("0")})
    freed_rush_s: int = Field(default=0, sa_column_kwargs={"server_default": text("0")})
    freed_squares_s2: int = Field(
        default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": text("0")}
    )


class Booking(SQLModel, table=True):
    """A ticket's share of a station's day, so that it can be given back or moved.

    ``worked`` once the bench has told that the ticket's work at the station is over.
    """

    __tablename__ = "booking"
    __table_args__: Any = (
        Index(None, "day", "ticket_id"),
        Index(None, "worked", "day", "ticket_id"),
        at_least("seconds", 0),
    )

    ticket_id: int = Field(primary_key=True, foreign_key="ticket.id")
    station: str = Field(primary_key=True, max_length=48)
    day: date = Field(primary_key=True)
    seconds: int
    rush: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    worked: bool = Field(default=False, sa_column_kwargs={"server_default": false()})


class StationMargin(SQLModel, table=True):
    """How late a station may still come to what is accepted for that day.

    By ``margin_s`` seconds, and in so many ``courses`` of a promise by more: the least of all
    orders'. ``rush`` tells those with rush from ordinary ones.
    """

    __tablename__ = "station_margin"
    __table_args__: Any = (Index(None, "day"), at_least("margin_s", 0), at_least("courses", 0))

    station: str = Field(primary_key=True, max_length=48)
    day: date = Field(primary_key=True)
    rush: bool = Field(primary_key=True)
    margin_s: int
    courses: int
