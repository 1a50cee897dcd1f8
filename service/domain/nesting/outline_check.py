"""Whether a layout of outlines holds, in exact whole numbers and apart from how it was found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely

Point = tuple[int, int]
Edge = tuple[Point, Point]

_SURE_UM = 1.0
"""Distances in floating point are off by far less."""


def layout_faults(
    rings_um: Sequence[Sequence[Point]], width_um: int, length_um: int, gap_um: int
) -> Iterator[str]:
    """What is wrong with simple outlines on a strip: one outside, or two nearer than the gap.

    They may touch the edges of the strip and, without a gap, one another. Outlines number from 0.
    """
    for number, ring in enumerate(rings_um):
        if not all(0 <= x <= width_um and 0 <= y <= length_um for x, y in ring):
            yield f"outline {number} is outside"
    polygons = np.array([shapely.polygons(ring) for ring in rings_um])
    reach = shapely.box(*(shapely.bounds(polygons) + np.array([-1, -1, 1, 1]) * (gap_um + 1)).T)
    for one, other in shapely.STRtree(polygons).query(reach).T.tolist():
        if one >= other:
            continue
        distance_um = float(shapely.distance(polygons[one], polygons[other]))
        if distance_um >= gap_um + _SURE_UM:
            continue
        if _too_near(rings_um[one], rings_um[other], gap_um):
            yield f"outlines {one} and {other} are nearer than {gap_um} um"


def _too_near(one: Sequence[Point], other: Sequence[Point], gap_um: int) -> bool:
    near = _edges_near(one, other, gap_um), _edges_near(other, one, gap_um)
    if any(_cross(a, b) or _nearer(a, b, gap_um) for a in near[0] for b in near[1]):
        return True
    return _reaches_into(one, other) or _reaches_into(other, one)


def _edges_near(one: Sequence[Point], other: Sequence[Point], gap_um: int) -> list[Edge]:
    """The edges of one ring whose boxes are no farther from the other's box than the gap."""
    (left, top), (right, bottom) = np.min(other, axis=0), np.max(other, axis=0)
    return [
        (a, b)
        for a, b in pairwise([*one, one[0]])
        if max(a[0], b[0]) >= left - gap_um
        and min(a[0], b[0]) <= right + gap_um
        and max(a[1], b[1]) >= top - gap_um
        and min(a[1], b[1]) <= bottom + gap_um
    ]


def _side(a: Point, b: Point, c: Point) -> int:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _cross(one: Edge, other: Edge) -> bool:
    """Whether two edges pass through one another, not only touch."""
    (a, b), (c, d) = one, other
    return _side(a, b, c) * _side(a, b, d) < 0 and _side(c, d, a) * _side(c, d, b) < 0


def _nearer(one: Edge, other: Edge, gap_um: int) -> bool:
    """Whether an end of one edge is nearer to the other edge than the gap."""
    return any(_end_nearer(p, other, gap_um) for p in one) or any(
        _end_nearer(p, one, gap_um) for p in other
    )


def _end_nearer(p: Point, edge: Edge, gap_um: int) -> bool:
    (ax, ay), (bx, by) = edge
    dx, dy, px, py = bx - ax, by - ay, p[0] - ax, p[1] - ay
    along, squared = dx * px + dy * py, dx * dx + dy * dy
    if along <= 0:
        return px * px + py * py < gap_um * gap_um
    if along >= squared:
        return (px - dx) ** 2 + (py - dy) ** 2 < gap_um * gap_um
    return (dx * py - dy * px) ** 2 < gap_um * gap_um * squared


def _reaches_into(one: Sequence[Point], other: Sequence[Point]) -> bool:
    """Whether a corner of one ring, the middle of an edge, or a point of its inside is in another.

    Rings that do not cross either have such a point or only touch. All is doubled, for the middles
    to be whole.
    """
    twice = [(2 * x, 2 * y) for x, y in other]
    points = [(2 * x, 2 * y) for x, y in one]
    points += [(a[0] + b[0], a[1] + b[1]) for a, b in pairwise([*one, one[0]])]
    inside = shapely.polygons(one).representative_point()
    points.append((round(2 * inside.x), round(2 * inside.y)))
    return any(_strictly_inside(p, twice) for p in points)


def _strictly_inside(p: Point, ring: Sequence[Point]) -> bool:
    inside = False
    for a, b in pairwise([*ring, ring[0]]):
        side = _side(a, b, p)
        within = min(a[0], b[0]) <= p[0] <= max(a[0], b[0])
        if side == 0 and within and min(a[1], b[1]) <= p[1] <= max(a[1], b[1]):
            return False
        if (a[1] > p[1]) != (b[1] > p[1]) and (side > 0) == (b[1] > a[1]):
            inside = not inside
    return inside
