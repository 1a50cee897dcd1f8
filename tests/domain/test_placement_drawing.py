"""The drawing of a placement as numbers: distances as a tape gives them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.placement_drawing import PlacementDrawing, both_units, draw_placement
from service.domain.proof_geometry import FlatGarment, View, neck_seam_mm, print_box
from tests.domain.garments_and_lines import demo_shop

BLANKS = {blank.id: blank for blank in demo_shop().catalogue.blanks}
EVERY_PLACEMENT = [
    (blank.id, placement.id) for blank in BLANKS.values() for placement in blank.placements
]


def drawn(
    blank_id: str, placement_id: str, width_mm: float = 60, height_mm: float = 40
) -> PlacementDrawing:
    """A print on a blank of the demo shop in every size of the placement."""
    blank, shop = BLANKS[blank_id], demo_shop()
    garment = shop.garments[blank_id, blank.colours[0].id]
    placement = garment.placements[placement_id]
    return draw_placement(garment, blank, placement, tuple(placement.areas), (width_mm, height_mm))


@pytest.mark.parametrize(("blank_id", "placement_id"), EVERY_PLACEMENT)
def test_a_print_lies_where_its_proof_shows_it(blank_id: str, placement_id: str) -> None:
    """In every size the same box as in the proof's geometry, measured from the seam."""
    drawing, blank = drawn(blank_id, placement_id), BLANKS[blank_id]
    placement = blank.placement(placement_id)
    assert placement is not None
    for one in drawing.sizes:
        flat = FlatGarment(blank.style, drawing.view, one.half_chest_mm, one.body_length_mm or 0)
        shown, ours = print_box(flat, placement, 60, 40), drawing.print_box(one.size)
        from_shoulder = "shoulder" in drawing.from_edge
        edge_mm = 0.0 if from_shoulder else neck_seam_mm(flat)
        assert ours.left_mm == pytest.approx(shown.left_mm, abs=0.05)
        assert ours.top_mm + edge_mm == pytest.approx(shown.top_mm)
        assert ours.top_mm == placement.drop_mm


@pytest.mark.parametrize(("blank_id", "placement_id"), EVERY_PLACEMENT)
def test_a_print_within_the_area_is_drawn_within_it(blank_id: str, placement_id: str) -> None:
    """Area and print share their middle and their upper edge."""
    drawing = drawn(blank_id, placement_id)
    for one in drawing.sizes:
        area = drawing.area_box(one.size)
        inside = drawn(blank_id, placement_id, area.width_mm, area.height_mm)
        assert area.holds(inside.print_box(one.size))


@given(st.floats(1, 400), st.floats(1, 400))
def test_dimension_lines_measure_what_they_say(width_mm: float, height_mm: float) -> None:
    """Drop, side, width and height of the lines are those of the drawing."""
    drawing = drawn("classic-cotton-tee", "left-chest", width_mm, height_mm)
    lengths = {line.what: line.length_mm for line in drawing.dimensions("M")}
    assert lengths["drop"] == drawing.drop_mm
    assert lengths["side"] == drawing.in_size("M").middle_mm
    assert lengths["width"] == pytest.approx(drawing.width_mm)
    assert lengths["height"] == pytest.approx(drawing.height_mm)


def test_a_centred_print_has_no_side_line() -> None:
    """What lies on the middle line is centred, in words and in lines."""
    drawing = drawn("classic-cotton-tee", "front")
    assert [line.what for line in drawing.dimensions("S")] == ["drop", "width", "height"]
    assert drawing.words() == "65 mm (2.56 in) below the collar seam, centred"


def test_a_chest_print_is_told_size_by_size() -> None:
    """Half chests differ, and so does how far the chest print lies from the middle."""
    assert (
        drawn("youth-cotton-tee", "left-chest")
        .words()
        .startswith(
            "65 mm (2.56 in) below the collar seam, middle of the print XS 81.2 mm (3.20 in), S "
        )
    )


def test_sides_are_the_wearers() -> None:
    """On a front the wearer's left is on the right, on a back on the left, as one looks at it."""
    front = drawn("classic-cotton-tee", "left-chest")
    assert front.view is View.FRONT
    assert front.in_size("M").middle_mm > 0
    assert front.words().endswith("to the wearer's left of the middle")
    sizes = tuple(one.model_copy(update={"middle_mm": -one.middle_mm}) for one in front.sizes)
    back = front.model_copy(update={"view": View.BACK, "sizes": sizes})
    assert back.words().endswith("to the wearer's left of the middle")
    right = front.model_copy(update={"sizes": sizes})
    assert right.words().endswith("to the wearer's right of the middle")


def test_one_distance_for_all_sizes_is_told_once() -> None:
    """Sizes are named only where they differ."""
    drawing = drawn("classic-cotton-tee", "left-chest")
    only = drawing.model_copy(update={"sizes": drawing.sizes[:1]})
    assert "middle of the print 91.4 mm (3.60 in) to" in only.words()


def test_a_size_that_is_not_made_has_no_place() -> None:
    """Asking for another size is a fault of the one who asks."""
    with pytest.raises(KeyError):
        drawn("classic-cotton-tee", "front").print_box("12M")


def test_lengths_stand_in_both_units() -> None:
    """An inch is 25.4 mm; from memory."""
    assert both_units(254) == "254 mm (10.00 in)"
    assert both_units(0.1 + 0.2) == "0.3 mm (0.01 in)"
