"""Cut outlines of figures whose area and shape follow from geometry.

Tolerances: an area may be off by the outline's length times the tolerance, and in practice far
less; shapes are drawn antialiased, ten pixels to the millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from service.domain.contours import contours
from service.domain.cut_outline import (
    CutOutline,
    CutWish,
    NothingLeft,
    OutlineTooFine,
    Piece,
    cut_outline,
    picture_outline,
)
from service.domain.planes import Plane
from service.domain.shapes import measure_shapes, without_specks

Points = NDArray[np.float64]
Figure = Callable[[Points, Points], NDArray[np.bool_]]

SIDE = 300
WIDTH_MM = 30.0
PX_MM = WIDTH_MM / SIDE


def _drawn(figure: Figure, fine: int = 5) -> Plane:
    """Coverage by a figure given in mm from the middle of a square plane."""
    along = ((np.arange(SIDE * fine) + 0.5) / fine - SIDE / 2) * PX_MM
    inside = figure(along[None, :], along[:, None])
    cover = inside.reshape(SIDE, fine, SIDE, fine).mean(axis=(1, 3))
    drawn: Plane = np.rint(cover * 255).astype(np.uint8)
    return drawn


def _disc(radius: float, x: float = 0, y: float = 0) -> Figure:
    return lambda across, down: (across - x) ** 2 + (down - y) ** 2 <= radius**2


def _ring(outer: float, inner: float) -> Figure:
    return lambda across, down: _disc(outer)(across, down) & ~_disc(inner)(across, down)


def _box(width: float, height: float, x: float = 0) -> Figure:
    return lambda across, down: (abs(across - x) <= width / 2) & (abs(down) <= height / 2)


def _star(points: int, outer: float, inner: float) -> Figure:
    half = math.pi / points
    x, y = inner * math.cos(half), inner * math.sin(half)

    def inside(across: Points, down: Points) -> NDArray[np.bool_]:
        angle = abs((np.arctan2(down, across) + half) % (2 * half) - half)
        far = np.hypot(across, down)
        return (x - outer) * far * np.sin(angle) - y * (far * np.cos(angle) - outer) >= 0

    return inside


def _comb(across: Points, down: Points) -> NDArray[np.bool_]:
    """A back of 24 x 4 mm and six teeth of 2 x 12 mm, 4 mm apart."""
    back = (abs(across) <= 12) & (down >= -8) & (down <= -4)
    teeth = (abs(across) <= 12) & ((across + 12) % 4 <= 2) & (down >= -4) & (down <= 8)
    return back | teeth


def _cut(figure: Figure | Plane, **changes: float) -> CutOutline:
    cover = figure if isinstance(figure, np.ndarray) else _drawn(figure)
    return cut_outline(cover, CutWish(WIDTH_MM, **changes))  # type: ignore[arg-type] # no flags


def _sum(ring: Points) -> float:
    """Area inside a ring, positive if it runs clockwise as seen (shoelace formula)."""
    x, y = ring.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _area(outline: CutOutline) -> float:
    return sum(_sum(piece.outer) + sum(map(_sum, piece.holes)) for piece in outline.pieces)


def _rings(outline: CutOutline) -> list[Points]:
    return [ring for piece in outline.pieces for ring in (piece.outer, *piece.holes)]


def _length(outline: CutOutline) -> float:
    return sum(
        float(np.hypot(*(ring - np.roll(ring, 1, axis=0)).T).sum()) for ring in _rings(outline)
    )


def _shape(outline: CutOutline) -> shapely.MultiPolygon:
    return shapely.MultiPolygon([(piece.outer, piece.holes) for piece in outline.pieces])


# Geometry: pi r^2; pi (R^2 - r^2); w h; n R r sin(pi / n); back and teeth.
@pytest.mark.parametrize(
    ("figure", "area_mm2", "holes"),
    [
        (_disc(12), math.pi * 144, 0),
        (_disc(2.03, 3.31, 1.17), math.pi * 2.03**2, 0),
        (_ring(13, 9), math.pi * 88, 1),
        (_box(20, 7.45), 149, 0),
        (_star(5, 14, 6), 5 * 14 * 6 * math.sin(math.pi / 5), 0),
        (_comb, 24 * 4 + 6 * 2 * 12, 0),
    ],
)
@pytest.mark.parametrize("tolerance_mm", [0.01, 0.05])
def test_area_of_known_shapes(
    figure: Figure, area_mm2: float, holes: int, tolerance_mm: float
) -> None:
    """The area inside is the shape's, within a quarter of the tolerance all along the outline."""
    outline = _cut(figure, tolerance_mm=tolerance_mm)
    (piece,) = outline.pieces
    assert len(piece.holes) == holes
    slack = 0.25 * tolerance_mm * _length(outline) + 0.001 * area_mm2
    assert _area(outline) == pytest.approx(area_mm2, abs=slack)


