"""The shapes of what is inked: its pieces and holes, the length of its outlines.

Covers and masks are those of :mod:`service.domain.planes`. The narrowest part and gap are found by
:mod:`service.domain.thickness`.
"""

from __future__ import annotations

import itertools

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import ShapeMeasures
from service.domain.planes import (
    BLOCK,
    CROSS,
    FAINT,
    HALF,
    SQUARE,
    Indexes,
    Plane,
    at_least,
    euler_number,
    labelled,
    padded,
)
from service.domain.thickness import narrowest_px

SPECK_PX = 4
"""Pieces and holes of fewer pixels are dust of antialiasing; a design choice, no source."""

CELLS_MAX = 1 << 19
"""Outlines through more cells of four pixels are measured on every second, third, ... cell."""

_MARGIN = 2


def measure_shapes(cover: Plane) -> ShapeMeasures:
    """Measures of the figure that a coverage plane shows, in shares of its width.

    A plane without ink, or with specks alone, is measured as if it were covered all over.
    """
    return shapes_of(*without_specks(cover))


def shapes_of(cover: Plane, pieces: int, holes: int) -> ShapeMeasures:
    """The same of a plane without specks, which has so many pieces and holes."""
    height, width = cover.shape
    if cover.min() > 255 - FAINT:
        # A plain rectangle, as photographs are: all of it is known, its corners too.
        return ShapeMeasures(
            pieces=1,
            holes=0,
            outline_length=2 * (width + height) / width,
            smallest_feature=min(1.0, height / width),
            smallest_gap=1.0,
        )
    return ShapeMeasures(
        pieces=pieces,
        holes=holes,
        outline_length=outline_length_px(cover) / width,
        smallest_feature=narrowest_px(cover, pieces, holes) / width,
        smallest_gap=narrowest_px(cover, pieces, holes, gaps=True) / width,
    )


def without_specks(cover: Plane) -> tuple[Plane, int, int]:
    """The plane without specks of ink and of clear, and the number of its pieces and holes.

    Pieces hang together across corners (8 neighbours), clear areas do not (4 neighbours).
    """
    if cover.min() >= HALF:
        return (np.full_like(cover, 255) if cover.size < SPECK_PX else cover), 1, 0
    ink = padded(at_least(cover, HALF), _MARGIN, 0)
    pieces, _ = labelled(ink, 8)
    holes = pieces - euler_number(ink, 8)
    specks, speck_at = _specks(ink, 8)
    if pieces == specks:
        return np.full_like(cover, 255), 1, 0
    pinholes, pinhole_at = _specks(~ink, 4)
    if specks + pinholes:
        cover = cover.copy()
        for flat, value in ((speck_at, 0), (pinhole_at, 255)):
            rows, columns = np.divmod(flat, ink.shape[1])
            cover[rows - _MARGIN, columns - _MARGIN] = value
    return cover, pieces - specks, holes - pinholes


def _specks(mask: Plane, connectivity: int) -> tuple[int, Indexes]:
    """How many components of a mask are specks; flat indexes of all their pixels.

    A speck has only pixels with too few neighbours to be part of more. The mask's border is all
    of it, or none.
    """
    kernel = SQUARE if connectivity == 8 else CROSS
    beside = cv2.filter2D(mask & 1, cv2.CV_8U, kernel, borderType=cv2.BORDER_CONSTANT)
    is_inside = (mask > 0).ravel()
    is_of_more = (beside >= SPECK_PX).ravel() & is_inside
    steps = [down * mask.shape[1] + right for down, right in (np.argwhere(kernel) - 1).tolist()]

    def joins(flat: Indexes) -> NDArray[np.bool_]:
        found = np.zeros(flat.size, np.bool_)
        for step in steps:
            found |= is_of_more[np.clip(flat + step, 0, mask.size - 1)]
        return found

    flat = np.flatnonzero(is_inside & ~is_of_more)
    joined = joins(flat)
    is_of_more[flat[joined]] = True
    flat = flat[~joined]
    if not flat.size:
        return 0, flat
    left = np.zeros(mask.size, np.uint8)
    left[flat] = 255
    count, label_at = labelled(left.reshape(mask.shape), connectivity)
    names = label_at.ravel()[flat]
    is_speck = np.bincount(names, minlength=count + 1) < SPECK_PX
    is_speck[names[joins(flat)]] = False
    is_speck[0] = False
    return int(is_speck.sum()), flat[is_speck[names]]


def outline_length_px(cover: Plane) -> float:
    """Length of all outlines in pixels, holes too: marching squares at half coverage."""
    grey = padded(cover, 1, 0)
    inside = at_least(grey, HALF)
    edge = cv2.countNonZero(inside) - cv2.countNonZero(cv2.erode(inside, CROSS))
    mixed = cv2.compare(cv2.dilate(inside, BLOCK), cv2.erode(inside, BLOCK), cv2.CMP_NE)
    cells = np.flatnonzero(mixed.ravel() > 0)
    every = 1 + cells.size // CELLS_MAX
    cells = cells[::every]
    corners = [cells - back for back in (grey.shape[1] + 1, grey.shape[1], 0, 1)]
    values = np.stack([grey.ravel()[corner] for corner in corners])
    if _soft_count(grey) < edge / 4:
        # Not antialiased: it is made so, the same pixels staying at least half covered.
        blurred = np.asarray(cv2.GaussianBlur(grey, (3, 3), 0)).ravel()
        softer = np.stack([blurred[corner] for corner in corners])
        values = np.where(values >= HALF, np.maximum(softer, HALF), np.minimum(softer, HALF - 1))
    return every * _length_in(values.astype(np.float32) - (HALF - 0.5))


def _soft_count(grey: Plane) -> int:
    """How many pixels of a plane are neither as good as clear nor as good as covered."""
    return int(np.count_nonzero(grey >= FAINT) - np.count_nonzero(grey > 255 - FAINT))


def _length_in(values: NDArray[np.float32]) -> float:
    """Length of the line of value 0 in cells (4, n), each given by its corners, in turn."""
    following = np.roll(values, -1, axis=0)
    crossed = (values > 0) != (following > 0)
    along = np.where(crossed, values / np.where(crossed, values - following, 1), 0)
    none, whole = np.zeros_like(along[0]), np.ones_like(along[0])
    x = (along[0], whole, 1 - along[2], none)
    y = (none, along[1], whole, 1 - along[3])
    # Where all four sides are crossed, two lines cut off the two clear corners: ink hangs together.
    is_plain, first_is_ink = ~crossed.all(axis=0), values[0] > 0
    cut_off = {(0, 1): first_is_ink, (2, 3): first_is_ink, (1, 2): ~first_is_ink}
    cut_off[0, 3] = cut_off[1, 2]
    total = 0.0
    for one, other in itertools.combinations(range(4), 2):
        here = crossed[one] & crossed[other] & (is_plain | cut_off.get((one, other), False))
        total += float(np.hypot(x[one] - x[other], y[one] - y[other])[here].sum())
    return total
