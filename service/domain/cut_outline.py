"""The cut outline of a picture: closed lines in mm that a blade follows.

It is the outline of the figure whose shapes are measured: what is inked, or, where the picture
stands on an opaque background box, what differs from the background. Coordinates are mm to the
right and down from the upper left corner of the ink box, which is ``width_mm`` wide; an outline
with bleed reaches into the negative.

The outline at half coverage (:mod:`service.domain.contours`) is evened out and thinned to few
points, then rounded to ``STEP_MM``; all this moves it by at most the tolerance. With an offset that
is said of the exact offset with round corners, the greatest distance shared out over the steps.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from service.domain.contours import Contour, Points, TooManyPoints, contours
from service.domain.measuring import figure_of, ink_box
from service.domain.planes import FAINT, HALF, Pixels, Plane, as_plane, at_least, distances, padded
from service.domain.shapes import without_specks

USUAL_TOLERANCE_MM = 0.05
"""Below what a plotter's blade is set by (0.25 mm and more); a design choice, no source."""

STEP_MM = 0.001
"""Coordinates are whole multiples of this."""

MOST_RINGS = 10_000
MOST_OFFSET_POINTS = 60_000
"""Outlines of more rings, or of more points if they are to be offset, are refused: they are grain
or a photograph, and would take too long. A design choice, no source."""

MOST_CAREFUL_POINTS = 30_000
"""Where thinning would make lines meet, no more points are thinned one by one; as above."""

FINEST_SHARE = 20
"""Shares of the tolerance that pixels are at least wide; a design choice, as above."""

_FEWEST_PX = 32
MOST_GROWN_PX = 40_000_000
"""Planes that would be larger with the offset around them are not closed: it saves time alone."""

LONG_OFFSET_PX = 40

_ROUNDING_MM = STEP_MM
_CONCAVE_SHARE = 0.01
"""Concave vertices that lie off by less than this share of the distance are left out when GEOS
offsets a ring, so offsets are made in steps that are small enough (GEOS source, from memory)."""

_MOST_STEPS = 32

_Geometries = NDArray[np.object_]


class OutlineTooFine(ValueError):
    """The outline has more rings or points than are cut; the message says how many."""


class NothingLeft(ValueError):
    """The figure is nowhere wide enough for the inset, or not at all."""


