"""Outlines made ready for nesting: turned, thinned and grown, in whole micrometres.

Every step that is not exact errs outward, so that what is clear of the prepared outline is clear of
the real one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Points = NDArray[np.int64]
"""Points x, y in micrometres, one in a row."""

Angles = NDArray[np.float64]

Ready = tuple[Points, Points]
"""An outline thinned, and the same grown by the gap."""

MOST_POINTS = 48
"""Outlines of more points are thinned outward before they are nested."""

MOST_REACH_UM = 20_000_000
"""No outline reaches farther, so that products of two lengths and angles stay exact."""

_CORNERS = 16
_FINEST_THINNING_UM = 50


class OutlineFault(ValueError):
    """An outline that cannot be nested. ``key`` is the piece's, ``why`` says what is wrong."""

    def __init__(self, key: str, why: str) -> None:
        super().__init__(f"outline '{key}' {why}")
        self.key = key
        self.why = why


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A simple outline, counter-clockwise, its box from 0, 0 to ``size_um``.

    ``angles`` are the directions of the edges, of parallel ones the same to the last bit.
    """

    points: Points
    size_um: tuple[int, int]
    angles: Angles
    opposite: Angles


@dataclass(frozen=True, slots=True, eq=False)
class TurnedShape:
    """An outline in one turn, alone and with the gap around it.

    ``corner_um`` is where the lower corner of the outline's box lay after turning. ``margin_um`` is
    from the lower corner of the grown outline's box to that of the bare one.
    """

    turn_deg: int
    corner_um: tuple[int, int]
    bare: Shape
    grown: Shape
    margin_um: tuple[int, int]


def ring_points(key: str, ring_um: object) -> Points:
    """The ring counter-clockwise, from its least point on, without points that say nothing.

    Raises :class:`OutlineFault` for what is no simple ring of whole micrometres with an area.
    """
    points = np.asarray(ring_um)
    if points.ndim != 2 or points.shape[1:] != (2,) or points.dtype.kind != "i":
        raise OutlineFault(key, "is no list of points x, y in whole micrometres")
    if np.abs(points).max() > MOST_REACH_UM:
        raise OutlineFault(key, f"reaches farther than {MOST_REACH_UM // 1_000_000} m")
    points = points.astype(np.int64)
    if len(points) < 3 or not shapely.is_valid(shapely.polygons(points)):
        raise OutlineFault(key, "crosses or touches itself, or has no area")
    return _from_least(_plain(points))


def twice_area_um2(points: Points) -> int:
    """Twice the area of a ring, positive when counter-clockwise; exact."""
    x, y = (column.tolist() for column in (points - points[0]).T)
    following = zip(x[1:] + x[:1], y[1:] + y[:1], strict=True)
    return sum(a * d - c * b for a, b, (c, d) in zip(x, y, following, strict=True))


def turned(points: Points, turn_deg: int) -> Points:
    """The points turned counter-clockwise about 0, 0: exact by quarters, else in whole um."""
    quarters, rest_deg = divmod(turn_deg % 360, 90)
    if rest_deg:
        angle = math.radians(rest_deg)
        cos, sin = math.cos(angle), math.sin(angle)
        x, y = points.T
        askew = np.stack([cos * x - sin * y, sin * x + cos * y], axis=1)
        points = np.rint(askew).astype(np.int64)
    matrix = np.array(((1, 0), (0, 1), (-1, 0), (0, -1))[quarters])
    return np.asarray(points @ np.array([matrix, [-matrix[1], matrix[0]]]), np.int64)


def turned_shape(
    points: Points, turn_deg: int, gap_um: int, known: dict[tuple[bytes, int], Ready] | None = None
) -> TurnedShape:
    """The outline turned, then thinned outward if it has many points, and grown by the gap.

    What is known of the outline, by its points and the turn within a quarter, is kept in ``known``:
    a quarter turn more is exact.
    """
    known = {} if known is None else known
    quarter_deg = turn_deg % 90
    key = (points.tobytes(), quarter_deg)
    if key not in known:
        known[key] = _ready(turned(points, quarter_deg), gap_um)
    bare, grown = (turned(ring, turn_deg % 360 - quarter_deg) for ring in known[key])
    corner = bare.min(axis=0)
    margin = corner - grown.min(axis=0)
    return TurnedShape(
        turn_deg=turn_deg,
        corner_um=(int(corner[0]), int(corner[1])),
        bare=_shape(bare),
        grown=_shape(grown),
        margin_um=(int(margin[0]), int(margin[1])),
    )


def _ready(points: Points, gap_um: int) -> Ready:
    bare = _plain(points)
    if len(bare) > MOST_POINTS or not shapely.is_valid(shapely.polygons(bare)):
        bare = thinned(bare)
    return bare, _grown(bare, gap_um)


def thinned(points: Points) -> Points:
    """An outline around the given one, in the same box, of few points.

    It is grown by a distance and then thinned by less, so it never cuts into the outline. There are
    at most :data:`MOST_POINTS`, unless that would go farther than a fiftieth of the box.
    """
    polygon = shapely.polygons(points)
    limit_um = max(_FINEST_THINNING_UM, int(np.ptp(points, axis=0).max()) // 50)
    by_um = _FINEST_THINNING_UM
    around = _around(polygon, by_um)
    while len(around) > MOST_POINTS and 2 * by_um <= limit_um:
        by_um *= 2
        around = _around(polygon, by_um)
    wide = shapely.polygons(around)
    return around if shapely.is_valid(wide) and shapely.covers(wide, polygon) else points


def _around(polygon: shapely.Polygon, by_um: int) -> Points:
    wide = shapely.buffer(polygon, by_um, join_style="mitre", mitre_limit=2.0)
    wide = shapely.polygons(shapely.get_exterior_ring(wide))
    thin = shapely.simplify(wide, by_um - 2, preserve_topology=True)
    # No wider than the outline itself: a piece as wide as the roll still fits on it.
    parts = shapely.get_parts(shapely.clip_by_rect(thin, *shapely.bounds(polygon)))
    whole = parts[int(shapely.area(parts).argmax())]
    return _plain(np.rint(shapely.get_coordinates(whole)[:-1]).astype(np.int64))


def _shape(points: Points) -> Shape:
    points = _from_least(points - points.min(axis=0))
    edges = np.roll(points, -1, axis=0) - points
    edges //= np.gcd(edges[:, 0], edges[:, 1])[:, None]
    width, height = points.max(axis=0)
    return Shape(
        points=points,
        size_um=(int(width), int(height)),
        angles=np.arctan2(edges[:, 1], edges[:, 0]),
        opposite=np.arctan2(-edges[:, 1], -edges[:, 0]),
    )


def _from_least(points: Points) -> Points:
    first = int(np.lexsort((points[:, 0], points[:, 1]))[0])
    return np.roll(points, -first, axis=0)


def _plain(points: Points) -> Points:
    """Counter-clockwise and without points on a straight line between their neighbours."""
    if twice_area_um2(points) < 0:
        points = points[::-1]
    while True:
        to, on = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
        bends = to[:, 0] * on[:, 1] != to[:, 1] * on[:, 0]
        if bends.all():
            return np.ascontiguousarray(points)
        points = points[bends]


def _grown(points: Points, gap_um: int) -> Points:
    """The outline with all that is nearer than the gap: swept by a polygon around that circle."""
    if gap_um == 0:
        return points
    is_level = (points == np.roll(points, -1, axis=0)).any()
    for spare_um in (0, 2) if is_level else (2,):
        whole = _swept(points, _around_circle(gap_um, spare_um))
        ring = shapely.get_coordinates(shapely.get_exterior_ring(whole))[:-1]
        rounded = _plain(np.rint(ring).astype(np.int64))
        polygon = shapely.polygons(rounded)
        if shapely.is_valid(polygon) and (spare_um or shapely.covers(polygon, whole)):
            return rounded
    hull = shapely.convex_hull(shapely.multipoints(rounded))
    return _plain(np.rint(shapely.get_coordinates(hull)[:-1]).astype(np.int64))


def _swept(points: Points, by: Points) -> shapely.Polygon:
    ends = np.stack([points, np.roll(points, -1, axis=0)], axis=1)
    corners = (ends[:, :, None, :] + by).reshape(len(points), -1, 2)
    hulls = shapely.convex_hull(shapely.multipoints(corners))
    return shapely.union_all([shapely.polygons(points), *hulls])


def _around_circle(radius_um: int, spare_um: int) -> Points:
    """A polygon of whole um around a circle, along both axes just so far as the radius.

    With spare um it is so much farther everywhere, for what is made of it is rounded.
    """
    half = math.pi / _CORNERS
    reach = (radius_um + 2) / math.cos(half)
    angles = np.arange(_CORNERS) * 2 * half + half
    corners = np.rint(reach * np.stack([np.cos(angles), np.sin(angles)], axis=1))
    limit_um = radius_um + spare_um
    clipped: Points = np.clip(corners, -limit_um, limit_um).astype(np.int64)
    return clipped
