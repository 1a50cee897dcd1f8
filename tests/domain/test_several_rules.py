"""Rules on several decorations of one garment: heat adds up, dye moves again, film softens."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings

from service.domain.blanks import Placement
from service.domain.compiled import CompiledCatalogue
from service.domain.fibres import FibreContent
from service.domain.garments import SuppliedGarment, supplied_garment
from service.domain.rules.contract import Facts, Rule, Severity
from service.domain.rules.several import (
    ACCUMULATED_HEAT,
    DYE_REHEATED,
    FILM_REHEATED,
    PLACEMENTS_APART,
)
from service.domain.verdict import judge_line
from service.domain.wishes import Choice, Line
from tests.domain.garments_and_lines import decoration, demo_shop
from tests.domain.heated_wishes import (
    METHODS,
    WHITE,
    HeatedWish,
    heated_wishes,
    neighbour,
    of_content,
    says_the_same_of_what_it_reads,
)
from tests.domain.rule_facts import facts_of, fits_a_template, gravest, readings, shop_with

RULES = (ACCUMULATED_HEAT, DYE_REHEATED, FILM_REHEATED)
POLYESTER = of_content(FibreContent.of(polyester=100), WHITE)


def _beside(method: str, *others: tuple[str, bool], shop: CompiledCatalogue | None = None) -> Facts:
    """A decoration of white polyester beside others, each a method and whether it is earlier."""
    neighbours = tuple(
        neighbour(POLYESTER, other, earlier=earlier, shop=shop) for other, earlier in others
    )
    return facts_of(POLYESTER, method, shop, neighbours=neighbours)


def _totals(facts: Facts) -> tuple[float, int]:
    strikes = list(facts.settings)
    strikes += [entry for other in facts.neighbours for entry in other.settings]
    return sum(entry.dwell_s for entry in strikes), len(strikes)


@pytest.mark.parametrize(
    ("limit", "severities"),
    [
        (lambda total: total, ("passes", "passes")),
        (lambda total: total - 1, ("warns", "warns")),
        (lambda total: total / 2, ("blocks", "blocks")),
    ],
    ids=["at the limit", "above it", "at twice"],
)
def test_seconds_and_strikes_of_all_decorations_add_up(
    limit: Callable[[float], float], severities: tuple[str, str]
) -> None:
    """The limit is allowed, above it is warned of, twice is refused; the shop's policy."""
    plain = _beside("dye-transfer", ("cut-film", True), ("printed-film", True), ("cut-film", False))
    seconds, strikes = _totals(plain)
    assert seconds == 64 + 19 + 94 + 19
    assert strikes == 2 + 3 + 2 + 3
    shop = shop_with(heated_s_max=limit(seconds), strikes_max=int(limit(strikes)))
    found = readings(ACCUMULATED_HEAT, replace(plain, catalogue=shop.catalogue))
    assert tuple(reading.severity for reading in found) == severities
    assert [reading.measured for reading in found] == [seconds, strikes]


@pytest.mark.parametrize("method", METHODS)
def test_one_decoration_is_never_too_much_heat(method: str) -> None:
    """Every method of the demo shop stays within its limits by itself."""
    assert gravest(ACCUMULATED_HEAT, facts_of(POLYESTER, method)) == "passes"


@pytest.mark.parametrize(
    ("method", "others", "severity"),
    [
        ("cut-film", (), None),
        ("cut-film", (("printed-film", True), ("low-heat-cut-film", False)), None),
        ("dye-transfer", (), "passes"),
        ("dye-transfer", (("cut-film", True),), "passes"),
        ("dye-transfer", (("low-heat-cut-film", False),), "passes"),
        ("dye-transfer", (("cut-film", False),), "warns"),
        ("dye-transfer", (("dye-transfer", True),), "warns"),
        ("dye-transfer", (("dye-transfer", False),), "warns"),
        ("low-heat-cut-film", (("dye-transfer", True),), "passes"),
        ("cut-film", (("dye-transfer", True),), "warns"),
        ("cut-film", (("dye-transfer", False),), None),
        ("dye-on-glitter-film", (("dye-transfer", True),), "blocks"),
        ("dye-transfer", (("dye-on-glitter-film", False),), "blocks"),
        ("dye-transfer", (("dye-on-glitter-film", True),), "warns"),
    ],
)
def test_dye_is_not_heated_again(
    method: str, others: tuple[tuple[str, bool], ...], severity: str | None
) -> None:
    """Above 150 °C dye moves again, above 170 °C it stains film; common practice, no source.

    Cut film is set to 155 °C, low-heat film to 128 °C, dye to 200 °C and its glitter base to
    199 °C. Of two dye prints the first is covered with fresh paper, so that is warned of.
    """
    assert gravest(DYE_REHEATED, _beside(method, *others)) == severity