@dataclass(frozen=True, slots=True)
class CutWish:
    """What is to be cut: the ink box's width, and a distance outward (bleed) or, below 0, inward.

    ``mirrored`` swaps left and right, as for film that is cut from its back.
    """

    width_mm: float
    offset_mm: float = 0.0
    tolerance_mm: float = USUAL_TOLERANCE_MM
    mirrored: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A piece of film with its holes: rings (n, 2) in mm, the first point not repeated.

    The outer ring runs clockwise as seen, holes the other way round; each begins with its topmost
    point, of these the leftmost. Rings do not cross.
    """

    outer: Points
    holes: tuple[Points, ...]


@dataclass(frozen=True, slots=True, eq=False)
class CutOutline:
    """The pieces, what was wished, and the height of the ink box.

    Pieces that lie inside others come first, then from left to right; a piece's holes from left to
    right. All lie within ``margin_mm`` around the ink box.
    """

    pieces: tuple[Piece, ...]
    wish: CutWish
    height_mm: float

    @property
    def margin_mm(self) -> float:
        """How far the outline may reach out of the ink box."""
        return max(0.0, self.wish.offset_mm)


def picture_outline(rgba: Pixels, wish: CutWish) -> CutOutline:
    """The cut outline of a picture (height, width, 4), 8-bit sRGB with straight alpha.

    ValueError if it is fully transparent, else as :func:`cut_outline`.
    """
    return cut_outline(figure_of(rgba, ink_box(rgba[..., 3]))[0], wish)


def cut_outline(cover: Plane, wish: CutWish) -> CutOutline:
    """The cut outline of a coverage plane (height, width) over an ink box.

    Specks are left out, as in the measures; a plane with nothing else is covered all over. Pixels
    finer than a share of the tolerance, ``1 / FINEST_SHARE``, count together. Raises
    ``OutlineTooFine`` and, for an inset and for what is too small to be cut, ``NothingLeft``.
    """
    pixel_mm = wish.width_mm / cover.shape[1]
    if -wish.offset_mm >= pixel_mm * (min(cover.shape) + 1) / 2:
        # No disc of that radius fits into the box, whatever the figure is.
        raise _nothing_left(wish)
    height_mm = pixel_mm * cover.shape[0]
    share_mm = wish.tolerance_mm / (4 if wish.offset_mm else 2)
    cover = _no_finer(without_specks(cover)[0], wish.tolerance_mm / FINEST_SHARE / pixel_mm)
    pixel_mm = wish.width_mm / cover.shape[1]
    cover = _without_nooks(cover, wish.offset_mm / pixel_mm)
    figure = _figure(cover, pixel_mm, share_mm)
    if (stretch := height_mm / (pixel_mm * cover.shape[0])) != 1:
        figure = shapely.transform(figure, lambda at: at * (1, stretch))
    if wish.offset_mm:
        figure = _offset(figure, wish.offset_mm, wish.tolerance_mm)
    if wish.mirrored:
        figure = shapely.transform(figure, lambda at: at * (-1, 1) + (wish.width_mm, 0))
    pieces = _pieces(_rounded(figure))
    if not pieces:
        raise _nothing_left(wish)
    return CutOutline(pieces, wish, height_mm)


def _nothing_left(wish: CutWish) -> NothingLeft:
    if wish.offset_mm < 0:
        return NothingLeft(f"nothing is left {-wish.offset_mm:g} mm inside the outline")
    return NothingLeft(f"nothing is as broad as {STEP_MM:g} mm")


def _no_finer(cover: Plane, least_px: float) -> Plane:
    """The cover in pixels that are about so many wide, where that is fewer: each their mean.

    A plane that is covered all over, or narrow, is left as it is.
    """
    times = min(int(least_px), min(cover.shape) // _FEWEST_PX)
    if times < 2 or cover.min() > 255 - FAINT:
        return cover
    size = [round(side / times) for side in cover.shape[::-1]]
    return as_plane(cv2.resize(cover, size, interpolation=cv2.INTER_AREA))


def _without_nooks(cover: Plane, offset_px: float) -> Plane:
    """Without the fine parts that a long offset leaves no trace of: there may be many points there.

    Growing by a distance gives the same if the figure is first closed by less than that, as it does
    if shrinking comes after opening (Serra, Image Analysis and Mathematical Morphology, 1982, from
    memory). It costs more than it saves where the offset is short.
    """
    grown_px = math.prod(side + 2 * (abs(offset_px) + 3) for side in cover.shape)
    if abs(offset_px) < LONG_OFFSET_PX or grown_px > MOST_GROWN_PX:
        return cover
    if offset_px > 0:
        return _closed(cover, offset_px, 0)
    return 255 - _closed(255 - cover, -offset_px, 255)


def _closed(cover: Plane, radius_px: float, beyond: int) -> Plane:
    """With ink where no disc of a radius fits into clear space; all beyond the plane is alike.

    Pixels count from their middles: the last two pixels beside the open space are left as they are.
    """
    near_px = radius_px - 3
    margin = math.ceil(radius_px) + 2
    ink = padded(at_least(cover, HALF), margin, beyond)
    away = distances(~ink)
    inner = distances(as_plane((away <= near_px).view(np.uint8)))
    inner = inner[margin : margin + cover.shape[0], margin : margin + cover.shape[1]]
    # The edge of what is filled is made as smooth as that of an antialiased figure.
    filled = np.clip(inner - (near_px + 2.5), 0, 1) * 255
    return as_plane(np.maximum(cover, filled.astype(np.uint8)))


def _figure(cover: Plane, pixel_mm: float, share_mm: float) -> BaseGeometry:
    """The figure of a cover in mm, evened out and thinned by at most so much each."""
    if cover.min() > 255 - FAINT:
        # Its corners are known; at half coverage they would be cut by half a pixel.
        return shapely.box(0, 0, cover.shape[1] * pixel_mm, cover.shape[0] * pixel_mm)
    try:
        rings = contours(cover, smoothing_px=share_mm / pixel_mm)
    except TooManyPoints as error:
        raise OutlineTooFine(str(error)) from None
    if not rings:
        return shapely.MultiPolygon()
    if len(rings) > MOST_RINGS:
        raise OutlineTooFine(f"more than {MOST_RINGS:,} outlines")
    return _thinned(rings, pixel_mm, share_mm - _ROUNDING_MM)


def _thinned(rings: Sequence[Contour], pixel_mm: float, share_mm: float) -> BaseGeometry:
    """The rings' pieces in mm with as few points as do within a distance (Douglas and Peucker)."""
    exact = np.array([shapely.linearrings(ring.points * pixel_mm) for ring in rings])
    # A ring that may collapse or meet another is thinned more carefully, which takes longer.
    is_small = shapely.area(shapely.envelope(exact)) < (8 * share_mm) ** 2
    thin = exact.copy()
    for careful in (False, True):
        some = is_small == careful
        thin[some] = shapely.simplify(exact[some], share_mm, preserve_topology=careful)
    figure = _assembled(rings, thin)
    if figure is None or not shapely.is_valid(figure):
        figure = _carefully_thinned(_assembled(rings, exact), share_mm)
    return figure


