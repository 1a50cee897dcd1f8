"""The garments' drawings: every demonstration placement lies on plain cloth."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from service.domain.blanks import Blank, Placement, Style
from service.domain.colour import srgb_from_hex
from service.domain.proof_geometry import (
    FlatGarment,
    View,
    framed,
    placement_box,
    view_of,
    whole_px,
)
from service.render.proof_garment import garment_pixels, garment_svg
from service.render.silhouettes import drawing_of
from tests.render.proof_makers import demo_shop

CLOTH = "#1f4fa3"


def _measures(blank: Blank) -> tuple[object, ...]:
    """What a blank's drawing and placements depend on."""
    sizes = tuple((one.size, one.half_chest_mm, one.body_length_mm) for one in blank.sizes)
    return blank.style, sizes, tuple(place.model_dump_json() for place in blank.placements)


def placements() -> Iterator[tuple[Blank, Placement]]:
    """Every placement of the demonstration shop; of blanks alike in all measures, the first's."""
    blanks = {_measures(blank): blank for blank in reversed(demo_shop().catalogue.blanks)}
    for blank in blanks.values():
        yield from ((blank, placement) for placement in blank.placements)


@pytest.mark.parametrize(
    ("blank", "placement"),
    [pytest.param(*one, id=f"{one[0].id}-{one[1].id}") for one in placements()],
)
def test_a_placement_lies_within_the_silhouette(blank: Blank, placement: Placement) -> None:
    """In every size all of its box is cloth, in the plain cloth's colour unless it crosses a seam.

    The least and the greatest size stand for all.
    """
    for size in (blank.sizes[0], blank.sizes[-1]):
        view = view_of(blank.style, placement)
        flat = FlatGarment(blank.style, view, size.half_chest_mm, size.body_length_mm)
        frame = framed(drawing_of(flat).extent, 8, 8, 304, 324)
        pixels = garment_pixels(flat, frame, 320, 340, CLOTH)
        left, top, width, height = whole_px(frame, placement_box(flat, placement, size.size))
        part = pixels[top : top + height, left : left + width]
        assert part.shape[:2] == (height, width)
        assert (part[..., 3] == 255).all(), size.size
        if not placement.crosses:
            assert (part[..., :3] == srgb_from_hex(CLOTH)).mean() > 0.995, size.size


@pytest.mark.parametrize("style", Style)
@pytest.mark.parametrize("view", View)
def test_a_drawing_fills_its_extent(style: Style, view: View) -> None:
    """Nothing is cut off: what is drawn keeps clear of the picture's edge, and comes near it."""
    flat = FlatGarment(style, view, 500, 700)
    frame = framed(drawing_of(flat).extent, 10, 10, 220, 220)
    alpha = garment_pixels(flat, frame, 240, 240, CLOTH)[..., 3] > 0
    rows, columns = np.flatnonzero(alpha.any(axis=1)), np.flatnonzero(alpha.any(axis=0))
    assert min(rows[0], columns[0], 239 - rows[-1], 239 - columns[-1]) >= 7
    assert max(rows[-1] - rows[0], columns[-1] - columns[0]) > 190


@pytest.mark.parametrize("style", Style)
def test_a_drawing_is_plain_svg(style: Style) -> None:
    """Well-formed, of paths alone: no text that would need a font, nothing from elsewhere."""
    flat = FlatGarment(style, View.FRONT, 500, 700)
    svg = garment_svg(flat, framed(drawing_of(flat).extent, 0, 0, 100, 100), 100, 100, CLOTH)
    names = {element.tag.rpartition("}")[2] for element in ET.fromstring(svg).iter()}  # noqa: S314 - our own
    assert names <= {"svg", "g", "path", "linearGradient", "stop"}
    assert "http" not in svg.replace('xmlns="http://www.w3.org/2000/svg"', "")


def test_a_right_sleeve_is_the_mirror_image() -> None:
    """The wearer's right arm looks as the left one in a mirror."""
    sides = []
    for right_arm in (False, True):
        flat = FlatGarment(Style.HOODIE, View.SLEEVE, 500, 700, right_arm=right_arm)
        frame = framed(drawing_of(flat).extent, 10, 10, 180, 180)
        sides.append(garment_pixels(flat, frame, 200, 200, CLOTH).astype(int))
    assert np.abs(sides[0] - sides[1][:, ::-1]).mean() < 1
