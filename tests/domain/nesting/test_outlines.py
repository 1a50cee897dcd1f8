"""Nesting of outlines: exact gaps, nothing outside, repeatable, never below the bound."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.nesting.outline_check import layout_faults
from service.domain.nesting.outline_overlap import overlap_map
from service.domain.nesting.outline_shapes import (
    MOST_POINTS,
    OutlineFault,
    ring_points,
    turned,
    turned_shape,
)
from service.domain.nesting.outlines import (
    MOST_TOGETHER,
    OutlineNest,
    OutlinePiece,
    Ring,
    nest_outlines,
    worth_outlines,
)
from service.domain.nesting.pieces import NoRoom

UPRIGHT, HALVES, QUARTERS = frozenset({0}), frozenset({0, 180}), frozenset({0, 90, 180, 270})
LITTLE = 600
"""Work enough to shorten a strip of few pieces."""

SQUARE: Ring = ((0, 0), (100, 0), (100, 100), (0, 100))
CORNER: Ring = ((0, 0), (200, 0), (200, 100), (100, 100), (100, 200), (0, 200))


def _star(radii_um: Sequence[int], at_um: tuple[int, int] = (0, 0)) -> Ring:
    """A simple ring, one corner in each direction."""
    angles = [2 * math.pi * number / len(radii_um) for number in range(len(radii_um))]
    return tuple(
        (at_um[0] + round(r * math.cos(a)), at_um[1] + round(r * math.sin(a)))
        for r, a in zip(radii_um, angles, strict=True)
    )


STARS = st.builds(
    _star,
    st.lists(st.integers(4_000, 60_000), min_size=3, max_size=14),
    st.tuples(st.integers(-90_000, 90_000), st.integers(-90_000, 90_000)),
)
PIECES = st.lists(
    st.tuples(STARS, st.sampled_from([UPRIGHT, HALVES, QUARTERS, frozenset({0, 37, 200})])),
    min_size=1,
    max_size=4,
).map(lambda rows: [OutlinePiece(f"p{at}", ring, turns) for at, (ring, turns) in enumerate(rows)])


def _asserted(
    nest: OutlineNest, pieces: Sequence[OutlinePiece], width_um: int, gap_um: int
) -> None:
    """Every piece once, as it may be turned, inside and clear of the others, by shapely too."""
    given_by_key = {piece.key: piece for piece in pieces}
    assert sorted(one.key for one in nest.placed) == sorted(given_by_key)
    for one in nest.placed:
        piece = given_by_key[one.key]
        assert one.turn_deg in piece.turns_deg
        lying = np.add(turned(np.array(piece.ring_um), one.turn_deg), (one.dx_um, one.dy_um))
        assert tuple(map(tuple, lying.tolist())) == one.ring_um
    rings = [one.ring_um for one in nest.placed]
    assert not list(layout_faults(rings, width_um, nest.length_um, gap_um))
    polygons = [shapely.Polygon(ring) for ring in rings]
    assert all(polygon.is_valid for polygon in polygons)
    for at, polygon in enumerate(polygons):
        for other in polygons[:at]:
            assert shapely.distance(polygon, other) >= gap_um - 1e-6
            assert shapely.area(shapely.intersection(polygon, other)) < 1e-3
    left, top, right, bottom = shapely.total_bounds(np.array(polygons))
    assert min(left, top) >= 0
    assert right <= width_um
    assert bottom == nest.length_um >= nest.bound_um
    area = sum(polygon.area for polygon in polygons)
    assert nest.density == pytest.approx(area / width_um / nest.length_um, rel=2e-3)


@settings(max_examples=10)
@given(pieces=PIECES, gap_um=st.sampled_from([0, 1, 1_000, 4_001]), data=st.data())
def test_gaps_edges_and_bound_hold(
    pieces: list[OutlinePiece], gap_um: int, data: st.DataObject
) -> None:
    """And the order in which the pieces come changes nothing."""
    width_um = data.draw(st.integers(125_000, 300_000))
    nest = nest_outlines(pieces, width_um, gap_um, LITTLE)
    _asserted(nest, pieces, width_um, gap_um)
    assert nest_outlines(data.draw(st.permutations(pieces)), width_um, gap_um, LITTLE) == nest


@settings(max_examples=25)
@given(one=STARS, other=STARS, pitch_um=st.integers(900, 9_000))
def test_overlaps_agree_with_a_geometry_library(one: Ring, other: Ring, pitch_um: int) -> None:
    """Wherever one outline is shifted over another, the map says overlap where shapely does."""
    still = turned_shape(ring_points("still", one), 0, 0).bare
    moved = turned_shape(ring_points("moved", other), 0, 0).bare
    overlap = overlap_map(still, moved, (0, 0), pitch_um)
    places = np.argwhere(np.ones_like(overlap.depths, bool))[:: max(1, overlap.depths.size // 60)]
    lying, shape = shapely.Polygon(still.points), shapely.Polygon(moved.points)
    for row, column in places.tolist():
        dx = (column + overlap.first[0]) * pitch_um
        dy = (row + overlap.first[1]) * pitch_um
        there = shapely.affinity.translate(shape, dx, dy)
        common = shapely.area(shapely.intersection(lying, there))
        assert (common > 1e-3) == bool(overlap.depths[row, column])


@settings(max_examples=25)
@given(ring=STARS, gap_um=st.integers(1, 9_000), turn_deg=st.sampled_from([0, 90, 45]))
def test_what_is_grown_holds_all_that_is_nearer_than_the_gap(
    ring: Ring, gap_um: int, turn_deg: int
) -> None:
    """A circle's polygon around each corner, by a geometry library, lies within."""
    shape = turned_shape(ring_points("p", ring), turn_deg, gap_um)
    bare = shapely.affinity.translate(shapely.Polygon(shape.bare.points), *shape.margin_um)
    grown = shapely.Polygon(shape.grown.points)
    assert shapely.is_valid(grown)
    assert shapely.distance(bare, grown.exterior) >= gap_um - 1e-6