def _carefully_thinned(figure: BaseGeometry, share_mm: float) -> BaseGeometry:
    """The figure with fewer points, no ring meeting another; as it is where that takes too long."""
    if shapely.get_num_coordinates(figure) > MOST_CAREFUL_POINTS:
        return figure
    return shapely.simplify(figure, share_mm, preserve_topology=True)


def _thinned_again(figure: BaseGeometry, share_mm: float) -> BaseGeometry:
    """An offset figure with fewer points, no part of it lost."""
    thin = shapely.simplify(figure, share_mm, preserve_topology=False)
    lost = abs(shapely.area(thin) - shapely.area(figure))
    if _counts(thin) == _counts(figure) and lost <= share_mm * shapely.length(figure) / 2:
        return thin
    return _carefully_thinned(figure, share_mm)


def _counts(figure: BaseGeometry) -> tuple[int, int]:
    parts = shapely.get_parts(figure)
    return len(parts), int(shapely.get_num_interior_rings(parts).sum())


def _assembled(rings: Sequence[Contour], lines: _Geometries) -> BaseGeometry | None:
    """The pieces made of rings and their holes; None if a ring has collapsed."""
    if (shapely.get_num_points(lines) < 4).any():
        return None
    outer: dict[int, Any] = {}
    holes: dict[int, list[Any]] = {}
    for ring, line, is_outer in zip(rings, lines, shapely.is_ccw(lines), strict=True):
        # In coordinates that go down, what is clockwise as seen is counter-clockwise by the sum.
        if is_outer:
            outer[ring.piece] = line
        else:
            holes.setdefault(ring.piece, []).append(line)
    pieces = [shapely.polygons(line, holes.get(name)) for name, line in outer.items()]
    return shapely.multipolygons(pieces)


def _offset(figure: BaseGeometry, offset_mm: float, tolerance_mm: float) -> BaseGeometry:
    """The figure grown, or shrunk, by a distance, off by at most half the tolerance."""
    quarter_mm = tolerance_mm / 4
    steps = math.ceil(abs(offset_mm) * _CONCAVE_SHARE / quarter_mm)
    distances = np.linspace(0, offset_mm, min(steps, _MOST_STEPS) + 1)
    for before, after in pairwise(distances):
        if (count := int(shapely.get_num_coordinates(figure))) > MOST_OFFSET_POINTS:
            raise OutlineTooFine(f"{count:,} points to offset, more than {MOST_OFFSET_POINTS:,}")
        step_mm = float(after - before)
        figure = _stepped(figure, step_mm, _per_quadrant(step_mm, quarter_mm / 4))
        left_mm = quarter_mm if after == offset_mm else quarter_mm / 4 / len(distances)
        figure = _thinned_again(figure, left_mm)
    return figure


