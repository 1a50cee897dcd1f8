"""How much of a roll or of sheets a number of equal pieces takes, by equal rows.

The first and plainest layout: rows of pieces side by side, all turned or none. A closer nesting
takes the place of :func:`lay_out` and answers in the same terms. Lengths are worked out in whole
micrometres, so that equal inputs give equal answers everywhere.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Self

from service.domain.media import Medium

_UM_PER_MM = 1_000


class DoesNotFit(ValueError):
    """A piece is larger than its medium leaves room for, turned or not as the medium allows."""

    def __init__(self, medium: str, value_mm: float, limit_mm: float) -> None:
        """Keep the medium's id, the piece's measure and the room there is, in mm."""
        super().__init__(f"{value_mm:g} mm does not fit the {limit_mm:g} mm of medium '{medium}'")
        self.medium = medium
        self.value_mm = value_mm
        self.limit_mm = limit_mm


@dataclass(frozen=True, slots=True)
class Strip:
    """Where pieces may lie, in micrometres, clear of ``margin_um`` on every side.

    ``sheet_um`` is the length clear of the margins of one sheet, None on a roll.
    """

    medium: str
    width_um: int
    sheet_um: int | None
    gap_um: int
    margin_um: int
    may_turn: bool

    @classmethod
    def of(cls, medium: Medium, machine_widths_mm: Iterable[float] = ()) -> Self:
        """The medium less its margins, no wider than the machines it passes can work."""
        margin_um = round(medium.margin_mm * _UM_PER_MM)
        sheet_mm = medium.sheet_length_mm
        clear_um = micrometres(medium.width_mm) - 2 * margin_um
        return cls(
            medium=medium.id,
            width_um=max(0, min([clear_um, *map(micrometres, machine_widths_mm)])),
            sheet_um=None if sheet_mm is None else max(0, micrometres(sheet_mm) - 2 * margin_um),
            gap_um=round(medium.gap_mm * _UM_PER_MM),
            margin_um=margin_um,
            may_turn=medium.may_turn,
        )


@dataclass(frozen=True, slots=True)
class Layout:
    """Equal rows of equal pieces, turned by a quarter or not.

    ``across`` pieces lie side by side in each of ``rows`` rows. ``sheets`` is None on a roll.
    ``length_mm`` is what is cut off, margins and all; ``bound_mm`` is what no layout of these
    pieces can beat.
    """

    length_mm: Decimal
    bound_mm: Decimal
    turned: bool
    across: int
    rows: int
    sheets: int | None


def micrometres(length_mm: float) -> int:
    """A length above zero in whole micrometres, at least one."""
    return max(1, round(length_mm * _UM_PER_MM))


def misfit(strip: Strip, width_mm: float, height_mm: float) -> DoesNotFit | None:
    """Why a piece of that size has no room, unraised, or None when it has."""
    width_um, height_um = micrometres(width_mm), micrometres(height_mm)
    if _fits(strip, width_um, height_um) or (strip.may_turn and _fits(strip, height_um, width_um)):
        return None
    across_um = min(width_um, height_um) if strip.may_turn else width_um
    if across_um > strip.width_um or strip.sheet_um is None:
        return DoesNotFit(strip.medium, across_um / _UM_PER_MM, strip.width_um / _UM_PER_MM)
    along_um = max(width_um, height_um) if strip.may_turn else height_um
    return DoesNotFit(strip.medium, along_um / _UM_PER_MM, strip.sheet_um / _UM_PER_MM)


def lay_out(strip: Strip, width_mm: float, height_mm: float, pieces: int) -> Layout:
    """The shorter of the upright and the turned rows, upright when equal.

    Never shorter for more pieces. Raises :class:`DoesNotFit` when not even one piece fits and
    ValueError below one piece.
    """
    if pieces < 1:
        raise ValueError(f"{pieces} pieces cannot be laid out; at least 1 is needed")
    fault = misfit(strip, width_mm, height_mm)
    if fault is not None:
        raise fault
    sides = micrometres(width_mm), micrometres(height_mm)
    turns = (False, True) if strip.may_turn else (False,)
    layouts = (_rows(strip, sides, pieces, turned=turned) for turned in turns)
    return min(
        (layout for layout in layouts if layout is not None),
        key=lambda layout: (layout.length_mm, layout.turned),
    )


def _fits(strip: Strip, width_um: int, height_um: int) -> bool:
    return width_um <= strip.width_um and (strip.sheet_um is None or height_um <= strip.sheet_um)


def _rows(strip: Strip, sides_um: tuple[int, int], pieces: int, *, turned: bool) -> Layout | None:
    """Rows with a gap between any two pieces; None when not even one fits that way round."""
    width_um, height_um = sides_um[::-1] if turned else sides_um
    if not _fits(strip, width_um, height_um):
        return None
    gap_um, edges_um = strip.gap_um, 2 * strip.margin_um
    across = (strip.width_um + gap_um) // (width_um + gap_um)
    rows = -(-pieces // across)
    sheets = None
    length_um = rows * (height_um + gap_um) - gap_um + edges_um
    if strip.sheet_um is not None:
        rows_per_sheet = (strip.sheet_um + gap_um) // (height_um + gap_um)
        sheets = -(-rows // rows_per_sheet)
        length_um = sheets * (strip.sheet_um + edges_um)
    bound_um = _bound_um(strip, sides_um, pieces)
    return Layout(_mm(length_um), _mm(bound_um), turned, across, rows, sheets)


def _bound_um(strip: Strip, sides_um: tuple[int, int], pieces: int) -> int:
    """Least length by area: pieces grown by the gap fill at best a strip grown by the gap."""
    gap_um, edges_um = strip.gap_um, 2 * strip.margin_um
    area_um2 = pieces * (sides_um[0] + gap_um) * (sides_um[1] + gap_um)
    width_um = strip.width_um + gap_um
    if strip.sheet_um is None:
        return -(-area_um2 // width_um) - gap_um + edges_um
    sheets = -(-area_um2 // (width_um * (strip.sheet_um + gap_um)))
    return sheets * (strip.sheet_um + edges_um)


def _mm(length_um: int) -> Decimal:
    return Decimal(length_um) / _UM_PER_MM
