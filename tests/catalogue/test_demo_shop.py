"""The invented demonstration shop: what it must hold, and that it keeps to its own sources."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.blanks import Finish, Obstacle, Style, Wearer
from service.domain.colour import lab_from_srgb_hex
from service.domain.fibres import Fibre
from service.domain.media import Ink, Texture, WorkedFrom
from service.domain.methods import Cover, OperationKind
from service.domain.shop import Catalogue, Policy


@pytest.fixture(scope="module")
def shop() -> Catalogue:
    """The demonstration shop, loaded."""
    return load_catalogue(demo_shop_path()).catalogue


def test_it_is_marked_invented(shop: Catalogue) -> None:
    """The shop says that it is invented, and so does the head of each of its files."""
    assert shop.shop.invented
    for file in demo_shop_path().glob("*.yaml"):
        assert file.read_text(encoding="utf-8").startswith("# Invented demonstration data")


def test_it_is_large_enough_to_show_every_kind(shop: Catalogue) -> None:
    """At least 14 blanks, 9 media and 6 methods, of every style and wearer."""
    assert len(shop.blanks) >= 14
    assert len(shop.media) >= 9
    assert len(shop.methods) >= 6
    assert {blank.style for blank in shop.blanks} == set(Style)
    assert {blank.wearer for blank in shop.blanks} == set(Wearer)
    assert {blank.finish for blank in shop.blanks} == set(Finish)
    assert any(blank.sleepwear for blank in shop.blanks)


@pytest.mark.parametrize(
    ("blank_id", "content", "colours"),
    [
        ("classic-cotton-tee", {Fibre.COTTON: 100}, {"white", "black", "navy", "red", "yellow"}),
        ("sport-polyester-tee", {Fibre.POLYESTER: 100},
         {"white", "silver", "royal", "black", "red", "yellow"}),
        ("mostly-polyester-tee", {Fibre.POLYESTER: 65, Fibre.COTTON: 35}, {"white"}),
        ("half-blend-tee", {Fibre.POLYESTER: 50, Fibre.COTTON: 50}, {"white"}),
        ("tri-blend-tee", {Fibre.POLYESTER: 50, Fibre.COTTON: 25, Fibre.VISCOSE: 25}, {"white"}),
        ("stretch-cotton-tee", {Fibre.COTTON: 95, Fibre.ELASTANE: 5}, {"white"}),
        ("stretch-sport-tee", {Fibre.POLYESTER: 78, Fibre.ELASTANE: 22}, {"white"}),
        ("plated-knit-tee", {Fibre.POLYESTER: 60, Fibre.COTTON: 40}, {"white"}),
        ("acrylic-knit-long-sleeve", {Fibre.ACRYLIC: 100}, set()),
        ("non-woven-tote", {Fibre.POLYPROPYLENE: 100}, set()),
        ("shell-jacket", {Fibre.POLYAMIDE: 100}, set()),
        ("youth-cotton-tee", {Fibre.COTTON: 100}, set()),
        ("youth-sleep-set", {Fibre.POLYESTER: 100}, set()),
        ("infant-bodysuit", {Fibre.COTTON: 100}, set()),
    ],
)  # fmt: skip
def test_the_blanks_others_rely_on_are_there(
    shop: Catalogue, blank_id: str, content: dict[Fibre, int], colours: set[str]
) -> None:
    """Ids, fibre content by mass and colours that examples and tests name."""
    blank = shop.blank_by_id[blank_id]
    shares = {share.fibre: share.percent for share in blank.fibre_content.shares}
    assert shares == {fibre: Decimal(percent) for fibre, percent in content.items()}
    assert colours <= {colour.id for colour in blank.colours}


def test_the_policy_states_every_threshold_a_shop_may_tune(shop: Catalogue) -> None:
    """Nothing is left to a value that is not seen; what stands there is the program's own."""
    own = Policy()
    assert shop.policy.model_fields_set == set(Policy.model_fields)
    assert {
        name for name in Policy.model_fields if getattr(shop.policy, name) != getattr(own, name)
    } == {"supplied_placements"}


def test_every_garment_that_a_rule_is_about_is_there(shop: Catalogue) -> None:
    """Something for each rule on garments to speak of; what counts is the shop's policy."""
    policy = shop.policy
    elastane = {b.id: b.fibre_content.mass_share(Fibre.ELASTANE) for b in shop.blanks}
    assert max(elastane.values()) > 0.20
    assert any(b.weight_g_m2 < policy.light_cloth_g_m2 for b in shop.blanks)
    assert any(b.face_fibre_content is not None for b in shop.blanks)
    crossed = {o for b in shop.blanks for placement in b.placements for o in placement.crosses}
    assert {Obstacle.ZIP, Obstacle.POCKET} <= crossed
    polyester = [b for b in shop.blanks if b.fibre_content.mass_share(Fibre.POLYESTER) == 1]
    labs = [lab_from_srgb_hex(colour.srgb) for b in polyester for colour in b.colours]
    assert any(
        lab.lightness >= policy.light_lightness
        and math.hypot(lab.a, lab.b) > policy.saturated_chroma
        for lab in labs
    )


