"""The ticket: what it holds, the order of its steps, and tickets written before it held as much."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.blanks import Style, Wearer
from service.domain.compiled import compile_catalogue
from service.domain.fibres import FibreContent
from service.domain.garments import SuppliedGarment, supplied_garment
from service.domain.media import Peel
from service.domain.setting_rows import setting_rows
from service.domain.ticket import (
    GENERAL_CAUTIONS,
    TicketDocument,
    TicketMaterial,
    write_ticket,
)
from service.domain.ticket_steps import StepKind
from service.domain.ticket_words import in_colour
from service.domain.verdict import DecorationVerdict, judge
from service.domain.wishes import Consent, Line
from service.domain.work import line_work
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop
from tests.domain.shops import tiny_decoration, tiny_line, tiny_shop
from tests.domain.tickets import (
    CLOTH_FOR,
    at,
    kinds_of,
    steps_of,
    stocked,
    ticket_by,
    ticket_of,
)

WRITTEN_BEFORE = """{
  "garment": "Classic cotton tee", "colour": "Black", "fibre_content": "100 % cotton",
  "supplied_by_customer": false, "pick_location": "A-01", "pieces_by_size": {"M": 3, "L": 2},
  "pieces_to_start": 6,
  "decorations": [{"placement": "Full front", "placed": "65 mm below the collar seam, centred",
    "artwork_id": "art_demo-hill", "width_mm": 240.0, "height_mm": 189.5,
    "method": "Dye on glitter film", "film_colours": {"glitter-film": "White glitter"},
    "warnings": ["Do not iron it."]}],
  "materials": [{"medium": "glitter-film", "name": "white glitter film", "length_mm": 1186.976}],
  "steps": [
    {"number": 1, "kind": "gather", "station": "bench", "machine": null, "medium": null,
     "mirrored": null, "settings": null, "wait_min": 0, "words": "Gather.", "why": "Why.",
     "caution": ""},
    {"number": 2, "kind": "press", "station": "pressing", "machine": "press",
     "medium": "dye transfer paper", "mirrored": null,
     "settings": {"set_c": 199.0, "set_f": 390.2, "dwell_s": 60.0, "pressure": "firm",
                  "cover": "fresh_paper", "peel": "hot"},
     "wait_min": 0, "words": "Press.", "why": "Why.", "caution": "Hot platen."}],
  "cautions": ["Burns."]
}"""


def test_a_ticket_written_before_still_loads() -> None:
    """Its steps get keys and dwells and its spares sizes; what was never written is empty."""
    document = TicketDocument.model_validate_json(WRITTEN_BEFORE)
    assert [step.key for step in document.steps] == ["step-1", "step-2"]
    assert [step.dwell_s for step in document.steps] == [None, 60]
    assert document.starts_by_size == {"M": 4, "L": 2}
    assert document.care is None
    assert document.decorations[0].drawing is None
    assert TicketDocument.model_validate_json(document.model_dump_json()) == document


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_a_ticket_is_read_as_it_was_written(method: str) -> None:
    """Nothing is lost between a ticket and its stored text."""
    document = ticket_by(method)
    assert TicketDocument.model_validate_json(document.model_dump_json()) == document


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_steps_are_numbered_and_have_keys_of_their_own(method: str) -> None:
    """Numbers run from 1, and no two steps share a key."""
    document = ticket_by(method)
    assert [step.number for step in document.steps] == list(range(1, len(document.steps) + 1))
    assert len({step.key for step in document.steps}) == len(document.steps)


def test_keys_do_not_depend_on_what_else_is_made() -> None:
    """A decoration's steps keep their keys whatever is listed after it."""
    garment = stocked("classic-cotton-tee", "black")
    alone = ticket_of(garment, at("front", "printed-film"))
    beside = ticket_of(garment, at("front", "printed-film"), at("back", "cut-film"))
    assert {step.key for step in alone.steps} <= {step.key for step in beside.steps}


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_every_step_says_where_what_and_why(method: str) -> None:
    """A station with its name, words, why it matters; and whatever is hot or sharp its caution."""
    stations = demo_shop().catalogue.station_by_id
    for step in ticket_by(method).steps:
        assert step.station_name == stations[step.station].name
        assert step.words
        assert step.why
        dangerous = {"cut", "weed", "pre_press", "place", "tack", "press", "peel"}
        assert bool(step.caution) is (step.kind in dangerous)


