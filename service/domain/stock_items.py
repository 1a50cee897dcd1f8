"""What a shop keeps in stock: blanks by colour and size, films and papers by colour, ink.

Quantities are whole numbers of the ledger's units, so that sums are exact: pieces, sheets, um of
roll and ul of ink. People say mm and ml for the last two. A film's colour is known to the ledger
by its name, as tickets and runs name it; a blank's by its id.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum
from typing import Annotated, NamedTuple

from pydantic import Field

from service.domain.shop import Catalogue
from service.domain.values import Frozen


class StockKind(StrEnum):
    """What kind of thing it is."""

    BLANK = "blank"
    MEDIUM = "medium"
    INK = "ink"


class StockUnit(StrEnum):
    """What the ledger counts in."""

    PIECES = "pieces"
    SHEETS = "sheets"
    UM = "um"
    UL = "ul"


class SaidUnit(StrEnum):
    """What people say quantities in."""

    PIECES = "pieces"
    SHEETS = "sheets"
    MM = "mm"
    ML = "ml"


SAID: Mapping[StockUnit, tuple[SaidUnit, int]] = {
    StockUnit.PIECES: (SaidUnit.PIECES, 1),
    StockUnit.SHEETS: (SaidUnit.SHEETS, 1),
    StockUnit.UM: (SaidUnit.MM, 1_000),
    StockUnit.UL: (SaidUnit.ML, 1_000),
}
"""How each of the ledger's units is said, and how many of them make one of those."""

_MM_PER_M = 1_000


class StockItem(NamedTuple):
    """One thing on the shelf. ``item`` is a blank's, medium's or printer's id.

    ``colour`` is empty for paper and ink, ``size`` for all but blanks.
    """

    kind: StockKind
    item: str
    colour: str
    size: str
    unit: StockUnit


class MaterialUse(Frozen):
    """What one decoration takes of a film, a paper or a printer's ink, for all pieces to start.

    ``decoration`` counts from 0, ``quantity`` is in whole ``unit``, ``colour`` is the film's name.
    """

    decoration: int
    kind: StockKind
    item: str
    colour: str = ""
    quantity: Annotated[int, Field(ge=1)]
    unit: StockUnit


@dataclass(frozen=True, slots=True)
class StockEntry:
    """A thing that the catalogue lets the shop stock; quantities in the item's own unit.

    ``colour_id`` is the colour's id in the catalogue. ``lead_days`` are working days between
    ordering and having it. What the catalogue says of reordering is None where it says nothing.
    """

    item: StockItem
    name: str
    colour_id: str
    colour_name: str
    lead_days: int
    reorder_point: int | None = None
    reorder_to: int | None = None


def said(quantity: int, unit: StockUnit) -> Decimal:
    """A quantity of the ledger as people say it: 1500 um are 1.5 (mm)."""
    return Decimal(quantity) / SAID[unit][1]


def counted(quantity: Decimal, unit: StockUnit) -> int | None:
    """A quantity as people say it in the ledger's unit; None where it is not whole there."""
    exact = quantity * SAID[unit][1]
    return int(exact) if exact == exact.to_integral_value() else None


def stock_entries(catalogue: Catalogue) -> Iterator[StockEntry]:
    """Everything the catalogue lets the shop stock, in the catalogue's own order."""
    yield from _blanks(catalogue)
    yield from _media(catalogue)
    for printer in catalogue.printers:
        yield StockEntry(
            item=StockItem(StockKind.INK, printer.id, "", "", StockUnit.UL),
            name=f"Ink for {printer.name}",
            colour_id="",
            colour_name="",
            lead_days=printer.ink_lead_days,
            reorder_point=_whole(printer.reorder_point, SAID[StockUnit.UL][1]),
            reorder_to=_whole(printer.reorder_to, SAID[StockUnit.UL][1]),
        )


def _blanks(catalogue: Catalogue) -> Iterator[StockEntry]:
    for blank in catalogue.blanks:
        for colour in blank.colours:
            for size in blank.sizes:
                yield StockEntry(
                    item=StockItem(
                        StockKind.BLANK, blank.id, colour.id, size.size, StockUnit.PIECES
                    ),
                    name=blank.name,
                    colour_id=colour.id,
                    colour_name=colour.name,
                    lead_days=blank.supplier_lead_days,
                    reorder_point=size.reorder_point,
                    reorder_to=size.reorder_to,
                )


def _media(catalogue: Catalogue) -> Iterator[StockEntry]:
    for medium in catalogue.media:
        sheets = medium.sheet_length_mm is not None
        unit = StockUnit.SHEETS if sheets else StockUnit.UM
        factor = 1 if sheets else SAID[StockUnit.UM][1] * _MM_PER_M
        names = {colour.name: colour.id for colour in reversed(medium.colours)} or {"": ""}
        for name in reversed(names):
            yield StockEntry(
                item=StockItem(StockKind.MEDIUM, medium.id, name, "", unit),
                name=medium.name,
                colour_id=names[name],
                colour_name=name,
                lead_days=medium.supplier_lead_days,
                reorder_point=_whole(medium.reorder_point, factor),
                reorder_to=_whole(medium.reorder_to, factor),
            )


def _whole(quantity: Decimal | None, factor: int) -> int | None:
    """In the ledger's unit, rounded up."""
    if quantity is None:
        return None
    return int((quantity * factor).to_integral_value(ROUND_CEILING))
