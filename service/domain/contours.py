"""Outlines of a coverage plane as closed rings of points: marching squares at half coverage.

A cover is a plane (height, width) of 8-bit coverage, 255 is ink, 0 is clear; around it all is
clear. A point lies between the middles of two neighbouring pixels, one at least half covered and
one not. A straight edge that runs between the outer ends of the two lies, along the line through
their middles, as far from the outer end of the inked one as both are covered together: that is
exact. Where they do not hold all of the edge, coverage is taken as linear between them. Edges that
are not antialiased run midway. Ink hangs together across corners, as in the measures. Rings of one
plane never meet, nor does one meet itself.

Method: Lorensen and Cline, Computer Graphics 21(4), 1987, in the plane (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.planes import (
    BLOCK,
    FAINT,
    HALF,
    Indexes,
    Plane,
    as_plane,
    at_least,
    labelled,
    padded,
)

Points = NDArray[np.float64]

MOST_POINTS = 500_000
"""Outlines of more points are not followed; a design choice, for bounded time and memory."""

_BLUR_PX = 2.0
_SOFT_SHARE = 0.25
_MARGIN = 2
_LEVEL = HALF - 0.5
_LEAST_ASIDE = 1 / 16
"""Smoothed points stay this far, in pixels, from the middles of pixels: whose ink is whose stays
the same. Unsmoothed ones are farther off by themselves."""


class TooManyPoints(ValueError):
    """The outlines of a plane have more than ``MOST_POINTS`` points."""


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """One closed outline, its first point not repeated.

    ``points`` are (n, 2): pixels to the right and down from the plane's upper left corner. An
    outer outline runs clockwise as seen, a hole's the other way round. ``piece`` numbers the piece
    of ink, from 1, that it belongs to.
    """

    points: Points
    piece: int


def contours(cover: Plane, smoothing_px: float = 0) -> list[Contour]:
    """All outlines of a plane, in the order of their topmost cells, row by row.

    With ``smoothing_px``, points of a plane that is not antialiased move by at most that, to even
    out the stairs of its edges; rings still never meet. Raises ``TooManyPoints``.
    """
    grey = padded(cover, _MARGIN, 0)
    inside = at_least(grey, HALF)
    mixed = cv2.compare(cv2.dilate(inside, BLOCK), cv2.erode(inside, BLOCK), cv2.CMP_NE)
    # A cell has the pixel it is found at as its lower right corner.
    cells = np.flatnonzero(np.asarray(mixed).ravel() > 0)
    if not cells.size:
        return []
    if cells.size > MOST_POINTS:
        raise TooManyPoints(f"more than {MOST_POINTS} points")
    along, across, ink = _segments(inside.ravel() > 0, cells, grey.shape[1])
    order = np.argsort(along)
    along, ink = along[order], ink[order]
    following = np.searchsorted(along, across[order])
    points = _points(grey, along, smoothing_px)
    np.clip(points, 0, (cover.shape[1], cover.shape[0]), out=points)
    pieces = labelled(inside, 8)[1].ravel()[ink]
    return [Contour(points[ring], int(pieces[ring[0]])) for ring in _cycles(following)]


def _segments(
    is_ink: NDArray[np.bool_], cells: Indexes, row: int
) -> tuple[Indexes, Indexes, Indexes]:
    """Pieces of outline through cells: the grid edge of either end, and a pixel of ink beside.

    A grid edge joins two pixels. Its number is twice the index of the left or upper one, and one
    more if it goes down.
    """
    corners = np.stack([cells - row - 1, cells - row, cells, cells - 1])
    sides = np.stack([2 * corners[0], 2 * corners[1] + 1, 2 * corners[3], 2 * corners[0] + 1])
    ink = is_ink[corners]
    following = np.roll(ink, -1, axis=0)
    enters, leaves = ~ink & following, ink & ~following
    is_plain = enters.sum(axis=0) == 1
    plain = np.flatnonzero(is_plain)
    first, last = enters[:, plain].argmax(axis=0), leaves[:, plain].argmax(axis=0)
    # Where all four sides are crossed, each of the two clear corners is cut off.
    clear, crossed = np.nonzero(~ink & ~is_plain)
    begin = np.concatenate([sides[last, plain], sides[clear - 1, crossed]])
    end = np.concatenate([sides[first, plain], sides[clear, crossed]])
    beside = np.concatenate([corners[last, plain], corners[clear - 1, crossed]])
    return begin, end, beside


def _points(grey: Plane, sides: Indexes, smoothing_px: float) -> Points:
    """Where outlines cross grid edges, in pixels from the unpadded plane's corner."""
    goes_down = sides % 2
    near = sides // 2
    far = near + np.where(goes_down, grey.shape[1], 1)
    step = far - near
    ends = (grey.ravel()[near], grey.ravel()[far])
    share = _crossing(*ends, grey.ravel()[near - step], grey.ravel()[far + step])
    if smoothing_px and not _is_antialiased(*ends):
        blurred = as_plane(
            cv2.GaussianBlur(grey, (0, 0), _BLUR_PX, borderType=cv2.BORDER_CONSTANT)
        ).ravel()
        share = np.clip(
            _evened(blurred[near], blurred[far], ends[0] >= HALF),
            np.maximum(share - smoothing_px, _LEAST_ASIDE),
            np.minimum(share + smoothing_px, 1 - _LEAST_ASIDE),
        )
    down, right = np.divmod(near, grey.shape[1])
    points = np.stack([right + share * (1 - goes_down), down + share * goes_down], axis=1)
    # Coverage belongs to the middles of pixels.
    return points + (0.5 - _MARGIN)


def _crossing(near: Plane, far: Plane, before: Plane, after: Plane) -> Points:
    """Share of the way from one pixel to the next at which the edge lies.

    ``before`` and ``after`` are the pixels that come before the one and after the other.
    """
    one, other = near.astype(np.int16), far.astype(np.int16)
    linear = (one - _LEVEL) / (one - other)
    together = (one + other) / 255 - 0.5
    exact = np.where(one > other, together, 1 - together)
    lowest, highest = np.minimum(before, after), np.maximum(before, after)
    crossing: Points = np.where((lowest < FAINT) & (highest > 255 - FAINT), exact, linear)
    return crossing


def _is_antialiased(near: Plane, far: Plane) -> bool:
    """Whether a good part of what outlines pass by is neither clear nor ink."""
    is_soft = [(end >= FAINT) & (end <= 255 - FAINT) for end in (near, far)]
    return bool((is_soft[0] | is_soft[1]).mean() >= _SOFT_SHARE)


def _evened(near: Plane, far: Plane, near_is_ink: NDArray[np.bool_]) -> Points:
    """The crossing by blurred coverage, at one end where both are on one side of a half."""
    ink, clear = np.where(near_is_ink, (near, far), (far, near)).astype(np.int16)
    share = np.clip((ink - _LEVEL) / np.maximum(ink - clear, 1), 0, 1)
    evened: Points = np.where(near_is_ink, share, 1 - share)
    return evened


def _cycles(following: Indexes) -> list[Indexes]:
    """The cycles of a permutation, each from its least index, in the order of these."""
    # Plain lists: a step costs a tenth of what it does with arrays.
    next_of = following.tolist()
    rings = []
    for start in range(len(next_of)):
        ring = []
        at = start
        while next_of[at] >= 0:
            ring.append(at)
            after, next_of[at] = next_of[at], -1
            at = after
        if ring:
            rings.append(np.array(ring, np.int64))
    return rings
