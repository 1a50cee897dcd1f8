"""What a ticket takes from stock: its blanks, and the film, paper and ink of its decorations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import ROUND_CEILING, Decimal

from pydantic import BaseModel, ConfigDict

from service.domain.stock_items import SAID, MaterialUse, StockItem, StockKind, StockUnit
from service.domain.work import LineWork


class _Read(BaseModel):
    # What stock needs of a ticket's document; the rest is skipped, which is far quicker.
    model_config = ConfigDict(frozen=True)


class _Material(_Read):
    medium: str
    colour: str = ""
    length_mm: float
    sheets: int | None = None


class _Decoration(_Read):
    film_colours: Mapping[str, str] = {}


class TicketStock(_Read):
    """The part of a ticket's document that tells what it takes from stock."""

    blank_id: str | None = None
    colour_id: str | None = None
    supplied_by_customer: bool = False
    pieces_by_size: Mapping[str, int]
    starts_by_size: Mapping[str, int] = {}
    uses: tuple[MaterialUse, ...] = ()
    materials: tuple[_Material, ...] = ()
    decorations: tuple[_Decoration, ...] = ()


class Need(_Read):
    """So much of one thing. ``decoration`` counts from 0, and is 0 for blanks."""

    item: StockItem
    decoration: int
    quantity: int


def uses_of(work: LineWork, film_colours: Sequence[Mapping[str, str]]) -> tuple[MaterialUse, ...]:
    """What each decoration of a line takes, ink rounded up to a whole ul.

    ``film_colours`` gives, for each decoration, the colour's name by medium id.
    """
    return (*_films(work, film_colours), *_inks(work))


def _films(work: LineWork, film_colours: Sequence[Mapping[str, str]]) -> Iterator[MaterialUse]:
    for use in work.media:
        sheets = use.layout.sheets
        yield MaterialUse(
            decoration=use.decoration,
            kind=StockKind.MEDIUM,
            item=use.medium,
            colour=film_colours[use.decoration].get(use.medium, ""),
            quantity=_up(use.layout.length_mm, StockUnit.UM) if sheets is None else sheets,
            unit=StockUnit.UM if sheets is None else StockUnit.SHEETS,
        )


def _inks(work: LineWork) -> Iterator[MaterialUse]:
    used: dict[tuple[int, str], Decimal] = {}
    for use in work.ink:
        key = use.decoration, use.printer
        used[key] = used.get(key, Decimal(0)) + use.ml
    for (decoration, printer), ml in used.items():
        if ml > 0:
            yield MaterialUse(
                decoration=decoration,
                kind=StockKind.INK,
                item=printer,
                quantity=_up(ml, StockUnit.UL),
                unit=StockUnit.UL,
            )


def _up(quantity: Decimal, unit: StockUnit) -> int:
    return int((quantity * SAID[unit][1]).to_integral_value(ROUND_CEILING))


def needs_of(document: TicketStock) -> Iterator[Need]:
    """Everything the ticket takes. Garments that the customer brings are on no shelf."""
    if document.blank_id and document.colour_id and not document.supplied_by_customer:
        for size, count in (document.starts_by_size or document.pieces_by_size).items():
            item = StockItem(
                StockKind.BLANK, document.blank_id, document.colour_id, size, StockUnit.PIECES
            )
            if count > 0:
                yield Need(item=item, decoration=0, quantity=count)
    for use in document.uses or _uses_by_material(document):
        item = StockItem(use.kind, use.item, use.colour, "", use.unit)
        yield Need(item=item, decoration=use.decoration, quantity=use.quantity)


def _uses_by_material(document: TicketStock) -> Iterator[MaterialUse]:
    """Of a ticket written before it told what each decoration takes: equal shares, and no ink."""
    for one in document.materials:
        on = [
            index
            for index, decoration in enumerate(document.decorations)
            if decoration.film_colours.get(one.medium, "") == one.colour
        ] or [0]
        unit = StockUnit.UM if one.sheets is None else StockUnit.SHEETS
        length = _up(Decimal(str(one.length_mm)), StockUnit.UM)
        whole = length if one.sheets is None else one.sheets
        for place, index in enumerate(on):
            share = whole * (place + 1) // len(on) - whole * place // len(on)
            if share > 0:
                yield MaterialUse(
                    decoration=index,
                    kind=StockKind.MEDIUM,
                    item=one.medium,
                    colour=one.colour,
                    quantity=share,
                    unit=unit,
                )