def test_something_is_sold_out_and_never_all_of_a_kind(shop: Catalogue) -> None:
    """One colour lacks sizes and one film cannot be had; no blank and no other method with it."""
    lacking = {
        (blank.id, colour.id): colour.unobtainable_sizes
        for blank in shop.blanks
        for colour in blank.colours
        if colour.unobtainable_sizes
    }
    assert lacking == {("cotton-long-sleeve", "olive"): ("2XL", "3XL")}
    gone = {medium.id for medium in shop.media if medium.unobtainable}
    assert gone == {"reflective-cut-film"}
    barred = {m.id for m in shop.methods if gone & {op.medium for op in m.operations}}
    assert barred == {"reflective-cut-film"}


def test_films_that_sparkle_or_have_a_nap_say_so(shop: Catalogue) -> None:
    """Glitter throws back more undyed light than flock, smooth film none; glitter sheds grains.

    Design choices, no source; that loose glitter comes off is common practice, no source.
    """
    veils = {texture: {m.veil for m in shop.media if m.texture is texture} for texture in Texture}
    assert veils == {Texture.SMOOTH: {0.0}, Texture.FLOCK: {0.05}, Texture.GLITTER: {0.10}}
    assert {m.id for m in shop.media if m.sheds_small_parts} == {"glitter-film"}


def test_dye_is_pressed_on_its_bases_where_practice_says(shop: Catalogue) -> None:
    """On white film at 180 to 195 C, on glitter and flock at about 199 C for 60 s.

    Common practice, no source; the figures for white film are from memory.
    """
    windows = {
        id_: shop.method_by_id[id_].operations[-4].window
        for id_ in ("dye-on-white-film", "dye-on-glitter-film", "dye-on-flock-film")
    }
    settings = {
        id_: (window.best_temp_c, window.best_dwell_s) for id_, window in windows.items() if window
    }
    assert settings["dye-on-glitter-film"] == settings["dye-on-flock-film"] == (199, 60)
    white = windows["dye-on-white-film"]
    assert white is not None
    assert (white.temp_min_c, white.temp_max_c) == (180, 195)


def test_tees_have_the_usual_measures(shop: Catalogue) -> None:
    """Flat measures in mm of unisex tees: common practice, no source (two charts agree)."""
    tee = shop.blank_by_id["classic-cotton-tee"]
    assert [(size.size, size.half_chest_mm, size.body_length_mm) for size in tee.sizes] == [
        ("S", 457, 711), ("M", 508, 737), ("L", 559, 762),
        ("XL", 610, 787), ("2XL", 660, 813), ("3XL", 711, 838),
    ]  # fmt: skip
    assert {placement.id for placement in tee.placements} == {"front", "left-chest", "back"}


def test_placements_keep_to_usual_print_widths(shop: Catalogue) -> None:
    """No wider than 0.60 of the half chest, 356 mm, or the usable platen.

    The share is a design choice, the widths are common practice, no source.
    """
    (press,) = shop.presses
    for blank in shop.blanks:
        for placement in blank.placements:
            for size in blank.sizes:
                area = placement.areas[size.size]
                assert area.width_mm <= 0.60 * size.half_chest_mm, (blank.id, placement.id)
                assert area.width_mm <= min(356, press.usable_mm[0])
                assert area.height_mm <= min(406, press.usable_mm[1])


def test_media_press_where_practice_says(shop: Catalogue) -> None:
    """Press settings of the kinds of media: common practice, no source."""
    settings = {
        medium.id: (medium.press.best_temp_c, medium.press.best_dwell_s) for medium in shop.media
    }
    assert settings["printable-film"] == (170, 90)
    assert settings["dye-paper"] == (200, 60)
    assert settings["glitter-film"] == (199, 12)
    assert 150 <= settings["cut-film"][0] <= 165
    assert settings["low-heat-cut-film"][0] < shop.policy.migration_onset_c


def test_printed_sides_are_mirrored_as_practice_says(shop: Catalogue) -> None:
    """Dye paper and film cut from the back are mirrored, printable film is not.

    Common practice, no source.
    """
    for method in shop.methods:
        for operation in method.operations:
            if operation.mirrored is not None and operation.medium is not None:
                worked_from = shop.medium_by_id[operation.medium].worked_from
                assert operation.mirrored == (worked_from is WorkedFrom.BACK), method.id


def test_dye_onto_a_base_keeps_its_order(shop: Catalogue) -> None:
    """Cut, weed, print, pre-press, tack the base, peel, press the dye, peel.

    Common practice, no source.
    """
    kinds = [op.kind.value for op in shop.method_by_id["dye-on-glitter-film"].operations]
    steps = ["cut", "weed", "print", "pre_press", "tack", "peel", "press", "peel", "check", "pack"]
    assert [kind for kind in kinds if kind != "dry"] == steps


def test_dye_is_always_pressed_under_fresh_paper(shop: Catalogue) -> None:
    """A bare non-stick sheet takes dye and ghosts the next garment: common practice, no source."""
    covers = {
        operation.cover
        for method in shop.methods
        for operation in method.operations
        if operation.kind is OperationKind.PRESS
        and Ink.DYE in shop.medium_by_id[operation.medium or ""].prints_with
    }
    assert covers == {Cover.FRESH_PAPER}


def test_every_method_of_the_trade_is_there(shop: Catalogue) -> None:
    """The methods that examples and tests name."""
    assert {
        "dye-transfer", "printed-film", "cut-film", "low-heat-cut-film", "nylon-cut-film",
        "dye-on-glitter-film", "dye-on-flock-film", "dye-on-white-film",
    } <= set(shop.method_by_id)  # fmt: skip
    assert {placement.id for placement in shop.policy.supplied_placements} == {
        "front",
        "left-chest",
        "back",
    }
