"""Pieces of runs laid on their strip: by their boxes and, where these waste much, by envelopes.

Envelopes are nested on rolls alone, of media that a plotter cuts: what is cut apart by hand or lies
on sheets keeps to its boxes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from service.domain.nesting.bounds import strip_bound_um
from service.domain.nesting.climbing import QUOTE, Effort
from service.domain.nesting.outline_shapes import twice_area_um2
from service.domain.nesting.outlines import (
    WORTH_BELOW,
    OutlineEffort,
    OutlinePiece,
    PlacedOutline,
    Ring,
    nest_outlines,
)
from service.domain.nesting.pieces import NestPiece, Placed, kinds_of
from service.domain.nesting.search import nest_strip
from service.domain.nesting.sheets import nest_sheets
from service.domain.roll import Layout, Strip, lay_out
from service.domain.run_document import piece_key
from service.domain.waiting_prints import OnStrip

MOST_BY_ENVELOPES = 240
"""Pieces of one proposal that envelopes are tried for, some seconds; a design choice."""

_MAPS_FOR_EACH_PIECE = 300
_UM_PER_MM = 1_000
_ANY_TURN, _NO_TURN = frozenset({0, 90, 180, 270}), frozenset({0})


@dataclass(frozen=True, slots=True)
class Part:
    """Pieces on a part of the strip, margins counted in the lengths but not in their places.

    ``half_turned`` are the keys of those turned by half beyond what ``turned`` says;
    ``by_envelopes`` tells that the pieces may reach into each other's boxes.
    """

    placed: tuple[Placed, ...]
    length_um: int
    bound_um: int
    half_turned: frozenset[str] = frozenset()
    by_envelopes: bool = False


@dataclass(frozen=True, slots=True)
class Laid:
    """Pieces on the parts of a strip."""

    parts: tuple[Part, ...]

    @property
    def length_um(self) -> int:
        """What is taken in all."""
        return sum(part.length_um for part in self.parts)

    @property
    def bound_um(self) -> int:
        """What no layout of these pieces, so divided, can beat."""
        return sum(part.bound_um for part in self.parts)

    @property
    def by_envelopes(self) -> bool:
        """Whether a part was nested by envelopes."""
        return any(part.by_envelopes for part in self.parts)


def count_of(prints: Iterable[OnStrip]) -> int:
    """How many pieces the prints have."""
    return sum(one.print.pieces for one in prints)


def lay_together(prints: Sequence[OnStrip], effort: Effort) -> Laid:
    """The prints, all of one strip, in their boxes side by side."""
    return _lay(_boxes(prints), prints[0].strip, effort)


def lay_alone(one: OnStrip, limit_um: int) -> Laid:
    """One print by itself; of a roll in as many parts as its length asks for."""
    pieces, strip = _boxes([one]), one.strip
    most = len(pieces) if strip.sheet_um is not None else _held(one, limit_um)
    laid = [_lay(pieces[at : at + most], strip, QUOTE) for at in range(0, len(pieces), most)]
    return Laid(tuple(part for of_part in laid for part in of_part.parts))


def least_um(prints: Sequence[OnStrip]) -> int:
    """What no layout of the prints' boxes on one part can beat; 0 of sheets."""
    strip = prints[0].strip
    if strip.sheet_um is not None:
        return 0
    kinds = kinds_of(_boxes(prints), strip.width_um, strip.gap_um)
    return strip_bound_um(kinds, strip.width_um, strip.gap_um) + 2 * strip.margin_um


def alone_um(one: OnStrip) -> int:
    """What a print takes that was laid out by itself, in one part."""
    return int(_layout(one, one.print.pieces).length_mm * _UM_PER_MM)


def worth_envelopes(prints: Iterable[OnStrip]) -> bool:
    """Whether boxes of the prints, all of one strip, waste so much that envelopes may save it."""
    fill2_um2 = boxes_um2 = 0
    for one in prints:
        if one.strip.sheet_um is not None:
            return False
        box_um2 = one.print.width_um * one.print.height_um
        ring = one.envelope_um
        area2_um2 = 2 * box_um2 if ring is None else abs(twice_area_um2(np.array(ring)))
        fill2_um2 += one.print.pieces * area2_um2
        boxes_um2 += one.print.pieces * box_um2
    return fill2_um2 < 2 * WORTH_BELOW * boxes_um2


