"""Rules on stock: what can be had neither from the shelf nor from the supplier."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from service.domain.blanks import Wearer
from service.domain.compiled import CompiledCatalogue
from service.domain.fibres import FibreContent
from service.domain.garments import SuppliedGarment, supplied_garment
from service.domain.rules.contract import Facts, Severity
from service.domain.rules.stock import GARMENT_STOCK, MEDIUM_STOCK, stocked_blank
from tests.domain.garments_and_lines import cloth, decoration, demo_shop
from tests.domain.rule_facts import (
    assert_they_name_all_they_read,
    facts_of,
    severities,
    shop_with,
    situations,
)

PASSES, _, _, BLOCKS = Severity
TEE = "classic-cotton-tee"


@settings(max_examples=100)
@given(situations(), situations())
def test_rules_on_stock_name_all_they_read(one: Facts, other: Facts) -> None:
    """Garments hang on blank, colour and sizes, media on the method."""
    assert_they_name_all_they_read((GARMENT_STOCK, MEDIUM_STOCK), one, other)


def _black_without(*sizes: str) -> CompiledCatalogue:
    colours = demo_shop().catalogue.blank_by_id[TEE].colours
    changed = tuple(
        colour.model_copy(update={"unobtainable_sizes": sizes if colour.id == "black" else ()})
        for colour in colours
    )
    return shop_with(blanks={TEE: {"colours": changed}})


@pytest.mark.parametrize(
    ("colour", "sizes", "refused"),
    [
        ("black", ("S", "M"), []),
        ("black", ("M", "L"), ["L"]),
        ("black", ("L", "XL"), ["L", "XL"]),
        ("white", ("L", "XL"), []),
    ],
)
def test_sizes_that_cannot_be_had_are_refused_by_name(
    colour: str, sizes: tuple[str, ...], refused: list[str]
) -> None:
    """Only in the colour concerned, and each size by itself."""
    shop = _black_without("L", "XL")
    facts = facts_of(shop.garments[TEE, colour], decoration("cut-film"), shop, sizes=sizes)
    found = list(GARMENT_STOCK.evaluate(facts))
    assert [reading.size for reading in found if reading.severity is BLOCKS] == refused
    assert all(f"Size {size} " in r.reason for size, r in zip(refused, found, strict=False))
    assert bool(refused) is (PASSES not in {reading.severity for reading in found})


def test_a_customers_own_garment_needs_no_stock() -> None:
    """A supplied garment passes whatever the shop stocks."""
    described = SuppliedGarment(
        fibre_content=FibreContent.of(cotton=100),
        colour_srgb="#101010",
        weight_g_m2=180,
        wearer=Wearer.ADULT,
        half_chest_mm=520,
    )
    facts = facts_of(supplied_garment(described, ("M",), ()), decoration("cut-film"))
    assert stocked_blank(facts) is None
    assert severities(GARMENT_STOCK, facts) == [PASSES]


@pytest.mark.parametrize(
    ("gone", "method", "expected"),
    [
        ((), "dye-on-glitter-film", [PASSES]),
        (("glitter-film",), "dye-on-glitter-film", [BLOCKS]),
        (("dye-paper",), "dye-on-glitter-film", [BLOCKS]),
        (("dye-paper", "glitter-film"), "dye-on-glitter-film", [BLOCKS, BLOCKS]),
        (("glitter-film",), "dye-transfer", [PASSES]),
        (("dye-paper",), "dye-transfer", [BLOCKS]),
    ],
)
def test_a_method_needs_every_film_and_paper(
    gone: tuple[str, ...], method: str, expected: list[Severity]
) -> None:
    """Each medium that cannot be had is refused once, and no other method suffers."""
    shop = shop_with({id_: {"unobtainable": True} for id_ in gone})
    facts = facts_of(cloth(polyester=100), decoration(method), shop)
    assert severities(MEDIUM_STOCK, facts) == expected
