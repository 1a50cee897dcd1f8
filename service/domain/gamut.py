"""The colours a printer can print on a film: the convex hull, in CIELAB, of its solid inks."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from service.domain.blanks import MeasuredLab
from service.domain.colour import (
    FloatArray,
    Lab,
    bt2020_from_lab,
    delta_e_2000,
    lab_from_bt2020,
)
from service.domain.machines import InkSolids

GREYS = 9
"""How many greys, evenly from black to white, a colour out of gamut may move towards."""

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


def printed_on_film(light: FloatArray, solids: InkSolids) -> FloatArray:
    """CIELAB (n, 3) of colours, given as linear BT.2020 (n, 3), printed with those solids.

    White is where nothing is printed, so every colour is relative to the bare film's white.
    """
    film = bt2020_from_lab(_triple(solids.white))
    return moved_inside(lab_from_bt2020(light * film), gamut_of(solids))


def moved_inside(labs: FloatArray, gamut: Gamut) -> FloatArray:
    """Colours (n, 3) of CIELAB, each that is out of the gamut moved to a near one on its edge.

    A colour moves straight towards one of the printer's greys, so it keeps its hue where film and
    black are neutral. Of the greys from black to bare film it takes the one that leaves it nearest
    by CIEDE2000: a bright yellow stays yellow, where its own lightness would end in white.
    """
    beyond = labs @ gamut.normals.T - gamut.offsets
    if gamut.offsets.size and not (beyond > _TOLERANCE).any():
        return labs
    edges = _edges(labs, beyond, gamut)
    nearest = delta_e_2000(edges, labs).argmin(axis=0)
    inside: FloatArray = edges[nearest, np.arange(len(labs))]
    return inside


def _edges(labs: FloatArray, beyond: FloatArray, gamut: Gamut) -> FloatArray:
    """Where n colours on their ways to k greys come inside, (k, n, 3): at once if they are."""
    steps = np.linspace(0.0, 1.0, GREYS)[:, None]
    greys: FloatArray = (gamut.black + steps * (gamut.white - gamut.black))[:, None]
    if not gamut.offsets.size:  # corners on one line enclose nothing but greys
        return np.broadcast_to(greys, (GREYS, *labs.shape))
    outside = beyond > _TOLERANCE
    way = np.where(outside, beyond - (greys @ gamut.normals.T - gamut.offsets), 1.0)
    needed = np.where(outside, beyond / way, 0.0).max(axis=2, keepdims=True).clip(0.0, 1.0)
    edges: FloatArray = labs + needed * (greys - labs)
    return edges


@lru_cache(maxsize=1024)
def usual_solids_on(film: Lab) -> InkSolids:
    """The usual solids on a film of that colour: each throws back as much of its light as of white.

    Transparent inks filter what lies beneath; common practice, no source.
    """
    solids = dict(USUAL_SOLIDS)
    light = bt2020_from_lab([_triple(solid) for solid in solids.values()])
    ratio = bt2020_from_lab(film) / bt2020_from_lab(_triple(USUAL_SOLIDS.white))
    moved = lab_from_bt2020(light * ratio)
    kept = moved.clip((0, -_CHROMATIC_MAX, -_CHROMATIC_MAX), (100, _CHROMATIC_MAX, _CHROMATIC_MAX))
    return InkSolids(
        **{name: _solid(*lab) for name, lab in zip(solids, kept.tolist(), strict=True)}
    )
