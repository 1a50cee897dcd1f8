"""How much of a roll or of sheets a number of equal pieces takes.

Laid in columns, some upright and some turned, as :mod:`service.domain.nesting.columns` has it.
Lengths are worked out in whole micrometres, so that equal inputs give equal answers everywhere.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Self

from service.domain.media import Medium
from service.domain.nesting.columns import (
    Columns,
    ColumnSheets,
    Pattern,
    lay_column_sheets,
    lay_columns,
    rate_of_columns,
)
from service.domain.nesting.pieces import NestPiece

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
    """Equal pieces in rows and columns, some upright and some turned by a quarter.

    ``pattern`` tells how many; each of several sheets is laid by the same. ``sheets`` is None on a
    roll. ``length_mm`` is what is cut off, margins and all.
    """

    length_mm: Decimal
    pattern: Pattern
    sheets: int | None
    margin_um: int
    laid: Columns | ColumnSheets

    @property
    def bound_mm(self) -> Decimal:
        """What no layout of these pieces can beat; worked out when it is asked for."""
        edges_um = 2 * self.margin_um
        if isinstance(self.laid, Columns):
            return _mm(self.laid.bound_um + edges_um)
        return _mm(self.laid.bound * (self.laid.sheet_um + edges_um))

    @property
    def taken(self) -> Decimal:
        """Millimetres of roll, or sheets."""
        return self.length_mm if self.sheets is None else Decimal(self.sheets)


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
    """The shortest columns, or those that take the fewest sheets.

    Never shorter for more pieces. Raises :class:`DoesNotFit` when not even one piece fits and
    ValueError below one piece.
    """
    if pieces < 1:
        raise ValueError(f"{pieces} pieces cannot be laid out; at least 1 is needed")
    fault = misfit(strip, width_mm, height_mm)
    if fault is not None:
        raise fault
    return _laid_out(strip, micrometres(width_mm), micrometres(height_mm), pieces)


def taken_at_most(strip: Strip, width_mm: float, height_mm: float) -> tuple[float, float]:
    """Numbers a and b: n pieces never take more than a n + b, in mm of roll or in sheets.

    Exact but for the rounding of floats. Raises :class:`DoesNotFit` when not even one piece fits.
    """
    fault = misfit(strip, width_mm, height_mm)
    if fault is not None:
        raise fault
    piece = _piece(strip, micrometres(width_mm), micrometres(height_mm))
    if strip.sheet_um is not None:
        held = lay_column_sheets(piece, 1, strip.width_um, strip.sheet_um, strip.gap_um).per_sheet
        return 1 / held, (held - 1) / held
    each_um, once_um = rate_of_columns(piece, strip.width_um, strip.gap_um)
    return float(each_um / _UM_PER_MM), float((once_um + 2 * strip.margin_um) / _UM_PER_MM)


@lru_cache(maxsize=1_024)
def _laid_out(strip: Strip, width_um: int, height_um: int, pieces: int) -> Layout:
    """Pieces that have room, laid out; the same is asked for a price, a promise and a ticket."""
    piece = _piece(strip, width_um, height_um)
    edges_um = 2 * strip.margin_um
    if strip.sheet_um is None:
        columns = lay_columns(piece, pieces, strip.width_um, strip.gap_um)
        length_mm = _mm(columns.length_um + edges_um)
        return Layout(length_mm, columns.pattern, None, strip.margin_um, columns)
    laid = lay_column_sheets(piece, pieces, strip.width_um, strip.sheet_um, strip.gap_um)
    length_mm = _mm(laid.sheets * (strip.sheet_um + edges_um))
    return Layout(length_mm, laid.pattern, laid.sheets, strip.margin_um, laid)


def _piece(strip: Strip, width_um: int, height_um: int) -> NestPiece:
    return NestPiece(strip.medium, width_um, height_um, strip.may_turn)


def _fits(strip: Strip, width_um: int, height_um: int) -> bool:
    return width_um <= strip.width_um and (strip.sheet_um is None or height_um <= strip.sheet_um)


def _mm(length_um: int) -> Decimal:
    return Decimal(length_um) / _UM_PER_MM
