"""Where a print lies on a garment: placements in mm, and their way to pixels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.blanks import Placement, PlacementArea, Style
from service.domain.proof_geometry import (
    Box,
    FlatGarment,
    View,
    framed,
    neck_seam_mm,
    on_right_of_wearer,
    placement_box,
    print_box,
    scale_bar_mm,
    view_of,
    whole_px,
)

FRONT = FlatGarment(Style.TEE, View.FRONT, 500, 700)
BACK = FlatGarment(Style.TEE, View.BACK, 500, 700)


def placed(id_: str, name: str = "", edge: str = "collar seam", drop_mm: float = 65) -> Placement:
    """A placement of 100 x 120 mm in size M."""
    area = PlacementArea(width_mm=100, height_mm=120)
    return Placement(id=id_, name=name or id_, from_edge=edge, drop_mm=drop_mm, areas={"M": area})


@pytest.mark.parametrize(
    ("style", "id_", "name", "view"),
    [
        (Style.TEE, "front", "Full front", View.FRONT),
        (Style.TEE, "left-chest", "Left chest", View.FRONT),
        (Style.TEE, "back", "Full back", View.BACK),
        (Style.TEE, "nape", "Below the collar", View.BACK),
        (Style.LONG_SLEEVE, "sleeve", "Left sleeve", View.SLEEVE),
        (Style.TOTE, "other-side", "Back", View.BACK),
        (Style.TOTE, "arm", "Arm", View.FRONT),
        (Style.HOODIE, "pocket-front", "Front across the pocket", View.FRONT),
    ],
)
def test_the_side_is_read_off_the_words(style: Style, id_: str, name: str, view: View) -> None:
    """Back and sleeve are named; all else is on the front. A bag has no sleeve."""
    assert view_of(style, placed(id_, name)) is view


def test_a_print_hangs_below_the_neck_seam() -> None:
    """Its upper edge lies the placement's drop below the seam, its middle on the middle line."""
    box = print_box(FRONT, placed("front"), 240, 300)
    assert box.top_mm == neck_seam_mm(FRONT) + 65
    assert (box.left_mm, box.right_mm, box.height_mm) == (-120, 120, 300)
    assert neck_seam_mm(BACK) < neck_seam_mm(FRONT)


def test_a_sleeve_and_a_bag_have_no_neck() -> None:
    """Their placements hang from the shoulder seam and from the top hem."""
    sleeve = FlatGarment(Style.LONG_SLEEVE, View.SLEEVE, 500, 700)
    tote = FlatGarment(Style.TOTE, View.FRONT, 380, 420)
    assert print_box(sleeve, placed("sleeve", drop_mm=140), 90, 90).top_mm == 140
    assert print_box(tote, placed("front", edge="top hem", drop_mm=80), 90, 90).top_mm == 80


def test_left_is_the_wearers_left() -> None:
    """On the right of a front as one looks at it, on the left of a back; right the other way."""

    def middle(garment: FlatGarment, id_: str) -> float:
        box = placement_box(garment, placed(id_), "M")
        return box.left_mm + box.width_mm / 2

    assert middle(FRONT, "left-chest") == -middle(FRONT, "right-chest") > 50
    assert middle(BACK, "left-back") == -middle(BACK, "right-back") < -50
    assert on_right_of_wearer(placed("sleeve", "Right sleeve"))
    assert not on_right_of_wearer(placed("sleeve", "Left sleeve"))


@given(st.floats(1, 2_000), st.floats(1, 2_000), st.integers(100, 2_000), st.integers(100, 2_000))
def test_a_frame_holds_its_extent(
    width_mm: float, height_mm: float, width_px: int, height_px: int
) -> None:
    """All of the extent comes to lie in the box of the picture, and touches two of its sides."""
    extent = Box(-width_mm / 3, -7, width_mm, height_mm)
    frame = framed(extent, 11, 13, width_px, height_px)
    left, top = frame.across_px(extent.left_mm), frame.down_px(extent.top_mm)
    right, bottom = frame.across_px(extent.right_mm), frame.down_px(extent.bottom_mm)
    assert left >= 11 - 1e-6
    assert top >= 13 - 1e-6
    assert right <= 11 + width_px + 1e-6
    assert bottom <= 13 + height_px + 1e-6
    assert right - left == pytest.approx(width_px) or bottom - top == pytest.approx(height_px)


@given(st.floats(0.01, 2_000), st.floats(0.01, 20_000))
def test_whole_pixels_are_the_nearest(width_mm: float, height_mm: float) -> None:
    """A print's pixels differ by half a pixel at most from its mm, and are never none."""
    frame = framed(Box(0, 0, 800, 800), 0, 0, 600, 600)
    _, _, width, height = whole_px(frame, Box(0, 0, width_mm, height_mm))
    assert width == 1 or abs(width - width_mm * frame.px_per_mm) <= 0.5
    assert height == 1 or abs(height - height_mm * frame.px_per_mm) <= 0.5


@pytest.mark.parametrize(
    ("px_per_mm", "most_px", "length_mm"),
    [(0.7, 200, 200), (0.7, 139, 100), (4, 250, 50), (9, 1, 1)],
)
def test_the_scale_bar_has_a_round_length(px_per_mm: float, most_px: float, length_mm: int) -> None:
    """1, 2 or 5 times a power of ten, the longest that has room."""
    assert scale_bar_mm(px_per_mm, most_px) == length_mm
