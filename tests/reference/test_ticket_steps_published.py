"""Tickets of the demo shop against what the trade knows: order of steps, sides and recipes.

Every row is common practice, no source, unless a source stands beside it; ranges are of the press
surface. Each row names what the trade's own table of methods calls it.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.care_card import care_card
from service.domain.media import Peel, Pressure
from service.domain.methods import Cover
from service.domain.placement_drawing import inches
from service.domain.ticket_steps import StepKind, TicketStep, exact_fahrenheit
from tests.domain.garments_and_lines import demo_shop
from tests.domain.tickets import (
    CLOTH_FOR,
    at,
    kinds_of,
    steps_of,
    stocked,
    ticket_by,
    ticket_of,
)

# Step order by kind of method; common practice, no source. "Dye: lint-roll, pre-press, paper face
# down and taped, cover paper, press, lift straight. Cut film: cut mirrored, weed, pre-press, place
# carrier up, press, peel, second press under cover. Printable sheet: print not mirrored, dry,
# contour cut, peel backing, face up, cover sheet, press, cool. Base and dye: the steps of cut film,
# then those of dye with fresh cover paper." Gathering comes first; checking, folding with the care
# card and packing last.
DYE = ["print", "dry", "lint_roll", "pre_press", "place", "press", "peel"]
CUT_FILM = ["cut", "weed", "lint_roll", "pre_press", "place", "press", "peel", "press"]
PRINTABLE = ["print", "dry", "cut", "weed", "lint_roll", "pre_press", "place", "press", "peel"]
BASE_AND_DYE = [
    *["cut", "weed", "print", "dry", "lint_roll", "pre_press"],
    *["place", "tack", "peel", "place", "press", "peel"],
]
CUT_FILMS = [
    *["cut-film", "low-heat-cut-film", "blocker-film", "stretch-cut-film"],
    *["thick-cut-film", "nylon-cut-film", "reflective-cut-film"],
]
BASES = ["dye-on-glitter-film", "dye-on-flock-film", "dye-on-white-film"]
ORDER = {
    "dye-transfer": DYE,
    "printed-film": PRINTABLE,
    **dict.fromkeys(CUT_FILMS, CUT_FILM),
    **dict.fromkeys(BASES, BASE_AND_DYE),
}


def test_every_method_of_the_shop_is_looked_at() -> None:
    """No method of the demo shop is left out of the tables below."""
    assert {method.id for method in demo_shop().catalogue.methods} == set(ORDER) == set(CLOTH_FOR)


@pytest.mark.parametrize("method", ORDER)
def test_steps_go_in_the_order_of_the_hands(method: str) -> None:
    """The order above between gathering and checking; common practice, no source."""
    assert kinds_of(ticket_by(method)) == ["gather", *ORDER[method], "check", "fold", "pack"]


# "Mirrored?" of the trade's table of film methods and of dye transfer; common practice, no source.
SIDES = {
    "dye-transfer": {"print": True},
    "printed-film": {"print": False, "cut": False},
    **{film: {"cut": True} for film in CUT_FILMS},
    **{base: {"cut": True, "print": True} for base in BASES},
}


@pytest.mark.parametrize("method", SIDES)
def test_what_is_printed_or_cut_says_whether_it_is_mirrored(method: str) -> None:
    """In a flag, in words and by a sign, on every step that prints or cuts and on no other."""
    steps = ticket_by(method).steps
    told = {step.kind.value: step.mirrored for step in steps if step.mirrored is not None}
    assert told == SIDES[method]
    for step in steps:
        words = {True: "MIRRORED", False: "NOT MIRRORED", None: ""}[step.mirrored]
        assert step.mirror_words == words
        assert words in step.words
        assert ("NOT MIRRORED" in step.words) is (step.mirrored is False)
        assert step.mirror_sign == {True: "Я", False: "R", None: ""}[step.mirrored]


# Temperature, seconds, pressures and peel of the strike that fixes each medium for good: the
# trade's table of film methods, and the "hand-set press" rows for the last four. Common practice,
# no source, or from memory (the two bases' own rows have both).
RECIPES: dict[str, tuple[tuple[float, float], tuple[float, float], set[str], set[str]]] = {
    "dye-transfer": ((190, 204), (45, 60), {"light", "medium"}, {"hot"}),
    "cut-film": ((150, 165), (10, 15), {"medium"}, {"hot", "warm", "cold"}),
    "low-heat-cut-film": ((115, 140), (5, 15), {"medium"}, {"warm", "cold"}),
    "blocker-film": ((130, 150), (10, 15), {"medium"}, {"cold"}),
    "thick-cut-film": ((160, 170), (15, 20), {"medium"}, {"cold"}),
    "nylon-cut-film": ((130, 150), (10, 15), {"medium"}, {"cold"}),
    "printed-film": ((170, 170), (90, 90), {"firm"}, {"cold"}),
    "dye-on-glitter-film": ((199, 199), (60, 60), {"firm"}, {"hot"}),
    "dye-on-flock-film": ((199, 199), (60, 60), {"light"}, {"hot"}),
    "dye-on-white-film": ((180, 195), (30, 60), {"medium"}, {"hot", "cold"}),
}


@pytest.mark.parametrize("method", RECIPES)
def test_strikes_are_set_as_the_trade_sets_them(method: str) -> None:
    """Temperature, dwell, pressure and peel in the table's row; common practice, no source."""
    (least_c, most_c), (least_s, most_s), pressures, peels = RECIPES[method]
    fixing = steps_of(ticket_by(method), StepKind.PRESS)[0].settings
    assert fixing is not None
    assert least_c <= fixing.set_c <= most_c
    assert least_s <= fixing.dwell_s <= most_s
    assert fixing.pressure in pressures
    assert fixing.peel in peels


