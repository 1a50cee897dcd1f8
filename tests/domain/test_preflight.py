"""The preflight report: it agrees with the rules, and tells kinds of pictures apart."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.artwork import ArtworkMeasures, InkBox, InkShares, PaletteColour, ShapeMeasures
from service.domain.blanks import MeasuredLab
from service.domain.compiled import CompiledCatalogue
from service.domain.gamut import USUAL_SOLIDS
from service.domain.machines import Printer
from service.domain.preflight import REMARKS, preflight
from service.domain.remarks import (
    Level,
    Remark,
    Shown,
    film_solids,
    film_widths,
    films_cut,
)
from service.domain.rules.artwork import (
    ARTWORK_VISIBLE,
    BACKGROUND_BOX,
    COLOURS_SHOWN,
    PHOTO_ON_CUT,
    RESOLUTION,
    SOFT_EDGES,
)
from service.domain.rules.contract import Severity
from service.domain.rules.geometry import TINY_PRINT
from service.domain.rules.outlines import LOOSE_PIECES, SMALLEST_FEATURE, SMALLEST_GAP
from service.domain.shop import Policy
from service.domain.wishes import Choice
from tests.domain.garments_and_lines import artwork, demo_shop
from tests.domain.rule_facts import blocks, readings, shop_with
from tests.domain.rule_situations import Wish, wishes

GOOD, LOOK, ACT = Level
SHAPES: dict[str, Any] = {
    "pieces": 1,
    "holes": 0,
    "outline_length": 3.0,
    "smallest_feature": 0.5,
    "smallest_gap": 1.0,
}
TOLD_BY = {
    ARTWORK_VISIBLE: "visible",
    COLOURS_SHOWN: "colours",
    PHOTO_ON_CUT: "photograph",
    RESOLUTION: "resolution",
    SOFT_EDGES: "soft-edges",
    SMALLEST_FEATURE: "small-features",
    SMALLEST_GAP: "small-gaps",
    LOOSE_PIECES: "weeding",
    TINY_PRINT: "proportions",
}


def picture(**changes: Any) -> ArtworkMeasures:
    """One red bar, 3,000 x 1,500 px, measured in full; keyword arguments change its measures."""
    shapes = SHAPES | {name: changes.pop(name) for name in list(changes) if name in SHAPES}
    measured = {
        "shapes": ShapeMeasures(**shapes),
        "photo_like": False,
        "edge_width_px": 1.2,
        "ink": InkShares(cover=0.6, colour=0.3),
        **changes,
    }
    return artwork().model_copy(update=measured)


def pixels(width: int, height: int) -> ArtworkMeasures:
    """The same in so many pixels."""
    box = InkBox(left=0, top=0, width=width, height=height)
    return picture(width_px=width, height_px=height, ink_box=box)


def report(art: ArtworkMeasures, width_mm: float | None = None) -> dict[str, Remark]:
    """The report on a picture in the demo shop, by the remarks' ids."""
    catalogue = demo_shop().catalogue
    shown = Shown(art, catalogue.policy, width_mm, films_cut(catalogue))
    return {remark.id: remark for remark in preflight(shown)}


@settings(max_examples=150)
@given(wish=wishes())
def test_where_a_rule_refuses_the_report_asks_for_a_look(wish: Wish) -> None:
    """On every method, picture and width."""
    facts = wish.facts()
    told = report(facts.decoration.artwork, wish.choices[Choice.WIDTH])
    for rule, remark in TOLD_BY.items():
        assert told[remark].level is not GOOD or not blocks(rule, facts), rule.id
    boxed = any(reading.severity is Severity.WARNS for reading in readings(BACKGROUND_BOX, facts))
    assert told["background"].level is not GOOD or not boxed


@settings(max_examples=40, deadline=None)
@given(wish=wishes(), strictness=st.sampled_from([0, 1, 2]))
def test_report_and_rules_read_the_same_policy(wish: Wish, strictness: int) -> None:
    """In shops that ask for more or less the two agree as well."""
    shop = _shop_of(strictness)
    facts, policy = wish.facts(shop), shop.catalogue.policy
    width_mm, films = wish.choices[Choice.WIDTH], films_cut(shop.catalogue)
    shown = Shown(facts.decoration.artwork, policy, width_mm, films)
    told = {remark.id: remark for remark in preflight(shown)}
    for rule, remark in TOLD_BY.items():
        assert told[remark].level is not GOOD or not blocks(rule, facts), rule.id


