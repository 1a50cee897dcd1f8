"""Shapes whose measures follow from geometry, drawn antialiased.

Tolerances are stated beside each check. Widths: half a pixel or 3 %, whichever is larger, from four
pixels up (the accuracy that ``width = 2 * distance - 1`` reaches on a raster at four pixels across,
measured by us). Lengths: 2 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from service.domain.artwork import ShapeMeasures
from service.domain.measuring import measure
from service.domain.planes import Plane
from service.domain.shapes import measure_shapes, outline_length_px

Points = NDArray[np.float64]
Figure = Callable[[Points, Points], NDArray[np.bool_]]


def _drawn(figure: Figure, height: int, width: int, fine: int = 4) -> Plane:
    """Coverage by a figure around the middle: the share of fine x fine points of each pixel."""
    y = (np.arange(height * fine) + 0.5) / fine - height / 2
    x = (np.arange(width * fine) + 0.5) / fine - width / 2
    inside = figure(x[None, :], y[:, None])
    cover = inside.reshape(height, fine, width, fine).mean(axis=(1, 3))
    drawn: Plane = np.rint(cover * 255).astype(np.uint8)
    return drawn


def _rgba(cover: Plane) -> NDArray[np.uint8]:
    rgba = np.zeros((*cover.shape, 4), np.uint8)
    rgba[..., :3] = (30, 60, 90)
    rgba[..., 3] = cover
    return rgba


def _measured(figure: Figure, side: int = 256) -> tuple[ShapeMeasures, int]:
    """The shape measures of a figure, and the width in pixels they are shares of."""
    measures = measure(_rgba(_drawn(figure, side, side)))
    assert measures.shapes is not None
    return measures.shapes, measures.ink_box.width


def _disc(radius: float, x: float = 0, y: float = 0) -> Figure:
    return lambda across, down: (across - x) ** 2 + (down - y) ** 2 <= radius**2


def _bar(thick: float, length: float, degrees: float = 0, x: float = 0, y: float = 0) -> Figure:
    """A bar ``length`` long in the direction ``degrees`` from across."""
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))

    def inside(across: Points, down: Points) -> NDArray[np.bool_]:
        along = (across - x) * cos + (down - y) * sin
        aside = (down - y) * cos - (across - x) * sin
        return (abs(along) <= length / 2) & (abs(aside) <= thick / 2)

    return inside


def _wedge(degrees: float, length: float) -> Figure:
    """A tip of an angle on the left, that ends in a wide bar on the right."""
    half = math.radians(degrees / 2)

    def inside(across: Points, down: Points) -> NDArray[np.bool_]:
        from_tip = across + length / 2
        return (from_tip <= length) & (abs(down) <= from_tip * math.tan(half))

    return inside


def _star(points: int, outer: float, inner: float) -> Figure:
    """A star with its first tip to the right; ``inner`` is where its notches are."""
    half = math.pi / points
    notch_x, notch_y = inner * math.cos(half), inner * math.sin(half)

    def inside(across: Points, down: Points) -> NDArray[np.bool_]:
        angle = abs((np.arctan2(down, across) + half) % (2 * half) - half)
        distance = np.hypot(across, down)
        x, y = distance * np.cos(angle), distance * np.sin(angle)
        return (notch_x - outer) * y - notch_y * (x - outer) >= 0

    return inside


def _both(*figures: Figure) -> Figure:
    return lambda across, down: np.logical_or.reduce([f(across, down) for f in figures])


def _without(figure: Figure, *holes: Figure) -> Figure:
    return lambda across, down: figure(across, down) & ~_both(*holes)(across, down)


def _near(width_px: float) -> object:
    return pytest.approx(width_px, abs=max(0.5, 0.03 * width_px))


@pytest.mark.parametrize("degrees", [0, 17, 22.5, 45])
@pytest.mark.parametrize("thick", [4, 5.5, 9, 24.5, 40])
def test_bar_at_any_angle(thick: float, degrees: float) -> None:
    """A bar's feature is its thickness, its outline 2 (w + l); it has no gap. Geometry."""
    shapes, width = _measured(_bar(thick, 170, degrees))
    assert (shapes.pieces, shapes.holes) == (1, 0)
    assert shapes.smallest_feature * width == _near(min(thick, width))
    assert shapes.outline_length * width == pytest.approx(2 * (thick + 170), rel=0.02)
    assert shapes.smallest_gap == 1


@pytest.mark.parametrize("radius", [10, 31.3, 100])
def test_disc(radius: float) -> None:
    """A disc is as wide as its box and 2 pi r around. Geometry."""
    shapes, width = _measured(_disc(radius, 0.3, 0.4))
    assert (shapes.pieces, shapes.holes, shapes.smallest_gap) == (1, 0, 1)
    assert shapes.smallest_feature * width == _near(2 * radius)
    assert shapes.outline_length * width == pytest.approx(2 * math.pi * radius, rel=0.02)