@pytest.mark.parametrize("method", ["dye-on-glitter-film", "dye-on-flock-film"])
def test_a_base_is_tacked_at_199_c_until_it_holds(method: str) -> None:
    """390 °F, 10 to 15 s, carrier off cold, paper then taped down and not moved.

    Common practice, no source.
    """
    document = ticket_by(method)
    (tack,) = steps_of(document, StepKind.TACK)
    assert tack.settings is not None
    assert tack.settings.set_c == 199
    assert round(tack.settings.set_f) == 390
    assert 10 <= tack.settings.dwell_s <= 15
    assert [step.peel for step in steps_of(document, StepKind.PEEL)] == [Peel.COLD, Peel.HOT]
    base, paper = steps_of(document, StepKind.PLACE)
    assert base.placing is not None
    assert (base.placing.face_down, base.placing.taped) == (False, False)
    assert paper.placing is not None
    assert (paper.placing.face_down, paper.placing.taped) == (True, True)
    assert paper.placing.over == (base.medium,)
    assert "FACE DOWN" in paper.words
    assert "Tape it down. Do not move it" in paper.words


# "Press strokes per piece incl. pre-press: dye 2, film 3, base + dye 3-4"; common practice, no
# source. Printed film without a carrier is pressed once.
STROKES = {
    "dye-transfer": 2,
    "printed-film": 2,
    **dict.fromkeys(CUT_FILMS, 3),
    **dict.fromkeys(BASES, 3),
}


@pytest.mark.parametrize("method", STROKES)
def test_every_strike_says_which_of_how_many_it_is(method: str) -> None:
    """Strikes are counted as the trade counts strokes a piece; common practice, no source."""
    strikes = [step for step in ticket_by(method).steps if step.settings is not None]
    count = STROKES[method]
    assert [(step.strike, step.strikes) for step in strikes] == [
        (number, count) for number in range(1, count + 1)
    ]


@pytest.mark.parametrize("method", ORDER)
def test_the_pre_press_is_short(method: str) -> None:
    """3 to 5 s, nylon 2 to 3 s, drive out moisture and creases; common practice, no source."""
    (pre_press,) = steps_of(ticket_by(method), StepKind.PRE_PRESS)
    assert pre_press.dwell_s is not None
    least_s, most_s = (2, 3) if method == "nylon-cut-film" else (3, 5)
    assert least_s <= pre_press.dwell_s <= most_s


@pytest.mark.parametrize("method", CUT_FILMS)
def test_the_second_stroke_on_film_is_short_and_under_cover(method: str) -> None:
    """2 to 5 s once the carrier is off; common practice, no source."""
    second = steps_of(ticket_by(method), StepKind.PRESS)[1]
    assert second.settings is not None
    assert 2 <= second.settings.dwell_s <= 5
    assert second.settings.cover is Cover.NONSTICK_SHEET


@pytest.mark.parametrize("method", ["dye-transfer", *BASES])
def test_dye_is_pressed_under_fresh_uncoated_paper(method: str) -> None:
    """Never a bare non-stick sheet, which takes dye and ghosts the next garment.

    A supplier's test article; common practice.
    """
    dye = steps_of(ticket_by(method), StepKind.PRESS)[-1]
    assert dye.settings is not None
    assert dye.settings.cover is Cover.FRESH_PAPER
    assert "fresh uncoated paper" in dye.words


def test_printed_film_is_pressed_hard_under_a_non_stick_sheet() -> None:
    """170 °C (338 °F), 90 s, heavy pressure, non-stick sheet; common practice, no source."""
    press = steps_of(ticket_by("printed-film"), StepKind.PRESS)[0].settings
    assert press is not None
    assert (press.set_c, press.set_f, press.dwell_s) == (170, 338, 90)
    assert (press.pressure, press.cover) == (Pressure.FIRM, Cover.NONSTICK_SHEET)


@pytest.mark.parametrize("method", [*CUT_FILMS, *BASES, "printed-film"])
def test_the_blades_offset_goes_with_its_angle(method: str) -> None:
    """0.25 mm for a blade of 45 degrees, 0.5 mm for one of 60 (one trade article)."""
    cutting = _cut(method).cutting
    assert cutting is not None
    assert cutting.blade_angle_deg is not None
    assert cutting.blade_offset_mm == {45.0: 0.25, 60.0: 0.5}[cutting.blade_angle_deg]


