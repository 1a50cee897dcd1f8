"""Pixels of an artwork as the rules' colour model sees them on a surface.

The model is that of :mod:`service.domain.look`; nothing is predicted here by other means. Codes are
8-bit sRGB, red, green and blue in the last axis.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.domain.colour import linear_from_srgb, srgb_from_linear
from service.domain.look import Surface, SurfaceKind, seen_on
from service.domain.shop import Policy

Codes = NDArray[np.uint8]
Light = NDArray[np.float32]

MOST_EXACT: Final = 4_096
"""So many different colours are each worked out where that is slow, on printed and cut films; of
more, two neighbouring codes of a channel count as one, which is below what an eye tells apart."""

_STEPS: Final = 1 << 13
_LINEAR: Final[Light] = linear_from_srgb(np.arange(256, dtype=np.uint8)).astype(np.float32)
_BY_ROOT: Final[Codes] = np.rint(srgb_from_linear(np.linspace(0, 1, _STEPS + 1) ** 2) * 255).astype(
    np.uint8
)


def light_of(codes: Codes) -> Light:
    """Linear light, 0 to 1, of sRGB codes of any shape."""
    light: Light = _LINEAR.take(codes)
    return light


def codes_of(light: Light) -> Codes:
    """The nearest sRGB codes of linear light of any shape; light outside 0 to 1 is cut off."""
    # Spaced evenly in the root of light, as eyes and codes are, so that dark codes stay apart.
    places = np.sqrt(light.clip(0.0, 1.0)) * _STEPS + 0.5
    codes: Codes = _BY_ROOT.take(places.astype(np.int32))
    return codes


def recoloured(codes: Codes, surface: Surface, policy: Policy) -> Codes:
    """What codes (..., 3) are predicted to look like on that surface, as codes of the same shape.

    Dye and few colours are exact; see ``MOST_EXACT``. Where there is a doubt, it is the middle.
    """
    flat = codes.reshape(-1, 3).astype(np.uint32)
    packed = flat[:, 0] << 16 | flat[:, 1] << 8 | flat[:, 2]
    different, places = np.unique(packed, return_inverse=True)
    if surface.kind is not SurfaceKind.DYED and len(different) > MOST_EXACT:
        different, again = np.unique(different & 0xFEFEFE, return_inverse=True)
        places = again[places]
    srgb = seen_on(_unpacked(different), surface, policy)
    seen: Codes = np.rint(srgb * 255).astype(np.uint8)
    made: Codes = seen[places].reshape(codes.shape)
    return made


def _unpacked(packed: NDArray[np.uint32]) -> Codes:
    channels = np.stack([packed >> 16, packed >> 8 & 0xFF, packed & 0xFF], axis=-1)
    return channels.astype(np.uint8)
