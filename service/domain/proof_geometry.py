"""Where a print lies on a garment, in millimetres, and how that comes to pixels. Computes only.

Garments lie flat. Coordinates begin on the garment's middle line: x grows to the right as one looks
at it, so that the wearer's left is on the right of a front; y grows downwards from the highest
point of the shoulder, on a sleeve from the shoulder seam, on a tote from its top hem. What a
garment measures beside its half chest and body length is a share of these: common practice, no
source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from service.domain.blanks import Placement, Style


class View(StrEnum):
    """The side of a garment that is looked at; a sleeve hangs in front of the body's side."""

    FRONT = "front"
    BACK = "back"
    SLEEVE = "sleeve"


@dataclass(frozen=True, slots=True)
class FlatGarment:
    """A garment of one size as it lies: its cut, side and flat measures.

    ``right_arm`` shows the wearer's right sleeve instead of the left one.
    """

    style: Style
    view: View
    half_chest_mm: float
    body_length_mm: float
    right_arm: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """A box with its sides along the axes, in mm."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    @property
    def right_mm(self) -> float:
        """Its right edge."""
        return self.left_mm + self.width_mm

    @property
    def bottom_mm(self) -> float:
        """Its lower edge."""
        return self.top_mm + self.height_mm

    def holds(self, other: Box, slack_mm: float = 1e-6) -> bool:
        """Whether the other lies within it."""
        return (
            other.left_mm >= self.left_mm - slack_mm
            and other.top_mm >= self.top_mm - slack_mm
            and other.right_mm <= self.right_mm + slack_mm
            and other.bottom_mm <= self.bottom_mm + slack_mm
        )


NECK_SEAM_SHARE: Final = {
    Style.TEE: (0.175, 0.045),
    Style.LONG_SLEEVE: (0.175, 0.045),
    Style.HOODIE: (0.165, 0.05),
    Style.JACKET: (0.10, 0.04),
    Style.BODYSUIT: (0.24, 0.07),
    Style.TOTE: (0.0, 0.0),
}
"""How far the neck seam dips at the middle of front and back, as a share of the half chest."""

CHEST_SIDE_SHARE: Final = 0.2
"""How far the middle of a chest print lies beside the middle line, as a share of the half chest."""

_SLEEVELESS: Final = frozenset({Style.TOTE})


def view_of(style: Style, placement: Placement) -> View:
    """The side that a placement lies on, by its id and name; the front if they say nothing."""
    words = _words(placement)
    if style not in _SLEEVELESS and words & {"sleeve", "arm", "cuff"}:
        return View.SLEEVE
    return View.BACK if words & {"back", "nape", "rear"} else View.FRONT


def on_right_of_wearer(placement: Placement) -> bool:
    """Whether its id or name says the wearer's right."""
    return "right" in _words(placement)


def _words(placement: Placement) -> frozenset[str]:
    return frozenset(re.findall(r"[a-z]+", f"{placement.id} {placement.name}".lower()))


def neck_seam_mm(garment: FlatGarment) -> float:
    """How far below the highest point of the shoulder the neck seam lies at the middle."""
    if garment.view is View.SLEEVE:
        return 0.0
    front, back = NECK_SEAM_SHARE[garment.style]
    return garment.half_chest_mm * (back if garment.view is View.BACK else front)


def placement_box(garment: FlatGarment, placement: Placement, size: str) -> Box:
    """The largest box that a decoration may fill there; KeyError for a size it has no area for."""
    area = placement.areas[size]
    return _hung(garment, placement, area.width_mm, area.height_mm)


def print_box(garment: FlatGarment, placement: Placement, width_mm: float, height_mm: float) -> Box:
    """Where a print of that size lies: its upper edge on that of the placement, centred across."""
    return _hung(garment, placement, width_mm, height_mm)


def _hung(garment: FlatGarment, placement: Placement, width_mm: float, height_mm: float) -> Box:
    edge_mm = 0.0 if "shoulder" in placement.from_edge.lower() else neck_seam_mm(garment)
    middle_mm = _side(garment, placement) * CHEST_SIDE_SHARE * garment.half_chest_mm
    return Box(middle_mm - width_mm / 2, edge_mm + placement.drop_mm, width_mm, height_mm)


def _side(garment: FlatGarment, placement: Placement) -> int:
    """1 for the right of the picture, -1 for its left, 0 for the middle."""
    words = _words(placement)
    if garment.view is View.SLEEVE or not words & {"left", "right"}:
        return 0
    on_left_of_wearer = "right" not in words
    return 1 if on_left_of_wearer == (garment.view is View.FRONT) else -1


@dataclass(frozen=True, slots=True)
class Frame:
    """How millimetres come to pixels: one scale both ways, and where (0, 0) lies."""

    px_per_mm: float
    origin_x_px: float
    origin_y_px: float

    def across_px(self, x_mm: float) -> float:
        """The column of a place."""
        return self.origin_x_px + x_mm * self.px_per_mm

    def down_px(self, y_mm: float) -> float:
        """The row of a place."""
        return self.origin_y_px + y_mm * self.px_per_mm


def framed(extent: Box, left_px: float, top_px: float, width_px: float, height_px: float) -> Frame:
    """The largest scale at which the extent fits in a box of the picture, in its middle."""
    scale = min(width_px / extent.width_mm, height_px / extent.height_mm)
    middle_x, middle_y = left_px + width_px / 2, top_px + height_px / 2
    return Frame(
        scale,
        middle_x - (extent.left_mm + extent.width_mm / 2) * scale,
        middle_y - (extent.top_mm + extent.height_mm / 2) * scale,
    )


def whole_px(frame: Frame, box: Box) -> tuple[int, int, int, int]:
    """Left, top, width and height of a box in whole pixels, each to the nearest, 1 at least."""
    width = max(1, round(box.width_mm * frame.px_per_mm))
    height = max(1, round(box.height_mm * frame.px_per_mm))
    left = round(frame.across_px(box.left_mm + box.width_mm / 2) - width / 2)
    return left, round(frame.down_px(box.top_mm)), width, height


def scale_bar_mm(px_per_mm: float, most_px: float) -> int:
    """The longest 1, 2 or 5 times a power of ten mm of at most so many pixels; 1 at least."""
    steps = [step * 10**power for power in range(4) for step in (1, 2, 5)]
    return max((step for step in steps if step * px_per_mm <= most_px), default=1)
