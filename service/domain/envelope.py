"""The envelope of a picture: one closed line around all of a print, holes filled.

It is what other pieces on a strip have to keep clear of where prints are nested by more than their
boxes. There are two: around all that is inked, for what is printed, and around the figure alone,
for what is only cut, where a background box is no part of what stays. They are found by
:mod:`service.domain.enveloping`.

Lengths are whole numbers of ``1 / UNIT`` of the ink box's width, to the right and down from the
upper left corner of the ink box.
"""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np
import shapely
from pydantic import Field

from service.domain.nesting.outline_shapes import twice_area_um2
from service.domain.nesting.outlines import Ring
from service.domain.values import Frozen

UNIT = 100_000
"""Parts of the ink box's width."""

MOST_POINTS = 400

_ROUGHLY_UM = 100

_Envelope = Annotated[Ring, Field(min_length=3, max_length=MOST_POINTS)]


class Envelopes(Frozen):
    """Around all that is inked, and around the figure that is cut."""

    inked: _Envelope
    figure: _Envelope


def ring_at(ring: Ring, width_um: int, height_um: int, *, mirrored: bool) -> Ring | None:
    """An envelope in whole micrometres at a print's size, turned over if asked for.

    None where it fills its box, or is too small to be one line any more: then the box stands.
    """
    scaled = np.rint(np.array(ring) * (width_um / UNIT)).astype(np.int64)
    np.clip(scaled, 0, (width_um, height_um), out=scaled)
    if mirrored:
        scaled[:, 0] = width_um - scaled[:, 0]
    polygon = shapely.polygons(scaled)
    if not shapely.is_valid(polygon) or polygon.area <= 0:
        return None
    if abs(twice_area_um2(scaled)) >= 2 * width_um * height_um:
        return None
    return tuple((int(x), int(y)) for x, y in scaled.tolist())


def square_within(ring_um: Ring) -> tuple[tuple[int, int], int]:
    """The middle and the side of the upright square in the largest circle within a ring."""
    radius = shapely.maximum_inscribed_circle(shapely.polygons(ring_um), tolerance=_ROUGHLY_UM)
    (x, y), _ = shapely.get_coordinates(radius).tolist()
    return (round(x), round(y)), int(shapely.length(radius) * math.sqrt(2))
