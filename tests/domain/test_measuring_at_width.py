"""What follows from an artwork's measures at a print width, and its shares of ink."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.artwork import ArtworkMeasures, InkShares
from service.domain.measuring import ink_box, ink_shares, measure
from service.domain.planes import Pixels
from service.domain.weeding import Weeding, weed_minutes, weeding_of
from tests.domain.rule_situations import artworks

WIDTHS = st.floats(min_value=1, max_value=1_000)


def _plate(height: int, width: int, colour: tuple[int, int, int, int]) -> Pixels:
    return np.full((height, width, 4), colour, dtype=np.uint8)


def _inked(drawn: ArtworkMeasures, colour: float) -> ArtworkMeasures:
    return drawn.model_copy(
        update={"ink": InkShares(cover=1, colour=colour), "edge_width_px": 1 + 9 * colour}
    )


@settings(max_examples=60)
@given(drawn=artworks(), width=WIDTHS, times=st.floats(0.1, 10), colour=st.floats(0, 1), ml=WIDTHS)
def test_scaling_laws(
    drawn: ArtworkMeasures, width: float, times: float, colour: float, ml: float
) -> None:
    """Lengths grow with the width, pixels per inch fall with it, ink grows with its square."""
    art = _inked(drawn, colour)
    one, other = art.at(width), art.at(width * times)
    assert other.height_mm == pytest.approx(one.height_mm * times)
    assert other.resolution_ppi * times == pytest.approx(one.resolution_ppi)
    assert one.effective_ppi is not None
    assert other.effective_ppi is not None
    assert other.effective_ppi * times == pytest.approx(one.effective_ppi)
    assert one.effective_ppi <= one.resolution_ppi
    lengths = ("smallest_feature_mm", "smallest_gap_mm", "cut_length_mm")
    for name in lengths:
        length, longer = getattr(one, name), getattr(other, name)
        assert (length is None) == (longer is None)
        assert length is None or longer == pytest.approx(length * times)
    ink, more = art.ink_ml_at(width, ml), art.ink_ml_at(width * times, ml)
    assert ink is not None
    assert more == pytest.approx(ink * times**2)
    assert ink <= art.full_ink_ml_at(width, ml)


@settings(max_examples=40)
@given(drawn=artworks(), widths=st.tuples(WIDTHS, WIDTHS))
def test_wider_is_never_quicker_to_weed(
    drawn: ArtworkMeasures, widths: tuple[float, float]
) -> None:
    """Minutes rise with the width, and the class never falls."""
    narrow, wide = (drawn.at(width) for width in sorted(widths))
    if narrow.weed_min is None or wide.weed_min is None:
        assert drawn.shapes is None
        assert narrow.weeding is None
        return
    assert narrow.weed_min <= wide.weed_min
    order = list(Weeding)
    assert narrow.weeding is not None
    assert wide.weeding is not None
    assert order.index(narrow.weeding) <= order.index(wide.weeding)


def test_a_measured_plate_at_a_width() -> None:
    """300 x 150 px with a hole of 30 px, at 100 mm: all by arithmetic; lengths within 2 %."""
    rgba = _plate(150, 300, (0, 0, 0, 255))
    rgba[60:90, 135:165, 3] = 0
    at = measure(rgba).at(100.0)
    assert at.width_mm == 100.0
    assert at.height_mm == pytest.approx(50.0)
    assert at.resolution_ppi == pytest.approx(300 / (100 / 25.4))
    assert at.smallest_feature_mm == pytest.approx(20, abs=0.5)
    assert at.smallest_gap_mm == pytest.approx(10, abs=0.5)
    assert at.cut_length_mm == pytest.approx(2 * (100 + 50) + 40, rel=0.02)
    # 0.5 + 0.02 a centimetre of 34 (common practice, from memory) + 0.05 a hole: a design choice.
    assert at.weed_min == pytest.approx(0.5 + 0.02 * 34 + 0.05, rel=0.02)
    assert at.weeding is Weeding.SIMPLE


def test_no_width_below_nothing() -> None:
    """A print has a width."""
    art = measure(_plate(5, 5, (0, 0, 0, 255)))
    for width in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="wider than 0"):
            art.at(width)


@pytest.mark.parametrize(
    ("minutes", "difficulty"),
    [(1, "simple"), (2, "simple"), (3, "medium"), (5, "medium"), (10, "fine"), (20, "fine")],
)
def test_weeding_classes(minutes: float, difficulty: str) -> None:
    """Simple 1 to 2 minutes, medium 3 to 5, fine 10 to 20; common practice, no source."""
    assert weeding_of(minutes) == difficulty
    assert weed_minutes(0, 1, 0) == 0.5


def test_ink_of_plain_colours() -> None:
    """White takes none, black all, a primary of light two inks of three. By definition."""
    for srgb, share in (
        ((255, 255, 255), 0),
        ((0, 0, 0), 1),
        ((255, 0, 0), 2 / 3),
        ((255, 255, 0), 1 / 3),
        ((128, 128, 128), 127 / 255),
    ):
        rgba = _plate(40, 60, (*srgb, 255))
        ink = measure(rgba).ink
        assert ink is not None
        assert ink.cover == 1
        assert ink.colour == pytest.approx(share, abs=1e-5)


def test_ink_counts_by_alpha_within_the_ink_box() -> None:
    """Half see-through black takes half; clear space outside the box counts for nothing."""
    rgba = _plate(50, 80, (0, 0, 0, 0))
    rgba[10:30, 10:40] = (0, 0, 0, 102)
    rgba[10:30, 10:25] = (255, 255, 255, 255)
    ink = measure(rgba).ink
    assert ink is not None
    assert ink.cover == pytest.approx(0.5 + 0.5 * 102 / 255, abs=1e-5)
    assert ink.colour == pytest.approx(0.5 * 102 / 255, abs=1e-5)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 40), st.integers(1, 40), st.integers(0, 2**32))
def test_ink_of_any_picture(height: int, width: int, seed: int) -> None:
    """The shares are the plain means of their definitions, for pixels of any kind."""
    numbers = np.random.default_rng(seed)
    rgba = numbers.integers(0, 256, (height, width, 4)).astype(np.uint8)
    rgba[..., 3] = numbers.choice([0, 128, 255], (height, width))
    rgba[0, 0, 3] = rgba[-1, -1, 3] = 255
    alpha = rgba[..., 3] / 255
    needed = 1 - rgba[..., :3].mean(axis=2) / 255
    shares = ink_shares(rgba, ink_box(np.ascontiguousarray(rgba[..., 3])))
    assert shares.cover == pytest.approx(alpha.mean(), abs=1e-5)
    assert shares.colour == pytest.approx((alpha * needed).mean(), abs=1e-5)
    assert shares.colour <= shares.cover
