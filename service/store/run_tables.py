"""Tables of runs; import them from :mod:`service.store.tables`."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import BigInteger, Index, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.store.table_parts import at_least, one_of

RUN_STATES = ("proposed", "accepted", "dissolved")
RUN_ACTS = ("propose", "accept", "reprint", "dissolve")


class Run(SQLModel, table=True):
    """Prints of several tickets on one roll and one press setting, as proposed.

    ``document_json`` is never changed. ``length_um`` is what is cut off the roll, or of how many
    sheets the lengths are. ``who`` proposed it. ``version`` counts every act.
    """

    __tablename__ = "run"
    __table_args__: Any = (
        UniqueConstraint("id"),
        UniqueConstraint("number"),
        Index(None, "state", "seq"),
        one_of("state", RUN_STATES),
        at_least("length_um", 1),
        at_least("version", 1),
    )

    seq: int | None = Field(default=None, primary_key=True)
    id: str = Field(max_length=40)
    number: str = Field(max_length=16)
    medium: str = Field(max_length=48)
    colour: str = Field(default="", max_length=200)
    state: str = Field(max_length=16)
    document_json: str = Field(sa_type=Text)
    length_um: int = Field(sa_type=BigInteger)
    created_at: datetime
    who: str = Field(max_length=64)
    version: int = 1


class RunClaim(SQLModel, table=True):
    """That a ticket's decoration lies on an accepted run: each print on one run at a time.

    ``first_piece`` is 1 for the ticket's own pieces and more for those of a reprint; its pieces lie
    from ``first_place`` to ``last_place`` in the run's order. Deleted when the run is dissolved.
    """

    __tablename__ = "run_claim"
    __table_args__: Any = (
        at_least("decoration", 0),
        at_least("first_piece", 1),
        at_least("pieces", 1),
        at_least("first_place", 1),
    )

    ticket_id: int = Field(primary_key=True, foreign_key="ticket.id")
    decoration: int = Field(primary_key=True)
    medium: str = Field(primary_key=True, max_length=48)
    first_piece: int = Field(default=1, primary_key=True)
    pieces: int
    first_place: int
    last_place: int
    run_id: str = Field(max_length=40, foreign_key="run.id", index=True)


class RunSetup(SQLModel, table=True):
    """Seconds of a ticket's booked time that an accepted run gave back: it is set up for once.

    Deleted when the run is dissolved.
    """

    __tablename__ = "run_setup"
    __table_args__: Any = (at_least("seconds", 1),)

    run_id: str = Field(primary_key=True, max_length=40, foreign_key="run.id")
    ticket_id: int = Field(primary_key=True, foreign_key="ticket.id")
    station: str = Field(primary_key=True, max_length=48)
    day: date = Field(primary_key=True)
    seconds: int


class RunActRow(SQLModel, table=True):
    """What someone did to a run. Never deleted; ``version`` is the run's after it."""

    __tablename__ = "run_act"
    __table_args__: Any = (one_of("act", RUN_ACTS), at_least("version", 1))

    id: int | None = Field(default=None, primary_key=True)
    run_id: str = Field(max_length=40, foreign_key="run.id", index=True)
    act: str = Field(max_length=16)
    who: str = Field(max_length=64)
    note: str = Field(default="", sa_type=Text)
    at: datetime
    version: int


class RunActTicket(SQLModel, table=True):
    """A ticket that an act on a run changed. ``version`` is its own after it. Never deleted."""

    __tablename__ = "run_act_ticket"
    __table_args__: Any = (at_least("version", 1),)

    ticket_id: int = Field(primary_key=True, foreign_key="ticket.id")
    version: int = Field(primary_key=True)
    act_id: int = Field(foreign_key="run_act.id", index=True)


class RunReprint(SQLModel, table=True):
    """Pieces of a run that were spoiled and wait for the next. Never deleted.

    They are numbered from ``first_piece``; ``done_by_run_id`` is the accepted run that makes them.
    """

    __tablename__ = "run_reprint"
    __table_args__: Any = (
        UniqueConstraint("ticket_id", "decoration", "medium", "first_piece"),
        at_least("decoration", 0),
        at_least("pieces", 1),
        at_least("first_piece", 2),
        at_least("version", 1),
    )

    id: int | None = Field(default=None, primary_key=True)
    run_id: str = Field(max_length=40, foreign_key="run.id", index=True)
    ticket_id: int = Field(foreign_key="ticket.id")
    decoration: int
    medium: str = Field(max_length=48)
    pieces: int
    first_piece: int
    who: str = Field(max_length=64)
    note: str = Field(default="", sa_type=Text)
    at: datetime
    version: int
    done_by_run_id: str | None = Field(
        default=None, max_length=40, foreign_key="run.id", index=True
    )
