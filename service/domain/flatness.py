"""Whether a picture's colours lie flat, and the background box that it may stand on.

Pixels are arrays (height, width, 4) of 8-bit sRGB with straight alpha; a code is one step of 255.
The constants are design choices, no source; pictures of both kinds are told apart by the tests.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.planes import OPAQUE_ABOVE_ALPHA, Pixels, Plane

BACKGROUND_CODES = 12
RINGING_CODES = 28
"""A pixel is background if no channel is farther from the background's colour than the first, or,
near strong edges, than a sixth of the greatest difference there, up to the second: lossy files
ring beside edges, over blocks of 8 pixels, 16 for colour."""

RUNNING_SHARE = 0.1
RUNNING_LEAST = 5
"""Share and number of calm stretches that must change in colour for colours to count as running."""

EQUAL_SHARE = 0.15
"""Where fewer neighbours are alike than this, colours run even without a calm stretch."""

CALM_CODES = 12
"""Neighbours in a calm stretch differ by no more in any channel."""

DRIFT_CODES = 2.0

_LINES = 64
_RUNS = 48
_STRETCH = 3
_ASIDE_PX = 3
_BLOCK = np.ones((33, 33), np.uint8)
_SQUARE = np.ones((3, 3), np.uint8)


def background_colour(rgba: Pixels) -> tuple[int, int, int] | None:
    """The colour of a uniform opaque border on all four sides, None if there is none."""
    border = np.concatenate([rgba[0], rgba[-1], rgba[:, 0], rgba[:, -1]]).astype(np.int16)
    if border[:, 3].min() <= OPAQUE_ABOVE_ALPHA:
        return None
    red, green, blue = (int(code) for code in np.median(border[:, :3], axis=0))
    apart = np.abs(border[:, :3] - (red, green, blue)).max()
    return (red, green, blue) if apart <= BACKGROUND_CODES else None


def figure_cover(rgba: Pixels, background: tuple[int, int, int]) -> Plane:
    """Coverage (height, width) by what differs from the background colour, 0 to 255.

    A pixel of the figure that touches background is an antialiased edge: it is covered as far as
    its difference reaches the greatest around it.
    """
    apart = np.zeros(rgba.shape[:2], np.uint8)
    for channel, code in enumerate(background):
        plane = np.asarray(cv2.extractChannel(rgba, channel), np.uint8)
        there = np.maximum(plane, np.uint8(code)) - np.minimum(plane, np.uint8(code))
        apart = np.maximum(apart, there)
    strongest = np.asarray(cv2.dilate(apart, _BLOCK), np.uint8)
    limits = np.clip(np.arange(256) // 6, BACKGROUND_CODES, RINGING_CODES).astype(np.uint8)
    differs = cv2.compare(apart, cv2.LUT(strongest, limits), cv2.CMP_GT)
    cover = np.asarray(cv2.bitwise_and(differs, cv2.extractChannel(rgba, 3)), np.uint8)
    edge = cv2.compare(cv2.erode(differs, _SQUARE), differs, cv2.CMP_NE)
    at = np.flatnonzero(cv2.bitwise_and(edge, cover).ravel() > 0)
    greatest = np.asarray(cv2.dilate(apart, _SQUARE)).ravel()[at].astype(np.uint16)
    cover.ravel()[at] = apart.ravel()[at] * np.uint16(255) // greatest
    return cover


def is_photo_like(rgba: Pixels) -> bool:
    """Whether colours run into each other, as in photographs and gradients, anywhere opaque.

    Lines across the picture, both ways, are cut into runs. A stretch of runs is calm if it is
    opaque and neighbours differ little along it and on both sides of it, so that it holds no edge
    and runs along none. In a flat colour its ends are alike; in a gradient they are not. Where a
    picture is all grain there is no calm stretch, but hardly two neighbours are alike either.
    """
    stretches = running = pairs = equal = 0
    packed = np.ascontiguousarray(rgba).view(np.uint32)[..., 0]
    for axis in (0, 1):
        lines, *aside = _lines(packed, axis)
        is_opaque = lines[3] > OPAQUE_ABOVE_ALPHA
        both = is_opaque[:, 1:] & is_opaque[:, :-1]
        steps = np.abs(np.diff(lines[:3])).max(axis=0)
        pairs += int(both.sum())
        equal += int((both & (steps == 0)).sum())
        calm = is_opaque.copy()
        calm[:, 1:] &= steps <= CALM_CODES
        for other in aside:
            calm &= np.abs(lines - other).max(axis=0) <= CALM_CODES
        changes = _changes(lines[:3], calm)
        stretches += changes.size
        running += int((changes >= DRIFT_CODES).sum())
    if not pairs:
        return False
    is_running = running >= max(RUNNING_LEAST, RUNNING_SHARE * stretches)
    return is_running or equal < EQUAL_SHARE * pairs


def _lines(packed: NDArray[np.uint32], axis: int) -> NDArray[np.int16]:
    """Some rows or columns (3, 4, n, length) of a picture, and those on both sides of each."""
    last = packed.shape[axis] - 1
    count = min(_LINES, last + 1)
    at = ((np.arange(count) + 0.5) * (last + 1) / count).astype(np.intp)
    beside = np.clip([at, at - _ASIDE_PX, at + _ASIDE_PX], 0, last)
    taken = packed.take(beside.ravel(), axis)
    codes = np.ascontiguousarray(taken if axis == 0 else taken.T).view(np.uint8)
    return codes.reshape(3, count, -1, 4).transpose(0, 3, 1, 2).astype(np.int16, order="C")


def _changes(codes: NDArray[np.int16], calm: NDArray[np.bool_]) -> NDArray[np.float64]:
    """How many codes the mean colour changes along each calm stretch of lines (3, n, length)."""
    length = max(2, calm.shape[1] // _RUNS)
    runs = calm.shape[1] // length
    if runs <= _STRETCH:
        return np.zeros(0)
    used, split = runs * length, (-1, runs, length)
    means = codes[..., :used].reshape(3, *split).mean(axis=-1)
    whole = calm[:, :used].reshape(split).all(axis=-1)
    windows = np.lib.stride_tricks.sliding_window_view(whole, _STRETCH + 1, axis=1)
    change: NDArray[np.float64] = np.abs(means[..., _STRETCH:] - means[..., :-_STRETCH]).max(axis=0)
    return change[windows.all(axis=2)]
