"""Outlines nested on a strip, where their boxes alone would waste much of it.

Outlines may have any simple form. Nothing is asserted of a layout that is not exact: gaps and edges
are kept in whole micrometres, and :func:`service.domain.nesting.outline_check.layout_faults` looks
at each layout in exact numbers before it is given out. Equal pieces give equal layouts, in whatever
order they come and on any machine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
import shapely

from service.domain.nesting.outline_board import MAP_WORK, Board, Place
from service.domain.nesting.outline_check import layout_faults
from service.domain.nesting.outline_search import bottom_left, shorten
from service.domain.nesting.outline_shapes import (
    OutlineFault,
    Points,
    Ready,
    TurnedShape,
    ring_points,
    turned,
    turned_shape,
    twice_area_um2,
)
from service.domain.nesting.outline_slide import Slide, Spot
from service.domain.nesting.pieces import NoRoom

Ring = tuple[tuple[int, int], ...]
"""Corners x, y in whole micrometres; the last one is joined to the first."""

WORTH_BELOW = 0.75
"""Outlines are worth nesting when they fill less of their boxes than this."""

MOST_TOGETHER = 120
"""More pieces are dealt out to several stretches of the strip, one after another."""

_MOST_SHAPES = 80
_MAP_BYTES = 96_000_000
_FIELD_POINTS = 60_000
_POINTS_ACROSS = 64
_STRIDE = 4
_AREA_DOUBT = 1e-9


class OutlineEffort(IntEnum):
    """How much work a layout may take, in maps of overlap laid over one another."""

    QUICK = 60_000
    THOROUGH = 700_000


@dataclass(frozen=True, slots=True)
class OutlinePiece:
    """One piece: its outline, x across the strip and y along it, and the turns allowed.

    A piece to be cut mirrored is given mirrored. Several pieces may bear the same ``key``.
    ``turns_deg`` are whole degrees counter-clockwise; nap or sparkle with a direction allow 0 only.
    """

    key: str
    ring_um: Ring
    turns_deg: frozenset[int]


@dataclass(frozen=True, slots=True)
class PlacedOutline:
    """A piece on the strip: its outline turned about 0, 0, then shifted, is ``ring_um``."""

    key: str
    ring_um: Ring
    turn_deg: int
    dx_um: int
    dy_um: int


@dataclass(frozen=True, slots=True)
class OutlineNest:
    """A layout on the strip from 0 to ``length_um``.

    ``bound_um`` is what no layout of these pieces can beat; ``density`` the share of the used strip
    that lies within outlines.
    """

    placed: tuple[PlacedOutline, ...]
    length_um: int
    bound_um: int
    density: float


@dataclass(frozen=True, slots=True, eq=False)
class _Prepared:
    """A piece made ready; ``shapes`` are those it may take, by turn in degrees."""

    piece: OutlinePiece
    points: Points
    area2_um2: int
    shapes: dict[int, TurnedShape]


def worth_outlines(pieces: Sequence[OutlinePiece]) -> bool:
    """Whether the outlines fill so little of their boxes that nesting boxes wastes too much.

    Raises :class:`OutlineFault` for what is no outline.
    """
    rings = [ring_points(piece.key, piece.ring_um) for piece in pieces]
    boxes_um2: int = sum(math.prod(np.ptp(ring, axis=0).tolist()) for ring in rings)
    return sum(map(twice_area_um2, rings)) < 2 * WORTH_BELOW * boxes_um2


def nest_outlines(
    pieces: Sequence[OutlinePiece],
    width_um: int,
    gap_um: int,
    effort: int = OutlineEffort.QUICK,
) -> OutlineNest:
    """The pieces on as short a strip of that width as the effort finds.

    It is looked for on a lattice, so a fit without any play may be missed: where boxes are not much
    wasted, compare with a layout of boxes. Outlines are nowhere nearer to one another than the gap,
    and none leaves the strip, whose edges they may touch. The effort is an :class:`OutlineEffort`
    or any count of work of that kind; with little of it, unlike pieces are tried in fewer turns.

    Raises :class:`OutlineFault` for what is no outline or allows no turn, :class:`NoRoom` for a
    piece that is wider than the strip in every turn, and ValueError for a negative gap.
    """
    if gap_um < 0:
        raise ValueError(f"a gap of {gap_um} um; it must be 0 or more")
    if not pieces:
        return OutlineNest((), 0, 0, 0.0)
    known: dict[tuple[bytes, int], Ready] = {}
    prepared = sorted(
        (_prepared(piece, width_um, gap_um, known) for piece in pieces),
        key=lambda one: (-one.area2_um2, one.points.tobytes(), one.piece.key),
    )
    stretches = -(-len(prepared) // MOST_TOGETHER)
    placed: list[PlacedOutline] = []
    length_um = -gap_um
    for stretch in range(stretches):
        share = effort // stretches
        part = _few_shapes(prepared[stretch::stretches], share)
        spots = _nested(part, width_um, gap_um, share)
        start_um = length_um + gap_um
        ends = []
        for one, (turn_deg, shape, (x, y)) in zip(part, spots, strict=True):
            placed.append(_placed(one, turn_deg, (x, y + start_um)))
            ends.append(y + start_um + shape.bare.size_um[1])
        length_um = max(ends)
    fault = next(layout_faults([one.ring_um for one in placed], width_um, length_um, gap_um), None)
    if fault is not None:
        raise ArithmeticError(f"the layout of {len(placed)} outlines is not exact: {fault}")
    area2_um2 = sum(one.area2_um2 for one in prepared)
    return OutlineNest(
        placed=tuple(sorted(placed, key=lambda one: (one.key, one.ring_um))),
        length_um=length_um,
        bound_um=_bound_um(prepared, width_um, gap_um),
        density=area2_um2 / (2 * width_um * length_um),
    )


def _prepared(
    piece: OutlinePiece, width_um: int, gap_um: int, known: dict[tuple[bytes, int], Ready]
) -> _Prepared:
    points = ring_points(piece.key, piece.ring_um)
    shapes = {
        turn_deg: turned_shape(points, turn_deg, gap_um, known)
        for turn_deg in sorted(piece.turns_deg)
    }
    if not shapes:
        raise OutlineFault(piece.key, "allows no turn; at least one is needed")
    narrow = {turn: one for turn, one in shapes.items() if one.bare.size_um[0] <= width_um}
    if not narrow:
        least_um = min(one.bare.size_um[0] for one in shapes.values())
        raise NoRoom(piece.key, least_um, width_um)
    return _Prepared(piece, points, twice_area_um2(points), _different(narrow))


def _different(shapes: dict[int, TurnedShape]) -> dict[int, TurnedShape]:
    """The turns that make a difference, those in which the outline takes the least box first."""
    order = sorted(shapes, key=lambda turn: (math.prod(shapes[turn].bare.size_um), turn))
    seen: dict[bytes, int] = {}
    for turn in order:
        seen.setdefault(shapes[turn].bare.points.tobytes(), turn)
    return {turn: shapes[turn] for turn in seen.values()}


def _few_shapes(part: Sequence[_Prepared], effort: int) -> list[_Prepared]:
    """The pieces with so few turns each that maps of all pairs of shapes are not too many."""
    most = min(_MOST_SHAPES, math.isqrt(2 * effort // MAP_WORK))
    for turns in range(max(len(one.shapes) for one in part), 1, -1):
        few = [replace(one, shapes=dict(list(one.shapes.items())[:turns])) for one in part]
        if len(_distinct(few)) <= most:
            return few
    return [replace(one, shapes=dict(list(one.shapes.items())[:1])) for one in part]


def _distinct(part: Iterable[_Prepared]) -> dict[bytes, TurnedShape]:
    return {shape.bare.points.tobytes(): shape for one in part for shape in one.shapes.values()}


def _nested(
    part: Sequence[_Prepared], width_um: int, gap_um: int, effort: int
) -> list[tuple[int, TurnedShape, tuple[int, int]]]:
    """For each piece its turn, its shape and where the corner of its box lies, in um."""
    distinct = _distinct(part)
    numbers = {ring: number for number, ring in enumerate(distinct)}
    shapes = list(distinct.values())
    by_shape = [
        {numbers[shape.bare.points.tobytes()]: turn for turn, shape in one.shapes.items()}
        for one in part
    ]
    choices = [tuple(turns) for turns in by_shape]
    area_um2 = sum(one.area2_um2 for one in part) // 2
    board = Board(shapes, width_um, _pitch_um(shapes, width_um, area_um2), _STRIDE)
    places = bottom_left(board, choices)
    places = shorten(board, choices, places, _bound_um(part, width_um, gap_um), effort)
    spots = Slide(shapes, width_um, [_spot(board, place) for place in places]).together()
    return [
        (turns[spot.shape], shapes[spot.shape], spot.at_um)
        for turns, spot in zip(by_shape, spots, strict=True)
    ]


def _spot(board: Board, place: Place) -> Spot:
    return Spot(place.shape, (place.column * board.pitch_um, place.row * board.pitch_um))


def _pitch_um(shapes: Sequence[TurnedShape], width_um: int, area_um2: int) -> int:
    """The step of the lattice: fine beside the pieces, within bounds for maps and fields."""
    sizes = np.array([shape.grown.size_um for shape in shapes], np.float64)
    wide, high = sizes.mean(axis=0)
    box = float(sizes.prod(axis=1).mean())
    for_pieces = math.sqrt(box) / _POINTS_ACROSS
    for_maps = math.sqrt(len(shapes) ** 2 * 2 * (box + wide * high) * 2 / _MAP_BYTES)
    for_fields = math.sqrt((2 * area_um2 + high * width_um) / _FIELD_POINTS) / _STRIDE
    return math.ceil(max(for_pieces, for_maps, for_fields, 1))


def _placed(one: _Prepared, turn_deg: int, at_um: tuple[int, int]) -> PlacedOutline:
    corner = one.shapes[turn_deg].corner_um
    dx_um, dy_um = at_um[0] - corner[0], at_um[1] - corner[1]
    ring = turned(np.array(one.piece.ring_um), turn_deg) + np.array((dx_um, dy_um))
    points = tuple((int(x), int(y)) for x, y in ring.tolist())
    return PlacedOutline(one.piece.key, points, turn_deg, dx_um, dy_um)


def _bound_um(prepared: Sequence[_Prepared], width_um: int, gap_um: int) -> int:
    """Least length: by area, pieces grown by half the gap on a strip that is too; by the longest.

    The area of the grown pieces is that of polygons within them, and outlines that may lie askew
    lose a micrometre all around for the rounding of their corners: so it errs to the safe side.
    """
    longest = max(min(s.bare.size_um[1] for s in one.shapes.values()) for one in prepared)
    grown = shapely.buffer([shapely.polygons(one.points) for one in prepared], gap_um / 2)
    askew = [any(turn % 90 for turn in one.shapes) for one in prepared]
    doubt_um2 = float(shapely.length(grown)[askew].sum())
    area_um2 = sum(one.area2_um2 for one in prepared) / 2
    if gap_um > 0:
        area_um2 = float(shapely.area(grown).sum())
        doubt_um2 += area_um2 * _AREA_DOUBT
    by_area_um = math.ceil((area_um2 - doubt_um2) / (width_um + gap_um)) - gap_um
    return max(longest, by_area_um)