@pytest.mark.parametrize(("outer", "inner"), [(60, 40), (60, 52), (100, 95.5)])
def test_ring(outer: float, inner: float) -> None:
    """A ring is R - r wide, its gap is the hole, its outline 2 pi (R + r). Geometry."""
    shapes, width = _measured(_without(_disc(outer), _disc(inner)))
    assert (shapes.pieces, shapes.holes) == (1, 1)
    assert shapes.smallest_feature * width == _near(outer - inner)
    assert shapes.smallest_gap * width == _near(2 * inner)
    length = 2 * math.pi * (outer + inner)
    assert shapes.outline_length * width == pytest.approx(length, rel=0.02)


def test_dumbbell_is_as_wide_as_its_neck() -> None:
    """Two discs joined by a bar part at the bar, however short it is. Geometry."""
    for length in (95, 140):
        lobes = _disc(40, -length / 2), _disc(40, length / 2)
        shapes, width = _measured(_both(*lobes, _bar(6, length)))
        assert (shapes.pieces, shapes.holes) == (1, 0)
        assert shapes.smallest_feature * width == _near(6)


def test_waist_of_two_discs() -> None:
    """Two discs of radius 50, 90 apart, part at 2 sqrt(50^2 - 45^2); within 3 px. Geometry.

    The notches are so sharp that pixels fill their last one and a half on each side.
    """
    shapes, width = _measured(_both(_disc(50, -45), _disc(50, 45)))
    assert shapes.smallest_feature * width == pytest.approx(2 * math.sqrt(475), abs=3)


def test_two_pieces_have_a_gap() -> None:
    """The gap between two discs is their distance. Geometry."""
    shapes, width = _measured(_both(_disc(45, -50), _disc(45, 50)))
    assert (shapes.pieces, shapes.holes) == (2, 0)
    assert shapes.smallest_gap * width == _near(10)
    assert shapes.smallest_feature * width == _near(90)


def test_wall_between_two_holes() -> None:
    """The wall between two holes is a feature, the holes are gaps. Geometry."""
    holes = _disc(30, -32.5), _disc(30, 32.5)
    shapes, width = _measured(_without(_bar(150, 230), *holes))
    assert (shapes.pieces, shapes.holes) == (1, 2)
    assert shapes.smallest_feature * width == _near(5)
    assert shapes.smallest_gap * width == _near(60)


def test_wall_between_a_hole_and_the_edge() -> None:
    """A ring that is thin at one place only is as thin as there. Geometry."""
    shapes, width = _measured(_without(_disc(90), _disc(40, 44)))
    assert shapes.holes == 1
    assert shapes.smallest_feature * width == _near(6)


def test_hairline_on_a_big_blob() -> None:
    """A thin line that ends free is found beside a big disc. Geometry."""
    shapes, width = _measured(_both(_disc(60, -40), _bar(4, 130, 17, 40, 20)))
    assert (shapes.pieces, shapes.holes) == (1, 0)
    assert shapes.smallest_feature * width == _near(4)


def test_short_hair_is_found_at_its_own_scale() -> None:
    """A stub 3 to 4 times as long as wide is a feature, though far wider discs forgive it."""
    shapes, width = _measured(_both(_disc(80), _bar(5, 25, 0, 80 + 5)))
    assert shapes.smallest_feature * width == _near(5)


def test_comb() -> None:
    """Teeth and the gaps between them are measured each for itself. Geometry."""
    spine = _bar(30, 200, 0, 0, -60)
    teeth = [_bar(80, 9.5, 0, -96 + 16 * k, -10) for k in range(13)]
    shapes, width = _measured(_both(spine, *teeth))
    assert (shapes.pieces, shapes.holes) == (1, 0)
    assert shapes.smallest_feature * width == _near(9.5)
    assert shapes.smallest_gap * width == _near(6.5)


def test_notch_counts_as_a_gap() -> None:
    """A narrow notch is a gap though it is open; a bay wider than deep is none. Geometry."""
    shapes, width = _measured(_without(_bar(100, 200), _bar(60, 5, 0, 0, -40)))
    assert shapes.holes == 0
    assert shapes.smallest_gap * width == _near(5)
    assert shapes.smallest_feature * width == _near(60)
    shapes, _ = _measured(_without(_bar(100, 200), _bar(60, 60, 0, 0, -40)))
    assert shapes.smallest_gap == 1


