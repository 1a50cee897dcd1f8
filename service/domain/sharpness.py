"""How sharp a picture is: the width of its steepest edges, in pixels.

A picture that was enlarged by interpolation, or taken out of focus, has more pixels than detail:
no edge in it is steep. The width of an edge is its rise over its steepest step from one pixel to
the next, along a row or a column. For an edge blurred by a Gaussian of deviation s that is
sqrt(2 pi) s = 2.507 s, within 2.2 % of the usual 10 to 90 % rise of 2.563 s; an edge without any
blur has 1.

Rows and columns are cut into runs that only rise or only fall. A run is an edge if it rises high
enough and is not so wide that it is a shade: glows, shadows and gradients are told by no edge and
count for nothing. Edges are sought in alpha, and in the brightness laid over black. Pictures
enlarged by repeating pixels have steep edges still, and are not found.

The constants are design choices, no source; pictures of both kinds are told apart by the tests.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import InkBox
from service.domain.planes import Pixels

ENLARGED_EDGE_PX = 2.05
"""Above it no edge is as steep as in sharp pictures."""

LEAST_RISE = 24
"""Codes of 255 that an edge rises at least; and ``STRONG_SHARE`` of what strong edges rise."""

STRONG_SHARE = 0.5
WIDEST_PX = 16.0
"""What is wider is a shade."""

EDGES_LEAST = 32
"""Of fewer edges nothing is said."""

_LINES = 128
_STILL_CODES = 2
_STEEPEST = 0.2
_STRONG = 0.95


class _Runs(NamedTuple):
    """Of each rise or fall along lines: how far it goes, and its steepest step, in codes."""

    rise: NDArray[np.float64]
    step: NDArray[np.float64]


def edge_width_px(rgba: Pixels, box: InkBox) -> float | None:
    """Width in pixels of the steepest edges in a box of a picture (height, width, 4).

    A fifth of the strong edges is steeper. At least 1; None where there are too few edges to tell.
    """
    packed = np.ascontiguousarray(rgba).view(np.uint32)[..., 0]
    inside = packed[box.top : box.top + box.height, box.left : box.left + box.width]
    runs = [_runs(plane) for axis in (0, 1) for plane in _planes(inside, axis)]
    rise = np.concatenate([run.rise for run in runs])
    step = np.concatenate([run.step for run in runs])
    if rise.size < EDGES_LEAST:
        return None
    # Shades count here, so that what a line cuts off a glow's rim is not taken for edges.
    is_strong = rise >= STRONG_SHARE * np.quantile(rise, _STRONG)
    width = rise[is_strong] / step[is_strong]
    width = width[width <= WIDEST_PX]
    return float(np.quantile(width, _STEEPEST)) if width.size >= EDGES_LEAST else None


def _planes(packed: NDArray[np.uint32], axis: int) -> list[NDArray[np.int16]]:
    """Some rows or columns (n, length): brightness over black, and alpha where not all is opaque.

    Brightness is luma by the weights of Recommendation ITU-R BT.601 (from memory).
    """
    side = packed.shape[axis]
    count = min(_LINES, side)
    at = ((np.arange(count) + 0.5) * side / count).astype(np.intp)
    lines = np.ascontiguousarray(packed[at] if axis == 0 else packed[:, at].T)
    red, green, blue, alpha = np.moveaxis(lines.view(np.uint8).reshape(*lines.shape, 4), -1, 0)
    luma = (red * np.uint32(77) + green * np.uint32(150) + blue * np.uint32(29)) >> 8
    if alpha.min() == 255:
        return [luma.astype(np.int16)]
    return [(luma * alpha // 255).astype(np.int16), alpha.astype(np.int16)]


def _runs(lines: NDArray[np.int16]) -> _Runs:
    """All rises and falls along lines (n, length) that reach ``LEAST_RISE``."""
    # The step after each line's end is none, so that no run goes on from line to line.
    by_line = np.zeros(lines.shape, np.int16)
    np.subtract(lines[:, 1:], lines[:, :-1], out=by_line[:, :-1])
    steps = by_line.ravel()
    way = (steps > _STILL_CODES).view(np.int8) - (steps < -_STILL_CODES).view(np.int8)
    turns = np.flatnonzero(way[1:] != way[:-1]) + 1
    first, past = np.append(0, turns), np.append(turns, way.size - 1)
    codes = lines.ravel()
    rise = np.abs(codes[past] - codes[first])
    is_high = (way[first] != 0) & (rise >= LEAST_RISE)
    if not is_high.any():
        return _Runs(np.zeros(0), np.zeros(0))
    bounds = np.stack([first[is_high], past[is_high]], axis=1).ravel()
    steepest = np.maximum.reduceat(np.abs(steps), bounds)[::2]
    return _Runs(rise[is_high].astype(np.float64), steepest.astype(np.float64))
