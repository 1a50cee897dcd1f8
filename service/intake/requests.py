"""What callers send. Unknown fields, NaN and out-of-range values are refused before any work."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    model_validator,
)

from service.domain.blanks import Finish, Wearer
from service.domain.pieces import MAX_NOTE, PieceEvent, PieceEventKind, SpoilReason
from service.domain.ticket_states import Move
from service.domain.values import SizeName, Slug, SrgbHex
from service.domain.wishes import Consent

Identifier = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
Reference = Annotated[
    str, StringConstraints(max_length=64, pattern=r"^[^\x00-\x1f\x7f]*$", strip_whitespace=True)
]
Note = Annotated[str, StringConstraints(max_length=MAX_NOTE, pattern=r"^[^\x00]*$")]
Who = Annotated[str, StringConstraints(min_length=1, max_length=64, strip_whitespace=True)]
"""The person at the bench, by name or initials."""
ANY_METHOD = "any"


def _written_as_a_day(value: object) -> date:
    if isinstance(value, date):
        return value
    try:
        if isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
            return date.fromisoformat(value)
    except ValueError:
        pass
    raise ValueError("give a day of the calendar as year-month-day: 2026-12-31")


IsoDay = Annotated[date, BeforeValidator(_written_as_a_day)]
"""A day as RFC 3339 writes a full-date; numbers are no days."""

LEAST_WIDTH_MM, MOST_WIDTH_MM = 0.001, 2_000.0
"""Widths of prints. Of narrower ones resolutions and heights would end in numbers that cannot be
written."""


class RequestModel(BaseModel):
    """Base of request bodies: immutable, no unknown fields, no NaN."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class StatedFibre(RequestModel):
    """One fibre of a label, by its generic name, and its percentage by mass."""

    fibre: Annotated[str, StringConstraints(min_length=1, max_length=40)]
    percent: Annotated[Decimal, Field(gt=0, le=100, max_digits=6, decimal_places=3)]


class SuppliedGarmentRequest(RequestModel):
    """A garment the customer brings. Its fibres are stated as on its label, largest first."""

    fibre_content: Annotated[tuple[StatedFibre, ...], Field(min_length=1, max_length=12)]
    colour_srgb: SrgbHex
    finish: Finish = Finish.PLAIN
    weight_g_m2: Annotated[float, Field(ge=30, le=1_000)]
    wearer: Wearer
    sleepwear: bool = False
    half_chest_mm: Annotated[float, Field(ge=100, le=1_200)]


class DecorationRequest(RequestModel):
    """One artwork at one placement; the width is that of the artwork's inked box."""

    placement: Slug
    artwork_id: Identifier
    width_mm: Annotated[float, Field(ge=LEAST_WIDTH_MM, le=MOST_WIDTH_MM)]
    method: Slug = ANY_METHOD
    film_colour: Slug | None = None
    consents: Annotated[tuple[Consent, ...], Field(max_length=len(Consent))] = ()


class LineRequest(RequestModel):
    """Either a ``blank`` in a ``colour`` or a customer's own ``garment``, in sizes."""

    blank: Slug | None = None
    colour: Slug | None = None
    garment: SuppliedGarmentRequest | None = None
    sizes: Annotated[
        dict[SizeName, Annotated[int, Field(ge=1, le=100_000)]], Field(min_length=1, max_length=24)
    ]
    decorations: Annotated[tuple[DecorationRequest, ...], Field(min_length=1, max_length=8)]

    @model_validator(mode="after")
    def _one_garment(self) -> Self:
        if self.garment is None and (self.blank is None or self.colour is None):
            raise ValueError("name a blank and a colour, or describe a garment")
        if self.garment is not None and (self.blank is not None or self.colour is not None):
            raise ValueError("name a blank and a colour, or describe a garment, not both")
        return self


class CheckRequest(RequestModel):
    """Lines to check."""

    lines: Annotated[tuple[LineRequest, ...], Field(min_length=1, max_length=40)]


class QuoteRequest(RequestModel):
    """Lines to price and date.

    ``offer`` is one of the shop's discounts and ``tax_region`` one of its regions; none by default.
    With ``needed_by`` the answer says whether that day can be had. ``rush`` asks for the earliest
    day that the minutes kept for rush give, at the price of the days gained. The day, its station
    time and its material are held for ``hold_min`` minutes; without, others may take them.
    """

    lines: Annotated[tuple[LineRequest, ...], Field(min_length=1, max_length=40)]
    offer: Slug | None = None
    tax_region: Slug | None = None
    needed_by: IsoDay | None = None
    rush: bool = False
    hold_min: Annotated[int, Field(ge=0, le=60)] = 0


class PriceCurveRequest(RequestModel):
    """A line to price, ordered alone, at each of the quantities; its sizes say in what proportion.

    ``offer`` and ``tax_region`` as for a quote.
    """

    line: LineRequest
    quantities: Annotated[
        tuple[Annotated[int, Field(ge=1, le=100_000)], ...], Field(min_length=1, max_length=40)
    ]
    offer: Slug | None = None
    tax_region: Slug | None = None


class OrderRequest(RequestModel):
    """Accept a quote, exactly as it stands. ``reference`` is the storefront's own number."""

    quote_id: Identifier
    reference: Reference = ""


class MoveRequest(RequestModel):
    """Move a ticket. ``who`` is the person at the bench, by name or initials."""

    move: Move
    who: Who
    note: Note = ""


class PiecesRequest(RequestModel):
    """Enter pieces of one size: made well, spoiled for a reason, or an entry taken back.

    ``undoes`` says what is taken back, and ``reason`` stands with spoiled pieces, also when those
    are taken back. ``other`` as the reason needs a note.
    """

    kind: Literal["done", "spoiled", "undone"]
    size: SizeName
    count: Annotated[int, Field(ge=1, le=100_000)] = 1
    reason: SpoilReason | None = None
    note: Note = ""
    undoes: Literal["done", "spoiled"] | None = None
    who: Who

    @model_validator(mode="after")
    def _complete(self) -> Self:
        try:
            self.event()
        except ValidationError as error:
            # One sentence of ours, without the framework's words around it.
            raise ValueError(str(error.errors()[0]["ctx"]["error"])) from None
        return self

    def event(self) -> PieceEvent:
        """The entry as the count takes it."""
        return PieceEvent(
            kind=PieceEventKind(self.kind),
            size=self.size,
            count=self.count,
            reason=self.reason,
            undoes=PieceEventKind(self.undoes) if self.undoes else None,
            note=self.note,
        )


class TickRequest(RequestModel):
    """Tick a step off by its key, or take the tick back."""

    step_key: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
    done: bool
    who: Who


class NoteRequest(RequestModel):
    """Write something on a ticket, for everyone who comes to it later."""

    text: Annotated[
        str, StringConstraints(min_length=1, max_length=MAX_NOTE, pattern=r"^[^\x00]*[^\x00\s]")
    ]
    who: Who


class RemakeRequest(RequestModel):
    """Have made anew what a ticket's blanks are no longer enough for."""

    who: Who
    note: Note = ""


class EndpointRequest(RequestModel):
    """Where to tell the storefront, and of which events; none named means all."""

    url: Annotated[str, StringConstraints(min_length=1, max_length=2_000)]
    event_types: Annotated[tuple[str, ...], Field(max_length=32)] = ()
