"""Tables of minutes: what work took, and which learnt standard minutes were accepted.

Import them from :mod:`service.store.tables`. Minutes are kept in whole milliseconds and shares in
ten-thousandths (``_e4``), in which the catalogue's figures are exact. ``operation`` is the name of
an operation within its method. ``written_each_ms`` and ``written_weed_e4`` are what the
catalogue's files say of it.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.store.table_parts import at_least


class RecordedMinutes(SQLModel, table=True):
    """What pieces of a ticket took at a step, with a person at them. Never deleted.

    ``standard_ms`` was planned for them when the ticket was quoted, ``written_ms`` follows from the
    written figures. ``corrects_id`` is the entry whose place this one takes.
    """

    __tablename__ = "recorded_minutes"
    __table_args__: Any = (
        UniqueConstraint("corrects_id"),
        Index(None, "method", "kind", "station", "id"),
        at_least("pieces", 1),
        at_least("taken_ms", 1),
        at_least("standard_ms", 0),
        at_least("written_ms", 1),
        at_least("written_each_ms", 0),
        at_least("written_weed_e4", 0),
    )

    id: int | None = Field(default=None, primary_key=True)
    ticket_id: int = Field(foreign_key="ticket.id", index=True)
    step_key: str = Field(max_length=64)
    method: str = Field(max_length=48)
    operation: str = Field(max_length=24)
    kind: str = Field(max_length=16)
    station: str = Field(max_length=48)
    pieces: int
    taken_ms: int = Field(sa_type=BigInteger)
    standard_ms: int = Field(sa_type=BigInteger)
    written_ms: int = Field(sa_type=BigInteger)
    written_each_ms: int = Field(sa_type=BigInteger)
    written_weed_e4: int
    interrupted: bool
    corrects_id: int | None = Field(default=None, foreign_key="recorded_minutes.id")
    who: str = Field(max_length=64)
    at: datetime


class AcceptedStandard(SQLModel, table=True):
    """Standard minutes accepted for an operation in place of the written ones; the last counts.

    They hold while the catalogue's files still say what is written here. ``jobs`` stood behind
    them. Never deleted.
    """

    __tablename__ = "accepted_standard"
    __table_args__: Any = (
        at_least("written_each_ms", 0),
        at_least("written_weed_e4", 0),
        at_least("each_ms", 0),
        at_least("weed_e4", 0),
        at_least("jobs", 0),
    )

    id: int | None = Field(default=None, primary_key=True)
    method: str = Field(max_length=48)
    operation: str = Field(max_length=24)
    station: str = Field(max_length=48)
    written_each_ms: int = Field(sa_type=BigInteger)
    written_weed_e4: int
    each_ms: int = Field(sa_type=BigInteger)
    weed_e4: int
    jobs: int
    who: str = Field(max_length=64)
    at: datetime