def test_several_decorations_share_what_is_done_once() -> None:
    """All are prepared before the first heat, then pressed one after another, dye last."""
    garment = stocked("classic-cotton-tee", "black")
    document = ticket_of(
        garment, at("back", "dye-on-glitter-film"), at("left-chest", "printed-film")
    )
    assert kinds_of(document) == [
        "gather",
        *["print", "dry", "cut", "weed"],
        *["cut", "weed", "print", "dry"],
        "lint_roll",
        *["pre_press", "place", "press", "peel", "check"],
        *["pre_press", "place", "tack", "peel", "place", "press", "peel", "check"],
        *["fold", "pack"],
    ]
    assert [one.pressed for one in document.decorations] == [2, 1]
    heated = [step.decoration for step in document.steps if step.settings is not None]
    assert heated == [1, 1, 0, 0, 0]
    assert [one.placement for one in document.decorations] == ["Full back", "Left chest"]
    assert {step.placement for step in document.steps if step.decoration == 1} == {"Left chest"}


def test_media_are_told_apart_by_colour() -> None:
    """One film in two colours is two rolls; in one colour it is one, its lengths added up."""
    garment = stocked("classic-cotton-tee", "black")
    white = decoration("cut-film", width_mm=80, film_colour_id="white")
    brick = replace(white, film_colour_id="brick", placement_id="back")
    two = ticket_of(garment, white, brick).materials
    assert [(one.medium, one.colour) for one in two] == [
        ("cut-film", "White"),
        ("cut-film", "Brick red"),
    ]
    (one,) = ticket_of(garment, white, replace(white, placement_id="back")).materials
    assert one.length_mm == pytest.approx(sum(row.length_mm for row in two))
    assert one.pieces == 12


def test_materials_of_older_documents_are_read() -> None:
    """They have a place for a roll and a run, which nothing ever filled."""
    material = ticket_by("cut-film").materials[0]
    older = {**material.model_dump(mode="json"), "roll": None, "run": None}
    assert TicketMaterial.model_validate(older) == material


def test_sheets_are_counted() -> None:
    """A roll is told by its length and sheets by their number."""
    roll = TicketMaterial(medium="film", name="film", length_mm=1_234.0)
    assert roll.words() == "1.23 m of film"
    assert roll.model_copy(update={"sheets": 1}).words() == "1 sheet of film"
    assert roll.model_copy(update={"sheets": 3, "colour": "Red"}).words() == "3 sheets of film, Red"


@given(st.text(), st.text())
def test_a_colour_is_not_said_twice(name: str, colour: str) -> None:
    """A film whose name says its colour is named once, any other with its colour behind."""
    assert in_colour(name, colour) in {name, f"{name}, {colour}"}
    assert in_colour("white glitter film", "White glitter") == "white glitter film"


def test_a_proof_can_be_asked_for() -> None:
    """The ticket holds all that a proof request of the same decoration needs."""
    wished = replace(
        decoration("dye-transfer", width_mm=123.456, consents=frozenset({Consent.FADED_LOOK})),
        placement_id="front",
    )
    document = ticket_of(stocked("half-blend-tee", "white"), wished, sizes={"S": 1, "L": 4, "M": 2})
    proof = document.decorations[0].proof
    assert proof is not None
    assert proof.model_dump() == {
        "artwork_id": "art_test",
        "blank": "half-blend-tee",
        "colour": "white",
        "placement": "front",
        "width_mm": 123.456,
        "method": "dye-transfer",
        "film_colour": None,
        "size": "L",
        "consent": (Consent.FADED_LOOK,),
    }
    assert document.style is Style.TEE


def test_the_customers_own_garment_has_no_spares_and_no_proof() -> None:
    """What the customer brought is all there is; films are cut for spoilage all the same."""
    described = SuppliedGarment(
        fibre_content=FibreContent.of(cotton=100),
        colour_srgb="#141414",
        weight_g_m2=180,
        wearer=Wearer.ADULT,
        half_chest_mm=500,
    )
    placements = demo_shop().catalogue.policy.supplied_placements
    garment = supplied_garment(described, ("M",), placements)
    document = ticket_of(garment, at("left-chest", "cut-film"))
    assert document.starts_by_size == document.pieces_by_size == {"M": 5}
    assert (document.spares, document.pieces_to_start) == (0, 6)
    assert document.decorations[0].proof is None
    assert document.style is None
    assert "what the customer brought" in document.steps[0].words
    drawing = document.decorations[0].drawing
    assert drawing is not None
    assert drawing.in_size("M").middle_mm == 100  # a fifth of the half chest: a design choice
    assert document.care is not None
    assert "garment's own label" in document.care.words()


def test_gathering_tells_all_there_is_to_fetch() -> None:
    """Blanks by size with their place, spares, and each medium with its length."""
    document = ticket_of(
        stocked("classic-cotton-tee", "black"), at("front", "printed-film"), sizes={"M": 3, "L": 2}
    )
    (gather,) = steps_of(document, StepKind.GATHER)
    for told in ("4 x M, 2 x L", "Black", "A-01", "1 of them spare", "white printable film"):
        assert told in gather.words
    assert document.spares == 1


