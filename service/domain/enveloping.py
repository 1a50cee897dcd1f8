"""Envelopes found in pixels: see :mod:`service.domain.envelope`.

Separate parts are joined by bridges as wide as they must be, so that a print stays one piece to
lift and to cut around. An envelope never cuts into what it goes around.
"""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from service.domain.envelope import MOST_POINTS, UNIT, Envelopes
from service.domain.nesting.outline_shapes import thinned
from service.domain.nesting.outlines import Ring
from service.domain.planes import FAINT, HALF, Plane, as_plane, labelled

Edges = NDArray[np.float64]
"""Where cells begin, and where the last one ends, in units."""

CELLS = 256
"""Cells along the longer side at most, to which a picture is reduced; a design choice."""

_LEAST_BRIDGE_CELLS = 2


def envelopes_of(alpha: Plane, cover: Plane) -> Envelopes:
    """The envelopes of an ink box, given its alpha and the coverage of its figure, without specks.

    Both are planes (height, width) of 8-bit coverage of one size.
    """
    inked, figure = alpha >= FAINT, cover >= HALF
    around_inked = envelope(inked)
    same = np.array_equal(_reduced(inked), _reduced(figure))
    return Envelopes(inked=around_inked, figure=around_inked if same else envelope(figure))


def envelope(mask: NDArray[np.bool_]) -> Ring:
    """The envelope of what a mask (height, width) holds; of an empty one the whole box."""
    height, width = mask.shape
    box = _box(width, height)
    cells = _reduced(mask)
    joined = None if cells.all() or not cells.any() else _joined(cells)
    if joined is None:
        return box
    along, across = (
        np.append(_starts(side, mask.shape), side) * (UNIT / width) for side in mask.shape
    )
    return _thin(_polygon(joined, along, across)) or box


def _box(width: int, height: int) -> Ring:
    low = max(1, round(height * UNIT / width))
    return ((0, 0), (UNIT, 0), (UNIT, low), (0, low))


def _starts(side: int, shape: tuple[int, ...]) -> NDArray[np.int64]:
    """Where cells begin along a side, in pixels."""
    return np.arange(0, side, -(-max(shape) // CELLS))


def _reduced(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The mask in cells, each held if any of its pixels is."""
    along, across = (_starts(side, mask.shape) for side in mask.shape)
    rows = np.logical_or.reduceat(mask, along, axis=0)
    cells: NDArray[np.bool_] = np.logical_or.reduceat(rows, across, axis=1)
    return cells


def _joined(held: NDArray[np.bool_]) -> Plane | None:
    """The cells with bridges between their parts, as narrow as join all; None if none does."""
    cells = as_plane(held.view(np.uint8) * np.uint8(255))
    reach = _LEAST_BRIDGE_CELLS
    while reach <= CELLS // 4:
        margin = 2 * reach + 1
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
        wide = cv2.copyMakeBorder(cells, *(margin,) * 4, cv2.BORDER_CONSTANT, value=(0,))
        closed = as_plane(cv2.morphologyEx(wide, cv2.MORPH_CLOSE, disc))
        closed = closed[margin:-margin, margin:-margin] | cells
        if labelled(closed, 4)[0] == 1:
            return closed
        reach *= 2
    return None


def _polygon(cells: Plane, along: Edges, across: Edges) -> shapely.Polygon:
    """The outline around cells that hang together, without its holes."""
    change = np.diff(np.pad(cells > 0, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    rows, starts = np.nonzero(change > 0)
    _, ends = np.nonzero(change < 0)
    boxes = shapely.box(across[starts], along[rows], across[ends], along[rows + 1])
    return shapely.polygons(shapely.get_exterior_ring(shapely.union_all(boxes)))


def _thin(polygon: shapely.Polygon) -> Ring | None:
    """Around the polygon in few points and whole units; None where that cannot be done."""
    corners = np.rint(shapely.get_coordinates(polygon)[:-1]).astype(np.int64)
    if not shapely.is_valid(shapely.polygons(corners)):
        return None
    points = thinned(corners)
    if len(points) > MOST_POINTS:
        hull = shapely.convex_hull(shapely.multipoints(points))
        points = np.rint(shapely.get_coordinates(hull)[:-1]).astype(np.int64)
    if len(points) > MOST_POINTS:
        return None
    return tuple((int(x), int(y)) for x, y in points.tolist())
