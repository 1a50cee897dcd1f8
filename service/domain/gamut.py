"""The colours a printer can print on a film: the convex hull, in CIELAB, of its solid inks."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from service.domain.blanks import MeasuredLab
from service.domain.colour import FloatArray, Lab, lab_from_xyz, xyz_from_lab
from service.domain.machines import InkSolids

_TOLERANCE = 1e-9
_CHROMATIC_MAX = 160.0
"""Largest a* and b* of a measured colour, either way."""


def _solid(lightness: float, a: float, b: float) -> MeasuredLab:
    return MeasuredLab(lightness=lightness, a=a, b=b)


USUAL_SOLIDS: Final = InkSolids(
    white=_solid(96, 0, 0),
    cyan=_solid(57, -38, -48),
    magenta=_solid(49, 75, -5),
    yellow=_solid(90, -6, 96),
    red=_solid(49, 71, 52),
    green=_solid(51, -69, 30),
    blue=_solid(25, 27, -54),
    black=_solid(15, 0, 0),
)
"""Solids of pigment ink on white film where none were measured; common practice, from memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Gamut:
    """A convex body in CIELAB: the points x with ``normals @ x <= offsets``.

    ``normals`` (k, 3) are of unit length and point outwards. ``black`` and ``white`` (3,) are the
    ends of the greys that can be printed.
    """

    normals: FloatArray
    offsets: FloatArray
    black: FloatArray
    white: FloatArray


@lru_cache(maxsize=256)
def gamut_of(solids: InkSolids) -> Gamut:
    """The hull of a printer's eight corners: every plane through three that has none beyond it."""
    corners = {name: np.array(_triple(solid)) for name, solid in solids}
    points = np.array(list(corners.values()))
    faces: list[tuple[FloatArray, float]] = []
    for a, b, c in itertools.combinations(points, 3):
        normal = np.cross(b - a, c - a)
        length = float(np.linalg.norm(normal))
        if length < _TOLERANCE:
            continue
        for outward in (normal / length, -normal / length):
            offset = float(outward @ a)
            if (points @ outward).max() <= offset + _TOLERANCE:
                faces.append((outward, offset))
    normals = np.array([normal for normal, _ in faces]).reshape(-1, 3)
    offsets = np.array([offset for _, offset in faces])
    return Gamut(normals, offsets, corners["black"], corners["white"])


def _triple(solid: MeasuredLab) -> tuple[float, float, float]:
    return solid.lightness, solid.a, solid.b


def moved_inside(labs: FloatArray, gamut: Gamut) -> FloatArray:
    """Colours (n, 3) of CIELAB, each that is out of the gamut moved to its edge.

    It moves straight towards the printer's grey of its own lightness, or the nearest there is: at
    constant hue where the film and the black are neutral. White becomes the bare film.
    """
    lightest, darkest = gamut.white[0], gamut.black[0]
    span = max(float(lightest - darkest), _TOLERANCE)
    along = ((labs[:, :1] - darkest) / span).clip(0.0, 1.0)
    greys: FloatArray = gamut.black + along * (gamut.white - gamut.black)
    if not gamut.offsets.size:  # corners on one line enclose nothing but greys
        return greys
    beyond = labs @ gamut.normals.T - gamut.offsets
    grey_beyond = greys @ gamut.normals.T - gamut.offsets
    outside = beyond > _TOLERANCE
    way = np.where(outside, beyond - grey_beyond, 1.0)
    needed = np.where(outside, beyond / way, 0.0).max(axis=1, initial=0.0, keepdims=True)
    inside: FloatArray = labs + needed.clip(0.0, 1.0) * (greys - labs)
    return inside


@lru_cache(maxsize=1024)
def usual_solids_on(film: Lab) -> InkSolids:
    """The usual solids on a film of that colour: each throws back as much of its light as of white.

    Transparent inks filter what lies beneath; common practice, no source.
    """
    ratio = xyz_from_lab(film) / xyz_from_lab(_triple(USUAL_SOLIDS.white))
    solids = dict(USUAL_SOLIDS)
    moved = lab_from_xyz(xyz_from_lab([_triple(solid) for solid in solids.values()]) * ratio)
    kept = moved.clip((0, -_CHROMATIC_MAX, -_CHROMATIC_MAX), (100, _CHROMATIC_MAX, _CHROMATIC_MAX))
    return InkSolids(
        **{name: _solid(*lab) for name, lab in zip(solids, kept.tolist(), strict=True)}
    )
