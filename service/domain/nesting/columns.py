"""Equal pieces, many copies: the least length or the fewest sheets of one class of layouts.

A layout of the class has a few whole rows across, upright or turned, and then columns: so many of
upright pieces, the rest of the width in columns of turned ones. What a layout holds grows with its
length and the class does not depend on how many pieces there are, so more pieces never take less.
All splits of the width are tried; the answer is the best of the class, not of all layouts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from service.domain.nesting.bounds import sheet_bound, strip_bound_um
from service.domain.nesting.pieces import (
    Nest,
    NestPiece,
    Placed,
    check_room,
    kinds_of,
)

MOST_PATTERNS = 400
MOST_ROWS = 4
"""Whole rows of either way below the columns; fewer where that gives too many patterns."""

MOST_SPLITS = 200
"""More columns abreast than that are not mixed one by one: of so many, few fill the width badly."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """Whole rows across and, beyond them, columns; ``turned`` pieces lie a quarter round."""

    upright_rows: int
    turned_rows: int
    upright_columns: int
    turned_columns: int


@dataclass(frozen=True, slots=True)
class Columns:
    """So many equal pieces by a pattern: what a strip of ``length_um`` takes."""

    piece: NestPiece
    count: int
    width_um: int
    gap_um: int
    pattern: Pattern
    length_um: int

    @property
    def bound_um(self) -> int:
        """What no layout can beat; worked out when it is asked for, which costs as much again."""
        (kind,) = kinds_of([self.piece], self.width_um, self.gap_um)
        return strip_bound_um([replace(kind, count=self.count)], self.width_um, self.gap_um)

    @property
    def nest(self) -> Nest:
        """Every piece in its place, nearest the strip's beginning first."""
        lattice = _Lattice.of(self.piece, self.width_um, self.gap_um)
        placed = lattice.first(self.pattern, self.length_um + self.gap_um, self.count)
        return Nest(placed, self.length_um, self.bound_um)


@dataclass(frozen=True, slots=True)
class ColumnSheets:
    """So many equal pieces on sheets, each laid by the same pattern of ``per_sheet`` pieces."""

    piece: NestPiece
    count: int
    width_um: int
    sheet_um: int
    gap_um: int
    pattern: Pattern
    per_sheet: int
    sheets: int

    @property
    def bound(self) -> int:
        """Sheets that no layout can do without; worked out when it is asked for."""
        (kind,) = kinds_of([self.piece], self.width_um, self.gap_um, self.sheet_um)
        kinds = [replace(kind, count=self.count)]
        return sheet_bound(kinds, self.width_um, self.sheet_um, self.gap_um)

    def places(self, count: int) -> tuple[Placed, ...]:
        """Where the first so many pieces of one sheet lie, nearest its beginning first."""
        lattice = _Lattice.of(self.piece, self.width_um, self.gap_um)
        return lattice.first(self.pattern, self.sheet_um + self.gap_um, count)


def lay_columns(piece: NestPiece, count: int, width_um: int, gap_um: int) -> Columns:
    """The shortest of the class for ``count`` copies on a strip, always the same one when equal.

    Raises NoRoom when not even one fits and ValueError below one piece.
    """
    _check_count(count)
    check_room([piece], width_um, gap_um)
    lattice = _Lattice.of(piece, width_um, gap_um)
    patterns = _patterns(lattice)
    at_least = lattice.all_at_least(patterns, count)
    best, length = patterns[0], count * (lattice.width + lattice.height)
    for index in sorted(range(len(patterns)), key=at_least.__getitem__):
        if at_least[index] > length:
            break
        found = lattice.least(patterns[index], count, at_least[index], length)
        if found < length:
            best, length = patterns[index], found
    return Columns(piece, count, width_um, gap_um, best.pattern, length - gap_um)


