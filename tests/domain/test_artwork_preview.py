"""Artworks made small: colours and cover are kept, whatever the shape."""

from __future__ import annotations

import numpy as np
import pytest

from service.domain.artwork import InkBox
from service.domain.artwork_preview import preview_of


def box_of(height: int, width: int) -> InkBox:
    """The whole picture as its ink box."""
    return InkBox(left=0, top=0, width=width, height=height)


def test_a_fine_pattern_keeps_its_light() -> None:
    """Black and white pixels in turn throw back half of the light: code 188 (IEC 61966-2-1)."""
    rgba = np.full((2_560, 200, 4), 255, dtype=np.uint8)
    rgba[::2, :, :3] = 0
    small = preview_of(rgba, box_of(2_560, 200)).levels[0]
    assert small.rgba.shape == (1_280, 100, 4)
    assert set(small.rgba[..., :3].ravel().tolist()) == {188}


def test_clear_pixels_lend_no_colour() -> None:
    """Green that is fully transparent never tints the red beside it."""
    rgba = np.zeros((200, 1_300, 4), dtype=np.uint8)
    rgba[..., 1] = 255
    rgba[:, ::2] = (200, 30, 40, 255)
    small = preview_of(rgba, box_of(200, 1_300)).levels[0]
    assert np.unique(small.rgba.reshape(-1, 4), axis=0).tolist() == [[200, 30, 40, 128]]
    assert set(small.inked.ravel().tolist()) == {128}


def test_the_outline_is_cut_at_half_cover() -> None:
    """Alpha 127 lies outside, 128 inside; a wholly fainter picture is inked where not clear."""
    rgba = np.zeros((1, 3, 4), dtype=np.uint8)
    rgba[0, :, 3] = (127, 128, 255)
    assert preview_of(rgba, box_of(1, 3)).levels[0].inked.tolist() == [[0, 255, 255]]
    rgba[0, :, 3] = (0, 1, 127)
    assert preview_of(rgba, box_of(1, 3)).levels[0].inked.tolist() == [[0, 255, 255]]


@pytest.mark.parametrize("shape", [(1, 1), (1, 20_000), (20_000, 1), (700, 1_000), (1_283, 7)])
def test_any_shape_is_bounded_and_measured(shape: tuple[int, int]) -> None:
    """Each level halves the one before; the box's exact measures go along; no more than 9 MB."""
    height, width = shape
    rgba = np.full((height, width, 4), 255, dtype=np.uint8)
    preview = preview_of(rgba, box_of(height, width))
    assert preview.nbytes < 9 << 20
    for level in preview.levels:
        assert level.rgba.min() == level.inked.min() == 255
        assert max(level.inked.shape) <= 1_280
        assert level.across / level.down == pytest.approx(width / height)
        rows, columns = level.inked.shape
        assert rows - 1 < level.down <= rows
        assert columns - 1 < level.across <= columns


def test_the_smallest_level_that_suffices_is_taken() -> None:
    """A print of 300 pixels is scaled from 500, one of 2000 from the largest there is."""
    preview = preview_of(np.full((1_000, 1_000, 4), 255, np.uint8), box_of(1_000, 1_000))
    assert [preview.level_for(px, px).across for px in (1, 300, 600, 2_000)] == [
        125, 500, 1_000, 1_000,
    ]  # fmt: skip
