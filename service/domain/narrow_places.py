"""Places of a figure looked at closely: whether a part, a neck or a wall is too narrow.

A window is a small piece of a figure around a suspect place, drawn from its antialiased coverage
with many pixels to the width in question. Each test gives a function that tells whether the place
is too narrow for a width in pixels at full size. See :mod:`service.domain.thickness` for what is
suspected and why.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.planes import (
    BLOCK,
    Indexes,
    Labels,
    Plane,
    as_plane,
    at_least,
    distances,
    labelled,
)

Places = NDArray[np.floating]

REACH = 1.5
"""How far, in diameters, a figure may lie beyond a disc in it; a design choice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """A figure around a spot, in the middle of a mask (n, n).

    ``distance`` is that of its pixels to clear, in pixels of the window, of which there are
    ``scale`` to a pixel at full size. What matters to rows and columns ``middle`` lies within.
    ``one`` and ``other`` are where the spot's two labels are.
    """

    mask: Plane
    distance: NDArray[np.float32]
    scale: float
    connectivity: int
    middle: slice
    one: NDArray[np.bool_]
    other: NDArray[np.bool_]

    def core(self, width: float) -> Plane:
        """Where the middle of a disc of that width may lie."""
        return at_least(self.distance, width / 2 * self.scale)


TooNarrow = Callable[[float], bool]


def blended(plane: Plane, x: Places, y: Places, beyond: int) -> Plane:
    """The plane between its pixels, at evenly spaced columns x and rows y."""
    left, top = max(0, int(x[0]) - 1), max(0, int(y[0]) - 1)
    near = np.ascontiguousarray(plane[top : int(y[-1]) + 3, left : int(x[-1]) + 3])
    step = x[1] - x[0]
    turn = np.array([[step, 0, x[0] - left], [0, step, y[0] - top]])
    flags, border = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, cv2.BORDER_CONSTANT
    size = (len(x), len(y))
    return as_plane(cv2.warpAffine(near, turn, size, None, flags, border, (beyond,)))


def least_width(is_too_narrow: TooNarrow, widths: list[float]) -> float:
    """The least width that is too narrow, to 1 %; infinite if none of the rising widths is."""
    low = widths[0] / 2
    for width in widths:
        if is_too_narrow(width):
            high = width
            while high > 1.01 * low:
                middle = (low + high) / 2
                low, high = (low, middle) if is_too_narrow(middle) else (middle, high)
            return (low + high) / 2
        low = width
    return math.inf


def part_test(window: Window) -> TooNarrow:
    """Whether the piece in the middle has pixels there beyond the reach of the disc."""
    _, label_at = labelled(window.mask, window.connectivity)
    named = label_at[window.middle, window.middle]
    rows, columns = np.nonzero(named)
    if not rows.size:
        return lambda _: False
    nearest = np.argmin(np.hypot(rows - len(named) // 2, columns - len(named) // 2))
    piece = as_plane(label_at == named[rows[nearest], columns[nearest]]) * np.uint8(255)
    # Reach is judged on pixels twice as wide, which is fine enough for a distance of many.
    near = slice(window.middle.start // 2, window.middle.stop // 2)
    asked = piece[::2, ::2][near, near] > 0

    def is_too_narrow(width: float) -> bool:
        core = as_plane(cv2.dilate(window.core(width) & piece, BLOCK))[::2, ::2]
        away = distances(~core)[near, near]
        return bool((away[asked] > (1 + 2 * REACH) * width / 4 * window.scale).any())

    return is_too_narrow


def neck_test(window: Window) -> TooNarrow:
    """Whether two parts of a piece, both a little wider, have come apart."""
    _, piece_at = labelled(window.mask, window.connectivity)
    if not np.intersect1d(_names(piece_at[window.one]), _names(piece_at[window.other])).size:
        return lambda _: False  # they hang together elsewhere only

    def is_too_narrow(width: float) -> bool:
        _, label_at = labelled(window.core(width), window.connectivity)
        wider = window.core(1.08 * width) > 0
        one, other = (_names(label_at[at & wider]) for at in (window.one, window.other))
        return bool(one.size and other.size and not np.intersect1d(one, other).size)

    return is_too_narrow


def wall_test(window: Window) -> TooNarrow:
    """Whether two clear areas are nearer to each other, through the figure."""
    _, label_at = labelled(~window.mask, 12 - window.connectivity)
    one, other = (np.isin(label_at, _names(label_at[at])) for at in (window.one, window.other))
    if not one.any() or not other.any() or (one & other).any():
        return lambda _: False
    wall = float(distances(as_plane(~one))[other].min() - 0.6) / window.scale
    return lambda width: wall < width


def _names(labels: Labels) -> Indexes:
    """The distinct labels above 0."""
    return np.flatnonzero(np.bincount(labels)[1:]) + 1
