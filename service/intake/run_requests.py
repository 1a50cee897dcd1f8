"""What staff send about runs."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import Field, StringConstraints

from service.domain.values import Slug
from service.intake.requests import Note, RequestModel, Who

TicketNumber = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9-]{1,16}$")]


class RunsRequest(RequestModel):
    """Propose runs: of one medium only, or of tickets promised up to a day; of all by default."""

    medium: Slug | None = None
    until: date | None = None
    who: Who


class RunActRequest(RequestModel):
    """Accept or dissolve a run. ``who`` is the person at the bench, by name or initials."""

    who: Who
    note: Note = ""


class ReprintRequest(RequestModel):
    """Have spoiled pieces of a run made anew by the next; ``decoration`` counts from 0."""

    ticket: TicketNumber
    decoration: Annotated[int, Field(ge=0, le=99)] = 0
    pieces: Annotated[int, Field(ge=1, le=100_000)] = 1
    who: Who
    note: Note = ""