def with_envelopes(laid: Laid, prints: Sequence[OnStrip]) -> Laid:
    """The same pieces on the same parts of a roll, by envelopes where that takes less of it.

    What boxes cannot beat envelopes may, so the bound is that of the envelopes.
    """
    owners = {key: one for one in prints for key in keys_of(one)}
    return Laid(tuple(_part_with_envelopes(part, owners) for part in laid.parts))


def _part_with_envelopes(part: Part, owners: Mapping[str, OnStrip]) -> Part:
    pieces = [_outline(placed.key, owners[placed.key]) for placed in part.placed]
    strip = owners[part.placed[0].key].strip
    effort = min(OutlineEffort.QUICK, _MAPS_FOR_EACH_PIECE * len(pieces))
    nest = nest_outlines(pieces, strip.width_um, strip.gap_um, effort)
    edges_um = 2 * strip.margin_um
    bound_um = min(part.bound_um, nest.bound_um + edges_um)
    if nest.length_um + edges_um >= part.length_um:
        return Part(part.placed, part.length_um, bound_um)
    return Part(
        placed=tuple(_box_of(one, owners[one.key]) for one in nest.placed),
        length_um=nest.length_um + edges_um,
        bound_um=bound_um,
        half_turned=frozenset(one.key for one in nest.placed if one.turn_deg >= 180),
        by_envelopes=True,
    )


def _outline(key: str, one: OnStrip) -> OutlinePiece:
    wide, high = one.print.width_um, one.print.height_um
    box: Ring = ((0, 0), (wide, 0), (wide, high), (0, high))
    turns = _ANY_TURN if one.strip.may_turn else _NO_TURN
    return OutlinePiece(key, one.envelope_um or box, turns)


def _box_of(placed: PlacedOutline, one: OnStrip) -> Placed:
    """Where the whole box of a print came to lie, whose envelope was turned and shifted.

    Along x across and y along the strip, a turn is clockwise as seen.
    """
    wide, high = one.print.width_um, one.print.height_um
    left, top = {0: (0, 0), 90: (-high, 0), 180: (-wide, -high), 270: (0, -wide)}[placed.turn_deg]
    turned = placed.turn_deg in {90, 270}
    sides = (high, wide) if turned else (wide, high)
    return Placed(placed.key, left + placed.dx_um, top + placed.dy_um, *sides, turned=turned)


def keys_of(one: OnStrip) -> list[str]:
    """The names of a print's pieces."""
    wanted = one.print
    numbers = range(wanted.first_piece, wanted.first_piece + wanted.pieces)
    return [piece_key(wanted.ticket, wanted.decoration, number) for number in numbers]


def _boxes(prints: Iterable[OnStrip]) -> list[NestPiece]:
    return [
        NestPiece(key, one.print.width_um, one.print.height_um, one.strip.may_turn)
        for one in prints
        for key in keys_of(one)
    ]


def _lay(pieces: Sequence[NestPiece], strip: Strip, effort: Effort) -> Laid:
    edges_um = 2 * strip.margin_um
    if strip.sheet_um is None:
        nest = nest_strip(pieces, strip.width_um, strip.gap_um, effort)
        return Laid((Part(nest.placed, nest.length_um + edges_um, nest.bound_um + edges_um),))
    sheets = nest_sheets(pieces, strip.width_um, strip.sheet_um, strip.gap_um, effort)
    each_um = strip.sheet_um + edges_um
    return Laid(
        tuple(
            Part(nest.placed, each_um, each_um if number < sheets.bound else 0)
            for number, nest in enumerate(sheets.sheets)
        )
    )


def _held(one: OnStrip, limit_um: int) -> int:
    """How many of the print's pieces lie on the length; at least one."""
    fits, fails = 1, one.print.pieces + 1
    while fails - fits > 1:
        middle = (fits + fails) // 2
        if _layout(one, middle).length_mm * _UM_PER_MM <= limit_um:
            fits = middle
        else:
            fails = middle
    return fits


def _layout(one: OnStrip, pieces: int) -> Layout:
    wanted = one.print
    return lay_out(one.strip, wanted.width_um / _UM_PER_MM, wanted.height_um / _UM_PER_MM, pieces)
