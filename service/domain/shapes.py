"""What a blade or a weeding hand meets: measures of the outline of everything inked.

``cover`` is a plane (height, width) of 8-bit coverage, the ink box of a picture: 255 is ink, 0 is
clear, between lies an antialiased edge; ink is what is at least half covered.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import ShapeMeasures

Plane = NDArray[np.uint8]

HALF = 128
SPECK_PX = 4
REACH = 1.5
_WORKED_PIXELS = 40_000


def measure_shapes(cover: Plane) -> ShapeMeasures:
    """All shape measures of a coverage plane, in shares of its width."""
    width = cover.shape[1]
    ink = np.pad((cover >= HALF).view(np.uint8), 1)
    pieces = max(1, _count(ink, 8))
    holes = max(0, _count(1 - ink, 4) - 1)
    scale = min(1.0, math.sqrt(_WORKED_PIXELS / cover.size))
    size = (max(1, round(cover.shape[1] * scale)), max(1, round(cover.shape[0] * scale)))
    small = (cv2.resize(cover, size, interpolation=cv2.INTER_AREA) >= HALF).astype(np.uint8)
    pad = size[0] // 2 + 2
    return ShapeMeasures(
        pieces=pieces,
        holes=holes,
        outline_length=max(outline_length_px(cover), 1.0) / width,
        smallest_feature=min(1.0, _narrowest(np.pad(small, 2)) / size[0]),
        smallest_gap=_narrowest(1 - np.pad(small, pad), size[0]) / size[0],
    )


def outline_length_px(cover: Plane) -> float:
    """Length of all outlines in pixels: marching squares at half coverage."""
    grey = np.pad(cover, 1).astype(np.int16) - HALF
    inside = grey >= 0
    mixed = (inside[:-1, :-1] != inside[1:, 1:]) | (inside[:-1, 1:] != inside[1:, :-1])
    mixed |= inside[:-1, :-1] != inside[:-1, 1:]
    rows, columns = np.nonzero(mixed)
    a, b = grey[rows, columns] + 0.5, grey[rows, columns + 1] + 0.5
    c, d = grey[rows + 1, columns + 1] + 0.5, grey[rows + 1, columns] + 0.5
    with np.errstate(divide="ignore", invalid="ignore"):
        top, right, bottom, left = a / (a - b), b / (b - c), d / (d - c), a / (a - d)
    crossed = [(a > 0) != (b > 0), (b > 0) != (c > 0), (c > 0) != (d > 0), (d > 0) != (a > 0)]
    points = [(top, 0 * a), (0 * a + 1, right), (bottom, 0 * a + 1), (0 * a, left)]
    total = 0.0
    for i in range(4):
        for j in range(i + 1, 4):
            both = crossed[i] & crossed[j]
            only = both & (sum(crossed) == 2)
            dx, dy = points[i][0] - points[j][0], points[i][1] - points[j][1]
            total += float(np.hypot(dx, dy)[only].sum())
    return total


def _count(mask: Plane, connectivity: int) -> int:
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=connectivity)
    return int((stats[1:count, cv2.CC_STAT_AREA] >= SPECK_PX).sum())


def _narrowest(mask: Plane, most: float = math.inf) -> float:
    distance = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) - 0.25
    before = _topology(mask)
    most = min(most, mask.shape[1])
    low = width = 1.5
    while width < most and not _fails(mask, distance, width, before):
        low, width = width, width * 2**0.25
    if width >= most:
        return float(most)
    for _ in range(4):
        middle = (low + width) / 2
        low, width = (low, middle) if _fails(mask, distance, middle, before) else (middle, width)
    return width


def _topology(mask: Plane) -> tuple[int, int]:
    return (
        int(cv2.connectedComponents(mask, connectivity=8)[0]),
        int(cv2.connectedComponents(1 - mask, connectivity=4)[0]),
    )


def _fails(mask: Plane, distance: NDArray[np.float32], width: float, before: object) -> bool:
    core = (distance >= width / 2).astype(np.uint8)
    if not core.any() or _topology(core) != before:
        return True
    away = cv2.distanceTransform(1 - core, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return bool(away[mask > 0].max() > (1 + 2 * REACH) * width / 2)
