"""Verdicts of the demo shop against what the trade knows.

Every row is common practice, no source, unless a source stands beside it. Numbers are of cloth in
sRGB and of fibre by mass.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.domain.blanks import Finish, Obstacle, Wearer
from service.domain.garments import Garment
from service.domain.ticket import write_ticket
from service.domain.verdict import judge_decoration
from service.domain.wishes import Consent, Line
from service.domain.work import line_work
from tests.domain.garments_and_lines import (
    artwork,
    blockers,
    cloth,
    decoration,
    demo_shop,
    plated,
    verdict,
    warners,
)

WHITE, BLACK, RED, GREY = "#ffffff", "#141414", "#b01020", "#a0a0a5"


@pytest.mark.parametrize("srgb", [WHITE, BLACK])
def test_dye_straight_onto_cotton_is_refused_on_any_colour(srgb: str) -> None:
    """Dye vapour is not strongly held by cellulose.

    Source: J. Soc. Dyers Colour. 1977, doi 10.1111/j.1478-4408.1977.tb03343.x (abstract).
    """
    given = verdict(cloth(srgb, cotton=100), decoration("dye-transfer"))
    assert not given.works
    assert "dye-fibre-share" in blockers(given)


def test_dye_on_white_polyester_is_accepted_at_200_c_for_60_s() -> None:
    """Common practice, no source: 190 to 204 C, 45 to 60 s, mirrored."""
    given = verdict(cloth(WHITE, polyester=100), decoration("dye-transfer"))
    assert given.works
    assert not warners(given)
    dye = given.settings[-1]
    assert dye.set_c is not None
    assert 190 <= dye.set_c <= 204
    assert 45 <= dye.dwell_s <= 60


def test_dye_on_half_polyester_needs_the_customers_consent() -> None:
    """Common practice, no source: 50 % is dull; accepted only with a consent to a faded look."""
    half = cloth(WHITE, polyester=50, cotton=50)
    assert blockers(verdict(half, decoration("dye-transfer"))) == {"dye-fibre-share"}
    agreed = decoration("dye-transfer", consents=frozenset({Consent.FADED_LOOK}))
    given = verdict(half, agreed)
    assert given.works
    assert "dye-fibre-share" in warners(given)


def test_dye_on_65_35_white_warns_of_paler_colour() -> None:
    """Common practice, no source: from 65 % the colour is paler but stays."""
    given = verdict(cloth(WHITE, polyester=65, cotton=35), decoration("dye-transfer"))
    assert given.works
    assert "dye-fibre-share" in warners(given)


def test_dye_on_dark_polyester_is_refused() -> None:
    """Dye is transparent: the product of black cloth and any dye is black (physics)."""
    given = verdict(cloth(BLACK, polyester=100), decoration("dye-transfer"))
    assert blockers(given) == {"dye-surface-lightness"}


def test_dye_on_grey_polyester_takes_black_artwork_alone() -> None:
    """Common practice, no source: on medium cloth only dark art shows."""
    grey = cloth(GREY, polyester=100)
    black = verdict(grey, decoration("dye-transfer", art=artwork("#101010")))
    assert black.works
    assert "dye-surface-lightness" in warners(black)
    assert not verdict(grey, decoration("dye-transfer", art=artwork("#e0c020"))).works


def test_a_plated_knit_is_judged_by_its_face() -> None:
    """Polyester outside, cotton inside: the measured face decides; common practice, no source."""
    outside = plated(WHITE, {"polyester": 100}, polyester=60, cotton=40)
    assert verdict(outside, decoration("dye-transfer")).works
    inside = plated(WHITE, {"cotton": 100}, polyester=60, cotton=40)
    assert not verdict(inside, decoration("dye-transfer")).works


@pytest.mark.parametrize(
    "method", ["printed-film", "dye-on-glitter-film", "dye-on-flock-film", "dye-on-white-film"]
)
def test_the_same_artwork_works_on_black_cotton_through_a_film(method: str) -> None:
    """Printed film, and dye on glitter, flock or white film; common practice, no source."""
    colourful = decoration(method, art=artwork("#c01020", "#2040c0", "#f0d020"))
    assert verdict(cloth(BLACK, cotton=100), colourful).works


@pytest.mark.parametrize("method", [method.id for method in demo_shop().catalogue.methods])
def test_every_press_stroke_is_refused_on_polypropylene(method: str) -> None:
    """Polypropylene melts at 160 to 170 C (one trade guide); no press at 120 C or above."""
    given = verdict(cloth(WHITE, polypropylene=100), decoration(method))
    assert "heat-window" in blockers(given)


def test_white_film_at_155_c_on_red_polyester_bleeds() -> None:
    """Common practice, no source: migration begins at about 138 C; cooler film is the way out."""
    red = cloth(RED, polyester=100)
    white = decoration("cut-film", art=artwork("#ffffff"), film_colour_id="white")
    assert blockers(verdict(red, white)) == {"dye-migration"}
    cooler = decoration("low-heat-cut-film", art=artwork("#ffffff"), film_colour_id="white")
    given = verdict(red, cooler)
    assert given.works
    film = next(entry for entry in given.settings if entry.strike.medium is not None)
    assert film.set_c is not None
    assert film.set_c < 138


def test_a_blocking_film_shields_from_bleeding() -> None:
    """Common practice, no source: a film that blocks dye is a way out on bleeding cloth."""
    shielded = decoration("blocker-film", art=artwork("#ffffff"), film_colour_id="white")
    assert "dye-migration" not in blockers(verdict(cloth(RED, polyester=100), shielded))


@pytest.mark.parametrize(("method", "holds"), [("cut-film", False), ("nylon-cut-film", True)])
def test_polyamide_needs_its_own_film(method: str, holds: bool) -> None:  # noqa: FBT001
    """Common practice, no source: films with an adhesive for polyamide, 130 to 150 C."""
    assert (
        verdict(cloth("#203060", polyamide=100), decoration(method, art=artwork("#1b1b1d"))).works
        is holds
    )


def test_a_water_repellent_finish_releases_film() -> None:
    """Common practice, no source (two trade guides)."""
    shell = cloth("#203060", Finish.WATER_REPELLENT, polyamide=100)
    assert blockers(verdict(shell, decoration("nylon-cut-film", art=artwork("#1b1b1d")))) == {
        "cloth-finish"
    }


def test_acrylic_is_refused_by_everything_above_135_c() -> None:
    """Acrylic glazes and shrinks: at most 135 C; from memory."""
    knit = cloth(WHITE, acrylic=100)
    assert not verdict(knit, decoration("cut-film")).works
    assert not verdict(knit, decoration("dye-transfer")).works


@pytest.mark.parametrize(
    ("srgb", "works"), [(WHITE, True), ("#141414", False), ("#a0a0a5", False), ("#ffe150", True)]
)
def test_lightness_splits_cloth_at_75_and_50(srgb: str, works: bool) -> None:  # noqa: FBT001
    """L* of these cloths is 100, 6.32, 66.01 and 89.72 (computed by the formulas of CIE 15)."""
    given = verdict(cloth(srgb, polyester=100), decoration("dye-transfer"))
    assert ("dye-surface-lightness" not in blockers(given)) is works


def test_a_print_larger_than_the_platen_turns_or_is_refused() -> None:
    """390 x 300 mm lies on a 400 x 500 mm platen only when turned; 390 x 500 mm never does.

    Common practice, no source: usable platen is 10 mm less on every side.
    """
    wide = cloth(WHITE, cotton=100)
    turned = verdict(wide, decoration("printed-film", width_mm=390, art=artwork(aspect=300 / 390)))
    noted = {f.rule.id for f in turned.findings if f.severity == "notes"}
    assert "platen" in noted
    huge = verdict(wide, decoration("printed-film", width_mm=390, art=artwork(aspect=500 / 390)))
    assert "platen" in blockers(huge)


def test_mirrored_exactly_where_the_medium_is_turned_over() -> None:
    """Dye paper and carrier films are, printable film is not; common practice, no source."""
    ways = {
        (worked.kind.value, worked.medium.id): worked.mirrored
        for chain in demo_shop().chains.values()
        for worked in chain.worked
    }
    assert ways["print", "dye-paper"] is True
    assert ways["cut", "cut-film"] is True
    assert ways["cut", "glitter-film"] is True
    assert ways["cut", "flock-film"] is True
    assert ways["print", "printable-film"] is False
    assert ways["cut", "printable-film"] is False


def _ticket_kinds(garment: Garment, method: str) -> list[tuple[str, str | None, bool | None]]:
    wished = decoration(method)
    line = Line(garment, {"M": 1}, (wished,))
    judged = judge_decoration(demo_shop(), line, wished)
    work = line_work(demo_shop().catalogue, line)
    document = write_ticket(demo_shop(), line, [judged], work)
    return [(step.kind, step.medium, step.mirrored) for step in document.steps]


def test_the_ticket_of_dye_on_glitter_goes_in_the_order_of_the_hands() -> None:
    """Base cut mirrored; pre-press, base, dye in that order; dye paper mirrored.

    Common practice, no source.
    """
    steps = _ticket_kinds(cloth(BLACK, cotton=100), "dye-on-glitter-film")
    kinds = [kind for kind, _, _ in steps]
    assert kinds[0] == "gather"
    assert kinds[-1] == "pack"
    heated = [kind for kind in kinds if kind in ("pre_press", "tack", "press")]
    assert heated == ["pre_press", "tack", "press"]
    assert kinds.index("cut") < kinds.index("weed") < kinds.index("tack")
    assert all(mirrored for kind, _, mirrored in steps if kind in ("print", "cut"))


def test_the_dye_stroke_on_a_base_takes_fresh_paper() -> None:
    """Uncoated paper, fresh for every stroke; a bare non-stick sheet takes dye and ghosts.

    Common practice, no source.
    """
    wished = decoration("dye-on-glitter-film")
    line = Line(cloth(BLACK, cotton=100), {"M": 1}, (wished,))
    judged = judge_decoration(demo_shop(), line, wished)
    work = line_work(demo_shop().catalogue, line)
    document = write_ticket(demo_shop(), line, [judged], work)
    dye = [step for step in document.steps if step.kind == "press"][-1]
    assert dye.settings is not None
    assert dye.settings.cover == "fresh_paper"
    assert dye.settings.set_f == pytest.approx(dye.settings.set_c * 9 / 5 + 32, abs=0.05)


def test_childrens_sleepwear_is_refused_whatever_the_method() -> None:
    """Children's sleepwear has rules on burning, 16 CFR 1615 and 1616; refusing is our choice."""
    garment = next(g for g in demo_shop().garments.values() if g.sleepwear)
    size, placement = next(iter(garment.half_chest_mm)), next(iter(garment.placements))
    wished = replace(decoration(None, width_mm=40), placement_id=placement)
    judged = judge_decoration(demo_shop(), Line(garment, {size: 1}, (wished,)), wished)
    assert judged.chosen is None
    assert all("childrens-sleepwear" in blockers(given) for given in judged.candidates)


