"""Rules on heat: the press window, low melters, elastane, blends of three, and rising dye."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings

from service.domain.colour import Lab
from service.domain.fibres import FibreContent
from service.domain.recipe import strike_settings
from service.domain.rules.contract import Facts, Rule, Severity
from service.domain.rules.delicate_fibres import (
    ELASTANE_HEAT,
    LOW_MELTING_FIBRE,
    TRI_BLEND_SCORCH,
)
from service.domain.rules.heat import DYE_MIGRATION, HEAT_WINDOW, LONG_STRIKE
from service.domain.wishes import Choice
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop
from tests.domain.heated_wishes import (
    BLACK,
    GREY,
    METHODS,
    RED,
    WHITE,
    HeatedWish,
    heated_wishes,
    of_content,
    says_the_same_of_what_it_reads,
)
from tests.domain.rule_facts import facts_of, gravest, readings, shop_with

RULES = (
    HEAT_WINDOW,
    LONG_STRIKE,
    DYE_MIGRATION,
    LOW_MELTING_FIBRE,
    ELASTANE_HEAT,
    TRI_BLEND_SCORCH,
)


def _reasons(rule: Rule, facts: Facts, severity: Severity) -> list[str]:
    return [reading.reason for reading in readings(rule, facts) if reading.severity is severity]


def test_an_empty_window_names_every_interval_and_the_presss_error() -> None:
    """Film from 150 °C on polyamide up to 150 °C: the press's error leaves no room.

    Windows and ceilings: common practice, no source.
    """
    facts = facts_of(cloth(polyamide=100), "cut-film")
    reason = _reasons(HEAT_WINDOW, facts, Severity.BLOCKS)[0]
    assert "the polyamide in the cloth up to 150 °C" in reason
    assert "its own press window 150 to 165 °C" in reason
    assert "the press up to 220 °C" in reason
    assert "up to 4 K off" in reason
    assert "at least 154 °C" in reason
    assert "at most 146 °C" in reason


def test_an_empty_window_names_the_film_beneath() -> None:
    """A dye stroke above what its base film bears is refused, naming that film."""
    facts = facts_of(cloth(cotton=100), "dye-on-white-film")
    weak = facts.chain.layers[0].model_copy(update={"withstands_c": 170.0})
    strikes = tuple(
        replace(strike, beneath=tuple(weak for _ in strike.beneath))
        for strike in facts.chain.strikes
    )
    chain = replace(facts.chain, strikes=strikes)
    entries = strike_settings(chain, facts.garment, facts.film_labs, facts.policy)
    reasons = _reasons(HEAT_WINDOW, replace(facts, press=lambda: entries), Severity.BLOCKS)
    assert len(reasons) == 1
    assert f"the {weak.name} beneath up to 170 °C" in reasons[0]


@pytest.mark.parametrize("method", METHODS)
def test_polypropylene_is_refused_by_every_method(method: str) -> None:
    """It melts at 160 to 170 °C (one trade guide); every press from 120 °C on is refused."""
    facts = facts_of(cloth(polypropylene=100), method)
    assert gravest(HEAT_WINDOW, facts) == "blocks"
    assert gravest(LOW_MELTING_FIBRE, facts) == "blocks"


@pytest.mark.parametrize(
    ("percent", "window", "melting"),
    [("5", "blocks", "blocks"), ("4.9", "passes", "blocks"), ("1", "passes", "blocks"),
     ("0.9", "passes", "passes")],
)  # fmt: skip
def test_a_little_polypropylene_is_enough(percent: str, window: str, melting: str) -> None:
    """Fibres count for the ceiling from 5 %, low melters from 1 %; design choices, no source."""
    cotton = str(100 - float(percent))
    content = FibreContent.of(cotton=cotton, polypropylene=percent)
    facts = facts_of(of_content(content), "cut-film")
    assert gravest(HEAT_WINDOW, facts) == window
    assert gravest(LOW_MELTING_FIBRE, facts) == melting
    assert all((entry.set_c is None) == (melting == "blocks") for entry in facts.settings)


def test_a_low_melter_is_named_with_share_and_melting_point() -> None:
    """Fibre, share, melting point and what it bears stand in the refusal."""
    facts = facts_of(of_content(FibreContent.of(cotton=97, polypropylene=3)), "cut-film")
    reason = _reasons(LOW_MELTING_FIBRE, facts, Severity.BLOCKS)[0]
    assert "3 % polypropylene" in reason
    assert "melts from 160 °C" in reason
    assert "at most 106 °C" in reason


def test_a_cool_stroke_beside_a_low_melter_is_set_below_its_ceiling() -> None:
    """A stroke that may stay cool is allowed, kept cool, and warned of."""
    facts = facts_of(of_content(FibreContent.of(cotton=97, polypropylene=3)), "cut-film")
    strike = facts.settings[0].strike
    window = strike.window.model_copy(
        update={"temp_min_c": 90.0, "temp_max_c": 135.0, "best_temp_c": 120.0}
    )
    chain = replace(facts.chain, strikes=(replace(strike, window=window),))
    entries = strike_settings(chain, facts.garment, facts.film_labs, facts.policy)
    assert [entry.set_c for entry in entries] == [106.0]
    (reading,) = readings(LOW_MELTING_FIBRE, replace(facts, press=lambda: entries))
    assert (reading.severity, reading.measured, reading.limit) == (Severity.WARNS, 94.0, 106.0)


@pytest.mark.parametrize(("percent", "allowed"), [(4, True), (5, False), (20, False), (21, False)])
def test_a_long_stroke_is_refused_on_elastane_that_counts(
    percent: int,
    allowed: bool,  # noqa: FBT001
) -> None:
    """Printed film takes 60 s and more, elastane bears 45 s; from memory."""
    content = FibreContent.of(cotton=100 - percent, elastane=percent)
    facts = facts_of(of_content(content), "printed-film")
    assert (gravest(HEAT_WINDOW, facts) == "passes") is allowed
    if not allowed:
        assert any("at most 45 s" in text for text in _reasons(HEAT_WINDOW, facts, Severity.BLOCKS))


def test_a_stroke_that_can_be_shorter_is_shortened_and_noted() -> None:
    """Dye takes 30 to 60 s; on cloth with elastane it is pressed for 45 s."""
    facts = facts_of(of_content(FibreContent.of(polyester=92, elastane=8)), "dye-transfer")
    assert facts.settings[-1].dwell_s == 45
    noted = [r for r in readings(HEAT_WINDOW, facts) if r.severity is Severity.NOTES]
    assert [(r.measured, r.limit, r.unit) for r in noted] == [(45.0, 45.0, "s")]


@pytest.mark.parametrize(
    ("fibre", "margin_k", "severity"),
    [
        ("cotton", 15, Severity.PASSES),
        ("cotton", 35, Severity.PASSES),
        ("cotton", 36, Severity.WARNS),
        ("viscose", 15, Severity.WARNS),
        ("viscose", 10, Severity.PASSES),
        ("viscose", 0, Severity.PASSES),
    ],
)
def test_a_stroke_of_90_s_near_the_ceiling_asks_for_a_sample(
    fibre: str, margin_k: float, severity: Severity
) -> None:
    """Printed film at 170 °C: cotton bears 205, viscose 180 °C; common practice, no source.

    The margin is a design choice, and the limit itself is allowed.
    """
    shop = shop_with(long_strike_margin_k=margin_k)
    facts = facts_of(of_content(FibreContent.of(**{fibre: 100})), "printed-film", shop)
    [reading] = readings(LONG_STRIKE, facts)
    assert (reading.severity, reading.measured) == (severity, 170.0)
    assert "90 s" in reading.reason


@pytest.mark.parametrize(("dwell_s", "count"), [(60.0, 0), (60.5, 1)])
def test_strokes_of_up_to_60_s_are_what_ceilings_are_for(dwell_s: float, count: int) -> None:
    """Of a stroke no longer than that nothing is said; common practice, no source."""
    facts = facts_of(cloth(viscose=100), "printed-film")
    entries = tuple(replace(entry, dwell_s=dwell_s) for entry in facts.settings[-1:])
    assert len(readings(LONG_STRIKE, replace(facts, press=lambda: entries))) == count
    assert readings(LONG_STRIKE, facts_of(cloth(polyester=100), "dye-transfer")) == []


def test_a_long_stroke_without_a_setting_is_left_to_the_rules_that_refuse_it() -> None:
    """Wool bears 150 °C, and printed film needs 169 °C: the heat window says so."""
    facts = facts_of(cloth(wool=100), "printed-film")
    assert gravest(HEAT_WINDOW, facts) == "blocks"
    assert readings(LONG_STRIKE, facts) == []


@pytest.mark.parametrize(
    ("percent", "warm_c", "severity"),
    [(5, 155.0, "passes"), (5, 154.9, "warns"), (4, 154.9, "passes"), (20, 154.9, "warns")],
)
def test_warm_elastane_is_warned_of(percent: int, warm_c: float, severity: str) -> None:
    """Cut film is set to 155 °C; the limit itself is allowed, and elastane counts from 5 %."""
    content = FibreContent.of(cotton=100 - percent, elastane=percent)
    shop = shop_with(elastane_warm_c=warm_c)
    assert gravest(ELASTANE_HEAT, facts_of(of_content(content), "cut-film", shop)) == severity


def test_elastane_is_warned_of_where_a_stroke_is_hot() -> None:
    """Dye at 200 °C is above the 165 °C at which elastane is warned of; from memory."""
    facts = facts_of(of_content(FibreContent.of(polyester=92, elastane=8)), "dye-transfer")
    (reading,) = (r for r in readings(ELASTANE_HEAT, facts) if r.severity is Severity.WARNS)
    assert (reading.measured, reading.limit) == (200.0, 165.0)


@pytest.mark.parametrize(
    ("content", "warns"),
    [
        ({"polyester": 50, "cotton": 25, "viscose": 25}, True),
        ({"polyester": 50, "cotton": 38, "lyocell": 12}, True),
        ({"polyester": 80, "cotton": 10, "modal": 10}, True),
        ({"polyester": 81, "cotton": 9, "modal": 10}, False),
        ({"polyester": 50, "cotton": 40, "viscose": 5, "modal": 5}, True),
        ({"polyester": 50, "cotton": 50}, False),
        ({"polyester": 50, "viscose": 50}, False),
        ({"cotton": 50, "viscose": 50}, False),
    ],
)
def test_blends_of_three_scorch(content: dict[str, int], warns: bool) -> None:  # noqa: FBT001
    """Transfers at 138 °C or below are advised on them (advice in one trade magazine)."""
    garment = of_content(FibreContent.of(**content))
    assert (gravest(TRI_BLEND_SCORCH, facts_of(garment, "cut-film")) == "warns") is warns
    assert gravest(TRI_BLEND_SCORCH, facts_of(garment, "low-heat-cut-film")) == "passes"


def test_the_limit_of_a_blend_of_three_is_allowed() -> None:
    """Low-heat film is set to 128 °C: 128 °C is allowed, a tenth less is not."""
    garment = of_content(FibreContent.of(polyester=50, cotton=25, viscose=25))
    for limit, severity in ((128.0, "passes"), (127.9, "warns")):
        shop = shop_with(tri_blend_c=limit)
        facts = facts_of(garment, "low-heat-cut-film", shop)
        assert gravest(TRI_BLEND_SCORCH, facts) == severity


def _white_film(method: str, garment_srgb: str, **percents: int) -> Facts:
    wished = decoration(method, art=artwork(WHITE), film_colour_id="white")
    return facts_of(of_content(FibreContent.of(**percents), garment_srgb), wished)


def test_white_film_at_155_c_on_red_polyester_is_refused_with_a_way_out() -> None:
    """Dye of the cloth starts to move at about 138 °C; common practice, no source."""
    reasons = _reasons(DYE_MIGRATION, _white_film("cut-film", RED, polyester=100), Severity.BLOCKS)
    assert len(reasons) == 2
    for part in (RED, "100 % polyester", "at least 154 °C", "cooler", "blocks dye"):
        assert part in reasons[0]


def test_cooler_film_is_kept_below_the_onset_and_warned_of() -> None:
    """Low-heat film is the way out; a sample is held for 24 h; common practice, no source."""
    facts = _white_film("low-heat-cut-film", RED, polyester=100)
    assert gravest(DYE_MIGRATION, facts) == "warns"
    film = [entry for entry in facts.settings if entry.strike.medium is not None]
    assert all(entry.set_c is not None and entry.set_c + 4 <= 138 for entry in film)


@pytest.mark.parametrize(
    ("percents", "lightness", "severity"),
    [
        ({"polyester": 50, "cotton": 50}, 74.9, "blocks"),
        ({"polyester": 50, "cotton": 50}, 75.0, "passes"),
        ({"cotton": 51, "polyester": 49}, 74.9, "passes"),
    ],
)
def test_cloth_bleeds_from_half_polyester_below_light(
    percents: dict[str, int], lightness: float, severity: str
) -> None:
    """At risk: at least 50 % polyester with L* below 75; a design choice, no source."""
    garment = replace(of_content(FibreContent.of(**percents), GREY), lab=Lab(lightness, 0, 0))
    wished = decoration("cut-film", art=artwork(WHITE), film_colour_id="white")
    assert gravest(DYE_MIGRATION, facts_of(garment, wished)) == severity


def test_dark_film_hides_the_dye() -> None:
    """Dark film is a countermeasure (one trade magazine)."""
    wished = decoration("cut-film", art=artwork(BLACK), film_colour_id="black")
    assert gravest(DYE_MIGRATION, facts_of(cloth(RED, polyester=100), wished)) == "passes"


def test_a_film_that_blocks_dye_passes_on_any_cloth() -> None:
    """Blocking film is a countermeasure, whatever the cloth (one trade magazine)."""
    facts = _white_film("blocker-film", RED, polyester=100)
    assert gravest(DYE_MIGRATION, facts) == "passes"
    assert DYE_MIGRATION.reads_for(facts.chain) == {Choice.METHOD}


def test_no_film_no_migration() -> None:
    """Dye straight into the cloth has no film to tint: the rule says nothing."""
    assert readings(DYE_MIGRATION, facts_of(cloth(RED, polyester=100), "dye-transfer")) == []


def test_a_strike_has_a_setting_unless_a_rule_on_heat_refuses_it() -> None:
    """No garment of the shop is left without a setting and without a refusal, nor the reverse."""
    refusing = (HEAT_WINDOW, DYE_MIGRATION, LOW_MELTING_FIBRE)
    for garment in demo_shop().garments.values():
        for method in METHODS:
            placement = next(iter(garment.placements))
            wished = replace(decoration(method), placement_id=placement)
            facts = facts_of(garment, wished)
            refused = any(gravest(rule, facts) == "blocks" for rule in refusing)
            assert refused == any(entry.set_c is None for entry in facts.settings)


@settings(max_examples=60)
@given(wish=heated_wishes())
def test_no_setting_without_refusal_and_no_refusal_without_reason(wish: HeatedWish) -> None:
    """The same of any cloth, colour, method and film."""
    facts = wish.facts()
    refusing = (HEAT_WINDOW, DYE_MIGRATION, LOW_MELTING_FIBRE)
    steps = {
        reading.step
        for rule in refusing
        for reading in readings(rule, facts)
        if reading.severity is Severity.BLOCKS
    }
    assert steps == {entry.strike.step for entry in facts.settings if entry.set_c is None}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
@settings(max_examples=25)
@given(one=heated_wishes(), other=heated_wishes())
def test_what_a_rule_on_heat_says_depends_on_what_it_reads_alone(
    rule: Rule, one: HeatedWish, other: HeatedWish
) -> None:
    """Every choice outside ``reads_for`` may change; reasons are the rule's own templates."""
    says_the_same_of_what_it_reads(rule, one, other)