@pytest.mark.parametrize(
    ("moves_c", "stains_c", "severity"),
    [(155.0, 170.0, "passes"), (154.9, 155.0, "warns"), (150.0, 154.9, "blocks")],
)
def test_the_limits_of_reheated_dye_are_allowed(
    moves_c: float, stains_c: float, severity: str
) -> None:
    """Cut film is set to 155 °C: above a limit means above it."""
    shop = shop_with(dye_moves_from_c=moves_c, dye_stains_from_c=stains_c)
    one_way = _beside("cut-film", ("dye-transfer", True), shop=shop)
    other_way = _beside("dye-transfer", ("cut-film", False), shop=shop)
    assert gravest(DYE_REHEATED, one_way) == severity
    assert gravest(DYE_REHEATED, other_way) == severity


def test_both_decorations_see_the_same_clash() -> None:
    """What the later one is told of the earlier, the earlier is told of the later."""
    for first in METHODS:
        for second in METHODS:
            later = readings(DYE_REHEATED, _beside(second, (first, True)))
            if not demo_shop().chains[first].dye:
                continue
            earlier = readings(DYE_REHEATED, _beside(first, (second, False)))
            seen = {(r.severity, r.measured) for r in earlier if r.severity != "passes"}
            # The later one also heats its own dye again, if it presses on.
            assert seen <= {(r.severity, r.measured) for r in later}


def test_a_chain_that_presses_on_after_its_own_dye_is_refused() -> None:
    """Film fixed at 199 °C after the dye of the same decoration is stained."""
    facts = facts_of(POLYESTER, "dye-on-glitter-film")
    base = next(e for e in facts.settings if e.strike.kind == "tack")
    late = replace(base, strike=replace(base.strike, step=99))
    (reading,) = readings(DYE_REHEATED, replace(facts, press=lambda: (*facts.settings, late)))
    assert (reading.severity, reading.step, reading.measured) == (Severity.BLOCKS, 99, 199.0)
    assert "its own dye" in reading.reason


def test_a_bare_stroke_after_dye_is_warned_of() -> None:
    """A neighbour's hot pre-press fixes no film: the print may pale, nothing is stained."""
    facts = _beside("dye-transfer", ("cut-film", False))
    (other,) = facts.neighbours
    hot = replace(other.settings[0], set_c=180.0)
    assert hot.strike.medium is None
    bare = replace(facts, neighbours=(replace(other, settings=(hot,)),))
    (reading,) = readings(DYE_REHEATED, bare)
    assert reading.severity is Severity.WARNS
    assert "pales" in reading.reason


def test_the_refusal_names_both_places() -> None:
    """The customer reads which print and which film clash, and where."""
    garment = demo_shop().garments["sport-polyester-tee", "white"]
    beside = neighbour(garment, "dye-on-glitter-film", earlier=False)
    facts = facts_of(garment, "dye-transfer", neighbours=(beside,))
    reasons = [r.reason for r in readings(DYE_REHEATED, facts) if r.severity is Severity.BLOCKS]
    assert len(reasons) == 1
    for part in ("glitter film at the full back", "199 °C", "170 °C", "way out"):
        assert part in reasons[0]


@pytest.mark.parametrize(
    ("method", "others", "severity"),
    [
        ("cut-film", (), None),
        ("dye-transfer", (("cut-film", True),), "warns"),
        ("cut-film", (("dye-transfer", False),), "warns"),
        ("cut-film", (("dye-transfer", True),), None),
        ("dye-transfer", (("dye-on-white-film", True),), "passes"),
        ("cut-film", (("low-heat-cut-film", False),), "passes"),
    ],
)
def test_film_at_another_place_is_kept_from_what_it_does_not_bear(
    method: str, others: tuple[tuple[str, bool], ...], severity: str | None
) -> None:
    """Cut film bears 170 °C, polyester-faced film 205 °C, dye is set to 200 °C.

    Common practice, no source; the film's data sheet comes first.
    """
    assert gravest(FILM_REHEATED, _beside(method, *others)) == severity


def test_reasons_are_the_rules_own_templates() -> None:
    """Every pair of methods, in either order."""
    for rule in RULES:
        for first in METHODS:
            for second in METHODS:
                for reading in readings(rule, _beside(first, (second, True), (second, False))):
                    assert fits_a_template(rule, reading.reason)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
@settings(max_examples=25)
@given(one=heated_wishes(), other=heated_wishes())
def test_what_a_rule_on_several_says_depends_on_what_it_reads_alone(
    rule: Rule, one: HeatedWish, other: HeatedWish
) -> None:
    """Every choice outside ``reads_for`` may change; reasons are the rule's own templates."""
    assert Choice.OTHER_DECORATIONS in rule.reads
    says_the_same_of_what_it_reads(rule, one, other)


