"""The picking list of a day: blanks and media, summed over tickets and sorted by where they lie."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal

from service.domain.ticket import TicketDocument, TicketMaterial
from service.domain.values import Frozen

_LETTER_SIZES = ("XXS", "XS", "S", "M", "L", "XL", "XXL", "2XL", "3XL", "4XL", "5XL", "6XL")


class PickedBlank(Frozen):
    """Garments of one kind in one colour from one place; ``by_size`` counts spares too.

    ``supplied`` are garments that customers brought: they lie with their ticket, of which there is
    then one.
    """

    location: str
    garment: str
    colour: str
    supplied: bool
    by_size: Mapping[str, int]
    tickets: tuple[str, ...]

    @property
    def pieces(self) -> int:
        """Garments over all sizes."""
        return sum(self.by_size.values())


class PickedMedium(Frozen):
    """One medium in one colour: the length in mm and, for sheets, how many; None on a roll."""

    medium: str
    name: str
    colour: str
    length_mm: float
    sheets: int | None
    tickets: tuple[str, ...]


class PickingList(Frozen):
    """What to fetch for some tickets.

    Blanks go by location, in the order a person walks (``A-2`` before ``A-10``), and what customers
    brought comes last; media go by name and colour.
    """

    blanks: tuple[PickedBlank, ...]
    media: tuple[PickedMedium, ...]


def picking_list(tickets: Iterable[tuple[str, TicketDocument]]) -> PickingList:
    """Sum up tickets, given as number and document; their order does not matter."""
    ordered = sorted(tickets, key=lambda ticket: ticket[0])
    return PickingList(blanks=_blanks(ordered), media=_media(ordered))


def _blanks(tickets: list[tuple[str, TicketDocument]]) -> tuple[PickedBlank, ...]:
    together: dict[tuple[str, ...], list[tuple[str, TicketDocument]]] = {}
    for number, document in tickets:
        own = number if document.supplied_by_customer else ""
        key = (document.pick_location, document.garment, document.colour, own)
        together.setdefault(key, []).append((number, document))
    rows = [_blank(several) for several in together.values()]
    return tuple(sorted(rows, key=_walked))


def _blank(several: list[tuple[str, TicketDocument]]) -> PickedBlank:
    first = several[0][1]
    counts: dict[str, int] = {}
    for _, document in several:
        for size, count in document.starts_by_size.items():
            counts[size] = counts.get(size, 0) + count
    return PickedBlank(
        location=first.pick_location,
        garment=first.garment,
        colour=first.colour,
        supplied=first.supplied_by_customer,
        by_size={size: counts[size] for size in sorted(counts, key=size_order)},
        tickets=tuple(number for number, _ in several),
    )


def _walked(row: PickedBlank) -> tuple[object, ...]:
    return row.supplied, natural_order(row.location), row.garment, row.colour, row.tickets


def _media(tickets: list[tuple[str, TicketDocument]]) -> tuple[PickedMedium, ...]:
    together: dict[tuple[str, str, str], list[tuple[str, TicketMaterial]]] = {}
    for number, document in tickets:
        for material in document.materials:
            key = (material.name, material.colour, material.medium)
            together.setdefault(key, []).append((number, material))
    return tuple(_medium(together[key]) for key in sorted(together))


def _medium(several: list[tuple[str, TicketMaterial]]) -> PickedMedium:
    first = several[0][1]
    lengths_mm = [Decimal(str(material.length_mm)) for _, material in several]
    sheets = [material.sheets for _, material in several if material.sheets is not None]
    return PickedMedium(
        medium=first.medium,
        name=first.name,
        colour=first.colour,
        length_mm=float(sum(lengths_mm)),
        sheets=sum(sheets) if sheets else None,
        tickets=tuple(dict.fromkeys(number for number, _ in several)),
    )


def natural_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts names as a person does, numbers by their value: ``A-2`` before ``A-10``."""
    parts = re.findall(r"[0-9]+|[^0-9]+", name)
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts)


def size_order(size: str) -> tuple[int, tuple[tuple[int, int, str], ...]]:
    """A key that sorts sizes from small to large; those without letters follow by their name."""
    try:
        return _LETTER_SIZES.index(size), ()
    except ValueError:
        return len(_LETTER_SIZES), natural_order(size)