@pytest.mark.parametrize("method", [*CUT_FILMS, *BASES])
def test_film_on_a_carrier_is_cut_film_side_down(method: str) -> None:
    """Through its adhesive, the carrier below; common practice, no source."""
    step = _cut(method)
    assert step.cutting is not None
    assert (step.cutting.face_down, step.cutting.registration_marks) == (True, False)
    assert "film side down" in step.words


def test_a_printed_film_is_cut_face_up_by_its_registration_marks() -> None:
    """A contour cut has to find the print; common practice, no source."""
    step = _cut("printed-film")
    assert step.cutting is not None
    assert (step.cutting.face_down, step.cutting.registration_marks) == (False, True)
    assert "registration marks" in step.words


def _cut(method: str) -> TicketStep:
    (step,) = steps_of(ticket_by(method), StepKind.CUT)
    return step


def test_degrees_fahrenheit_are_those_of_the_trades_arithmetic() -> None:
    """400, 385, 320 and 280 °F are 204.4, 196.1, 160.0 and 137.8 °C; arithmetic."""
    for temp_f, temp_c in ((400, 204.4), (385, 196.1), (320, 160.0), (280, 137.8)):
        assert exact_fahrenheit(temp_c) == pytest.approx(temp_f, abs=0.1)


def test_the_fixed_points_of_both_scales() -> None:
    """Water freezes at 0 °C = 32 °F and boils at 100 °C = 212 °F, and -40 is the same in both.

    From memory.
    """
    assert [exact_fahrenheit(temp_c) for temp_c in (0, 100, -40)] == [32, 212, -40]


@given(st.integers(200, 2_600))
def test_fahrenheit_is_celsius_to_the_last_digit(tenths: int) -> None:
    """F = C x 9/5 + 32 in decimal arithmetic, for every setting to a tenth of a degree."""
    written_c = tenths / 10
    exact_f = Decimal(tenths) / 10 * Decimal(9) / 5 + 32
    assert Decimal(str(exact_fahrenheit(written_c))) == exact_f


@pytest.mark.parametrize("method", ORDER)
def test_every_setting_stands_in_both_scales_and_for_the_timer(method: str) -> None:
    """The Fahrenheit of a ticket is that of its Celsius, and the timer's seconds its dwell."""
    for step in ticket_by(method).steps:
        if step.settings is None:
            assert step.dwell_s is None
            continue
        exact_f = Decimal(str(step.settings.set_c)) * 9 / 5 + 32
        assert Decimal(str(step.settings.set_f)) == exact_f
        assert step.dwell_s == step.settings.dwell_s


def test_an_inch_is_25_4_mm() -> None:
    """The international inch; from memory. Half chests of shirts in S and M are 18 and 20 inches.

    457 and 508 mm in two size charts; common practice.
    """
    assert inches(25.4) == 1
    assert round(inches(457)) == 18
    assert inches(508) == pytest.approx(20)


def test_the_care_card_of_film_tells_what_the_trade_tells() -> None:
    """Wait a day, inside out, no bleach, never iron the print, no dry cleaning (five trade guides).

    The order of the lines is that of ISO 3758: washing, bleaching, drying, ironing, professional
    care; from memory.
    """
    card = ticket_by("cut-film").care
    assert card is not None
    assert [line.kind.value for line in card.lines] == [
        *["wait", "wash", "bleach", "dry", "iron", "professional"]
    ]
    words = card.words()
    for told in ("24 hours", "inside out", "Do not bleach", "never on the print", "dry clean"):
        assert told in words


def test_the_card_is_the_least_of_garment_and_film() -> None:
    """Garment 60 °C and three dots, film 40 °C and one dot: 40 °C and one dot, 110 °C.

    The label states the most severe safe treatment, and one dot is 110 °C: ISO 3758:2012.
    """
    shop = demo_shop()
    own = shop.catalogue.blank_by_id["classic-cotton-tee"].care
    assert (own.wash_c, own.iron_dots) == (60, 3)
    card = care_card(own, [shop.chains["printed-film"]])
    assert card is not None
    assert (card.wash_c, card.iron_dots, card.iron_max_c) == (40, 1, 110)


def test_left_chest_lies_beside_the_middle() -> None:
    """A left chest is on a line down from neck and shoulder, 75 to 100 mm below the collar.

    Three trade guides; common practice. The wearer's left is on the right of who looks at a front.
    """
    document = ticket_of(stocked("classic-cotton-tee", "white"), at("left-chest", "cut-film"))
    drawing = document.decorations[0].drawing
    assert drawing is not None
    assert 75 <= drawing.drop_mm <= 100
    box = drawing.print_box("M")
    assert box.left_mm > 0
    assert box.right_mm < drawing.in_size("M").half_chest_mm / 2
    assert "to the wearer's left" in document.decorations[0].placed