def test_bay_with_a_narrow_mouth() -> None:
    """A round bay is as wide as its mouth: a blade's waste cannot leave it otherwise. Geometry."""
    shapes, width = _measured(_without(_bar(160, 200), _disc(50), _bar(60, 7, 0, 0, -70)))
    assert (shapes.pieces, shapes.holes) == (1, 0)
    assert shapes.smallest_gap * width == _near(7)


@pytest.mark.parametrize(
    ("degrees", "is_sharp"), [(16, True), (24, True), (35, False), (60, False)]
)
def test_sharp_tips(degrees: float, is_sharp: bool) -> None:  # noqa: FBT001 - a table's column
    """Tips under 29 degrees are features of a few pixels, others are forgiven.

    A corner of angle a reaches d/2 (1 / sin(a/2) - 1) beyond a disc of diameter d in it, which is
    1.5 d at 29.0 degrees: elementary geometry.
    """
    shapes, width = _measured(_wedge(degrees, 200))
    assert (shapes.smallest_feature * width < 8) == is_sharp


def test_five_pointed_star() -> None:
    """The golden star's tips of 36 degrees are forgiven: its body is 2 x 0.382 R wide.

    Its outline is 2 n sqrt(R^2 + r^2 - 2 R r cos(pi / n)), within 2.5 %: tips lose most.
    """
    inner = 100 * math.sin(math.radians(18)) / math.sin(math.radians(126))
    shapes, width = _measured(_star(5, 100, inner))
    assert (shapes.pieces, shapes.holes, shapes.smallest_gap) == (1, 0, 1)
    assert shapes.smallest_feature * width == _near(2 * inner)
    side = math.sqrt(100**2 + inner**2 - 200 * inner * math.cos(math.pi / 5))
    assert shapes.outline_length * width == pytest.approx(10 * side, rel=0.025)


def test_large_picture() -> None:
    """On a picture of millions of pixels small places count to the pixel just the same."""
    plate = _bar(1_100, 1_500)
    holes = _disc(150, -300, -200), _disc(150, 5, -200), _bar(300, 7, 0, 400.5, 100)
    shapes, width = _shapes_of(_drawn(_without(plate, *holes), 1_240, 1_600, fine=2))
    assert (shapes.pieces, shapes.holes) == (1, 3)
    assert shapes.smallest_feature * width == _near(5)
    assert shapes.smallest_gap * width == _near(7)
    lobes = _disc(300, -330), _disc(300, 330), _disc(20, 0, 400)
    shapes, width = _shapes_of(_drawn(_both(*lobes, _bar(8, 400)), 1_240, 1_600, fine=2))
    assert (shapes.pieces, shapes.holes) == (2, 0)
    assert shapes.smallest_feature * width == _near(8)
    assert shapes.smallest_gap == 1 or shapes.smallest_gap * width > 30


def _shapes_of(cover: Plane) -> tuple[ShapeMeasures, int]:
    measures = measure(_rgba(cover))
    assert measures.shapes is not None
    return measures.shapes, measures.ink_box.width


def test_specks_do_not_count() -> None:
    """Pieces and holes under four pixels are dust; with four they count."""
    cover = np.zeros((60, 60), np.uint8)
    cover[10:50, 10:50] = 255
    cover[2, 2:5] = 255
    cover[5, 5:7] = 255
    cover[30, 30:33] = 0
    cover[20, 20] = cover[21, 21] = 0
    plain = np.zeros((60, 60), np.uint8)
    plain[10:50, 10:50] = 255
    whole = [plain[2:50, 2:50], cover[2:50, 2:50]]
    assert measure_shapes(whole[0]) == measure_shapes(whole[1])
    cover[2, 5], cover[30, 33] = 255, 0
    shapes = measure_shapes(cover[2:50, 2:50])
    assert (shapes.pieces, shapes.holes) == (2, 1)


def test_pieces_hang_together_across_corners() -> None:
    """Ink that touches at a corner is one piece, clear space that does so is two holes."""
    cover = np.zeros((40, 40), np.uint8)
    cover[:20, :20] = cover[20:, 20:] = 255
    assert measure_shapes(cover).pieces == 1
    cover[:] = 255
    cover[10:20, 10:20] = cover[20:30, 20:30] = 0
    assert (measure_shapes(cover).pieces, measure_shapes(cover).holes) == (1, 2)


def test_soft_fade_is_measured_at_half() -> None:
    """Ink that fades out over 100 pixels ends where it is half covered."""
    side = 500
    middle = np.arange(side) - side / 2 + 0.5
    distance = np.hypot(middle[None, :], middle[:, None])
    cover = np.clip(255 - (distance - 100) * 2.55, 0, 255).astype(np.uint8)
    shapes, width = _shapes_of(cover)
    assert shapes.smallest_feature * width == _near(2 * 150)
    assert shapes.outline_length * width == pytest.approx(2 * math.pi * 150, rel=0.02)


