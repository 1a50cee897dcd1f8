"""Rules on who wears it: their edges. They are cautions; no test here shows compliance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given, settings

from service.domain.blanks import Finish, Wearer
from service.domain.rules.contract import Facts, Severity
from service.domain.rules.wearer import (
    CHILDRENS_ARTICLE,
    FLAMMABILITY,
    PLAIN_EXEMPT_G_M2,
    PVC_FOR_CHILDREN,
    SLEEPWEAR,
    SMALL_PARTS,
)
from tests.domain.garments_and_lines import cloth, decoration, demo_shop
from tests.domain.rule_facts import (
    assert_they_name_all_they_read,
    facts_of,
    severities,
    shop_with,
    situations,
    the_reading,
)

PASSES, NOTES, WARNS, BLOCKS = Severity
RULES = (SLEEPWEAR, PVC_FOR_CHILDREN, SMALL_PARTS, CHILDRENS_ARTICLE, FLAMMABILITY)


@settings(max_examples=100)
@given(situations(), situations())
def test_rules_on_the_wearer_name_all_they_read(one: Facts, other: Facts) -> None:
    """The garment is read, and the method where films matter."""
    assert_they_name_all_they_read(RULES, one, other)


def _for(wearer: Wearer, method: str) -> Facts:
    return facts_of(replace(cloth(), wearer=wearer), decoration(method), _SHEDDING)


_SHEDDING = shop_with(
    {"glitter-film": {"sheds_small_parts": True}, "cut-film": {"sheds_small_parts": False}}
)


@pytest.mark.parametrize(
    ("wearer", "severity"),
    [(Wearer.ADULT, PASSES), (Wearer.YOUTH, WARNS), (Wearer.INFANT, BLOCKS)],
)
def test_what_comes_loose_is_kept_from_infants(wearer: Wearer, severity: Severity) -> None:
    """A caution after 16 CFR 1501, which is on children under three (from memory)."""
    assert severities(SMALL_PARTS, _for(wearer, "dye-on-glitter-film")) == [severity]
    assert severities(SMALL_PARTS, _for(wearer, "cut-film")) == [PASSES]
    assert severities(SMALL_PARTS, _for(wearer, "dye-transfer")) == []


@pytest.mark.parametrize("wearer", Wearer)
def test_prints_on_childrens_wear_are_noted(wearer: Wearer) -> None:
    """Prints are not exempt from tests as plain textiles are: 16 CFR 1500.91."""
    severity = PASSES if wearer is Wearer.ADULT else NOTES
    for method in ("dye-transfer", "cut-film"):
        assert severities(CHILDRENS_ARTICLE, _for(wearer, method)) == [severity]


def test_no_caution_claims_that_anything_is_allowed() -> None:
    """What the rules say never speaks of compliance, safety or approval."""
    for rule in RULES:
        words = " ".join([rule.explanation, rule.ways_out, *rule.reasons.values()]).lower()
        for claim in ("complies", "compliant", "is safe", "approved", "certified", "lawful"):
            assert claim not in words


def _weighing(weight: float, percents: Mapping[str, int], finish: Finish = Finish.PLAIN) -> Facts:
    garment = replace(cloth("#ffffff", finish, **percents), weight_g_m2=weight)
    return facts_of(garment, decoration("cut-film"))


@pytest.mark.parametrize(
    ("weight", "percents", "severity"),
    [
        (88.2, {"cotton": 100}, PASSES),
        (88.1, {"cotton": 100}, NOTES),
        (60, {"polyester": 100}, PASSES),
        (60, {"wool": 50, "polyamide": 50}, PASSES),
        (60, {"polypropylene": 100}, PASSES),
        (60, {"polyester": 65, "cotton": 35}, NOTES),
        (60, {"polyester": 95, "elastane": 5}, NOTES),
        (60, {"silk": 100}, NOTES),
    ],
)
def test_light_cloth_outside_the_exemptions_is_noted(
    weight: float, percents: Mapping[str, int], severity: Severity
) -> None:
    """16 CFR 1610: exempt are plain cloth of 2.6 oz/yd2 and the fibres it names, at any weight."""
    assert severities(FLAMMABILITY, _weighing(weight, percents)) == [severity]


def test_a_raised_surface_is_exempt_by_fibre_alone() -> None:
    """16 CFR 1610 exempts by weight only cloth with a plain surface."""
    brushed = _weighing(320, {"cotton": 100}, Finish.BRUSHED)
    assert the_reading(FLAMMABILITY, brushed).severity is NOTES
    assert severities(FLAMMABILITY, _weighing(320, {"polyester": 100}, Finish.BRUSHED)) == [PASSES]
    assert severities(FLAMMABILITY, _weighing(100, {"cotton": 100}, Finish.WATER_REPELLENT)) == [
        PASSES
    ]


def test_the_exempt_weight_is_the_published_one() -> None:
    """2.6 oz/yd2 by the ounce of 28.349523 g and the yard of 0.9144 m (definitions)."""
    assert pytest.approx(2.6 * 28.349523 / 0.9144**2, abs=0.05) == PLAIN_EXEMPT_G_M2


def test_sleepwear_for_adults_is_warned_of() -> None:
    """Common practice, no source; children's sleepwear is refused (16 CFR 1615 and 1616)."""
    garment = replace(cloth(), sleepwear=True)
    for wearer, severity in (
        (Wearer.ADULT, WARNS),
        (Wearer.YOUTH, BLOCKS),
        (Wearer.INFANT, BLOCKS),
    ):
        facts = facts_of(replace(garment, wearer=wearer), decoration("cut-film"))
        assert severities(SLEEPWEAR, facts) == [severity]


def test_the_demo_shop_prints_on_infants_wear() -> None:
    """Some method of the demo shop is refused by no rule on the wearer of its bodysuit."""
    garment = demo_shop().garments["infant-bodysuit", "white"]
    assert any(
        BLOCKS not in [s for rule in RULES for s in severities(rule, facts)]
        for facts in (facts_of(garment, decoration(method)) for method in demo_shop().chains)
    )
