"""Envelopes: they hold all that is to be kept clear of, in one piece, and little more.

Areas of a disc and a triangle are plain geometry; containment is looked at pixel by pixel with
shapely, apart from how envelopes are found.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.envelope import MOST_POINTS, UNIT, Envelopes, ring_at, square_within
from service.domain.enveloping import envelope, envelopes_of
from service.domain.measuring import measure
from service.domain.nesting.outlines import Ring
from service.domain.planes import Plane

ROWS, COLUMNS = np.ogrid[:300, :400]
DISC = (ROWS - 150) ** 2 + (COLUMNS - 200) ** 2 <= 148**2
TRIANGLE = COLUMNS * 300 <= ROWS * 400


def area_share(ring: Ring, mask: np.ndarray) -> float:
    """The ring's share of the box."""
    box = UNIT * UNIT * mask.shape[0] / mask.shape[1]
    return float(shapely.polygons(ring).area / box)


def left_outside(ring: Ring, mask: np.ndarray) -> int:
    """How many held pixels do not lie within the ring, whole."""
    pixel = UNIT / mask.shape[1]
    rows, columns = np.nonzero(mask)
    squares = shapely.box(columns * pixel, rows * pixel, (columns + 1) * pixel, (rows + 1) * pixel)
    grown = shapely.buffer(shapely.polygons(ring), 1)  # coordinates are whole units
    shapely.prepare(grown)
    return int((~shapely.covers(grown, squares)).sum())


@pytest.mark.parametrize(("mask", "share"), [(DISC, np.pi * 148**2 / (300 * 400)), (TRIANGLE, 0.5)])
def test_it_is_close_around_a_figure(mask: np.ndarray, share: float) -> None:
    """All of it inside, and no more than a twentieth of the box beyond it."""
    ring = envelope(mask)
    assert left_outside(ring, mask) == 0
    assert share <= area_share(ring, mask) <= share + 0.05
    assert len(ring) <= MOST_POINTS


@settings(max_examples=40)
@given(
    st.tuples(st.integers(1, 90), st.integers(1, 90)),
    st.lists(st.tuples(*[st.integers(0, 89)] * 2, *[st.integers(1, 40)] * 2), max_size=6),
)
def test_any_figure_lies_in_one_ring(
    size: tuple[int, int], blocks: list[tuple[int, int, int, int]]
) -> None:
    """Separate blocks, lines and single pixels: one simple ring within the box around all."""
    mask = np.zeros(size, np.bool_)
    for top, left, high, wide in blocks:
        mask[top : top + high, left : left + wide] = True
    ring = envelope(mask)
    polygon = shapely.polygons(ring)
    assert shapely.is_valid(polygon)
    assert left_outside(ring, mask) == 0
    left, top, right, low = polygon.bounds
    assert left >= 0
    assert top >= 0
    assert right <= UNIT
    assert low <= UNIT * size[0] / size[1] + 1


def test_parts_far_from_each_other_keep_their_box() -> None:
    """Two dots in opposite corners are no piece to cut around."""
    mask = np.zeros((200, 200), np.bool_)
    mask[:5, :5] = mask[-5:, -5:] = True
    assert area_share(envelope(mask), mask) == 1


def test_a_background_is_printed_but_not_cut() -> None:
    """White around a disc is inked; what a plotter cuts of it is the disc. The halo counts too."""
    rgba = np.full((300, 400, 4), 255, np.uint8)
    rgba[DISC, :3] = (200, 0, 0)
    found = measure(rgba).envelopes
    assert found is not None
    assert area_share(found.inked, DISC) == 1
    assert area_share(found.figure, DISC) < 0.65
    halo = np.where(DISC, 255, 40).astype(np.uint8)
    told = envelopes_of(halo, halo)
    assert (area_share(told.inked, DISC), left_outside(told.figure, DISC)) == (1, 0)
    clear: Plane = np.where(DISC, 255, 0).astype(np.uint8)
    same = envelopes_of(clear, clear)
    assert same.inked == same.figure


def test_at_a_size() -> None:
    """In micrometres, within the print's box, turned over if asked for; none where it fills it."""
    ring = envelope(TRIANGLE)
    plain = ring_at(ring, 80_000, 60_000, mirrored=False)
    turned_over = ring_at(ring, 80_000, 60_000, mirrored=True)
    assert plain is not None
    assert turned_over == tuple((80_000 - x, y) for x, y in plain)
    assert np.max(plain, axis=0) == pytest.approx((80_000, 60_000), abs=1)
    box = Envelopes(inked=envelope(~TRIANGLE | TRIANGLE), figure=ring).inked
    assert ring_at(box, 80_000, 60_000, mirrored=True) is None
    flat = ((0, 0), (UNIT, 0), (UNIT // 2, 9))
    assert ring_at(flat, 1_000, 600, mirrored=False) is None


def test_words_stand_in_the_largest_circle() -> None:
    """That of a right triangle with legs of 30 and 40 mm has a radius of 10 (Euclid, Elements 4.4).

    The legs less the hypotenuse, halved: (30 + 40 - 50) / 2.
    """
    middle, side = square_within(((0, 0), (40_000, 0), (0, 30_000)))
    assert middle == pytest.approx((10_000, 10_000), abs=300)
    assert side == pytest.approx(20_000 / 2**0.5, abs=300)
