"""Where a print lies, measured as a hand with a tape does: from a seam and the middle line, in mm.

Coordinates begin where the middle line of the garment, lying flat, meets the seam or edge measured
from: x grows to the right as one looks at it, y downwards. No outline of a garment is needed to
read or draw them.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.artwork import MM_PER_INCH
from service.domain.blanks import Blank, Placement, Style
from service.domain.garments import Garment
from service.domain.proof_geometry import (
    Box,
    FlatGarment,
    View,
    on_right_of_wearer,
    print_box,
    view_of,
)
from service.domain.values import Frozen


def inches(length_mm: float) -> float:
    """Inches of a length in millimetres."""
    return length_mm / MM_PER_INCH


def both_units(length_mm: float) -> str:
    """A length as a bench reads it: ``65 mm (2.56 in)``, to 0.1 mm and 0.01 in."""
    return f"{round(length_mm, 1):g} mm ({inches(length_mm):.2f} in)"


@dataclass(frozen=True, slots=True)
class Dimension:
    """A line to draw with its length; ends in mm. ``what`` is drop, side, width or height."""

    what: str
    from_x_mm: float
    from_y_mm: float
    to_x_mm: float
    to_y_mm: float

    @property
    def length_mm(self) -> float:
        """Its length; the line runs along an axis."""
        return abs(self.to_x_mm - self.from_x_mm) + abs(self.to_y_mm - self.from_y_mm)

    @property
    def label(self) -> str:
        """Its length in both units."""
        return both_units(self.length_mm)


class PlacementInSize(Frozen):
    """One size: its flat measures, the middle of the print and the largest box, in mm.

    ``middle_mm`` is above 0 to the right of the middle line as one looks at the garment.
    ``body_length_mm`` is None for a garment that was not measured, as one the customer brings.
    """

    size: str
    half_chest_mm: float
    body_length_mm: float | None
    middle_mm: float
    area_width_mm: float
    area_height_mm: float


class PlacementDrawing(Frozen):
    """A print at its placement, by size; lengths in mm.

    The upper edge of the print lies ``drop_mm`` below ``from_edge``. ``right_arm`` is True for a
    placement on the wearer's right sleeve.
    """

    placement_id: str
    name: str
    view: View
    right_arm: bool
    from_edge: str
    drop_mm: float
    width_mm: float
    height_mm: float
    sizes: tuple[PlacementInSize, ...]

    def in_size(self, size: str) -> PlacementInSize:
        """The placement in that size; KeyError for a size the line has no piece of."""
        found = next((one for one in self.sizes if one.size == size), None)
        if found is None:
            raise KeyError(size)
        return found

    def print_box(self, size: str) -> Box:
        """The print's own box."""
        middle_mm = self.in_size(size).middle_mm
        left_mm = middle_mm - self.width_mm / 2
        return Box(left_mm, self.drop_mm, self.width_mm, self.height_mm)

    def area_box(self, size: str) -> Box:
        """The largest box a decoration may fill there."""
        one = self.in_size(size)
        left_mm = one.middle_mm - one.area_width_mm / 2
        return Box(left_mm, self.drop_mm, one.area_width_mm, one.area_height_mm)

    def dimensions(self, size: str) -> tuple[Dimension, ...]:
        """The lines to draw: drop, side where the print is not centred, width and height."""
        box, middle_mm = self.print_box(size), self.in_size(size).middle_mm
        half_way_mm = box.top_mm + box.height_mm / 2
        side = (Dimension("side", 0.0, half_way_mm, middle_mm, half_way_mm),) if middle_mm else ()
        return (
            Dimension("drop", middle_mm, 0.0, middle_mm, box.top_mm),
            *side,
            Dimension("width", box.left_mm, box.bottom_mm, box.right_mm, box.bottom_mm),
            Dimension("height", box.right_mm, box.top_mm, box.right_mm, box.bottom_mm),
        )

    def words(self) -> str:
        """The distances as a hand measures them, size by size where they differ."""
        drop = f"{both_units(self.drop_mm)} below the {self.from_edge}"
        by_size = {one.size: one.middle_mm for one in self.sizes}
        if not any(by_size.values()):
            return f"{drop}, centred"
        if len(set(by_size.values())) == 1:
            across = both_units(abs(next(iter(by_size.values()))))
        else:
            across = ", ".join(f"{size} {both_units(abs(mm))}" for size, mm in by_size.items())
        return f"{drop}, middle of the print {across} to the wearer's {self._hand} of the middle"

    @property
    def _hand(self) -> str:
        to_the_right = self.sizes[0].middle_mm > 0
        return "right" if to_the_right == (self.view is View.BACK) else "left"


def draw_placement(
    garment: Garment,
    blank: Blank | None,
    placement: Placement,
    sizes: tuple[str, ...],
    print_mm: tuple[float, float],
) -> PlacementDrawing:
    """The drawing of a print ``print_mm`` wide and high, in each of the sizes.

    ``blank`` is None for a garment the customer brings. KeyError for a size without an area.
    """
    style = blank.style if blank else Style.TEE
    return PlacementDrawing(
        placement_id=placement.id,
        name=placement.name,
        view=view_of(style, placement),
        right_arm=view_of(style, placement) is View.SLEEVE and on_right_of_wearer(placement),
        from_edge=placement.from_edge,
        drop_mm=placement.drop_mm,
        width_mm=round(print_mm[0], 1),
        height_mm=round(print_mm[1], 1),
        sizes=tuple(_in_size(garment, blank, style, placement, size) for size in sizes),
    )


def _in_size(
    garment: Garment, blank: Blank | None, style: Style, placement: Placement, size: str
) -> PlacementInSize:
    measured = blank.size(size) if blank else None
    half_chest_mm = garment.half_chest_mm[size]
    body_length_mm = measured.body_length_mm if measured else None
    flat = FlatGarment(style, view_of(style, placement), half_chest_mm, body_length_mm or 0.0)
    # A print of no width shows where the middle of every print at this placement lies.
    middle_mm = print_box(flat, placement, 0.0, 0.0).left_mm
    area = placement.areas[size]
    return PlacementInSize(
        size=size,
        half_chest_mm=half_chest_mm,
        body_length_mm=body_length_mm,
        middle_mm=round(middle_mm, 1),
        area_width_mm=area.width_mm,
        area_height_mm=area.height_mm,
    )
