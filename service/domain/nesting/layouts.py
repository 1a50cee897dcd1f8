"""Pieces with outlines on a roll, nested by their boxes or, where that wastes much, by outlines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.domain.nesting.climbing import RUN, Effort
from service.domain.nesting.outline_shapes import turned, twice_area_um2
from service.domain.nesting.outlines import (
    OutlineEffort,
    OutlinePiece,
    PlacedOutline,
    Ring,
    nest_outlines,
    worth_outlines,
)
from service.domain.nesting.pieces import Nest, NestPiece, ways_of
from service.domain.nesting.search import nest_strip

THOROUGH = Effort(10 * RUN.pieces_laid)


@dataclass(frozen=True, slots=True)
class Roll:
    """A roll of any length; ``margin_um`` stays clear on all sides of what is taken."""

    width_um: int
    gap_um: int
    margin_um: int

    @property
    def clear_um(self) -> int:
        """The width between the margins."""
        return self.width_um - 2 * self.margin_um


@dataclass(frozen=True, slots=True)
class RollLayout:
    """Pieces in their places on a roll; all lengths and places count the margins.

    ``by_outlines`` tells that outlines may reach into each other's boxes. ``bound_um`` is what no
    layout of the pieces can beat, or, if not ``bound_of_outlines``, none of their boxes.
    ``rows_um`` is what rows of boxes take that are filled one by one in the order given.
    ``density`` is the share of the roll taken that lies within outlines.
    """

    placed: tuple[PlacedOutline, ...]
    width_um: int
    length_um: int
    bound_um: int
    rows_um: int
    density: float
    by_outlines: bool
    bound_of_outlines: bool

    @property
    def over_bound(self) -> float:
        """How much longer than the bound, as a share."""
        return self.length_um / self.bound_um - 1

    @property
    def saving_um(self) -> int:
        """How much less is taken than by rows."""
        return self.rows_um - self.length_um


def lay_on_roll(pieces: Sequence[OutlinePiece], roll: Roll, *, thorough: bool) -> RollLayout:
    """The shorter of the layouts of boxes and, where boxes waste much, of outlines.

    At least one piece; keys differ, and pieces come out in the order given. A piece that may be
    turned by 90 degrees has its box turned, too. Raises ``NoRoom`` for a piece wider than the roll
    between its margins and ``OutlineFault`` for what is no outline.
    """
    is_worth, is_shorter = worth_outlines(pieces), False
    boxes = [_nest_piece(piece) for piece in pieces]
    nest = nest_strip(boxes, roll.clear_um, roll.gap_um, THOROUGH if thorough else RUN)
    placed, length_um, bound_um = _in_boxes(pieces, nest), nest.length_um, nest.bound_um
    if is_worth:
        effort = OutlineEffort.THOROUGH if thorough else OutlineEffort.QUICK
        outlines = nest_outlines(pieces, roll.clear_um, roll.gap_um, effort)
        # What outlines cannot beat, their boxes cannot either.
        bound_um = outlines.bound_um
        is_shorter = outlines.length_um < nest.length_um
        if is_shorter:
            placed, length_um = outlines.placed, outlines.length_um
    edges_um = 2 * roll.margin_um
    area2_um2 = sum(abs(twice_area_um2(np.array(piece.ring_um))) for piece in pieces)
    by_key = {one.key: _within(one, roll) for one in placed}
    return RollLayout(
        placed=tuple(by_key[piece.key] for piece in pieces),
        width_um=roll.width_um,
        length_um=length_um + edges_um,
        bound_um=bound_um + edges_um,
        rows_um=_rows_um(boxes, roll) + edges_um,
        density=area2_um2 / (2 * roll.width_um * (length_um + edges_um)),
        by_outlines=is_shorter,
        bound_of_outlines=is_worth,
    )


def _nest_piece(piece: OutlinePiece) -> NestPiece:
    width_um, height_um = np.ptp(np.array(piece.ring_um), axis=0).tolist()
    return NestPiece(piece.key, width_um, height_um, may_turn=90 in piece.turns_deg)


def _in_boxes(pieces: Sequence[OutlinePiece], nest: Nest) -> tuple[PlacedOutline, ...]:
    """The outlines where their boxes came to lie."""
    by_key = {piece.key: piece for piece in pieces}
    found = []
    for box in nest.placed:
        turn_deg = 90 if box.turned else 0
        ring = turned(np.array(by_key[box.key].ring_um), turn_deg)
        dx_um, dy_um = (np.array((box.x_um, box.y_um)) - ring.min(axis=0)).tolist()
        found.append(PlacedOutline(box.key, _shifted(ring, dx_um, dy_um), turn_deg, dx_um, dy_um))
    return tuple(found)


def _within(one: PlacedOutline, roll: Roll) -> PlacedOutline:
    """The same on the whole roll, its margins counted."""
    by_um = roll.margin_um
    ring = _shifted(np.array(one.ring_um), by_um, by_um)
    return replace(one, ring_um=ring, dx_um=one.dx_um + by_um, dy_um=one.dy_um + by_um)


def _shifted(ring: NDArray[np.int64], dx_um: int, dy_um: int) -> Ring:
    return tuple((x + dx_um, y + dy_um) for x, y in ring.tolist())


def _rows_um(boxes: Sequence[NestPiece], roll: Roll) -> int:
    """What rows take: each piece beside the one before it, as it is drawn if that is not too wide.

    A row is as long as its longest piece.
    """
    done_um, row_um, across_um = 0, 0, 0
    for box in boxes:
        width_um, height_um, _ = ways_of(box, roll.clear_um)[0]
        if across_um + width_um > roll.clear_um:
            done_um, row_um, across_um = done_um + row_um + roll.gap_um, 0, 0
        row_um = max(row_um, height_um)
        across_um += width_um + roll.gap_um
    return done_um + row_um