def test_outlines_of_many_points_are_thinned_outward() -> None:
    """A round outline of 600 points keeps its box and lies within what is nested for it."""
    ring = _star([30_000 + 9_000 * (at % 60 < 30) for at in range(600)])
    points = ring_points("p", ring)
    thin = turned_shape(points, 0, 0).bare
    assert len(thin.points) <= MOST_POINTS < len(points)
    real = shapely.Polygon(points - points.min(axis=0))
    assert shapely.covers(shapely.Polygon(thin.points), real)
    assert thin.size_um == tuple(np.ptp(points, axis=0).tolist())


def test_what_just_fits_fits() -> None:
    """A piece as wide as the strip; two squares of 100 with a gap of 4 side by side, or not."""
    wide = OutlinePiece("wide", ((0, 0), (204, 0), (0, 50)), UPRIGHT)
    assert nest_outlines([wide], 204, 4, LITTLE).length_um == 50
    squares = [OutlinePiece(str(at), SQUARE, UPRIGHT) for at in range(2)]
    assert nest_outlines(squares, 203, 4, LITTLE).length_um == 204
    assert nest_outlines(squares, 216, 4, LITTLE).length_um == 100


def test_corners_are_turned_into_one_another() -> None:
    """Two L of three squares each make 2 x 3 squares: found, and nothing can be shorter."""
    pieces = [OutlinePiece(str(at), CORNER, HALVES) for at in range(2)]
    nest = nest_outlines(pieces, 300, 0, LITTLE)
    assert nest.length_um == nest.bound_um == 200
    assert {one.turn_deg for one in nest.placed} == {0, 180}
    assert nest.density == 1.0
    kept = [OutlinePiece(piece.key, piece.ring_um, UPRIGHT) for piece in pieces]
    upright = nest_outlines(kept, 300, 0, LITTLE)
    assert {one.turn_deg for one in upright.placed} == {0}
    assert upright.length_um > 200


