"""Contradictions between a catalogue's parts, each refused at load with line and pointer.

What counts as a contradiction is a design choice of this project, no source, unless a check
names one.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from babel import Locale
from babel.numbers import get_territory_currencies

from service.catalogue.blank_checks import gtin_check_digit
from service.catalogue.cross_checks import catalogue_faults, currencies_in_use
from service.catalogue.loading import demo_shop_path, load_catalogue
from tests.catalogue.workroom import WORKROOM, edited, faults_of, line_of

PRESS_STEP = "{kind: press, station: bench, machine: press, medium: film, setup_min: 2"
PAPER_STEP = "{kind: press, station: bench, machine: press, medium: paper, setup_min: 2"
WEED_STEP = "{kind: weed, station: bench, medium: film"
CUT_STEP = "{kind: cut, station: desk, machine: plotter, medium: film"
PRINT_STEP = "{kind: print, station: desk, machine: dye-printer, medium: paper"
SECOND_DESK = "{id: bench, name: Bench"

# name: (edits, snippet on the fault's line, pointer, words)
CONTRADICTIONS: dict[str, tuple[list[tuple[str, str]], str, str, str]] = {
    "station twice": (
        [(SECOND_DESK, "{id: desk, name: Bench"), ("station: bench\n", "station: desk\n")]
        + [("station: bench", "station: desk")] * 3,
        "{id: desk, name: Bench",
        "/stations/1/id",
        "station 'desk' is listed twice",
    ),
    "machine twice across kinds": (
        [("  - id: plotter\n", "  - id: press\n"), ("machine: plotter", "machine: press")],
        "  - id: press\n    name: Press",
        "/presses/0/id",
        "machine 'press' is listed twice",
    ),
    "medium twice": (
        [("  - id: paper\n", "  - id: film\n")],
        "  - id: film\n    name: Paper",
        "/media/1/id",
        "medium 'film' is listed twice",
    ),
    "method twice": (
        [("  - id: dye\n", "  - id: film\n")],
        "  - id: film\n    name: Dye",
        "/methods/1/id",
        "method 'film' is listed twice",
    ),
    "film colour twice": (
        [("{id: black, name: Black", "{id: white, name: Black")],
        "{id: white, name: Black",
        "/media/0/colours/1/id",
        "colour 'white' is listed twice",
    ),
    "supplied placement twice": (
        [("{id: back, name: Back", "{id: front, name: Back")],
        "{id: front, name: Back",
        "/policy/supplied_placements/1/id",
        "placement 'front' is listed twice",
    ),
    "dye thresholds out of order": (
        [("dye_full_percent: 95", "dye_full_percent: 60")],
        "dye_full_percent: 60",
        "/policy/dye_full_percent",
        "dye_full_percent 60 lies below dye_pale_percent 65",
    ),
    "dye threshold below a default": (
        [("dye_pale_percent: 65", "dye_pale_percent: 40")],
        "dye_pale_percent: 40",
        "/policy/dye_pale_percent",
        "dye_pale_percent 40 lies below dye_faded_percent 50",
    ),
    "lightness thresholds out of order": (
        [("regime: eu\n", "regime: eu\n  medium_lightness: 70\n  light_lightness: 65\n")],
        "light_lightness: 65",
        "/policy/light_lightness",
        "light_lightness 65 must lie above medium_lightness 70",
    ),
    "cut-off with an offset": (
        [('"12:00"', '"12:00+02:00"')],
        "cut_off:",
        "/calendar/cut_off",
        "local time",
    ),
    "a year without work": (
        [("[0, 1, 2, 3, 4]", "[0]"), ("[2026-12-24, 2026-12-31]", "CLOSED")],
        "closures:",
        "/calendar/closures",
        "no working day for 370 days from 2026-01-06",
    ),
    "money no longer in use": (
        [("currency: EUR", "currency: DEM")],
        "currency: DEM",
        "/prices/currency",
        "'DEM' is no ISO 4217 code",
    ),
    "no such money": (
        [("currency: EUR", "currency: QQQ")],
        "currency: QQQ",
        "/prices/currency",
        "'QQQ' is no ISO 4217 code",
    ),
    "a break no order reaches": (
        [("from_pieces: 24", "from_pieces: 501")],
        "from_pieces: 501",
        "/prices/breaks/1/from_pieces",
        "no order reaches 501 pieces: max_pieces_per_order is 500",
    ),
    "medium without a price": (
        [("price_per_m: 9.40", "price_per_m: 0")],
        "price_per_m: 0\n",
        "/media/0/price_per_m",
        "the price of medium 'film' is missing",
    ),
    "margins as wide as the roll": (
        [("margin_mm: 8", "margin_mm: 200"), ("width_mm: 600\n    thi", "width_mm: 400\n    thi")],
        "margin_mm: 200",
        "/media/1/margin_mm",
        "leave nothing of medium 'paper', 400 mm wide",
    ),
    "machine at no station": (
        [("station: desk\n    ink", "station: shed\n    ink")],
        "station: shed",
        "/printers/0/station",
        "machine 'dye-printer' stands at station 'shed', which is not in the catalogue",
    ),
    "ink without a price": (
        [("ink_price_per_ml: 0.16", "ink_price_per_ml: 0.00")],
        "ink_price_per_ml: 0.00",
        "/printers/0/ink_price_per_ml",
        "the price of the ink of 'dye-printer' is missing",
    ),
    "press too cool for any film": (
        [("ceiling_c: 220", "ceiling_c: 140")],
        "ceiling_c: 140",
        "/presses/0/ceiling_c",
        "goes up to 140 C, below the press window of every medium; the lowest begins at 150 C",
    ),
    "blank size without a price": (
        [("cost: 2.70", "cost: 0")],
        "cost: 0}",
        "/blanks/0/sizes/1/cost",
        "the price of blank 'blend-tee' in size 'M' is missing",
    ),
    "no area for a size": (
        [("          M: {width_mm: 300, height_mm: 356}\n", "")],
        "areas:",
        "/blanks/0/placements/0/areas",
        "placement 'front' of blank 'blend-tee' has no area for size 'M'",
    ),
    "area for no size": (
        [("        areas:\n", "        areas:\n          4XL: {width_mm: 270, height_mm: 9}\n")],
        "4XL:",
        "/blanks/0/placements/0/areas/4XL",
        "has an area for '4XL', which is no size",
    ),
    "area wider than the half chest": (
        [("S: {width_mm: 270", "S: {width_mm: 458")],
        "S: {width_mm: 458",
        "/blanks/0/placements/0/areas/S/width_mm",
        "is 458 mm in size 'S', more than its half chest of 457 mm",
    ),
    "area taller than the body": (
        [("height_mm: 356", "height_mm: 738")],
        "height_mm: 738",
        "/blanks/0/placements/0/areas/M/height_mm",
        "is 738 mm in size 'M', more than its body length of 737 mm",
    ),
    "face fibre that the cloth lacks": (
        [("polyester, percent: 100", "silk, percent: 100")],
        "{fibre: silk",
        "/blanks/0/face_fibre_content/0/fibre",
        "the face of blank 'blend-tee' holds silk, which its fibre_content does not name",
    ),
    # Reg (EU) No 1007/2011, Art. 9(1): in descending order.
    "label out of order": (
        [("polyester, percent: 65", "polyester, percent: 30"), ("percent: 35", "percent: 70")],
        "{fibre: cotton",
        "/blanks/0/fibre_content/1",
        "Article 9(1)",
    ),
    # 16 CFR 303.3: under 5 % "other fiber", unless it has a function.
    "small fibre on a US label": (
        [("regime: eu", "regime: us"), ("polyester, percent: 65", "polyester, percent: 97"),
         ("percent: 35", "percent: 3")],
        "{fibre: cotton",
        "/blanks/0/fibre_content/1",
        "16 CFR 303.3",
    ),
    "GTIN with a wrong check digit": (
        [("9521234001027", "9521234001028")],
        "9521234001028",
        "/blanks/0/colours/0/gtins/M",
        "its check digit would be 7",
    ),
    "GTIN of no known length": (
        [("9521234001027", "952123400102")],
        "952123400102",
        "/blanks/0/colours/0/gtins/M",
        "its check digit would be",
    ),
    "GTIN of ten digits": (
        [("9521234001027", "9521234001")],
        'M: "9521234001"',
        "/blanks/0/colours/0/gtins/M",
        "one has 8, 12, 13 or 14 digits",
    ),
    "GTIN twice": (
        [("9521234001027", "09521234001010")],
        "09521234001010",
        "/blanks/0/colours/0/gtins/M",
        "already stands for a size and colour of blank 'blend-tee'",
    ),
    "GTIN for no size": (
        [('M: "9521234001027"', 'XS: "9521234001027"')],
        "XS:",
        "/blanks/0/colours/0/gtins/XS",
        "has no size 'XS'",
    ),
    "operation at no station": (
        [("{kind: weed, station: bench", "{kind: weed, station: attic")],
        "station: attic",
        "/methods/0/operations/1/station",
        "'weed' of method 'film' stands at station 'attic', which is not in the catalogue",
    ),
    "operation away from its machine": (
        [(PRESS_STEP, PRESS_STEP.replace("station: bench", "station: desk"))],
        "{kind: press, station: desk",
        "/methods/0/operations/2/station",
        "but its machine 'press' stands at 'bench'",
    ),
    "operation longer than a day": (
        [("setup_min: 0, each_min: 2", "setup_min: 0, each_min: 401")],
        "each_min: 401",
        "/methods/0/operations/1/each_min",
        "takes 401 minutes for one piece, more than the 400 of a day at station 'bench'",
    ),
    "unknown machine": (
        [("machine: plotter", "machine: scissors")],
        "machine: scissors",
        "/methods/0/operations/0/machine",
        "'cut' of method 'film' names machine 'scissors', which is not in the catalogue",
    ),
    "a cut without a plotter": (
        [("machine: plotter", "machine: dye-printer")],
        "{kind: cut",
        "/methods/0/operations/0/machine",
        "'cut' of method 'film' needs a plotter, and 'dye-printer' is a printer",
    ),
    "a print without a printer": (
        [("machine: dye-printer", "machine: plotter")],
        "{kind: print",
        "/methods/1/operations/0/machine",
        "'print' of method 'dye' needs a printer, and 'plotter' is a plotter",
    ),
    "a stroke without a press": (
        [(PRESS_STEP, PRESS_STEP.replace("bench, machine: press", "desk, machine: plotter"))],
        "{kind: press, station: desk",
        "/methods/0/operations/2/machine",
        "'press' of method 'film' needs a press, and 'plotter' is a plotter",
    ),
    "unknown medium": (
        [(WEED_STEP, WEED_STEP.replace("film", "foil"))],
        "medium: foil",
        "/methods/0/operations/1/medium",
        "'weed' of method 'film' names medium 'foil', which is not in the catalogue",
    ),
    "ink that the medium does not take": (
        [("ink: dye", "ink: pigment")],
        "{kind: print",
        "/methods/1/operations/0/medium",
        "'dye-printer' prints pigment, and medium 'paper' takes dye",
    ),
    "medium wider than the printer": (
        [("max_width_mm: 610", "max_width_mm: 599")],
        "{kind: print",
        "/methods/1/operations/0/medium",
        "medium 'paper' is 600 mm wide, and 'dye-printer' takes up to 599 mm",
    ),
    "medium wider than the plotter": (
        [("max_width_mm: 600\n    blade", "max_width_mm: 499.5\n    blade")],
        "{kind: cut",
        "/methods/0/operations/0/medium",
        "medium 'film' is 500 mm wide, and 'plotter' takes up to 499.5 mm",
    ),
    "weeded but not cut": (
        [(f"{CUT_STEP}, mirrored: true", "{kind: dry, station: desk")],
        WEED_STEP,
        "/methods/0/operations/1/medium",
        "medium 'film' was not cut before",
    ),
    "paper pressed but not printed": (
        [(f"{PRINT_STEP}, mirrored: true", "{kind: dry, station: desk")],
        PAPER_STEP,
        "/methods/1/operations/1/medium",
        "nothing was printed on medium 'paper' before",
    ),
    "printed but not pressed": (
        [(PAPER_STEP, "{kind: check, station: bench, setup_min: 2")],
        "{kind: print",
        "/methods/1/operations/0/medium",
        "medium 'paper' is never tacked or pressed afterwards",
    ),
    "no setting inside the window": (
        [("temp_min_c: 180, temp_max_c: 204, best_temp_c: 200",
          "temp_min_c: 200, temp_max_c: 204, best_temp_c: 200")],
        PAPER_STEP,
        "/methods/1/operations/1",
        "must be set to 204 C at least, and the press window allows 200 C",
    ),
    "press cannot reach the window": (
        [("ceiling_c: 220", "ceiling_c: 183")],
        PAPER_STEP,
        "/methods/1/operations/1",
        "must be set to 184 C at least, and the press's ceiling allows 183 C",
    ),
}  # fmt: skip


def closed_mondays() -> str:
    """All Mondays from 12 January 2026 to 4 January 2027, as a YAML list."""
    return str([str(date(2026, 1, 12) + timedelta(weeks=week)) for week in range(52)])


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_each_contradiction_is_told_where_it_stands(name: str, tmp_path: Path) -> None:
    """One contradiction in a sound catalogue gives its message with the right line and pointer."""
    edits, snippet, pointer, words = CONTRADICTIONS[name]
    text = edited(*edits).replace("CLOSED", closed_mondays())
    faults = faults_of(tmp_path, text)
    met = [fault for fault in faults if fault.pointer == pointer and words in fault.message]
    assert [fault.line for fault in met] == [line_of(text, snippet)], faults


def test_later_heat_above_what_a_film_withstands_is_refused(tmp_path: Path) -> None:
    """Dye pressed at 184 C or more onto a film that withstands 170 C can never be done."""
    tail = ", setup_min: 2, each_min: 1}\n"
    dye = "      - {kind: press, station: bench, machine: press, medium: film" + tail
    text = edited((f"      - {PAPER_STEP}", f"{dye}      - {PAPER_STEP}"))
    (fault,) = faults_of(tmp_path, text)
    assert fault.pointer == "/methods/1/operations/2"
    assert "184 C at least, and film 'film' on the cloth allows 166 C" in fault.message


def test_all_contradictions_are_told_at_once(tmp_path: Path) -> None:
    """Faults in the price book, a blank, a machine and two methods come in one list, by line."""
    names = [
        "money no longer in use",
        "ink without a price",
        "area wider than the half chest",
        "operation at no station",
        "printed but not pressed",
    ]
    text = edited(*(edit for name in names for edit in CONTRADICTIONS[name][0]))
    faults = faults_of(tmp_path, text)
    assert [fault.pointer for fault in faults] == [CONTRADICTIONS[name][2] for name in names]
    assert [fault.line for fault in faults] == sorted(fault.line or 0 for fault in faults)


def test_sound_catalogues_have_no_fault(tmp_path: Path) -> None:
    """The workroom of these tests and the demonstration shop hold no contradiction."""
    assert faults_of(tmp_path, WORKROOM) == ()
    assert catalogue_faults(load_catalogue(demo_shop_path()).catalogue) == []


def test_mirroring_is_left_to_the_rules(tmp_path: Path) -> None:
    """A wrong mirrored flag is no contradiction here: a rule tells it with its reason."""
    text = edited(("medium: film, mirrored: true", "medium: film, mirrored: false"))
    assert faults_of(tmp_path, text) == ()


def test_a_year_all_but_a_day_may_be_closed(tmp_path: Path) -> None:
    """Closures that leave 364 days without work or fewer are the shop's own affair."""
    mondays = closed_mondays().replace("'2027-01-04'", "'2027-01-05'")
    text = edited(("[0, 1, 2, 3, 4]", "[0]"), ("[2026-12-24, 2026-12-31]", mondays))
    assert faults_of(tmp_path, text) == ()


