"""Sparkle and nap, suggested on a film's predicted colour: the same for the same place always."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.domain.recolour import Light

SPARKLE_SWING: Final = 0.16
"""A grain of glitter throws back so much more or less light than the mean."""

GLINT_SHARE: Final = 0.02
GLINT: Final = 0.5
"""One grain in fifty glints: half of its light is white."""

NAP_SWING: Final = 0.09
"""A streak of nap throws back so much more or less light than the mean."""

_STREAK = 5


def sparkle(light: Light, left: int, top: int, width: int, height: int, grain_px: int) -> Light:
    """Light (height, width, 3) of a film, broken up in grains of so many pixels."""
    noise = _grains(left, top, width, height, grain_px)
    swung = light * (1 + SPARKLE_SWING * (2 * noise - 1))[..., None]
    glints = GLINT * (_grains(left + 7919, top + 104_729, width, height, grain_px) < GLINT_SHARE)
    made: Light = (swung + glints[..., None].astype(np.float32) * (1 - swung)).clip(0, 1)
    return made


def nap(light: Light, left: int, top: int, width: int, height: int, grain_px: int) -> Light:
    """Light (height, width, 3) of a pile that lies downwards and a little to one side."""
    tall = height + 2 * _STREAK * grain_px
    noise = _grains(left, top, width + 2 * _STREAK * grain_px, tall, grain_px)
    streaks = np.zeros((height, width), np.float32)
    for step in range(_STREAK):
        down, across = 2 * step * grain_px, step * grain_px // 2
        streaks += noise[down : down + height, across : across + width]
    swing = 2 * (streaks / _STREAK) - 1
    made: Light = (light * (1 + 2.2 * NAP_SWING * swing)[..., None]).clip(0, 1)
    return made


def _grains(left: int, top: int, width: int, height: int, grain_px: int) -> Light:
    """Numbers 0 to 1 (height, width) that follow from the place alone, even over each grain."""
    down = (np.arange(top, top + height) // grain_px).astype(np.uint32)[:, None]
    across = (np.arange(left, left + width) // grain_px).astype(np.uint32)
    return (_mixed(down * np.uint32(0x9E3779B1) ^ _mixed(across)) >> np.uint32(8)).astype(
        np.float32
    ) / np.float32(1 << 24)


def _mixed(numbers: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Whole numbers scattered evenly, by shifts and products that wrap around."""
    mixed = numbers.copy()
    for shift, factor in ((16, 0x7FEB352D), (15, 0x846CA68B)):
        mixed ^= mixed >> np.uint32(shift)
        mixed *= np.uint32(factor)
    return mixed ^ mixed >> np.uint32(16)