def test_unantialiased_edges() -> None:
    """Hard edges give lengths within 2 %, and widths within a pixel or 3 %."""
    for figure, length, thick in (
        (_disc(70), 140 * math.pi, 140),
        (_bar(12, 170, 17), 364, 12),
        (_bar(30, 170, 22.5), 400, 30),
    ):
        cover = np.where(_drawn(figure, 256, 256) >= 128, 255, 0).astype(np.uint8)
        shapes, width = _shapes_of(cover)
        assert shapes.outline_length * width == pytest.approx(length, rel=0.02)
        assert shapes.smallest_feature * width == pytest.approx(thick, abs=max(1, 0.03 * thick))


@pytest.mark.parametrize("alpha", [255, 200, 90, 3])
@pytest.mark.parametrize(("height", "width"), [(1, 1), (1, 300), (300, 1), (2, 2), (40, 60)])
def test_full_box(height: int, width: int, alpha: int) -> None:
    """A box full of ink is one piece; one too faint to be ink, or too small, is taken as full."""
    shapes, _ = _shapes_of(np.full((height, width), alpha, np.uint8))
    assert (shapes.pieces, shapes.holes, shapes.smallest_gap) == (1, 0, 1)
    assert shapes.smallest_feature * width == _near(min(height, width))
    corners = pytest.approx(2 * (height + width), abs=4)
    assert shapes.outline_length * width == corners


def test_outline_of_very_many_cells_is_sampled() -> None:
    """A picture all edges is measured on some of them, to within 1 %."""
    tile = _drawn(_disc(3), 8, 8)
    few, many = np.tile(tile, (20, 20)), np.tile(tile, (200, 200))
    assert outline_length_px(many) == pytest.approx(100 * outline_length_px(few), rel=0.01)


@settings(max_examples=5, deadline=None)
@given(
    thick=st.floats(4, 14),
    lobe=st.floats(20, 40),
    degrees=st.floats(0, 180),
    turns=st.integers(1, 3),
)
def test_turning_and_scaling(thick: float, lobe: float, degrees: float, turns: int) -> None:
    """Quarter turns keep the pixels of every measure, twice the pixels keep the shares.

    Widths to within a pixel of the smaller picture, lengths to within 2 %.
    """
    x, y = 50 * math.cos(math.radians(degrees)), 50 * math.sin(math.radians(degrees))
    figure = _both(_disc(lobe, x, y), _disc(lobe, -x, -y), _bar(thick, 100, degrees))
    cover = _drawn(figure, 190, 190, fine=8)
    plain, width = _shapes_of(cover)
    assert plain.smallest_feature * width == _near(thick)
    larger = _drawn(lambda across, down: figure(across / 2, down / 2), 380, 380)
    for changed, scale in ((np.rot90(cover, turns), 1), (larger, 2)):
        shapes, changed_width = _shapes_of(changed)
        assert (shapes.pieces, shapes.holes) == (plain.pieces, plain.holes)
        length = plain.outline_length * width
        assert shapes.outline_length * changed_width / scale == pytest.approx(length, rel=0.02)
        feature = shapes.smallest_feature * changed_width / scale
        assert feature == pytest.approx(plain.smallest_feature * width, abs=1)


@settings(max_examples=5, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    margins=st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(0, 9), st.integers(1, 9)),
)
def test_clear_border_changes_nothing(seed: int, margins: tuple[int, int, int, int]) -> None:
    """Clear space around a picture changes none of its shapes, whatever the picture."""
    numbers = np.random.default_rng(seed)
    coarse = numbers.integers(0, 2, (5, 6), dtype=np.uint8).repeat(7, 0).repeat(7, 1)
    cover = coarse * numbers.integers(100, 256, dtype=np.uint8)
    cover[0, 0] = 255
    top, bottom, left, right = margins
    framed = np.pad(cover, ((top, bottom), (left, right)))
    assert _shapes_of(framed) == _shapes_of(cover)


@pytest.mark.parametrize(("width", "height"), [(1, 1), (1, 40), (40, 1), (3, 3), (60, 25)])
def test_a_plain_rectangle_is_known_exactly(width: int, height: int) -> None:
    """Its sides and breadth, from geometry; a single pixel too, and one almost opaque."""
    for cover in (255, 251):
        shapes = measure_shapes(np.full((height, width), cover, np.uint8))
        assert (shapes.pieces, shapes.holes, shapes.smallest_gap) == (1, 0, 1)
        assert shapes.outline_length == 2 * (width + height) / width
        assert shapes.smallest_feature == min(1, height / width)