@cache
def _shop_of(strictness: int) -> CompiledCatalogue:
    return (
        shop_with(resolution_cut_least_ppi=150.0, resolution_least_ppi=60.0),
        shop_with(visible_share=0.2, loose_pieces_max=1, soft_alpha_cut_share=0.03),
        shop_with(print_least_mm=50.0, resolution_least_ppi=180.0, resolution_fair_ppi=190.0),
    )[strictness]


@settings(max_examples=40)
@given(wish=wishes())
def test_every_remark_is_there_in_the_same_order_and_says_what_to_do(wish: Wish) -> None:
    """With a width and without; what asks for nothing has nothing to do."""
    art = wish.facts().decoration.artwork
    for width_mm in (None, wish.choices[Choice.WIDTH]):
        told = list(report(art, width_mm).values())
        assert len(told) == len(REMARKS)
        assert [one.id for one in told] == [one.id for one in report(picture()).values()]
        for one in told:
            assert (one.level is GOOD) == (one.what_to_do == "Nothing.")
            assert one.words.endswith(".")


def test_a_plain_sharp_picture_needs_nothing() -> None:
    """One colour, bold, in 3,000 pixels, at 254 mm: 300 pixels per inch (arithmetic)."""
    told = report(picture(), 254.0)
    assert {one.level for one in told.values()} == {GOOD}
    assert told["resolution"].measured == pytest.approx(300)


@pytest.mark.parametrize(
    ("width_px", "width_mm", "level"),
    [
        (3_000, 254.0, GOOD),
        (1_200, 280.0, LOOK),
        (1_200, 310.0, ACT),
        (1_800, 254.0, GOOD),
        (3_000, None, GOOD),
        (1_000, None, LOOK),
        (299, None, ACT),
    ],
)
def test_resolution_by_bands(width_px: int, width_mm: float | None, level: Level) -> None:
    """200 and more sharp, 150 good, 100 the least; common practice, no source.

    Without a width: a full front of 254 mm at 150 is good, under 76 mm at 100 is too small.
    """
    assert report(pixels(width_px, width_px), width_mm)["resolution"].level is level


def test_the_widths_in_words_follow_from_the_pixels() -> None:
    """2244 x 2953 px are 380 x 500 mm at 150 pixels per inch (arithmetic)."""
    words = report(pixels(2_244, 2_953))["resolution"].words
    assert "2244 x 2953 pixels" in words
    assert "good up to 380 mm" in words


def test_an_enlarged_picture_is_told_by_its_edges() -> None:
    """Looked at where it is still worth enough pixels, acted on where it is not."""
    art = picture(edge_width_px=5.2)
    assert report(art, 150.0)["sharpness"].level is LOOK
    assert report(art, 254.0)["sharpness"].level is ACT
    assert "about 750 pixels across" in report(art)["sharpness"].words
    assert report(picture(edge_width_px=None))["sharpness"].level is GOOD
    assert report(picture(edge_width_px=None, ink=None))["sharpness"].level is LOOK


@pytest.mark.parametrize(("share", "level"), [(0.6, GOOD), (0.03, LOOK), (0.001, ACT)])
def test_an_empty_picture(share: float, level: Level) -> None:
    """Stray dots make a box of which hardly anything shows."""
    assert report(picture(opaque_share=share))["visible"].level is level


def test_clear_space_around_the_picture() -> None:
    """More than half of it clear is worth a look: the print comes out larger than thought."""
    box = InkBox(left=9, top=9, width=1_500, height=800)
    told = report(picture(ink_box=box))["clear-edge"]
    assert told.level is LOOK
    assert told.measured == pytest.approx(100 * (1 - 1_500 * 800 / (3_000 * 1_500)))
    assert report(picture())["clear-edge"].measured == 0


def test_a_long_narrow_picture() -> None:
    """Seven times as long as broad is worth a look; both sides are told."""
    told = report(pixels(2_100, 300), 210.0)["proportions"]
    assert told.level is LOOK
    assert "30 mm high" in told.words
    assert report(pixels(2_100, 300), 4.0)["proportions"].level is ACT