@pytest.mark.parametrize(
    ("wearer", "severity"),
    [(Wearer.ADULT, "passes"), (Wearer.YOUTH, "warns"), (Wearer.INFANT, "blocks")],
)
def test_pvc_film_is_kept_from_children(wearer: Wearer, severity: str) -> None:
    """Common practice, no source (two trade articles): avoid PVC film on children's wear."""
    garment = replace(cloth(WHITE, cotton=100), wearer=wearer)
    given = verdict(garment, decoration("thick-cut-film"))
    found = {f.severity for f in given.findings if f.rule.id == "pvc-for-children"}
    assert found == {severity}


@pytest.mark.parametrize(
    ("obstacle", "severity"), [(Obstacle.ZIP, "blocks"), (Obstacle.SEAM, "warns")]
)
def test_nothing_raised_lies_under_the_platen(obstacle: Obstacle, severity: str) -> None:
    """Common practice, no source: zips and buttons off the platen, seams on a pad."""
    garment = cloth(WHITE, cotton=100)
    front = garment.placements["front"].model_copy(update={"crosses": (obstacle,)})
    given = verdict(replace(garment, placements={"front": front}), decoration("printed-film"))
    found = {f.severity for f in given.findings if f.rule.id == "placement-obstacles"}
    assert found == {severity}