@pytest.mark.parametrize(
    "gtin",
    [
        # Numbers that explanations of GTINs use; from memory.
        "6291041500213",
        "96385074",
        "614141000036",
        "10614141543219",
        # Worked by hand: weights 1 3 1 3 ... on 952123454321 give 77, and 3 makes it 80.
        "9521234543213",
    ],
)
def test_check_digits_follow_modulo_ten(gtin: str) -> None:
    """The last digit makes the weighted sum a multiple of ten."""
    assert gtin_check_digit(gtin[:-1]) == gtin[-1]


def test_any_single_wrong_digit_is_found() -> None:
    """Weights 3 and 1 are both prime to ten, so one wrong digit always shows."""
    right = "6291041500213"
    wrong = [
        right[:place] + digit + right[place + 1 :]
        for place in range(len(right))
        for digit in "0123456789"
        if digit != right[place]
    ]
    assert not [gtin for gtin in wrong if gtin_check_digit(gtin[:-1]) == gtin[-1]]


def test_currencies_in_use_are_those_of_babel() -> None:
    """Money of the present is accepted, money of the past and precious metal is not."""
    known = currencies_in_use()
    for territory in ("DE", "US", "GB", "JP", "KW", "CH"):
        assert set(get_territory_currencies(territory)) <= known
    assert known.isdisjoint({"DEM", "FRF", "XAU", "XXX", "XTS"})
    assert known <= set(Locale("en").currencies)