def test_background_edges_white_and_photograph() -> None:
    """Each asks for a look where the policy's share or kind is passed."""
    policy = Policy()
    for changes, remark, level in (
        ({"background_srgb": "#ffffff"}, "background", LOOK),
        ({"shapes": None}, "background", LOOK),
        ({"soft_alpha_share": policy.soft_alpha_share + 0.001}, "soft-edges", LOOK),
        ({"soft_alpha_share": policy.soft_alpha_share}, "soft-edges", GOOD),
        ({"soft_alpha_share": policy.soft_alpha_cut_share + 0.001}, "soft-edges", ACT),
        ({"near_white_share": policy.near_white_share + 0.001}, "near-white", LOOK),
        ({"near_white_share": policy.near_white_share}, "near-white", GOOD),
        ({"photo_like": True}, "photograph", LOOK),
        ({"photo_like": None}, "photograph", LOOK),
    ):
        assert report(picture(**changes))[remark].level is level, changes


def test_colours_that_count() -> None:
    """One colour goes on any method; those under 2 % do not count."""
    speck = (
        PaletteColour(srgb="#c01020", share=0.985),
        PaletteColour(srgb="#101010", share=0.015),
    )
    assert report(picture(palette=speck))["colours"].level is GOOD
    two = artwork("#c01020", "#101010").palette
    five = artwork("#c01020", "#101010", "#f0d020", "#20c040", "#1030c0").palette
    assert report(picture(palette=two))["colours"].level is LOOK
    assert "as many films" in report(picture(palette=two))["colours"].words
    assert "no more than 3 films" in report(picture(palette=five))["colours"].words


def test_colours_out_of_the_printers_reach() -> None:
    """Screen green is far outside what ink prints on film, a grey is not (from memory)."""
    assert report(picture(palette=artwork("#00ff00").palette))["printable-colours"].level is LOOK
    assert report(picture(palette=artwork("#808080").palette))["printable-colours"].level is GOOD


def test_a_printers_own_solids_are_used() -> None:
    """Those of the first pigment printer that has them measured."""
    measured = USUAL_SOLIDS.model_copy(update={"green": MeasuredLab(lightness=60, a=-70, b=60)})
    printers = demo_shop().catalogue.printers
    known = [Printer.model_validate({**one.model_dump(), "solids": measured}) for one in printers]
    assert film_solids(known) == measured
    assert film_solids(()) == USUAL_SOLIDS


def test_each_film_has_its_least_width() -> None:
    """A part of 1 % of the width is 1 mm at 100 mm: 1 mm films from there, 2 mm films from 200."""
    films = films_cut(demo_shop().catalogue)
    found = film_widths(picture(smallest_feature=0.01, smallest_gap=0.02), films)
    assert {film.smallest_feature_mm for film in films} >= {1.0, 1.5, 2.0}
    for film in found:
        assert film.least_width_mm == pytest.approx(100 * film.smallest_feature_mm)
    assert {film.least_width_mm for film in film_widths(picture(shapes=None), films)} == {None}


def test_finest_part_and_gap_by_width() -> None:
    """A part of 1 mm: too fine for coarse films, for print only below 0.35 mm; a gap 0.7 mm."""
    fine = picture(smallest_feature=0.005, smallest_gap=0.005)
    assert report(fine, 600.0)["small-features"].level is GOOD
    assert report(fine, 200.0)["small-features"].level is LOOK
    assert report(fine, 69.0)["small-features"].level is ACT
    assert report(fine, 139.0)["small-gaps"].level is ACT
    assert report(picture(), 10.0)["small-gaps"].words == "It has no gaps."
    assert report(picture(shapes=None), 200.0)["small-gaps"].measured == "not measured"


def test_many_pieces_are_hard_to_weed() -> None:
    """More than the policy's 12, or what is fine by its outline, is worth a look."""
    assert report(picture(pieces=13))["weeding"].level is LOOK
    assert report(picture(pieces=12))["weeding"].level is GOOD
    told = report(picture(outline_length=40.0), 200.0)["weeding"]
    assert told.level is LOOK
    assert "which is fine" in told.words


def test_without_films_print_alone_is_judged() -> None:
    """A shop that cuts nothing is told of no films."""
    shown = Shown(picture(smallest_feature=0.002), width_mm=200.0)
    told = {remark.id: remark for remark in preflight(shown)}["small-features"]
    assert (told.level, told.limit) == (GOOD, 0.35)
    assert "film" not in told.words
