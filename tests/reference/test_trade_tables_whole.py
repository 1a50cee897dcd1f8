"""The trade's tables, cell by cell, against the verdicts of the demo shop.

The tables are design choices from common practice, no source, unless one stands beside. A cell is
"A" for accepted, "W" for accepted with a warning, "R" for refused. Each artwork is one that the
method itself can show, so that what is judged is method, cloth and colour. Where the shop answers
otherwise than the table, both stand there with the reason.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.domain.artwork import ArtworkMeasures, PaletteColour
from service.domain.blanks import Finish
from service.domain.colour import lab_from_srgb_hex
from service.domain.fibres import FibreContent
from service.domain.garments import Garment
from service.domain.verdict import MethodVerdict, judge_line
from service.domain.wishes import Consent, Line
from tests.domain.garments_and_lines import (
    artwork,
    blockers,
    cloth,
    decoration,
    demo_shop,
    verdict,
    warners,
)

WHITE, GREY, NEAR_BLACK, RED = "#ffffff", "#a0a0a5", "#141414", "#b01020"
LIGHT, MEDIUM, DARK = WHITE, GREY, NEAR_BLACK

BLACK_ART = artwork("#101010")
COLOURED_ART = artwork("#c01020", "#2040c0", "#f0d020")

AGREED = frozenset({Consent.FADED_LOOK})
NOTHING: frozenset[Consent] = frozenset()


def letter(given: MethodVerdict) -> str:
    """A, W or R as the tables write it."""
    if not given.works:
        return "R"
    return "W" if warners(given) else "A"


def blend(polyester: int) -> dict[str, int]:
    """Polyester and cotton, the larger first."""
    shares = {"polyester": polyester, "cotton": 100 - polyester}
    return {fibre: percent for fibre, percent in shares.items() if percent}


# Direct dye by polyester share (rows) and lightness of the cloth (columns): what is accepted on
# light cloth, on medium cloth with black artwork alone, on medium cloth with colours, on dark cloth
# whatever the artwork. Design choices; that dye is transparent is physics, that cellulose holds it
# weakly is J. Soc. Dyers Colour. 1977, doi 10.1111/j.1478-4408.1977.tb03343.x (abstract).
DIRECT_DYE = [
    (100, "A", "W", "R"),
    (95, "A", "W", "R"),
    (94, "W", "W", "R"),
    (65, "W", "W", "R"),
    (64, "R", "R", "R"),
    (50, "R", "R", "R"),
    (49, "R", "R", "R"),
    (20, "R", "R", "R"),
    (0, "R", "R", "R"),
]


@pytest.mark.parametrize(("polyester", "light", "medium_black", "medium_coloured"), DIRECT_DYE)
def test_direct_dye_by_polyester_share_and_lightness(
    polyester: int, light: str, medium_black: str, medium_coloured: str
) -> None:
    """At 95 % the shop warns too: the 5 % of cotton leave the colours' look in doubt."""
    shares = blend(polyester)
    on_light = verdict(
        cloth(LIGHT, Finish.PLAIN, **shares), decoration("dye-transfer", art=BLACK_ART)
    )
    expected = "W" if polyester == 95 else light
    assert letter(on_light) == expected
    assert not warners(on_light) or polyester < 100
    on_medium = cloth(MEDIUM, Finish.PLAIN, **shares)
    assert letter(verdict(on_medium, decoration("dye-transfer", art=BLACK_ART))) == medium_black
    coloured = verdict(on_medium, decoration("dye-transfer", art=COLOURED_ART))
    assert letter(coloured) == medium_coloured


@pytest.mark.parametrize("polyester", [row[0] for row in DIRECT_DYE])
@pytest.mark.parametrize("art", [BLACK_ART, COLOURED_ART], ids=["black", "coloured"])
def test_direct_dye_on_dark_cloth_is_refused_at_any_share(
    polyester: int, art: ArtworkMeasures
) -> None:
    """Physics: what is under a transparent dye can only get darker. No consent helps."""
    agreed = decoration("dye-transfer", art=art, consents=frozenset(Consent))
    given = verdict(cloth(DARK, Finish.PLAIN, **blend(polyester)), agreed)
    assert "dye-surface-lightness" in blockers(given)