@pytest.mark.parametrize("offset_mm", [-5, -0.5, 0.5, 2, 5, 20])
def test_offset_disc(offset_mm: float) -> None:
    """A disc grows to a disc: every point lies at r + offset, and the area is pi (r + offset)^2."""
    (piece,) = _cut(_disc(10), offset_mm=offset_mm).pieces
    radius = 10 + offset_mm
    middle = WIDTH_MM / 2
    assert np.hypot(*(piece.outer - middle).T) == pytest.approx(radius, abs=0.05)
    assert _sum(piece.outer) == pytest.approx(math.pi * radius**2, rel=0.01)


@pytest.mark.parametrize("offset_mm", [0.5, 2, 4.5, 7.9])
def test_hole_shrinks_with_bleed(offset_mm: float) -> None:
    """A ring's hole has the radius r - offset, also where the offset is long; geometry."""
    (piece,) = _cut(_ring(13, 8), offset_mm=offset_mm).pieces
    (hole,) = piece.holes
    assert np.hypot(*(hole - WIDTH_MM / 2).T) == pytest.approx(8 - offset_mm, abs=0.05)


def test_hole_closes_with_bleed() -> None:
    """A hole narrower than twice the offset vanishes."""
    (piece,) = _cut(_ring(13, 4), offset_mm=4.2).pieces
    assert piece.holes == ()
    assert _sum(piece.outer) == pytest.approx(math.pi * 17.2**2, rel=0.01)


def test_pieces_merge_and_part() -> None:
    """Two bars 2 mm apart are one piece with 1.2 mm of bleed; a thin bridge parts with an inset."""
    bars = _drawn(lambda x, y: _box(6, 16, -4)(x, y) | _box(6, 16, 4)(x, y))
    assert [len(_cut(bars, offset_mm=o).pieces) for o in (0, 0.8, 1.2)] == [2, 2, 1]
    bridged = np.maximum(bars, _drawn(_box(4, 1)))
    assert [len(_cut(bridged, offset_mm=o).pieces) for o in (0, -0.3, -0.7)] == [1, 1, 2]


@pytest.mark.parametrize("depth_mm", [2, 5])
def test_nothing_is_left_inside(depth_mm: float) -> None:
    """An inset deeper than the figure is wide is refused by name."""
    with pytest.raises(NothingLeft, match=f"nothing is left {depth_mm} mm inside"):
        _cut(_box(20, 3), offset_mm=-depth_mm)


@pytest.mark.parametrize("offset_mm", [-0.4, 0, 1.5])
def test_mirrored(offset_mm: float) -> None:
    """Mirrored is the same outline with left and right swapped within the ink box."""
    cover = _drawn(lambda x, y: _ring(13, 9)(x, y) | _box(3, 3, 5)(x, y))
    plain = _shape(cut_outline(cover, CutWish(WIDTH_MM, offset_mm)))
    mirrored = _shape(cut_outline(cover, CutWish(WIDTH_MM, offset_mm, mirrored=True)))
    swapped = shapely.transform(plain, lambda at: np.asarray(at * (-1, 1) + (WIDTH_MM, 0)))
    assert shapely.hausdorff_distance(swapped, mirrored) < 0.0015


def _blobs(seed: int, *, soft: bool) -> Plane:
    """Random spots, antialiased or not."""
    numbers = np.random.default_rng(seed)
    fine = 4 if soft else 1
    along = (np.arange(80 * fine) + 0.5) / fine
    height = np.zeros((80 * fine, 80 * fine))
    for x, y, wide, deep in numbers.uniform((0, 0, 3, -1), (80, 80, 9, 1.2), (25, 4)):
        far = (along[None, :] - x) ** 2 + (along[:, None] - y) ** 2
        height += deep * np.exp(-far / wide**2)
    inside = (height > 0.15).reshape(80, fine, 80, fine)
    spots: Plane = np.rint(inside.mean(axis=(1, 3)) * 255).astype(np.uint8)
    return spots


