"""Transparent dye on cloth or film: what becomes of the light that a surface throws back.

All functions take reflectances, 0 to 1, as arrays that broadcast together: linear light of a
colour's channels, one number for a grey, or bands of a spectrum alike.
"""

from __future__ import annotations

import numpy as np

from service.domain.colour import FloatArray

FIBRE_OFFSET = 0.01
"""The small reflectance in the blend function of 1944; from memory."""


def dye_over(dye: FloatArray, surface: FloatArray, floor: float) -> FloatArray:
    """Reflectance of a surface with a dye on it that has reflectance ``dye`` on perfect white.

    A filter multiplies: R = r + (R1 - r)(R2 - r) / (1 - r). ``floor``, r, is the light off the
    surface that no dye filters (0.02 to 0.05 fit published overprints alike). Where either is
    darker than the floor, so is the light off it: dye never lightens, and white changes nothing.
    """
    r: FloatArray = np.minimum(np.minimum(dye, surface), floor)
    return r + (dye - r) * (surface - r) / (1 - r)


def area_mix(dyed: FloatArray, undyed: FloatArray, share: FloatArray) -> FloatArray:
    """Reflectance where dyed and undyed parts lie apart, ``share`` of the area dyed."""
    return share * dyed + (1 - share) * undyed


def fibre_blend(
    dyed: FloatArray, undyed: FloatArray, share: FloatArray, constant: float
) -> FloatArray:
    """Reflectance of a close blend of fibres, ``share`` of the volume dyed.

    f(R) = (1 - R) / (M (R - 0.01) + 0.01) adds up by share; ``constant`` is M, about 0.15. Source:
    Am. Dyestuff Rep. 33, 177 (1944), constants from memory. Never lighter than the area mix.
    """
    f = area_mix(_blend_function(dyed, constant), _blend_function(undyed, constant), share)
    return (1 - FIBRE_OFFSET * f * (1 - constant)) / (1 + constant * f)


def _blend_function(reflectance: FloatArray, constant: float) -> FloatArray:
    return (1 - reflectance) / (constant * (reflectance - FIBRE_OFFSET) + FIBRE_OFFSET)
