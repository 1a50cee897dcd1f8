"""Rules on dye: the decision table of direct dye, stray fibres, and what the first wash takes."""

from __future__ import annotations

import itertools
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings

from service.domain.blanks import Finish
from service.domain.fibres import FIBRE_FACTS, Fibre, FibreContent
from service.domain.media import Medium
from service.domain.rules.contract import Facts, Rule, Severity
from service.domain.rules.dye import (
    DYE_FIBRE_SHARE,
    DYE_FIRST_WASH,
    DYE_STRAY_FIBRE,
    DYE_SURFACE_LIGHTNESS,
    STRAY_FIBRES,
)
from service.domain.verdict import judge
from service.domain.wishes import Choice, Consent, Line
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop, plated
from tests.domain.heated_wishes import (
    BLACK,
    GREY,
    WHITE,
    HeatedWish,
    heated_wishes,
    of_content,
    says_the_same_of_what_it_reads,
)
from tests.domain.rule_facts import facts_of, gravest, readings, shop_with

RULES = (DYE_FIBRE_SHARE, DYE_SURFACE_LIGHTNESS, DYE_FIRST_WASH, DYE_STRAY_FIBRE)
FADED = frozenset({Consent.FADED_LOOK})
COLOURFUL, ALL_BLACK = ("#c01020", "#2040c0"), ("#101010",)

ACCEPT, WARN, REJECT, ASK = "accept", "warn", "reject", "with consent"
DECISIONS = [
    # polyester %, colour of the cloth, colours of the artwork, decision
    (100, WHITE, COLOURFUL, ACCEPT),
    (95, WHITE, COLOURFUL, ACCEPT),
    (95, GREY, ALL_BLACK, WARN),
    (95, GREY, COLOURFUL, REJECT),
    (95, BLACK, ALL_BLACK, REJECT),
    (94, WHITE, COLOURFUL, WARN),
    (65, WHITE, COLOURFUL, WARN),
    (65, GREY, ALL_BLACK, WARN),
    (65, GREY, COLOURFUL, REJECT),
    (65, BLACK, ALL_BLACK, REJECT),
    (64, WHITE, COLOURFUL, ASK),
    (50, WHITE, COLOURFUL, ASK),
    (50, GREY, ALL_BLACK, REJECT),
    (50, BLACK, ALL_BLACK, REJECT),
    (49, WHITE, COLOURFUL, REJECT),
    (0, WHITE, COLOURFUL, REJECT),
    (0, BLACK, ALL_BLACK, REJECT),
]
"""Direct dye by polyester share and lightness of the cloth; common practice, no source."""


def _blend(percent: int) -> FibreContent:
    if percent in (0, 100):
        return FibreContent.of(**{"polyester" if percent else "cotton": 100})
    return FibreContent.of(polyester=percent, cotton=100 - percent)


def _decision(
    percent: int, srgb: str, colours: tuple[str, ...], consents: frozenset[Consent]
) -> str:
    garment = of_content(_blend(percent), srgb)
    wished = decoration("dye-transfer", art=artwork(*colours), consents=consents)
    line = Line(garment, {"M": 1}, (wished,))
    given_ = judge(demo_shop(), line, wished, "dye-transfer", RULES)
    if not given_.works:
        return REJECT
    return WARN if given_.at_least(Severity.WARNS) else ACCEPT


@pytest.mark.parametrize(("percent", "srgb", "colours", "decision"), DECISIONS)
def test_direct_dye_follows_the_decision_table(
    percent: int, srgb: str, colours: tuple[str, ...], decision: str
) -> None:
    """Each cell of the table, at the edges of its rows; consent turns only the faded row."""
    without = _decision(percent, srgb, colours, frozenset())
    agreed = _decision(percent, srgb, colours, FADED)
    assert without == (REJECT if decision == ASK else decision)
    assert agreed == (WARN if decision == ASK else decision)


@pytest.mark.parametrize(
    ("percent", "severity"),
    [("10", Severity.NOTES), ("10.1", Severity.BLOCKS), ("0", Severity.PASSES)],
)
def test_a_tenth_of_stray_fibre_is_the_most(percent: str, severity: Severity) -> None:
    """Polyamide, acrylic, acetate or polypropylene above 10 %: refused.

    Common practice, no source.
    """
    shares = {"polyester": Decimal(100) - Decimal(percent), "polyamide": Decimal(percent)}
    content = FibreContent.of(**{name: share for name, share in shares.items() if share})
    assert gravest(DYE_STRAY_FIBRE, facts_of(of_content(content), "dye-transfer")) is severity


@pytest.mark.parametrize("fibre", sorted(STRAY_FIBRES))
def test_stray_fibres_do_not_bear_the_heat_of_dye(fibre: Fibre) -> None:
    """Their ceilings lie below the 190 °C of dye, and dye does not stay in them; from memory."""
    assert FIBRE_FACTS[fibre].press_ceiling_c < 190
    assert not FIBRE_FACTS[fibre].fixes_dye


@pytest.mark.parametrize("fibre", ["cotton", "viscose", "modal", "elastane", "linen"])
def test_cellulose_and_elastane_are_no_stray_fibres(fibre: str) -> None:
    """They are judged by the share of polyester beside them; common practice, no source."""
    content = FibreContent.of(**{"polyester": 80, fibre: 20})
    assert gravest(DYE_STRAY_FIBRE, facts_of(of_content(content), "dye-transfer")) == "passes"