@settings(max_examples=25)
@given(wish=heated_wishes())
def test_another_decoration_never_makes_it_better(wish: HeatedWish) -> None:
    """What is refused alone is refused beside others."""
    beside = wish.facts()
    alone = replace(beside, neighbours=())
    for rule in RULES:
        if gravest(rule, alone) == "blocks":
            assert gravest(rule, beside) == "blocks"


def _placed(here: str, *there: str, overlaps: dict[str, tuple[str, ...]]) -> Facts:
    """A decoration beside others, on a garment with these placements and overlaps."""
    placements = {
        id_: Placement(
            id=id_,
            name=f"The {id_}",
            from_edge="hem",
            drop_mm=0,
            areas={},
            overlaps=overlaps.get(id_, ()),
        )
        for id_ in "abc"
    }
    garment = replace(POLYESTER, placements=placements)
    one = neighbour(garment, "cut-film", earlier=True)
    beside = tuple(
        replace(one, decoration=replace(one.decoration, placement_id=id_)) for id_ in there
    )
    wished = replace(decoration("cut-film"), placement_id=here)
    return facts_of(garment, wished, neighbours=beside)


@pytest.mark.parametrize("overlaps", [{"a": ("b",)}, {"b": ("a",)}, {"a": ("b",), "b": ("a",)}])
@pytest.mark.parametrize(("here", "there"), [("a", "b"), ("b", "a")])
def test_an_overlap_counts_both_ways(
    overlaps: dict[str, tuple[str, ...]], here: str, there: str
) -> None:
    """Whichever names the other, both are refused; the third lies apart from them."""
    (reading,) = readings(PLACEMENTS_APART, _placed(here, there, "c", overlaps=overlaps))
    assert reading.severity is Severity.BLOCKS
    for part in (f"the {here}", f"the {there}", "Combine", "another placement"):
        assert part in reading.reason
    assert fits_a_template(PLACEMENTS_APART, reading.reason)
    (third,) = readings(PLACEMENTS_APART, _placed("c", "a", "b", overlaps=overlaps))
    assert third.severity is Severity.PASSES
    assert fits_a_template(PLACEMENTS_APART, third.reason)


def test_each_overlapping_decoration_is_named() -> None:
    """One reading for each; a decoration alone on its garment says nothing."""
    found = readings(PLACEMENTS_APART, _placed("a", "b", "c", overlaps={"a": ("b", "c")}))
    assert [reading.severity for reading in found] == ["blocks", "blocks"]
    assert ["the b" in found[0].reason, "the c" in found[1].reason] == [True, True]
    assert readings(PLACEMENTS_APART, _placed("a", overlaps={"a": ("b",)})) == []


def _refused_for_lying_on_another(line: Line) -> list[bool]:
    return [
        any(
            finding.rule is PLACEMENTS_APART and finding.severity is Severity.BLOCKS
            for finding in verdict.candidates[0].findings
        )
        for verdict in judge_line(demo_shop(), line)
    ]


@pytest.mark.parametrize(("other", "works"), [("left-chest", False), ("back", True)])
def test_a_full_front_and_a_left_chest_lie_on_each_other(other: str, works: bool) -> None:  # noqa: FBT001
    """On a tee of the shop, 300 mm and 90 mm wide; a front and a back lie apart."""
    wishes = (
        replace(decoration("cut-film"), placement_id="front", width_mm=300.0),
        replace(decoration("cut-film"), placement_id=other, width_mm=90.0),
    )
    line = Line(demo_shop().garments["classic-cotton-tee", "white"], {"XL": 1}, wishes)
    verdicts = judge_line(demo_shop(), line)
    assert [verdict.chosen is not None for verdict in verdicts] == [works, works]
    assert _refused_for_lying_on_another(line) == [not works, not works]


@pytest.mark.parametrize(("other", "works"), [("left-chest", False), ("back", True)])
def test_overlaps_count_on_garments_the_customer_brings(other: str, works: bool) -> None:  # noqa: FBT001
    """The shop's placements for such garments name their overlaps too."""
    described = SuppliedGarment.model_validate(
        {
            "fibre_content": FibreContent.of(cotton=100),
            "colour_srgb": WHITE,
            "weight_g_m2": 180,
            "wearer": "adult",
            "half_chest_mm": 520,
        }
    )
    offered = demo_shop().catalogue.policy.supplied_placements
    wishes = (
        replace(decoration("cut-film"), placement_id="front", width_mm=200.0),
        replace(decoration("cut-film"), placement_id=other, width_mm=90.0),
    )
    line = Line(supplied_garment(described, ("M",), offered), {"M": 1}, wishes)
    assert _refused_for_lying_on_another(line) == [not works, not works]
