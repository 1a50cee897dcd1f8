"""An artwork made small once, so that each proof of it need not touch every pixel again.

Colours are averaged as light and by their alpha, so that neither an edge nor a fine pattern changes
its colour. Pure: pixels in, pixels out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import InkBox
from service.domain.planes import HALF
from service.domain.recolour import Codes, Light, codes_of, light_of

PREVIEW_PX: Final = 1_280
"""Longest side of a preview; a print is at most about that wide in the largest proof."""

SMALLEST_PX: Final = 160
"""A level with a longest side of no more than this is not halved again."""

_STRIP_PIXELS: Final = 1 << 18

_CODES: Final = np.arange(256, dtype=np.uint8)
_TABLES: Final = np.stack([light_of(_CODES)] * 3 + [_CODES * np.float32(1 / 255)], axis=-1).reshape(
    1, 256, 4
)
"""Light of the three colours, and alpha from 0 to 1, of each code."""


@dataclass(frozen=True, slots=True, eq=False)
class PreviewLevel:
    """The ink box of an artwork at one size.

    ``rgba`` is (h, w, 4), 8-bit sRGB with straight alpha. ``inked`` (h, w) is the share, of 255, of
    each pixel that lies within the outline a plotter would cut. ``across`` and ``down`` are how
    many pixels the ink box measures: where it does not divide evenly, the last ones are cut short.
    """

    rgba: Codes
    inked: NDArray[np.uint8]
    across: float
    down: float


@dataclass(frozen=True, slots=True, eq=False)
class ArtworkPreview:
    """The ink box of an artwork at sizes that halve, the largest first."""

    levels: tuple[PreviewLevel, ...]

    @property
    def nbytes(self) -> int:
        """Bytes of all pixels."""
        return sum(level.rgba.nbytes + level.inked.nbytes for level in self.levels)

    def level_for(self, width_px: float, height_px: float) -> PreviewLevel:
        """The smallest level that is still as large as that both ways, or else the largest."""
        enough = (
            level
            for level in reversed(self.levels)
            if level.across >= width_px and level.down >= height_px
        )
        return next(enough, self.levels[0])


def preview_of(rgba: Codes, box: InkBox, most_px: int = PREVIEW_PX) -> ArtworkPreview:
    """The box of an upright picture (height, width, 4), its longest side at most ``most_px``."""
    pixels = rgba[box.top : box.top + box.height, box.left : box.left + box.width]
    levels = [_largest(pixels, -(-max(box.height, box.width) // most_px))]
    while max(levels[-1].inked.shape) > SMALLEST_PX:
        levels.append(_halved(levels[-1]))
    return ArtworkPreview(tuple(levels))


def _largest(pixels: Codes, step: int) -> PreviewLevel:
    """Means of step x step pixels, worked in strips so that memory stays small."""
    height, width, _ = pixels.shape
    least = HALF if (pixels[..., 3] >= HALF).any() else 1
    if step == 1:
        inked = np.where(pixels[..., 3] >= least, np.uint8(255), np.uint8(0))
        return PreviewLevel(np.ascontiguousarray(pixels), inked, width, height)
    down, across = -(-height // step), -(-width // step)
    small, inked = np.empty((down, across, 4), np.uint8), np.empty((down, across), np.uint8)
    rows = max(1, _STRIP_PIXELS // (width * step))
    for top in range(0, down, rows):
        strip = np.ascontiguousarray(pixels[top * step : (top + rows) * step])
        within = np.where(strip[..., 3] >= least, np.uint8(255), np.uint8(0))
        small[top : top + rows], inked[top : top + rows] = _reduced(strip, within, step)
    return PreviewLevel(small, inked, width / step, height / step)


def _halved(level: PreviewLevel) -> PreviewLevel:
    small, inked = _reduced(level.rgba, level.inked, 2)
    return PreviewLevel(small, inked, level.across / 2, level.down / 2)


def _reduced(strip: Codes, within: NDArray[np.uint8], step: int) -> tuple[Codes, NDArray[np.uint8]]:
    """Means of step x step pixels of a strip, and of what lies ``within``.

    Where the strip ends its last pixels count again, so that a hairline does not fade.
    """
    height, width, _ = strip.shape
    down, across = -(-height // step), -(-width // step)
    rest = (0, down * step - height, 0, across * step - width)
    if any(rest):
        repeat = cv2.BORDER_REPLICATE
        strip = np.asarray(cv2.copyMakeBorder(strip, *rest, repeat), np.uint8)
        within = np.asarray(cv2.copyMakeBorder(within, *rest, repeat), np.uint8)
        strip, within = strip.reshape(down * step, -1, 4), within.reshape(down * step, -1)
    planes = np.asarray(cv2.LUT(strip, _TABLES), np.float32).reshape(*strip.shape)
    if strip[..., 3].min() < 255:
        for channel in range(3):
            planes[..., channel] *= planes[..., 3]
    size = (across, down)
    small = np.asarray(cv2.resize(planes, size, interpolation=cv2.INTER_AREA), np.float32)
    small = small.reshape(down, across, 4)
    shares = np.asarray(cv2.resize(within, size, interpolation=cv2.INTER_AREA), np.uint8)
    light: Light = np.divide(
        small[..., :3], np.maximum(small[..., 3:], np.float32(1e-6)), dtype=np.float32
    )
    cover = np.rint(small[..., 3:] * 255).astype(np.uint8)
    return np.concatenate([codes_of(light), cover], axis=-1), shares.reshape(down, across)