@pytest.mark.parametrize(
    ("polyester", "agreed", "expected"),
    [(64, "R", "W"), (50, "R", "W"), (49, "R", "R"), (0, "R", "R")],
)
def test_a_faded_look_is_printed_only_from_half_polyester_and_on_consent(
    polyester: int, agreed: str, expected: str
) -> None:
    """50 to 64 %: only with the customer's consent; below: never. On medium cloth: never."""
    light, medium = (
        cloth(LIGHT, Finish.PLAIN, **blend(polyester)),
        cloth(MEDIUM, Finish.PLAIN, **blend(polyester)),
    )
    for consents, wanted in ((NOTHING, agreed), (AGREED, expected)):
        wished = decoration("dye-transfer", art=BLACK_ART, consents=consents)
        assert letter(verdict(light, wished)) == wanted
        assert letter(verdict(medium, wished)) == "R"


@pytest.mark.parametrize("fibre", ["polyamide", "acrylic", "acetate", "polypropylene"])
def test_more_than_a_tenth_of_a_fibre_that_bears_no_dye_is_refused(fibre: str) -> None:
    """Polyamide, acrylic, acetate, polypropylene above 10 %: their ceilings lie under 190 C.

    From 5 % the fibre's own ceiling refuses it already (of polypropylene from 1 %), which is
    stricter than the table and follows the rule that the weakest fibre of at least 5 % decides.
    """
    over = verdict(
        cloth(WHITE, Finish.PLAIN, polyester=89, **{fibre: 11}), decoration("dye-transfer")
    )
    assert {"dye-stray-fibre", "heat-window"} <= blockers(over)
    tenth = verdict(
        cloth(WHITE, Finish.PLAIN, polyester=90, **{fibre: 10}), decoration("dye-transfer")
    )
    assert "dye-stray-fibre" not in blockers(tenth)
    assert "heat-window" in blockers(tenth)


CLOTHS = {
    "cotton light": (WHITE, {"cotton": 100}),
    "cotton dark": (NEAR_BLACK, {"cotton": 100}),
    "polyester light": (WHITE, {"polyester": 100}),
    "polyester dark": (NEAR_BLACK, {"polyester": 100}),
    "50/50 light": (WHITE, {"polyester": 50, "cotton": 50}),
    "nylon": (WHITE, {"polyamide": 100}),
    "acrylic": (WHITE, {"acrylic": 100}),
    "polypropylene": (WHITE, {"polypropylene": 100}),
}

# Method by garment, one letter for each of CLOTHS in order: as the table has it, and as the shop
# answers where that differs. Design choices from common practice, no source.
METHOD_BY_GARMENT = {
    # 50/50: W with the consent alone, which stands in a test of its own above.
    "dye-transfer": ("RRARWRRR", "RRARRRRR"),
    # Dark polyester: the table's W is for low-heat or blocking film, which have rows below; this
    # film at 154 C is refused. Nylon: the table's W is for the film with its own adhesive, below.
    "cut-film": ("AAAWAWRR", "AAARARRR"),
    # The same row. Acrylic: R "or at most 135 C" in the rules beside the table; this film needs
    # 119 C and its data sheet names acrylic, so it is accepted.
    "low-heat-cut-film": ("AAAWAWRR", "AAAWARAR"),
    # The same row. White film on white cloth hardly stands out, hence W; on dark polyester it is
    # the very way out, hence A.
    "blocker-film": ("AAAWAWRR", "WAWAWRRR"),
    # The same row; a film for polyamide holds on nothing else, and there without reserve.
    "nylon-cut-film": ("AAAWAWRR", "RRRRRARR"),
    # Printable film. Dark polyester: W asks for a blocker beneath, which this method has not.
    # Nylon: W, but this film needs 169 C and polyamide bears 150 C.
    "printed-film": ("AAAWAWRR", "AAARARRR"),
    # White glitter throws some light back before it meets dye, so colours are paler: always W.
    # Polyester light: "needless" in the table, which is no refusal.
    "dye-on-glitter-film": ("AAARARRR", "WWWRWRRR"),
    # Only part of the pile holds dye: muted and aged, so always W.
    "dye-on-flock-film": ("AAARARRR", "WWWRWRRR"),
    "dye-on-white-film": ("AAARARRR", "AAARARRR"),
}


