"""Whether a picture's colours lie flat, and whether it stands on a background box.

Pixels are arrays (height, width, 4) of 8-bit sRGB with straight alpha. The thresholds are design
choices, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]

OPAQUE_FROM_ALPHA = 251
BACKGROUND_CODES = 12
"""Codes of 255 by which a pixel may differ in a channel and still count as background."""

RUNNING_SHARE = 0.1
"""Share of calm neighbour pairs that must differ a little for colours to count as running."""

_LINES = 96
_RUNS = 48
_STEP_CODES = 12
_DRIFT_CODES = 0.75


def background_colour(rgba: Pixels) -> NDArray[np.uint8] | None:
    """The colour (3,) of a uniform opaque border on all four sides, None if there is none."""
    ring = np.concatenate([rgba[0], rgba[-1], rgba[:, 0], rgba[:, -1]])
    if ring[:, 3].min() < OPAQUE_FROM_ALPHA:
        return None
    colour = np.median(ring[:, :3], axis=0).astype(np.uint8)
    apart = np.abs(ring[:, :3].astype(np.int16) - colour)
    return colour if apart.max() <= BACKGROUND_CODES else None


def is_photo_like(rgba: Pixels) -> bool:
    """True where colours run into each other instead of lying flat."""
    pairs = running = 0
    for lines in (rgba, rgba.transpose(1, 0, 2)):
        for line in lines[:: max(1, len(lines) // _LINES)]:
            calm, drifting = _drift(line)
            pairs += calm
            running += drifting
    return running >= max(1, RUNNING_SHARE * pairs)


def _drift(line: Pixels) -> tuple[int, int]:
    """Of one line (n, 4): pairs of neighbouring runs without an edge; those that differ."""
    length = max(2, len(line) // _RUNS)
    count = len(line) // length
    if count < 2:
        return 0, 0
    codes = line[: count * length].astype(np.int16)
    steps = np.abs(np.diff(codes[:, :3], axis=0, prepend=codes[:1, :3])).max(axis=1)
    calm = ((steps <= _STEP_CODES) & (codes[:, 3] >= OPAQUE_FROM_ALPHA)).reshape(count, length)
    whole = calm.all(axis=1)
    means = codes[:, :3].reshape(count, length, 3).mean(axis=1)
    drift = np.abs(np.diff(means, axis=0)).max(axis=1)
    both = whole[1:] & whole[:-1]
    return int(both.sum()), int((both & (drift >= _DRIFT_CODES)).sum())
