"""Measures of pictures whose measures are known by construction."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.colour import delta_e_2000_pair, lab_from_srgb, lab_from_srgb_hex
from service.domain.measuring import SAMPLE_PIXELS, measure, sample_inked
from service.domain.planes import Pixels


def _sheet(height: int, width: int, colour: tuple[int, int, int, int]) -> Pixels:
    return np.full((height, width, 4), colour, dtype=np.uint8)


def _disc(
    side: int, radius: float, ink: tuple[int, int, int], paper: tuple[int, int, int]
) -> Pixels:
    """A disc with an antialiased edge, by the share of 8 x 8 points of each pixel inside it."""
    fine = (np.arange(side * 8) + 0.5) / 8 - side / 2
    inside = (fine[:, None] ** 2 + fine[None, :] ** 2 <= radius**2).astype(np.float64)
    cover = inside.reshape(side, 8, side, 8).mean(axis=(1, 3))[..., None]
    rgb = np.rint(cover * ink + (1 - cover) * paper)
    return np.dstack([rgb, np.full((side, side), 255)]).astype(np.uint8)


def _palette(rgba: Pixels) -> dict[str, float]:
    return {colour.srgb: colour.share for colour in measure(rgba).palette}


def test_size_and_ink_box() -> None:
    """The ink box is the tightest around everything not fully transparent."""
    rgba = _sheet(40, 60, (0, 0, 0, 0))
    rgba[10:25, 20:50] = (200, 0, 0, 255)
    rgba[30, 55] = (0, 0, 0, 1)
    measures = measure(rgba)
    assert (measures.width_px, measures.height_px) == (60, 40)
    box = measures.ink_box
    assert (box.left, box.top, box.width, box.height) == (20, 10, 36, 21)


def test_alpha_shares() -> None:
    """Alpha above 250 is opaque, 5 to 250 soft, less is neither; all within the ink box."""
    rgba = _sheet(1, 10, (9, 9, 9, 255))
    rgba[0, :6, 3] = (1, 4, 5, 128, 250, 251)
    measures = measure(rgba)
    assert measures.has_alpha
    assert measures.opaque_share == pytest.approx(0.5)
    assert measures.soft_alpha_share == pytest.approx(0.3)


def test_opaque_picture() -> None:
    """A picture without any transparency says so, and its ink box is all of it."""
    measures = measure(_sheet(7, 5, (10, 20, 30, 255)))
    assert not measures.has_alpha
    assert measures.opaque_share == 1
    assert (measures.ink_box.width, measures.ink_box.height) == (5, 7)


def test_near_white_is_by_lightness() -> None:
    """The near-white share is that of colours with L* above 97, exactly."""
    codes = np.random.default_rng(5).integers(225, 256, (60, 60, 3), dtype=np.uint8)
    rgba = np.dstack([codes, np.full((60, 60), 255, dtype=np.uint8)])
    expected = float((lab_from_srgb(codes)[..., 0] > 97).mean())
    assert 0.05 < expected < 0.95
    assert measure(rgba).near_white_share == pytest.approx(expected)


def test_ink_counts_by_its_alpha() -> None:
    """A pixel of alpha 85 is a third of a pixel of ink."""
    rgba = _sheet(1, 2, (255, 255, 255, 255))
    rgba[0, 1] = (0, 0, 0, 85)
    measures = measure(rgba)
    assert measures.near_white_share == pytest.approx(0.75)
    assert [(c.srgb, c.share) for c in measures.palette] == [("#ffffff", 0.75), ("#000000", 0.25)]


def test_hidden_colours_do_not_count() -> None:
    """What lies under full transparency is no ink."""
    rgba = _sheet(10, 10, (255, 255, 255, 0))
    rgba[4:6, 4:6] = (10, 80, 160, 255)
    measures = measure(rgba)
    assert measures.near_white_share == 0
    assert _palette(rgba) == {"#0a50a0": 1.0}


def test_flat_colours_are_exact() -> None:
    """Flat colours come back as they are, with their shares of the area, largest first."""
    rgba = _sheet(100, 100, (255, 255, 255, 255))
    rgba[:40] = (224, 16, 32, 255)
    rgba[40:60] = (16, 48, 192, 255)
    rgba[60:65, :20] = (32, 192, 64, 255)
    assert list(_palette(rgba).items()) == [
        ("#e01020", 0.4),
        ("#ffffff", 0.39),
        ("#1030c0", 0.2),
        ("#20c040", 0.01),
    ]


def test_near_identical_colours_are_one() -> None:
    """Two reds under 4 CIEDE2000 apart are one colour, two over 4 are two."""
    rgba = _sheet(10, 10, (200, 30, 40, 255))
    rgba[:3] = (206, 34, 44, 255)
    assert delta_e_2000_pair(lab_from_srgb_hex("#c81e28"), lab_from_srgb_hex("#ce222c")) < 4
    assert _palette(rgba) == {"#c81e28": 1.0}
    rgba[:3] = (230, 60, 44, 255)
    assert delta_e_2000_pair(lab_from_srgb_hex("#c81e28"), lab_from_srgb_hex("#e63c2c")) > 4
    assert _palette(rgba) == {"#c81e28": 0.7, "#e63c2c": 0.3}


@pytest.mark.parametrize("radius", [6, 15, 60])
def test_antialiasing_is_no_colour(radius: float) -> None:
    """The soft edge of a disc adds no colour, and the disc keeps its area, pi r squared."""
    side = 160
    palette = _palette(_disc(side, radius, ink=(200, 20, 60), paper=(250, 240, 60)))
    assert set(palette) == {"#faf03c", "#c8143c"}
    area = math.pi * radius**2 / side**2
    assert palette["#c8143c"] == pytest.approx(area, rel=0.05)


def test_speck_is_folded_and_accent_is_kept() -> None:
    """Scattered pixels under 0.5 % are noise; a flat patch of 0.3 % is a colour of the artwork."""
    rgba = _sheet(200, 200, (255, 255, 255, 255))
    rgba[::20, ::20] = (0, 0, 0, 255)
    rgba[50:61, 50:61] = (220, 0, 0, 255)
    assert set(_palette(rgba)) == {"#ffffff", "#dc0000"}


def test_gradient_fills_the_palette() -> None:
    """A gradient is summed up by no more than 16 colours, each apart from the others."""
    ramp = np.linspace(0, 255, 512).astype(np.uint8)
    rgba = np.dstack([np.tile(c, (64, 1)) for c in (ramp, ramp[::-1], ramp // 2, ramp * 0 + 255)])
    palette = measure(rgba).palette
    labs = [lab_from_srgb_hex(colour.srgb) for colour in palette]
    assert 8 <= len(palette) <= 16
    for index, lab in enumerate(labs):
        assert all(delta_e_2000_pair(lab, other) >= 4 for other in labs[:index])


def test_large_picture_is_sampled_without_bias() -> None:
    """Stripes of any width keep their shares within 0.5 % in a picture larger than the sample."""
    for period in (2, 3, 7, 16, 43):
        rgba = _sheet(400, 1_000, (255, 255, 255, 255))
        rgba[:, ::period] = (0, 0, 0, 255)
        expected = math.ceil(1_000 / period) / 1_000
        assert _palette(rgba)["#000000"] == pytest.approx(expected, abs=0.005)


def test_sample_is_of_inked_pixels() -> None:
    """A sample holds so many different inked pixels, in order, from all over the picture."""
    alpha = np.zeros(300_000, dtype=np.uint8)
    alpha[100_000:] = 7
    indexes = sample_inked(alpha, SAMPLE_PIXELS)
    assert len(indexes) == SAMPLE_PIXELS
    assert (np.diff(indexes) > 0).all()
    assert indexes[0] >= 100_000
    assert indexes.mean() == pytest.approx(200_000, rel=0.001)
    assert sample_inked(alpha[99_990:100_005], SAMPLE_PIXELS).tolist() == [10, 11, 12, 13, 14]


def test_view_of_a_picture() -> None:
    """Pixels need not lie in one piece of memory."""
    whole = _disc(64, 20, ink=(0, 0, 0), paper=(255, 255, 255))
    assert measure(whole[::2, ::-1]) == measure(np.ascontiguousarray(whole[::2, ::-1]))


def test_shapes_are_those_of_the_ink_box() -> None:
    """Ink is alpha 128 and above; a faint mark widens the box that shapes are shares of."""
    rgba = _sheet(60, 100, (0, 0, 0, 0))
    rgba[20:40, 10:50] = (200, 0, 0, 255)
    rgba[25:35, 20:30, 3] = 128
    shapes = measure(rgba).shapes
    assert shapes is not None
    assert shapes.holes == 0
    rgba[25:35, 20:30, 3] = 0
    shapes = measure(rgba).shapes
    assert shapes is not None
    assert (shapes.pieces, shapes.holes) == (1, 1)
    assert shapes.smallest_gap * 40 == pytest.approx(10, abs=0.5)
    rgba[30, 89, 3] = 1
    wider = measure(rgba)
    assert wider.ink_box.width == 80
    assert wider.shapes is not None
    assert wider.shapes.pieces == 1
    assert wider.shapes.smallest_gap * 80 == pytest.approx(10, abs=0.5)
    assert wider.shapes.outline_length == pytest.approx(shapes.outline_length / 2, rel=0.01)


def test_flat_artwork_on_nothing() -> None:
    """Flat colours on a clear ground: not photo-like, and on no background."""
    rgba = _sheet(80, 80, (0, 0, 0, 0))
    rgba[10:70, 10:40] = (200, 0, 0, 255)
    rgba[10:70, 40:70] = (0, 90, 0, 255)
    measures = measure(rgba)
    assert measures.photo_like is False
    assert measures.background_srgb is None
    assert measures.shapes is not None
    assert measures.shapes.pieces == 1


def test_fully_transparent_picture_refused() -> None:
    """There is nothing to measure where nothing shows."""
    with pytest.raises(ValueError, match="fully transparent"):
        measure(_sheet(3, 3, (255, 0, 0, 0)))


@pytest.mark.parametrize("rgba", [np.zeros((3, 3, 3), np.uint8), np.zeros((3, 3, 4)), np.zeros(4)])
def test_other_arrays_refused(rgba: Pixels) -> None:
    """Only 8-bit pixels of four channels are measured."""
    with pytest.raises(ValueError, match="pixels are"):
        measure(rgba)


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 16), st.integers(1, 16), st.integers(0, 2**32), st.sampled_from([1, 2, 6]))
def test_laws_of_any_picture(height: int, width: int, seed: int, levels: int) -> None:
    """Palette shares fall and sum to at most 1; the box holds all ink; measures are repeatable."""
    numbers = np.random.default_rng(seed)
    rgba = (numbers.integers(0, levels + 1, (height, width, 4)) * (255 // levels)).astype(np.uint8)
    rgba[0, 0, 3] = 255
    measures = measure(rgba)
    shares = [colour.share for colour in measures.palette]
    assert 1 - 16 * 0.0001 - 1e-9 <= math.fsum(shares) <= 1 + 1e-9
    assert shares == sorted(shares, reverse=True)
    assert measures.opaque_share + measures.soft_alpha_share <= 1
    assert measures.shapes is not None
    assert 0 < measures.shapes.smallest_feature <= 1
    assert 0 < measures.shapes.smallest_gap <= 1
    box = measures.ink_box
    inside = rgba[box.top : box.top + box.height, box.left : box.left + box.width, 3]
    assert inside.astype(int).sum() == rgba[..., 3].astype(int).sum()
    assert all(edge.any() for edge in (inside[0], inside[-1], inside[:, 0], inside[:, -1]))
    assert measure(rgba.copy()) == measures