@settings(max_examples=16)
@given(
    seed=st.integers(0, 2**32),
    soft=st.booleans(),
    tolerance_mm=st.sampled_from([0.01, 0.05, 0.3, 1.0]),
)
def test_outline_lies_within_its_tolerance(seed: int, soft: bool, tolerance_mm: float) -> None:  # noqa: FBT001
    """The Hausdorff distance to the exact outline at half coverage is at most the tolerance.

    Counts are those of the measures, all is valid, whole steps, and no point comes twice.
    """
    cover = without_specks(_blobs(seed, soft=soft))[0]
    outline = cut_outline(cover, CutWish(20, tolerance_mm=tolerance_mm))
    exact = shapely.MultiLineString(
        [np.vstack([c.points, c.points[:1]]) * 20 / 80 for c in contours(cover)]
    )
    cut = shapely.MultiLineString([np.vstack([r, r[:1]]) for r in _rings(outline)])
    apart = shapely.hausdorff_distance(exact, cut, densify=0.34)
    assert apart <= tolerance_mm + 1e-9
    shapes = measure_shapes(cover)
    counts = len(outline.pieces), sum(len(piece.holes) for piece in outline.pieces)
    assert counts == (shapes.pieces, shapes.holes)
    assert shapely.is_valid(_shape(outline))
    for ring in _rings(outline):
        assert np.allclose(ring * 1_000, np.round(ring * 1_000), atol=1e-6)
        assert (ring != np.roll(ring, 1, axis=0)).any(axis=1).all()
        assert len(ring) >= 3


@settings(max_examples=10)
@given(seed=st.integers(0, 2**32), offset_mm=st.sampled_from([-0.5, -0.2, 0.3, 1.0, 3.0]))
def test_offset_of_anything(seed: int, offset_mm: float) -> None:
    """All of an offset outline lies at the offset from the exact one, on the right side."""
    cover = without_specks(_blobs(seed, soft=True))[0]
    exact = _shape(cut_outline(cover, CutWish(20, tolerance_mm=0.01)))
    try:
        outline = cut_outline(cover, CutWish(20, offset_mm))
    except NothingLeft:
        assert shapely.is_empty(shapely.buffer(exact, offset_mm - 0.06))
        return
    points = shapely.points(np.vstack(_rings(outline)))
    assert shapely.distance(points, exact.boundary) == pytest.approx(abs(offset_mm), abs=0.06)
    assert (shapely.contains(exact, points) == (offset_mm < 0)).all()
    assert shapely.is_valid(_shape(outline))


@pytest.mark.parametrize("figure", [_disc(12), _ring(13, 9), _box(20, 7.5), _comb])
def test_length_is_that_of_the_measures(figure: Figure) -> None:
    """The cut length is the measured outline length; within 1.5 %."""
    cover = _drawn(figure)
    measured = measure_shapes(cover).outline_length * WIDTH_MM
    assert _length(_cut(cover, tolerance_mm=0.01)) == pytest.approx(measured, rel=0.015)


def test_stairs_are_evened_out() -> None:
    """A slanted edge without antialiasing is cut straight where the tolerance covers its stairs."""
    slanted = ((np.arange(300)[None, :] > 60 + np.arange(300)[:, None] / 7.3) * 255).astype(
        np.uint8
    )
    (piece,) = _cut(slanted, tolerance_mm=0.12).pieces
    assert len(piece.outer) < 10


def test_inner_pieces_come_first_then_from_left_to_right() -> None:
    """A disc in a ring's hole is cut before the ring; the rest goes from left to right."""

    def figure(x: Points, y: Points) -> NDArray[np.bool_]:
        ringed = _disc(5, 6)(x, y) & ~_disc(4, 6)(x, y) | _disc(1, 6)(x, y)
        return ringed | _disc(2, -12)(x, y) | _disc(2, -6)(x, y)

    outline = _cut(figure)
    assert [round(float(p.outer[:, 0].mean()) - 15) for p in outline.pieces] == [6, -12, -6, 6]
    assert [len(piece.holes) for piece in outline.pieces] == [0, 0, 0, 1]
    for piece in outline.pieces:
        assert _sum(piece.outer) > 0
        assert all(_sum(hole) < 0 for hole in piece.holes)
        for ring in (piece.outer, *piece.holes):
            assert ring[0, 1] == ring[:, 1].min()


def test_the_same_picture_gives_the_same_outline() -> None:
    """Every point comes again in the same place of the same ring."""
    cover = _blobs(7, soft=True)
    first, second = (cut_outline(cover, CutWish(50, 1)) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(_rings(first), _rings(second), strict=True))