def shown_by(method: str, srgb: str) -> tuple[ArtworkMeasures, str | None]:
    """An artwork that the method shows, in a film that stands out from the cloth if it can."""
    chain = demo_shop().chains[method]
    film = chain.layers[-1] if chain.layers else None
    if chain.dye or film is None or film.prints_with:
        return COLOURED_ART, None
    dark_cloth = lab_from_srgb_hex(srgb).lightness < 50
    colour = next(c for c in film.colours if dark_cloth == (c.id == "white") or c.id == "pale-grey")
    return artwork(colour.srgb), colour.id


@pytest.mark.parametrize("garment", CLOTHS)
@pytest.mark.parametrize("method", METHOD_BY_GARMENT)
def test_method_by_garment(method: str, garment: str) -> None:
    """Every cell of the trade's table of methods and garments that the demo shop has."""
    at = list(CLOTHS).index(garment)
    srgb, shares = CLOTHS[garment]
    art, film_colour = shown_by(method, srgb)
    given = verdict(
        cloth(srgb, Finish.PLAIN, **shares), decoration(method, art=art, film_colour_id=film_colour)
    )
    assert letter(given) == METHOD_BY_GARMENT[method][1][at]


@pytest.mark.parametrize("garment", CLOTHS)
def test_where_the_table_refuses_the_shop_refuses_but_for_cool_film_on_acrylic(
    garment: str,
) -> None:
    """The shop may be stricter than the table, never laxer, save where a film is made for it."""
    at = list(CLOTHS).index(garment)
    laxer = {
        method
        for method, (table, shop) in METHOD_BY_GARMENT.items()
        if table[at] == "R" and shop[at] != "R"
    }
    assert laxer == ({"low-heat-cut-film"} if garment == "acrylic" else set())


def test_of_cut_films_one_suits_dark_polyester_and_one_suits_nylon() -> None:
    """The cells W of the row on cut film: low-heat or blocking film; a film made for nylon."""
    cut = ("cut-film", "low-heat-cut-film", "blocker-film", "nylon-cut-film")
    working = {
        garment: [m for m in cut if METHOD_BY_GARMENT[m][1][list(CLOTHS).index(garment)] != "R"]
        for garment in ("polyester dark", "nylon")
    }
    assert working == {
        "polyester dark": ["low-heat-cut-film", "blocker-film"],
        "nylon": ["nylon-cut-film"],
    }


@pytest.mark.parametrize(
    ("srgb", "lightness", "kind"),
    [("#141414", 6.32, "dark"), ("#a0a0a5", 66.01, "medium"), ("#ffe150", 90.19, "light")],
)
def test_lightness_of_cloth_decides_what_dye_does(srgb: str, lightness: float, kind: str) -> None:
    """L* by the formulas of CIE 15 from IEC 61966-2-1, adapted to D50.

    The bands are design choices. Greys have the same L* under D65; yellow then has 89.72 and is
    light as well.
    """
    lab = lab_from_srgb_hex(srgb)
    assert lab.lightness == pytest.approx(lightness, abs=0.05)
    given = verdict(cloth(srgb, polyester=100), decoration("dye-transfer", art=BLACK_ART))
    assert letter(given) == {"dark": "R", "medium": "W", "light": "W"}[kind]
    if kind == "light":
        # Light but saturated (C* 71.6): never accepted without a word.
        assert "dye-surface-saturation" in warners(given)


def test_blue_dye_on_yellow_cloth_is_not_promised() -> None:
    """Physics: yellow takes out what blue gives back, so the product is near black.

    The colours are lost or shifted, though the cloth is light; more than lightness decides.
    """
    blue = decoration("dye-transfer", art=artwork("#0000ff"))
    assert "achieved-colour" in blockers(verdict(cloth("#ffff00", polyester=100), blue))


