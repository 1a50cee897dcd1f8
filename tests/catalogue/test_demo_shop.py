"""The invented demonstration shop: what it must hold, and that it keeps to its own sources."""

from __future__ import annotations

from decimal import Decimal

import pytest

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.blanks import Finish, Style, Wearer
from service.domain.fibres import Fibre
from service.domain.media import Ink, WorkedFrom
from service.domain.methods import Cover, OperationKind
from service.domain.shop import Catalogue


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
         {"white", "silver", "royal", "black", "red"}),
        ("mostly-polyester-tee", {Fibre.POLYESTER: 65, Fibre.COTTON: 35}, {"white"}),
        ("half-blend-tee", {Fibre.POLYESTER: 50, Fibre.COTTON: 50}, {"white"}),
        ("tri-blend-tee", {Fibre.POLYESTER: 50, Fibre.COTTON: 25, Fibre.VISCOSE: 25}, {"white"}),
        ("stretch-cotton-tee", {Fibre.COTTON: 95, Fibre.ELASTANE: 5}, {"white"}),
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