def test_the_figure_on_an_opaque_background() -> None:
    """On a background box the figure is cut, as it is measured, and not the box."""
    cover = _drawn(_disc(9))[..., None]
    rgba = np.full((SIDE, SIDE, 4), 255, np.uint8)
    rgba[..., :3] = 250 - (cover.astype(int) * 200 // 255).astype(np.uint8)
    outline = picture_outline(rgba, CutWish(WIDTH_MM))
    assert _area(outline) == pytest.approx(math.pi * 81, rel=0.02)
    rgba[...] = 255
    (box,) = picture_outline(rgba, CutWish(WIDTH_MM)).pieces
    assert _sum(box.outer) == pytest.approx(WIDTH_MM**2, rel=1e-6)


def test_specks_are_not_cut() -> None:
    """Ink and clear spots of fewer than four pixels are left out, as in the measures."""
    cover = _drawn(_box(10, 10))
    cover[150:151, 150:153] = 0
    cover[10, 10:13] = 255
    (piece,) = _cut(cover).pieces
    assert piece.holes == ()
    (all_over,) = _cut(np.pad(np.full((1, 3), 255, np.uint8), 20)).pieces
    assert _sum(all_over.outer) == pytest.approx(WIDTH_MM * WIDTH_MM * 41 / 43, rel=1e-4)


def test_grain_is_refused() -> None:
    """Noise has more outlines than are cut: refused at once, before they are followed."""
    grain = np.random.default_rng(1).integers(0, 2, (1200, 1200), np.uint8) * np.uint8(255)
    with pytest.raises(OutlineTooFine, match="more than"):
        _cut(grain)
    dots = np.tile(np.pad(np.full((2, 2), 255, np.uint8), 1), (150, 150))
    with pytest.raises(OutlineTooFine, match="10,000 outlines"):
        _cut(dots)


def test_margin_is_the_bleed() -> None:
    """An outline with bleed reaches out of the ink box by the bleed, without one not at all."""
    full = np.full((40, 80), 255, np.uint8)
    for offset_mm, margin in ((2, 2), (0, 0), (-1, 0)):
        outline = cut_outline(full, CutWish(80, offset_mm))
        points = np.vstack(_rings(outline))
        assert outline.margin_mm == margin
        assert outline.height_mm == 40
        assert points.min(axis=0) == pytest.approx([-offset_mm, -offset_mm], abs=0.05)
        assert points.max(axis=0) == pytest.approx([80 + offset_mm, 40 + offset_mm], abs=0.05)
        assert isinstance(outline.pieces[0], Piece)


def test_thousands_of_holes_are_offset_soon() -> None:
    """Each hole closes by the offset: 2,401 squares of 8 pixels, 2 apart, 0.8 mm wide at 49 mm.

    Areas from geometry: a square shrunk on all sides, the sheet grown with round corners. Where all
    rings were offset at once this took minutes.
    """
    sheet = np.full((490, 490), 255, np.uint8)
    for row in range(49):
        for column in range(49):
            sheet[10 * row + 1 : 10 * row + 9, 10 * column + 1 : 10 * column + 9] = 0
    for offset in (0.2, -0.03):
        outline = cut_outline(sheet, CutWish(49.0, offset, 0.02))
        (piece,) = outline.pieces
        assert len(piece.holes) == 49**2
        grown = shapely.box(0, 0, 49, 49).buffer(offset).area
        holes = 49**2 * (0.8 - 2 * offset) ** 2
        area = shapely.Polygon(piece.outer, piece.holes).area
        # Corners of the sheet and of holes are cut or rounded by about a pixel, 0.1 mm.
        assert area == pytest.approx(grown - holes, rel=0.03)


def test_pixels_far_below_the_tolerance_count_together() -> None:
    """A disc of 30,000 dots in 1 mm within 1 mm is cut soon, within its box, by few points."""
    dots = _drawn(lambda x, y: (np.hypot(x, y) < 15) & (np.sin(20 * x) * np.sin(20 * y) > -0.5))
    wide = np.kron(dots, np.ones((4, 4), np.uint8))
    outline = cut_outline(wide, CutWish(1.0, 0.0, 1.0))
    assert sum(len(piece.outer) for piece in outline.pieces) < 200
    assert outline.height_mm == 1.0
    points = np.concatenate([piece.outer for piece in outline.pieces])
    assert points.min() >= 0
    assert points.max() <= 1