@pytest.mark.parametrize(
    ("px", "width_mm", "severity"), [(3000, 254, "passes"), (1200, 280, "warns")]
)
def test_resolution_at_print_width(px: int, width_mm: float, severity: str) -> None:
    """3000 px over 254 mm are 300 ppi; 1200 px over 280 mm 108.9 ppi, to be warned of.

    Arithmetic; the bands are common practice, no source (five trade guides).
    """
    art = artwork()
    box = art.ink_box.model_copy(update={"width": px, "height": px // 2})
    art = art.model_copy(update={"width_px": px, "ink_box": box})
    given = verdict(cloth(), decoration("printed-film", width_mm=width_mm, art=art))
    reading = next(f.reading for f in given.findings if f.rule.id == "resolution")
    assert reading.severity == severity
    assert reading.measured == pytest.approx({3000: 300.0, 1200: 108.9}[px], abs=0.1)


def test_320_mm_on_a_youth_xs_reaches_round_the_sides() -> None:
    """406 mm half chest carry 0.60 x 406 = 243.6 mm; the share is a design choice."""
    youth = replace(cloth(), half_chest_mm={"M": 406})
    given = verdict(youth, decoration("printed-film", width_mm=320))
    reading = next(f.reading for f in given.findings if f.rule.id == "chest-share")
    assert (reading.severity, reading.measured) == ("blocks", 320)
    assert reading.limit == pytest.approx(243.6)
    assert "chest-share" not in blockers(verdict(youth, decoration("printed-film", width_mm=243.6)))


def test_mass_becomes_volume_for_what_light_meets() -> None:
    """50/50 polyester (1.38) and cotton (1.53) by mass are 0.526 polyester by volume.

    Arithmetic; densities: National Academies, Carbon Management (2001), Table 11.1.
    """
    given = verdict(cloth(WHITE, polyester=50, cotton=50), decoration("dye-transfer"))
    reading = next(f.reading for f in given.findings if f.rule.id == "dye-first-wash")
    assert reading.measured == pytest.approx(100 * (1 - 0.526), abs=0.1)
    content = FibreContent.of(polyester=50, cotton=50)
    assert content.mass_share(content.shares[0].fibre) == 0.5


def test_dye_on_nothing_but_white_is_refused_and_white_film_is_not() -> None:
    """Physics: a dye printer has no white ink, so an all-white artwork prints nothing."""
    white = artwork(WHITE).model_copy(update={"near_white_share": 1.0})
    for srgb in (WHITE, "#f0f0e0", GREY):
        given = verdict(cloth(srgb, polyester=100), decoration("dye-transfer", art=white))
        assert "dye-white-artwork" in blockers(given)
    on_film = verdict(cloth(NEAR_BLACK, cotton=100), decoration("dye-on-white-film", art=white))
    assert on_film.works


def test_black_letters_on_a_white_ground_stand_out_on_white_cloth() -> None:
    """Common practice, no source: what is drawn is read against its ground, here white on white.

    Black on 5 % of the area differs by 5 steps of lightness on average, and yet is plain to see.
    """
    palette = (PaletteColour(srgb=WHITE, share=0.95), PaletteColour(srgb="#101010", share=0.05))
    letters = artwork().model_copy(update={"palette": palette, "background_srgb": WHITE})
    shown = decoration("dye-transfer", art=letters)
    assert "print-contrast" not in warners(verdict(cloth(WHITE, polyester=100), shown))
    pale = (PaletteColour(srgb=WHITE, share=0.95), PaletteColour(srgb="#e0e0e0", share=0.05))
    faint = decoration("dye-transfer", art=letters.model_copy(update={"palette": pale}))
    assert "print-contrast" in warners(verdict(cloth(WHITE, polyester=100), faint))


@pytest.mark.parametrize("elastic", ["elastane", "elastomultiester"])
def test_ordinary_film_cracks_on_either_elastic_fibre(elastic: str) -> None:
    """Common practice, no source: ordinary film cracks where the cloth is drawn out.

    Elastomultiester stretches as elastane does: Regulation (EU) No 1007/2011, Annex I, from memory.
    """
    stretchy = cloth(WHITE, Finish.PLAIN, polyester=84, **{elastic: 16})
    film = decoration("low-heat-cut-film", art=artwork("#1c1c1e"), film_colour_id="black")
    assert "film-stretch" in blockers(verdict(stretchy, film))


def test_a_dye_print_and_hot_film_on_one_garment_go_film_first() -> None:
    """Common practice, no source: a dye print moves again above 170 C, so it is pressed last."""
    line = Line(
        _two_placed(WHITE),
        {"M": 1},
        (decoration("dye-transfer"), replace(decoration("printed-film"), placement_id="back")),
    )
    dye, film = judge_line(demo_shop(), line)
    assert dye.chosen is not None
    assert film.chosen is not None
    assert "dye-reheated" not in blockers(dye.chosen) | warners(dye.chosen)


def _two_placed(srgb: str) -> Garment:
    garment = cloth(srgb, polyester=100)
    back = garment.placements["front"].model_copy(update={"id": "back", "name": "back"})
    return replace(garment, placements={**garment.placements, "back": back})
