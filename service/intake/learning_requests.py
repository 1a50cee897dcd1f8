"""What is sent about minutes: what work took, and which learnt standard minutes to put in force."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from pydantic import Field, StringConstraints

from service.domain.values import Minutes, Slug
from service.intake.requests import RequestModel, Who

MOST_TAKEN_MIN = 1_440
"""A day: whatever took longer was interrupted."""

Taken = Annotated[
    Decimal,
    Field(gt=0, le=MOST_TAKEN_MIN, max_digits=6, decimal_places=2, examples=[12.5]),
]
OperationWord = Annotated[str, StringConstraints(pattern=r"^[a-z]+(?:-[a-z0-9]+)*$", max_length=24)]
"""An operation within its method: ``press``, or ``press-2`` for its second of that kind."""


class MinutesRequest(RequestModel):
    """What pieces of a ticket took at a step.

    ``minutes`` are those with a person at the pieces: without setting up, and without what the
    machine does alone. Entries of one step add up. ``interrupted`` keeps them and learns nothing
    from them. ``corrects`` is the id of an earlier entry of the step, which counts no more.
    """

    step_key: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
    minutes: Taken
    pieces: Annotated[int, Field(ge=1, le=100_000)]
    interrupted: bool = False
    corrects: Annotated[int, Field(ge=1, le=2**31 - 1)] | None = None
    who: Who


class MinutesChange(RequestModel):
    """Minutes of an operation to put in force, as they were proposed or are written.

    ``weed_share`` may be left out, for it is proposed together with ``each_min``.
    """

    method: Slug
    operation: OperationWord
    each_min: Minutes
    weed_share: Annotated[Decimal | None, Field(ge=0, le=10, max_digits=6, decimal_places=4)] = None


class AcceptMinutesRequest(RequestModel):
    """Put the named minutes in force, and no others."""

    changes: Annotated[tuple[MinutesChange, ...], Field(min_length=1, max_length=400)]
    who: Who
