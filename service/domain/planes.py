"""Planes and masks of pixels: how they are made, cut up and counted.

A cover is a plane (height, width) of 8-bit coverage, 255 is ink, 0 is clear. Ink is what is at
least half covered. A mask is 255 where it holds, 0 elsewhere. Components hang together across
sides and corners (connectivity 8) or across sides alone (4).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.uint8]
Pixels = NDArray[np.uint8]
"""A picture (height, width, 4), 8-bit sRGB with straight alpha, or parts of one."""
Labels = NDArray[np.int32]
Indexes = NDArray[np.int64]

OPAQUE_ABOVE_ALPHA = 250
"""Alpha above it, of 255, is opaque; trade practice and a design choice."""

HALF = 128
FAINT = 5
"""Coverage from which ink counts at all, and, as far below 255, from which clear space does."""

CROSS = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8)
SQUARE = np.ones((3, 3), np.uint8)
BLOCK = np.ones((2, 2), np.uint8)


def euler_number(mask: Plane, connectivity: int) -> int:
    """Pieces less holes of a mask: its corners less its sides plus its squares."""
    change = cv2.dilate if connectivity == 8 else cv2.erode
    blocks = (BLOCK, BLOCK[:1], BLOCK[:, :1])
    corners, *sides = (cv2.countNonZero(change(mask, block)) for block in blocks)
    return corners - sum(sides) + cv2.countNonZero(mask)


def labelled(mask: Plane, connectivity: int) -> tuple[int, Labels]:
    """How many components a mask has, and the number of that of each pixel, from 1."""
    count, label_at = cv2.connectedComponents(mask, connectivity=connectivity)
    return count - 1, np.asarray(label_at, np.int32)


def distances(mask: Plane) -> NDArray[np.float32]:
    """Distance of each pixel of a mask to the nearest pixel outside, exact."""
    away = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(away, np.float32)


def at_least(plane: Plane | NDArray[np.float32], least: float) -> Plane:
    """The mask of the pixels that are not below a value."""
    return (plane >= least).view(np.uint8) * np.uint8(255)


def sharpened(cover: Plane) -> Plane:
    """With a sharp edge at half coverage where ink fades out over more than a pixel or two."""
    is_soft = as_plane(cv2.erode(cover, SQUARE)) >= FAINT
    is_soft &= as_plane(cv2.dilate(cover, SQUARE)) <= 255 - FAINT
    return np.where(is_soft, at_least(cover, HALF), cover) if is_soft.any() else cover


def halved(plane: Plane) -> Plane:
    """The plane in pixels twice as wide, each the mean of four."""
    return as_plane(cv2.resize(plane, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))


def padded(plane: Plane, margin: int, value: int) -> Plane:
    """With a margin on all sides, and one more on the right and below where a side is odd."""
    down, right = (margin + side % 2 for side in plane.shape)
    edges = (margin, down, margin, right)
    return as_plane(cv2.copyMakeBorder(plane, *edges, cv2.BORDER_CONSTANT, value=(value,)))


def as_plane(array: object) -> Plane:
    """What OpenCV gives, typed as the plane it is."""
    return np.asarray(array, np.uint8)