def test_more_pieces_than_are_nested_together() -> None:
    """They lie in stretches one after another, with the gap between them."""
    pieces = [OutlinePiece(f"{at:03}", CORNER, UPRIGHT) for at in range(MOST_TOGETHER + 1)]
    nest = nest_outlines(pieces, 4_000, 7, 0)
    _asserted(nest, pieces, 4_000, 7)


def test_when_outlines_are_worth_it() -> None:
    """Three quarters of a box filled is enough; an L of three of four squares just is."""
    assert not worth_outlines([OutlinePiece("l", CORNER, UPRIGHT)])
    assert worth_outlines([OutlinePiece("t", ((0, 0), (100, 0), (0, 100)), UPRIGHT)])
    assert not worth_outlines([])
    assert nest_outlines([], 100, 0) == OutlineNest((), 0, 0, 0.0)


@pytest.mark.parametrize(
    ("ring", "why"),
    [
        ((), "no list of points"),
        (((0, 0), (10, 0)), "no area"),
        (((0, 0), (10, 0), (20, 0)), "no area"),
        (((0, 0), (10, 10), (10, 0), (0, 10)), "crosses"),
        (((0, 0), (10**9, 0), (0, 10)), "farther than 20 m"),
        (((0, 0), (10.5, 0), (0, 10)), "whole micrometres"),
    ],
)
def test_what_is_no_outline_is_named(ring: Ring, why: str) -> None:
    """The fault names the piece and says what is wrong."""
    with pytest.raises(OutlineFault, match=why) as caught:
        nest_outlines([OutlinePiece("odd", ring, UPRIGHT)], 100, 0)
    assert caught.value.key == "odd"


def test_what_has_no_room_is_named() -> None:
    """A piece wider than the strip in every turn; no turn at all; a gap below nothing."""
    wide = OutlinePiece("wide", ((0, 0), (300, 0), (0, 100)), HALVES)
    with pytest.raises(NoRoom) as caught:
        nest_outlines([wide], 250, 0)
    assert (caught.value.key, caught.value.value_um, caught.value.limit_um) == ("wide", 300, 250)
    assert nest_outlines([OutlinePiece("w", wide.ring_um, QUARTERS)], 250, 0).length_um == 300
    with pytest.raises(OutlineFault, match="no turn"):
        nest_outlines([OutlinePiece("w", SQUARE, frozenset())], 250, 0)
    with pytest.raises(ValueError, match="gap of -1"):
        nest_outlines([wide], 900, -1)


def _shifted(ring: Ring, dx: int, dy: int) -> Ring:
    return tuple((x + dx, y + dy) for x, y in ring)


@pytest.mark.parametrize(
    ("other", "gap_um", "faults"),
    [
        (_shifted(SQUARE, 100, 0), 0, 0),
        (_shifted(SQUARE, 99, 99), 0, 1),
        (_shifted(SQUARE, 100, 50), 1, 1),
        (_shifted(SQUARE, 103, 104), 5, 0),
        (_shifted(SQUARE, 103, 103), 5, 1),
        (SQUARE, 0, 1),
        (_shifted(SQUARE, 50, 0), 0, 1),
        (((40, 40), (60, 40), (50, 60)), 0, 1),
        (((50, -50), (150, 50), (50, 150), (-50, 50)), 0, 2),
        (((100, 0), (100, 100), (200, 50)), 0, 0),
    ],
)
def test_the_exact_check_sees_one_micrometre(other: Ring, gap_um: int, faults: int) -> None:
    """Touching is allowed without a gap; 3 and 4 apart is a gap of 5; the tilted square is out."""
    assert len(list(layout_faults([SQUARE, other], 300, 300, gap_um))) == faults
