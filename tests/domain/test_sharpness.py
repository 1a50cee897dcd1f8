"""Edge widths of pictures whose blur is known by construction."""

from __future__ import annotations

import math
from functools import cache

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from service.domain.artwork import InkBox
from service.domain.measuring import ink_box, measure
from service.domain.planes import Pixels
from service.domain.sharpness import ENLARGED_EDGE_PX, edge_width_px

Cover = NDArray[np.float64]

RESAMPLINGS = (cv2.INTER_LINEAR, cv2.INTER_CUBIC, cv2.INTER_LANCZOS4)


@cache
def _discs(side: int = 240, fine: int = 8) -> Cover:
    """Coverage, 0 to 1, of each pixel by nine discs, smoothed by fine x fine points; read-only."""
    along = (np.arange(side * fine) + 0.5) / fine
    inside = np.zeros((side * fine, side * fine), dtype=np.bool_)
    for number in range(9):
        x, y = (number % 3 + 0.5) * side / 3 + number / 9, (number // 3 + 0.5) * side / 3
        radius = side / 12 + 2 * number
        inside |= (along[None, :] - x) ** 2 + (along[:, None] - y) ** 2 <= radius**2
    cover: Cover = inside.reshape(side, fine, side, fine).mean(axis=(1, 3))
    cover.flags.writeable = False
    return cover


def _on_paper(cover: Cover) -> Pixels:
    """Dark red on white paper."""
    rgb = cover[..., None] * (140, 20, 30) + (1 - cover[..., None]) * 255
    return np.dstack([np.rint(rgb), np.full(cover.shape, 255)]).astype(np.uint8)


def _on_nothing(cover: Cover, ink: tuple[int, int, int] = (255, 255, 255)) -> Pixels:
    """Ink of one colour that is as opaque as it covers."""
    rgba = np.zeros((*cover.shape, 4), np.uint8)
    rgba[..., :3] = ink
    rgba[..., 3] = np.rint(cover * 255)
    return rgba


def _edge(rgba: Pixels) -> float | None:
    return edge_width_px(rgba, ink_box(np.ascontiguousarray(rgba[..., 3])))


def _known_edge(rgba: Pixels) -> float:
    edge = _edge(rgba)
    assert edge is not None
    return edge


def _resized(rgba: Pixels, times: float, how: int) -> Pixels:
    return np.asarray(cv2.resize(rgba, None, fx=times, fy=times, interpolation=how), np.uint8)


@pytest.mark.parametrize("draw", [_on_paper, _on_nothing])
def test_flat_drawings_are_sharp(draw: object) -> None:
    """With hard edges the steepest step is the whole rise; smoothed ones are little wider."""
    drawn = _on_paper if draw is _on_paper else _on_nothing
    assert _edge(drawn(np.rint(_discs()))) == 1
    assert 1 <= _known_edge(drawn(_discs())) < 1.5


@pytest.mark.parametrize("sigma", [1.5, 2.0, 3.0, 4.0])
def test_gaussian_blur(sigma: float) -> None:
    """An edge blurred by a Gaussian of deviation s is sqrt(2 pi) s wide: its rise over its slope.

    Within 12 %: edges aslant to rows and columns are met wider, those of a fifth are steeper.
    """
    straight = np.zeros((200, 200))
    straight[40:160, 40:160] = 1
    blurred = cv2.GaussianBlur(straight, (0, 0), sigma)
    edge = _known_edge(_on_paper(np.asarray(blurred, np.float64)))
    assert edge == pytest.approx(math.sqrt(2 * math.pi) * sigma, rel=0.12)


@pytest.mark.parametrize("how", RESAMPLINGS)
@pytest.mark.parametrize("draw", [_on_paper, _on_nothing])
def test_enlarged_drawings_are_told(draw: object, how: int) -> None:
    """A smoothed drawing enlarged by interpolation has edges about as many times as wide."""
    drawn = _on_paper if draw is _on_paper else _on_nothing
    native = _known_edge(drawn(_discs()))
    assert native < ENLARGED_EDGE_PX
    for times in (2, 4, 8):
        edge = _known_edge(_resized(drawn(_discs()), times, how))
        assert edge > ENLARGED_EDGE_PX
        assert edge / native == pytest.approx(times, rel=0.25)


@pytest.mark.parametrize("quality", [95, 75, 40])
def test_lossy_files_change_little(quality: int) -> None:
    """Sharp stays sharp and enlarged stays enlarged, however hard JPEG squeezed it."""
    sharp = _on_paper(_discs(400))
    for rgba in (sharp, _resized(sharp, 4, cv2.INTER_CUBIC)):
        _, data = cv2.imencode(".jpg", rgba[..., 2::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
        lossy = cv2.imdecode(data, cv2.IMREAD_COLOR)
        assert lossy is not None
        decoded = np.dstack([lossy[..., ::-1], rgba[..., 3]]).astype(np.uint8)
        assert (_known_edge(decoded) > ENLARGED_EDGE_PX) == (rgba is not sharp)


@pytest.mark.parametrize("reach", [40, 120])
def test_a_glow_alone_is_not_called_enlarged(reach: float) -> None:
    """What fades out over many pixels has no edge to judge by."""
    middle = np.arange(400) - 199.5
    cover = np.clip(1 - (np.hypot(middle[None, :], middle[:, None]) - 60) / reach, 0, 1)
    assert _edge(_on_nothing(cover)) is None
    assert _edge(_on_paper(cover)) is None


def test_a_glow_around_a_drawing_leaves_it_sharp() -> None:
    """The drawing's own edges decide, not those of its shadow."""
    cover = _discs()
    glow = np.asarray(cv2.GaussianBlur(cover, (0, 0), 9), np.float64)
    rgba = _on_nothing(np.maximum(cover, 0.6 * glow), (200, 30, 30))
    assert _known_edge(rgba) < 1.5


def test_gradients_and_plain_colours_are_not_judged() -> None:
    """There is no edge in them."""
    ramp = np.tile(np.linspace(0, 1, 600), (300, 1))
    for cover in (ramp, np.ones((50, 50)), np.ones((1, 1)), np.ones((1, 300))):
        assert _edge(_on_paper(cover)) is None


def test_grain_is_sharp() -> None:
    """Noise differs from pixel to pixel; enlarged, it does not."""
    noise = np.random.default_rng(3).uniform(0, 1, (200, 200))
    assert _known_edge(_on_paper(noise)) < 1.5
    assert _known_edge(_resized(_on_paper(noise), 4, cv2.INTER_CUBIC)) > ENLARGED_EDGE_PX


def test_colour_under_clear_pixels_is_not_seen() -> None:
    """Only what shows is judged: a hard pattern under full transparency counts for nothing."""
    rgba = _resized(_on_nothing(_discs()), 4, cv2.INTER_CUBIC)
    hidden = rgba.copy()
    hidden[(rgba[..., 3] == 0) & (np.indices(rgba.shape[:2]).sum(axis=0) % 2 == 0), :3] = 0
    assert _edge(hidden) == _edge(rgba)


def test_a_small_figure_on_a_large_background_is_judged() -> None:
    """Edges are sought where the figure is."""
    rgba = np.full((2_000, 2_000, 4), 255, np.uint8)
    rgba[900:1_140, 900:1_140] = _resized(_on_paper(_discs(60)), 4, cv2.INTER_LINEAR)
    edge = measure(rgba).edge_width_px
    assert edge is not None
    assert edge > ENLARGED_EDGE_PX


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32), blur=st.floats(0.8, 3))
def test_turned_and_darkened_pictures_have_the_same_edges(seed: int, blur: float) -> None:
    """Quarter turns and mirroring change nothing; inverting the colours hardly does."""
    numbers = np.random.default_rng(seed)
    coarse = numbers.integers(0, 2, (9, 9)).repeat(12, 0).repeat(12, 1).astype(np.float64)
    rgba = _on_paper(np.asarray(cv2.GaussianBlur(coarse, (0, 0), blur), np.float64))
    edge = _edge(rgba)
    for same in (np.rot90(rgba), rgba[:, ::-1], rgba[::-1]):
        assert _edge(np.ascontiguousarray(same)) == pytest.approx(edge)
    inverted = rgba.copy()
    inverted[..., :3] = 255 - rgba[..., :3]
    assert _edge(inverted) == pytest.approx(edge, rel=0.05)


def test_any_box_will_do() -> None:
    """A box without edges, however small, gives none."""
    rgba = _on_paper(_discs())
    assert edge_width_px(rgba, InkBox(left=0, top=0, width=1, height=1)) is None