def _stepped(figure: BaseGeometry, step_mm: float, quad_segs: int) -> BaseGeometry:
    """The figure grown, or shrunk, by a step, ring by ring.

    That is the same as all at once, for a hole shrinks by what its piece grows; and where there are
    thousands of rings GEOS takes minutes for all at once.
    """
    rings, piece_of = shapely.get_rings(shapely.get_parts(figure), return_index=True)
    if not rings.size:
        return shapely.MultiPolygon()
    is_hole = np.append(False, piece_of[1:] == piece_of[:-1])
    by_mm = np.where(is_hole, -step_mm, step_mm)
    moved = shapely.buffer(shapely.polygons(rings), by_mm, quad_segs=quad_segs)
    pieces, is_hole = moved[~is_hole], is_hole & ~shapely.is_empty(moved)
    pierced, first = np.unique(piece_of[is_hole], return_index=True)
    for piece, holes in zip(pierced, np.split(moved[is_hole], first)[1:], strict=True):
        cut_out = _together(holes, may_meet=step_mm < 0)
        pieces[piece] = shapely.difference(pieces[piece], cut_out)
    return _together(pieces, may_meet=step_mm > 0)


def _together(polygons: _Geometries, *, may_meet: bool) -> BaseGeometry:
    """All polygons as one; what cannot meet needs no looking at."""
    return (
        shapely.union_all(polygons)
        if may_meet
        else shapely.multipolygons(shapely.get_parts(polygons))
    )


def _per_quadrant(radius_mm: float, sagitta_mm: float) -> int:
    """Chords to a quarter of a circle, so that none is farther than that from its arc."""
    half_angle = math.acos(max(0.0, 1 - sagitta_mm / abs(radius_mm)))
    return max(2, math.ceil(math.pi / 4 / half_angle))


def _rounded(figure: BaseGeometry) -> BaseGeometry:
    """With coordinates in whole steps, valid, without points that then repeat."""
    rounded = shapely.set_precision(figure, STEP_MM, mode="pointwise")
    rounded = shapely.remove_repeated_points(rounded)
    return rounded if shapely.is_valid(rounded) else shapely.set_precision(figure, STEP_MM)


def _pieces(figure: BaseGeometry) -> tuple[Piece, ...]:
    """The pieces of a figure in the order in which they are cut."""
    polygons = shapely.get_parts(figure)
    polygons = polygons[shapely.area(polygons) > 0]
    if not polygons.size:
        return ()
    pieces = [
        Piece(_ring(polygon.exterior, 1), _left_to_right(polygon.interiors)) for polygon in polygons
    ]
    depths = _depths(polygons, np.array([piece.outer[0] for piece in pieces]))
    keys = [
        (-int(depth), *piece.outer.min(axis=0), *piece.outer[0])
        for depth, piece in zip(depths, pieces, strict=True)
    ]
    return tuple(pieces[at] for at in sorted(range(len(pieces)), key=keys.__getitem__))


def _left_to_right(holes: Iterable[BaseGeometry]) -> tuple[Points, ...]:
    rings = [_ring(hole, -1) for hole in holes]
    return tuple(sorted(rings, key=lambda ring: (*ring.min(axis=0), *ring[0])))


def _ring(line: BaseGeometry, turns: int) -> Points:
    """Its points from the topmost on, clockwise as seen for 1 and the other way round for -1."""
    points = np.round(shapely.get_coordinates(line)[:-1] / STEP_MM) * STEP_MM
    if shapely.is_ccw(line) != (turns > 0):
        points = points[::-1]
    first = int(np.lexsort((points[:, 0], points[:, 1]))[0])
    turned: Points = np.roll(points, -first, axis=0)
    return turned


def _depths(polygons: _Geometries, points: Points) -> NDArray[np.int64]:
    """In how many other pieces' holes each piece lies, by a point of each."""
    depths = np.zeros(len(polygons), np.int64)
    boxes = shapely.bounds(polygons)
    for at in np.flatnonzero(shapely.get_num_interior_rings(polygons)):
        left, top, right, bottom = boxes[at]
        x, y = points.T
        near = np.flatnonzero((x > left) & (x < right) & (y > top) & (y < bottom))
        near = near[near != at]
        if near.size:
            filled = shapely.polygons(shapely.get_exterior_ring(polygons[at]))
            shapely.prepare(filled)
            depths[near] += shapely.contains_xy(filled, points[near])
    return depths
