"""What staff send about stock."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from pydantic import Field, StringConstraints

from service.domain.stock import MoveReason
from service.domain.stock_items import SaidUnit, StockKind
from service.domain.values import Slug
from service.intake.requests import Identifier, IsoDay, Note, RequestModel, Who

Quantity = Annotated[
    Decimal, Field(ge=0, le=1_000_000_000, max_digits=13, decimal_places=3, examples=[24])
]
"""In the unit beside it: mm and ml to three decimals, pieces and sheets whole."""


class StockAct(StrEnum):
    """What someone does at the shelf: goods received, counted, or thrown away."""

    RECEIVE = MoveReason.RECEIVE.value
    COUNT = MoveReason.COUNT.value
    WASTE = MoveReason.WASTE.value


class StockAmount(RequestModel):
    """So much of one thing.

    ``item`` is the id of a blank, a medium, or for ink a printer. ``colour`` is an id too; paper
    and ink have none, and only blanks have a ``size``.
    """

    kind: StockKind
    item: Slug
    colour: Annotated[str, StringConstraints(max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")] = ""
    size: Annotated[str, StringConstraints(pattern=r"^([A-Za-z0-9][A-Za-z0-9 /.-]{0,15})?$")] = ""
    quantity: Quantity
    unit: SaidUnit


class StockMoveRequest(StockAmount):
    """Receive, count or waste. ``who`` is the person at the shelf, by name or initials.

    A count says how much is there, and may be 0; the others say how much came or went.
    ``incoming_id`` names the expected delivery that was received, which is over then.
    """

    act: StockAct
    incoming_id: Identifier | None = None
    who: Who
    note: Note = ""


class IncomingRequest(StockAmount):
    """A delivery that is expected on a day."""

    day: IsoDay
    who: Who
    note: Note = ""


class CallOffRequest(RequestModel):
    """A delivery that does not come."""

    who: Who
    note: Note = ""