def test_cautions_name_what_is_in_the_work() -> None:
    """Burns, fumes and data sheets always; PVC and children's wear where they are met."""
    plain = ticket_by("cut-film")
    assert plain.cautions == GENERAL_CAUTIONS
    youth = replace(cloth("#ffffff", cotton=100), wearer=Wearer.YOUTH)
    warned = " ".join(ticket_of(youth, decoration("thick-cut-film")).cautions)
    assert "PVC film" in warned
    assert "Children's wear" in warned
    pressed = steps_of(ticket_by("thick-cut-film"), StepKind.PRESS)
    assert all("PVC film" in step.caution for step in pressed)


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_nobody_is_told_to_feel_the_heat(method: str) -> None:
    """A film is left to cool before it is peeled, and no bare hand judges it.

    Common practice, no source: the seconds are those of the film's own data sheet.
    """
    for step in steps_of(ticket_by(method), StepKind.PEEL):
        assert "hand can" not in step.words
        assert "to the hand" not in step.words
        assert step.words.startswith("Let it") == (step.peel in (Peel.WARM, Peel.COLD))
        assert ("gloves" in step.caution) == (step.peel in (Peel.HOT, Peel.WARM))
        assert str(step.peel).upper() in step.words


def test_a_later_strike_spares_what_was_pressed_before() -> None:
    """Film at another place is heated again by the next print: every later strike says so."""
    document = ticket_of(
        stocked("classic-cotton-tee", "black"), at("left-chest", "cut-film"), at("back", "cut-film")
    )
    first = next(one.pressed for one in document.decorations if one.placement == "Left chest")
    names = ("left chest", "full back") if first == 1 else ("full back", "left chest")
    strikes = [step for step in document.steps if step.settings]
    for step in strikes:
        spared = f"at the {names[0]} off the platen" in step.caution
        assert spared == (step.placement.lower() == names[1])
    assert {step.placement.lower() for step in strikes} == set(names)


def test_printing_and_cutting_say_how_many_and_how_large() -> None:
    """For every piece to start, spares among them, in the size of the artwork."""
    document = ticket_by("printed-film")
    for kind in (StepKind.PRINT, StepKind.CUT):
        (step,) = steps_of(document, kind)
        rows = dict(setting_rows(step, document.pieces_to_start))
        decoration = document.decorations[0]
        size = f"{decoration.width_mm:g} x {decoration.height_mm:g} mm"
        assert rows["how many"] == str(document.pieces_to_start)
        assert size in (rows.get("size"), rows.get("artwork size"))


def test_what_must_meet_is_checked_for_registration() -> None:
    """Print and cut, or dye and its film, must meet; a single cut film has nothing to meet."""
    for method, told in (("printed-film", True), ("dye-on-white-film", True), ("cut-film", False)):
        (check,) = steps_of(ticket_by(method), StepKind.CHECK)
        assert ("registration" in check.words) is told


def tiny_ticket(method_id: str) -> TicketDocument:
    """The ticket of ten pieces by a method of the tiny shop, whose film has no blade data."""
    shop = compile_catalogue(tiny_shop(), "tiny")
    wished = tiny_decoration(method_id)
    line = tiny_line(shop.catalogue, {"M": 10}, wished)
    made = judge(shop, line, wished, method_id)
    verdict = DecorationVerdict(wished, (made,), made, {})
    return write_ticket(shop, line, [verdict], line_work(shop.catalogue, line))


def test_a_medium_without_blade_data_points_to_its_data_sheet() -> None:
    """Angle, force and passes are left open; the plotter's own offset still stands."""
    (cut,) = steps_of(tiny_ticket("cut-film"), StepKind.CUT)
    assert cut.cutting is not None
    assert cut.cutting.blade_offset_mm == 0.25
    assert (cut.cutting.blade_angle_deg, cut.cutting.force_gf, cut.cutting.passes) == (None,) * 3
    assert ("blade and force", "as the data sheet says") in setting_rows(cut, 10)


def test_steps_follow_a_shops_own_method() -> None:
    """A method with neither drying, pre-press nor peeling has none of these steps."""
    document = tiny_ticket("dye-on-glitter")
    assert kinds_of(document) == [
        *["gather", "print", "cut", "weed", "lint_roll", "place", "press", "place", "press"],
        *["check", "fold", "pack"],
    ]
    # Pieces 200 mm wide lie two across a strip of 490 mm, in two rows of 100 mm on each sheet.
    assert [(row.medium, row.sheets) for row in document.materials] == [
        ("dye-paper", None),
        ("glitter-film", 3),
    ]


def test_a_decoration_without_a_method_is_no_ticket() -> None:
    """A line is written only when every decoration has a chosen method."""
    wished = decoration("cut-film", art=artwork("#ffffff"))
    line = Line(cloth("#141414", cotton=100), {"M": 1}, (wished,))
    undecided = DecorationVerdict(wished, (), None, {})
    work = line_work(demo_shop().catalogue, line)
    with pytest.raises(ValueError, match="no method was chosen"):
        write_ticket(demo_shop(), line, [undecided], work)