def rate_of_columns(piece: NestPiece, width_um: int, gap_um: int) -> tuple[Fraction, Fraction]:
    """Numbers a and b in um: no count of copies takes more than a times the count and b.

    From the columns that fill the width best, each of which loses less than a piece. Raises NoRoom
    when not even one fits.
    """
    check_room([piece], width_um, gap_um)
    lattice = _Lattice.of(piece, width_um, gap_um)
    upright, turned = max(_splits(lattice), key=lattice.speed)
    each = Fraction(lattice.width * lattice.height, lattice.speed((upright, turned)))
    return each, each * (upright + turned - 1) - gap_um


def lay_column_sheets(
    piece: NestPiece, count: int, width_um: int, sheet_um: int, gap_um: int
) -> ColumnSheets:
    """The fewest sheets of the class for ``count`` copies.

    Raises NoRoom when not even one fits and ValueError below one piece.
    """
    _check_count(count)
    check_room([piece], width_um, gap_um, sheet_um)
    lattice = _Lattice.of(piece, width_um, gap_um)
    patterns = _patterns(lattice)
    held = [lattice.holds(one, sheet_um + gap_um) for one in patterns]
    most = max(held)
    sheets = -(-count // most)
    pattern = patterns[held.index(most)].pattern
    return ColumnSheets(piece, count, width_um, sheet_um, gap_um, pattern, most, sheets)


def _check_count(count: int) -> None:
    if count < 1:
        raise ValueError(f"{count} pieces cannot be laid out; at least 1 is needed")


class _Reckoned(NamedTuple):
    """A pattern and the pieces and grown length of its rows; a tuple, as hundreds are made.

    ``speed`` is the width its columns fill: length times speed is the area they hold at most.
    """

    upright_rows: int
    turned_rows: int
    upright: int
    turned: int
    in_rows: int
    rows_length: int
    speed: int

    @property
    def pattern(self) -> Pattern:
        """The pattern as it is told."""
        return Pattern(self.upright_rows, self.turned_rows, self.upright, self.turned)


@dataclass(frozen=True, slots=True)
class _Lattice:
    """A grown piece on a grown strip, in both its ways; a way that has no room has 0 across."""

    key: str
    gap: int
    strip: int
    width: int
    height: int
    upright_across: int
    turned_across: int

    @classmethod
    def of(cls, piece: NestPiece, width_um: int, gap_um: int) -> _Lattice:
        width, height = piece.width_um + gap_um, piece.height_um + gap_um
        strip = width_um + gap_um
        turns = piece.may_turn and width != height
        return cls(piece.key, gap_um, strip, width, height, strip // width, strip // height * turns)

    def reckon(self, rows: tuple[int, int], columns: tuple[int, int]) -> _Reckoned:
        """What of a pattern does not depend on how many pieces there are; upright comes first."""
        return _Reckoned(*rows, *columns, *self.below(rows), self.speed(columns))

    def below(self, rows: tuple[int, int]) -> tuple[int, int]:
        """How many pieces whole rows hold, and their grown length."""
        in_rows = rows[0] * self.upright_across + rows[1] * self.turned_across
        return in_rows, rows[0] * self.height + rows[1] * self.width

    def speed(self, columns: tuple[int, int]) -> int:
        """The width that columns fill."""
        return columns[0] * self.width + columns[1] * self.height

    def holds(self, one: _Reckoned, length: int) -> int:
        """How many pieces a grown length holds; nothing when it is too short for the rows."""
        left = length - one.rows_length
        return one.in_rows + self._in_columns(one, left) if left >= 0 else 0

    def at_least(self, one: _Reckoned, count: int) -> int:
        """The grown length if no column lost anything to whole pieces."""
        left = count - one.in_rows
        return one.rows_length + max(0, -(-left * self.width * self.height // one.speed))

    def all_at_least(self, patterns: tuple[_Reckoned, ...], count: int) -> list[int]:
        """:meth:`at_least` of each pattern; written out, as there are hundreds."""
        area = self.width * self.height
        return [
            length if in_rows >= count else length - ((in_rows - count) * area // speed)
            for _, _, _, _, in_rows, length, speed in patterns
        ]

    def least(self, one: _Reckoned, count: int, length: int, below: int) -> int:
        """The least grown length, from ``length`` on, that holds so many; ``below`` if not less."""
        left = count - one.in_rows
        if left > 0 and not one.turned:
            return min(below, one.rows_length + -(-left // one.upright) * self.height)
        if left > 0 and not one.upright:
            return min(below, one.rows_length + -(-left // one.turned) * self.width)
        used, most = length - one.rows_length, below - one.rows_length
        while used < most and self._in_columns(one, used) < left:
            used += min(self.height - used % self.height, self.width - used % self.width)
        return min(below, one.rows_length + used)

    def _in_columns(self, one: _Reckoned, length: int) -> int:
        return one.upright * (length // self.height) + one.turned * (length // self.width)

    def first(self, pattern: Pattern, length: int, count: int) -> tuple[Placed, ...]:
        """The places of a grown length that end first, so many of them."""
        one = self.reckon(
            (pattern.upright_rows, pattern.turned_rows),
            (pattern.upright_columns, pattern.turned_columns),
        )
        needed = self.least(one, count, self.at_least(one, count), length)
        slots = sorted(
            self.slots(pattern, needed, count),
            key=lambda slot: (slot.y_um + slot.height_um, slot.x_um, slot.y_um),
        )
        return tuple(slots[:count])

    def slots(self, pattern: Pattern, length: int, most: int) -> Iterator[Placed]:
        """Places of the pattern within a grown length, among them the ``most`` that end first."""
        y = 0
        for row in range(pattern.upright_rows + pattern.turned_rows):
            turned = row >= pattern.upright_rows
            across, along = self._sides(turned=turned)
            for column in range(min(most, self.strip // across)):
                yield self._placed(column * across, y, turned=turned)
            y += along
        x = 0
        for turned, columns in ((False, pattern.upright_columns), (True, pattern.turned_columns)):
            across, along = self._sides(turned=turned)
            # Columns of one way are alike: as many as there are pieces are more than enough.
            for column in range(min(most, columns)):
                for step in range((length - y) // along):
                    yield self._placed(x + column * across, y + step * along, turned=turned)
            x += columns * across

    def _sides(self, *, turned: bool) -> tuple[int, int]:
        return (self.height, self.width) if turned else (self.width, self.height)

    def _placed(self, x: int, y: int, *, turned: bool) -> Placed:
        across, along = self._sides(turned=turned)
        return Placed(self.key, x, y, across - self.gap, along - self.gap, turned)


@lru_cache(maxsize=128)
def _splits(lattice: _Lattice) -> tuple[tuple[int, int], ...]:
    """Upright and turned columns abreast; splits that hold less than another left out."""
    splits: list[tuple[int, int]] = []
    every = 1 + lattice.upright_across // MOST_SPLITS
    for upright in (*range(lattice.upright_across, 0, -every), 0):
        room = lattice.strip - upright * lattice.width
        turned = room // lattice.height if lattice.turned_across else 0
        if upright + turned and (not splits or turned > splits[-1][1]):
            splits.append((upright, turned))
    return tuple(splits)


@lru_cache(maxsize=128)
def _patterns(lattice: _Lattice) -> tuple[_Reckoned, ...]:
    """The class, the plainest first."""
    splits = _splits(lattice)
    if len(splits) == 1:
        return (lattice.reckon((0, 0), splits[0]),)
    rows = MOST_ROWS
    while rows > 1 and len(splits) * (rows + 1) ** 2 > MOST_PATTERNS:
        rows -= 1
    upright_rows = range((rows if lattice.upright_across else 0) + 1)
    mixes = sorted(((up, turn) for up in upright_rows for turn in range(rows + 1)), key=sum)
    below = [(mix, lattice.below(mix)) for mix in mixes]
    beside = [(split, lattice.speed(split)) for split in splits]
    made = _Reckoned._make
    return tuple(
        [
            made((up, turn, upright, turned, in_rows, length, speed))
            for (up, turn), (in_rows, length) in below
            for (upright, turned), speed in beside
        ]
    )
