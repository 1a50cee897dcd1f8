"""Shape measures against published figures and against scikit-image.

scikit-image counts components, follows outlines and finds middle lines on its own; widths are
checked by the definition itself, with scikit-image's erosion and dilation by true discs.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from skimage import data, filters, measure, morphology

from service.domain.planes import Plane
from service.domain.shapes import measure_shapes, outline_length_px, without_specks

Mask = NDArray[np.bool_]
Points = NDArray[np.float64]
Figure = Callable[[Points, Points], Mask]

# scikit-image is not annotated: what is used of it, as it is used here.
label: Callable[..., NDArray[np.int64]] = measure.label
euler_number: Callable[..., int] = measure.euler_number
find_contours: Callable[..., list[Points]] = measure.find_contours
medial_axis: Callable[..., tuple[Mask, Points]] = morphology.medial_axis
isotropic_erosion: Callable[..., Mask] = morphology.isotropic_erosion
isotropic_dilation: Callable[..., Mask] = morphology.isotropic_dilation

horse: Callable[[], Mask] = data.horse
gaussian: Callable[..., Points] = filters.gaussian

TAU = 1.5
"""How far, in diameters, a figure may lie beyond a disc: design choice, as in the measures."""


def _points(side: int, fine: int) -> tuple[Points, Points]:
    along = (np.arange(side * fine) + 0.5) / fine - side / 2
    return along[None, :], along[:, None]


def _drawn(figure: Figure, side: int = 200, fine: int = 8) -> Plane:
    """Coverage of each pixel by a figure, in the smallest box that holds it."""
    inside = figure(*_points(side, fine))
    cover = np.rint(inside.reshape(side, fine, side, fine).mean(axis=(1, 3)) * 255)
    rows, columns = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
    box: Plane = cover[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1].astype(np.uint8)
    return box


def _disc(radius: float, x: float = 0, y: float = 0) -> Figure:
    return lambda across, down: (across - x) ** 2 + (down - y) ** 2 <= radius**2


def _bar(thick: float, length: float, degrees: float = 0) -> Figure:
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))

    def inside(across: Points, down: Points) -> Mask:
        along, aside = across * cos + down * sin, down * cos - across * sin
        return (abs(along) <= length / 2) & (abs(aside) <= thick / 2)

    return inside


def _ring(outer: float, inner: float) -> Figure:
    return lambda across, down: _disc(outer)(across, down) & ~_disc(inner)(across, down)


def _star(points: int, outer: float, inner: float) -> Figure:
    half = math.pi / points
    x, y = inner * math.cos(half), inner * math.sin(half)

    def inside(across: Points, down: Points) -> Mask:
        angle = abs((np.arctan2(down, across) + half) % (2 * half) - half)
        distance = np.hypot(across, down)
        place = distance * np.cos(angle) - outer, distance * np.sin(angle)
        return (x - outer) * place[1] - y * place[0] >= 0

    return inside


GOLDEN = math.sin(math.radians(18)) / math.sin(math.radians(126))


# Source: perimetric complexity P^2 / (4 pi A), Attneave & Arnoult, Psychological Bulletin, 1956, as
# used by Watson, 2012: a disc 1, a square 4 / pi = 1.273, a ring of twice the inner radius 3, the
# golden star 3.742. The values are computed from the formula and geometry.
@pytest.mark.parametrize(
    ("figure", "complexity"),
    [
        (_disc(90), 1.0),
        (_bar(150, 150), 1.273),
        (_bar(120, 120, 30), 1.273),
        (_ring(90, 45), 3.0),
        (_star(5, 95, 95 * GOLDEN), 3.742),
    ],
)
def test_perimetric_complexity(figure: Figure, complexity: float) -> None:
    """Outline length squared over 4 pi times the area, as published; within 4 %, twice length's."""
    cover = _drawn(figure)
    length = measure_shapes(cover).outline_length * cover.shape[1]
    assert length**2 / (4 * math.pi * cover.sum() / 255) == pytest.approx(complexity, rel=0.04)


@settings(max_examples=40, deadline=None)
@given(
    height=st.integers(1, 40),
    width=st.integers(1, 40),
    seed=st.integers(0, 2**32),
    share=st.sampled_from([0.1, 0.3, 0.5, 0.7, 0.9]),
)
def test_counts_of_any_mask(height: int, width: int, seed: int, share: float) -> None:
    """Pieces and holes of four pixels and more are the components that scikit-image labels."""
    ink = np.random.default_rng(seed).random((height, width)) < share
    pieces, holes = _sizes(np.pad(ink, 1), 2), _sizes(~np.pad(ink, 1), 1)
    cleaned, piece_count, hole_count = without_specks(ink.astype(np.uint8) * 255)
    if (pieces >= 4).sum() == 0:
        assert (piece_count, hole_count, int(cleaned.min())) == (1, 0, 255)
        return
    assert (piece_count, hole_count) == ((pieces >= 4).sum(), (holes >= 4).sum() - 1)
    # Outside Euler's sum, specks are the only difference between the mask and what is left of it.
    assert euler_number(cleaned >= 128, connectivity=2) == piece_count - hole_count