def test_several_stray_fibres_add_up() -> None:
    """Six and five per cent are eleven."""
    content = FibreContent.of(polyester=89, polyamide=6, acrylic=5)
    (reading,) = readings(DYE_STRAY_FIBRE, facts_of(of_content(content), "dye-transfer"))
    assert (reading.severity, reading.measured, reading.limit) == (Severity.BLOCKS, 11.0, 10.0)


def test_half_and_half_loses_47_per_cent_of_the_print_at_first_wash() -> None:
    """50/50 by mass is 52.6 % polyester by volume at 1.38 and 1.53 g/cm3 (arithmetic)."""
    half = facts_of(cloth(polyester=50, cotton=50), "dye-transfer")
    (reading,) = readings(DYE_FIRST_WASH, half)
    assert reading.severity is Severity.WARNS
    assert reading.measured == pytest.approx(100 * (1 - 0.526), abs=0.1)


@pytest.mark.parametrize(
    ("percent", "severity"), [(100, "passes"), (99, "notes"), (95, "notes"), (94, "warns")]
)
def test_the_first_wash_is_named_on_every_blend(percent: int, severity: str) -> None:
    """Loose dye washes out of the other fibres; common practice, no source (three guides)."""
    facts = facts_of(of_content(_blend(percent)), "dye-transfer")
    assert gravest(DYE_FIRST_WASH, facts) == severity


def test_more_polyester_loses_less() -> None:
    """What washes out falls with every per cent of polyester."""
    lost = [
        float(readings(DYE_FIRST_WASH, facts_of(of_content(_blend(p)), "dye-transfer"))[0].measured)
        for p in range(101)
    ]
    assert lost[0] == pytest.approx(100)
    assert lost[100] == pytest.approx(0)
    assert all(more > less for more, less in itertools.pairwise(lost))


def test_dye_is_judged_by_the_face_of_a_plated_knit() -> None:
    """Polyester outside, cotton inside: nothing washes out; common practice, no source."""
    outside = facts_of(plated(WHITE, {"polyester": 100}, polyester=60, cotton=40), "dye-transfer")
    inside = facts_of(plated(WHITE, {"cotton": 100}, polyester=60, cotton=40), "dye-transfer")
    assert [gravest(rule, outside) for rule in RULES] == ["passes"] * len(RULES)
    assert gravest(DYE_FIBRE_SHARE, inside) == "blocks"


def _over_film(dye_share: float) -> Facts:
    """Dye on the white film, whose face holds dye in that share."""
    facts = facts_of(cloth(BLACK, cotton=100), "dye-on-white-film")

    def changed(film: Medium | None) -> Medium | None:
        return film.model_copy(update={"dye_share": dye_share}) if film else None

    dye = tuple(replace(each, target=changed(each.target)) for each in facts.chain.dye)
    return replace(facts, chain=replace(facts.chain, dye=dye))


@pytest.mark.parametrize(
    ("share", "severity"),
    [(1.0, "passes"), (0.95, "passes"), (0.94, "notes"), (0.5, "notes"), (0.49, "blocks")],
)
def test_a_film_holds_dye_by_the_share_of_its_face(share: float, severity: str) -> None:
    """Polyester pile takes dye, viscose pile does not hold it; common practice, no source."""
    assert gravest(DYE_FIBRE_SHARE, _over_film(share)) == severity


@pytest.mark.parametrize("rule", [DYE_FIRST_WASH, DYE_STRAY_FIBRE], ids=lambda rule: rule.id)
@pytest.mark.parametrize("method", ["dye-on-white-film", "cut-film"])
def test_cloth_beneath_film_loses_no_dye(rule: Rule, method: str) -> None:
    """Rules on dye in cloth say nothing where dye goes into a film, or there is none."""
    facts = facts_of(cloth(BLACK, acrylic=50, cotton=50), method)
    assert readings(rule, facts) == []
    assert rule.reads_for(facts.chain) == {Choice.METHOD}


def test_the_shops_own_thresholds_decide() -> None:
    """A shop that asks for 90 % sees 92 % as full."""
    facts = facts_of(
        of_content(_blend(92)), "dye-transfer", shop_with(dye_full_percent=Decimal(90))
    )
    assert gravest(DYE_FIBRE_SHARE, facts) == "passes"
    assert gravest(DYE_FIRST_WASH, facts) == "notes"
    stricter = shop_with(dye_stray_fibre_percent=Decimal(3))
    knit = of_content(FibreContent.of(polyester=96, polyamide=4))
    assert gravest(DYE_STRAY_FIBRE, facts_of(knit, "dye-transfer", stricter)) == "blocks"


def test_a_refusal_names_value_limit_and_way_out() -> None:
    """On black cotton the customer reads 0 %, 50 %, and of films that take dye."""
    (reading,) = readings(
        DYE_FIBRE_SHARE, facts_of(cloth(BLACK, Finish.PLAIN, cotton=100), "dye-transfer")
    )
    assert (reading.measured, reading.limit) == (0.0, 50.0)
    assert "0 % polyester (100 % cotton)" in reading.reason
    assert "at least 50 %" in reading.reason
    assert "way out" in reading.reason


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
@settings(max_examples=25)
@given(one=heated_wishes(), other=heated_wishes())
def test_what_a_rule_on_dye_says_depends_on_what_it_reads_alone(
    rule: Rule, one: HeatedWish, other: HeatedWish
) -> None:
    """Every choice outside ``reads_for`` may change; reasons are the rule's own templates."""
    says_the_same_of_what_it_reads(rule, one, other)