def _sizes(mask: Mask, connectivity: int) -> NDArray[np.int64]:
    sizes: NDArray[np.int64] = np.bincount(label(mask, connectivity=connectivity).ravel())[1:]
    return sizes


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32), count=st.integers(1, 6))
def test_outline_is_that_of_marching_squares(seed: int, count: int) -> None:
    """On antialiased pictures the length is that of scikit-image's contours, within 0.01 %."""
    numbers = np.random.default_rng(seed)
    discs = [_disc(numbers.uniform(3, 30), *numbers.uniform(-40, 40, 2)) for _ in range(count)]
    cover = _drawn(lambda x, y: np.logical_or.reduce([disc(x, y) for disc in discs]), 150, 4)
    lines = find_contours(np.pad(cover, 2).astype(float), 127.5, "high")
    length = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)
    assert outline_length_px(cover) == pytest.approx(length, rel=0.0001)


@pytest.mark.parametrize(
    "figure", [_bar(14, 150), _bar(9, 140, 17), _bar(21, 140, 45), _ring(80, 68), _ring(60, 35)]
)
def test_width_along_the_middle_line(figure: Figure) -> None:
    """Where width is the same all along, it is twice the distance on the middle line.

    Within 1.2 px, which is how far 2 * distance - 1 itself may be off on a raster.
    """
    cover = _drawn(figure)
    shapes = measure_shapes(cover)
    mask = np.pad(cover >= 128, 2)
    middle, distance = medial_axis(mask, return_distance=True, rng=0)
    # A pixel counts from its middle: the edge is half a pixel nearer than the next pixel outside.
    width = 2 * np.percentile(distance[middle], 90) - 1
    assert shapes.smallest_feature * cover.shape[1] == pytest.approx(width, abs=1.2)


def _both(*figures: Figure) -> Figure:
    return lambda across, down: np.logical_or.reduce([f(across, down) for f in figures])


def _at(figure: Figure, x: float, y: float) -> Figure:
    return lambda across, down: figure(across - x, down - y)


@pytest.mark.parametrize(
    "figure",
    [
        _bar(11, 120, 22.5),
        _ring(60, 47),
        _both(_disc(35, -45), _disc(35, 45), _bar(9, 90)),
        _both(_disc(55), _at(_bar(7, 80, 30), 50, 30)),
        _star(5, 90, 90 * GOLDEN),
        _star(7, 90, 60),
        lambda x, y: _bar(100, 160)(x, y) & ~_disc(30, -33)(x, y) & ~_disc(30, 35)(x, y),
    ],
)
def test_smallest_feature_by_its_definition(figure: Figure) -> None:
    """A disc a tenth narrower goes everywhere; one a tenth wider does not.

    The figure is the exact one at twice the pixels, eroded and dilated by scikit-image.
    """
    fine = 2
    mask = np.pad(figure(*_points(200, fine)), 8)
    cover = _drawn(figure)
    width = measure_shapes(cover).smallest_feature * cover.shape[1] * fine
    assert not _is_too_narrow(mask, 0.9 * width)
    assert _is_too_narrow(mask, 1.1 * width)


@pytest.mark.parametrize("is_ink", [True, False])
def test_width_of_the_standard_silhouette_by_its_definition(is_ink: bool) -> None:  # noqa: FBT001 - a table's column
    """The horse shipped with scikit-image, and the plate it is cut from: both have thin places.

    Enlarged to four times and smoothed, for a blade follows curves and not pixels.
    """
    shape = ~horse() if is_ink else horse()
    grey = gaussian(shape.repeat(4, 0).repeat(4, 1).astype(float), 2)
    rows, columns = (np.flatnonzero((grey >= 0.5).any(axis=axis)) for axis in (1, 0))
    grey = grey[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    cover = np.rint(grey * 255).astype(np.uint8)
    width = measure_shapes(cover).smallest_feature * cover.shape[1]
    mask = np.pad(cover >= 128, 8)
    assert 3 < width < 10
    assert not _is_too_narrow(mask, 0.85 * width)
    assert _is_too_narrow(mask, 1.15 * width)


def _is_too_narrow(mask: Mask, diameter: float) -> bool:
    """Whether pieces or holes change, or some lies too far from the opening by a disc."""
    core = isotropic_erosion(mask, diameter / 2)
    counts = [
        (label(m, connectivity=2).max(), label(~m, connectivity=1).max()) for m in (mask, core)
    ]
    if counts[0] != counts[1]:
        return True
    reached = isotropic_dilation(core, (1 + 2 * TAU) * diameter / 2)
    return bool((mask & ~reached).any())
