"""Rules: each one's edges, and the laws that hold for all of them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from string import Formatter
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.chain import Chain, walk
from service.domain.facts import facts_for
from service.domain.methods import Method, Operation
from service.domain.recipe import strike_settings
from service.domain.rules import RULES, Facts, Reading, Rule, Severity
from service.domain.shop import Policy
from service.domain.verdict import judge
from service.domain.wishes import Choice, Consent, Decoration, Line
from tests.domain.garments_and_lines import artwork, blockers, cloth, decoration, demo_shop, verdict
from tests.domain.heated_wishes import BLACK, GREY, RED, WHITE, HeatedWish, heated_wishes
from tests.domain.rule_facts import blocks, readings
from tests.domain.rule_situations import Wish, wishes

METHODS = [method.id for method in demo_shop().catalogue.methods]
GARMENTS = [
    garment
    for garment in demo_shop().garments.values()
    if "front" in garment.placements and garment.half_chest_mm
]


def _rule(rule_id: str) -> Rule:
    return next(rule for rule in RULES if rule.id == rule_id)


def _facts_of(chain: Chain) -> Facts:
    wished = decoration(chain.method.id)
    line = Line(cloth(), {"M": 1}, (wished,))
    facts = facts_for(demo_shop(), line, wished, "cut-film")
    colours = {layer.id: layer.colours[0] for layer in chain.layers}
    labs = {layer.id: demo_shop().film_lab_rows[layer.id][0] for layer in chain.layers}
    return replace(facts, chain=chain, film_colours=colours, film_labs=labs)


def _changed(method_id: str, change: Callable[[Operation], Operation]) -> Chain:
    method = demo_shop().catalogue.method_by_id[method_id]
    operations = tuple(change(operation) for operation in method.operations)
    return walk(demo_shop().catalogue, method.model_copy(update={"operations": operations}))


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_a_rule_can_be_trusted(rule: Rule) -> None:
    """Each rule has an id, plain words, a source, and says which choices it reads."""
    assert rule.title
    assert len(rule.explanation) > 80
    assert rule.source
    assert rule.reads


def test_rule_ids_are_unique() -> None:
    """An id names one rule for ever."""
    ids = [rule.id for rule in RULES]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("method_id", METHODS)
def test_a_wrong_mirror_flag_is_caught_in_every_method(method_id: str) -> None:
    """Turning any print or cut the other way round makes the mirrored-side rule block."""

    def flip(operation: Operation) -> Operation:
        if operation.mirrored is None:
            return operation
        return operation.model_copy(update={"mirrored": not operation.mirrored})

    right = list(_rule("mirrored-side").evaluate(_facts_of(demo_shop().chains[method_id])))
    wrong = list(_rule("mirrored-side").evaluate(_facts_of(_changed(method_id, flip))))
    assert {reading.severity for reading in right} == {Severity.PASSES}
    assert {reading.severity for reading in wrong} == {Severity.BLOCKS}


def _layered(lower: str, upper: str) -> Chain:
    steps: list[dict[str, Any]] = [
        {"kind": kind, "station": "pressing", "machine": "press", "medium": medium,
         "setup_min": 1, "each_min": 1}
        for kind, medium in (("tack", lower), ("press", upper))
    ]  # fmt: skip
    method = Method.model_validate(
        {"id": "layered", "name": "Layered", "feel": "thick", "operations": steps}
    )
    return walk(demo_shop().catalogue, method)


def test_nothing_is_laid_on_glitter_and_glitter_is_laid_on_smooth() -> None:
    """Common practice, no source: textured film only as the top layer."""
    layering = _rule("film-layering")
    smooth_on_glitter = list(layering.evaluate(_facts_of(_layered("glitter-film", "cut-film"))))
    glitter_on_smooth = list(layering.evaluate(_facts_of(_layered("cut-film", "glitter-film"))))
    assert [reading.severity for reading in smooth_on_glitter] == [Severity.BLOCKS]
    assert [reading.severity for reading in glitter_on_smooth] == [Severity.PASSES]


@pytest.mark.parametrize(
    ("percent", "consents", "severity"),
    [
        (95, (), "passes"),
        (94, (), "warns"),
        (65, (), "warns"),
        (64, (), "blocks"),
        (64, (Consent.FADED_LOOK,), "warns"),
        (50, (Consent.FADED_LOOK,), "warns"),
        (49, (Consent.FADED_LOOK,), "blocks"),
    ],
)
def test_the_edges_of_the_fibre_share(
    percent: int, consents: tuple[Consent, ...], severity: str
) -> None:
    """95, 65 and 50 % belong to the kinder side."""
    wished = decoration("dye-transfer", consents=frozenset(consents))
    given_ = verdict(cloth(polyester=percent, cotton=100 - percent), wished)
    found = [f for f in given_.findings if f.rule.id == "dye-fibre-share"]
    assert [finding.severity for finding in found] == [severity]


def test_a_print_as_large_as_its_placement_fits() -> None:
    """The limit itself is allowed; a millimetre more is not, in width and in height."""
    fits = decoration("printed-film", width_mm=300)
    assert "placement-area" not in blockers(verdict(cloth(), fits))
    wide = decoration("printed-film", width_mm=301)
    assert "placement-area" in blockers(verdict(cloth(), wide))
    high = decoration("printed-film", width_mm=100, art=artwork(aspect=4.01))
    assert "placement-area" in blockers(verdict(cloth(), high))


def test_the_smallest_size_of_a_line_decides() -> None:
    """A print that is too wide for one size ordered is refused, naming that size."""
    garment = demo_shop().garments["youth-cotton-tee", "white"]
    widths = {size: area.width_mm for size, area in garment.placements["front"].areas.items()}
    smallest, largest = min(widths, key=widths.__getitem__), max(widths, key=widths.__getitem__)
    wished = decoration("printed-film", width_mm=widths[largest])
    judged = judge(
        demo_shop(), Line(garment, {largest: 1, smallest: 1}, (wished,)), wished, "printed-film"
    )
    named = {f.reading.size for f in judged.findings if f.severity == "blocks"}
    assert smallest in named
    assert largest not in named


def test_every_finding_names_value_limit_and_reason() -> None:
    """A refusal carries what was measured, the limit, the unit, a reason and a source."""
    for method_id in METHODS:
        for finding in verdict(cloth("#203060", polyamide=100), decoration(method_id)).findings:
            reading = finding.reading
            assert reading.reason.endswith(".")
            assert reading.unit
            assert reading.measured != ""
            assert reading.limit != ""


def test_settings_lie_inside_every_limit() -> None:
    """Whatever works is set inside its window, under every ceiling, with the press's error kept."""
    for garment in GARMENTS:
        for chain in demo_shop().chains.values():
            facts = facts_for(
                demo_shop(), Line(garment, {}, ()), decoration(chain.method.id), chain.method.id
            )
            for entry in strike_settings(chain, garment, facts.film_labs, facts.policy):
                if entry.set_c is None:
                    hot = entry.min_set_c > entry.tightest(migration=True).max_set_c
                    assert hot or not entry.dwell_has_room
                else:
                    error = entry.strike.press.temp_error_k
                    assert entry.set_c - error >= entry.strike.window.temp_min_c
                    assert entry.set_c + error <= entry.strike.window.temp_max_c
                    assert entry.set_c <= entry.tightest(migration=True).max_set_c


@st.composite
def _situations(draw: st.DrawFn) -> tuple[Line, Decoration, str]:
    garment = draw(st.sampled_from(GARMENTS))
    size = draw(st.sampled_from(sorted(garment.half_chest_mm)))
    method = draw(st.sampled_from(METHODS))
    wished = decoration(
        method,
        width_mm=draw(st.floats(min_value=10, max_value=500)),
        art=artwork(*draw(st.sampled_from([("#101010",), ("#c01020", "#f0d020"), ("#ffffff",)]))),
        consents=draw(st.sampled_from([frozenset(), frozenset(Consent)])),
    )
    return Line(garment, {size: 1}, (wished,)), wished, method


def _readings(rule: Rule, line: Line, wished: Decoration, method: str) -> list[Reading]:
    return list(rule.evaluate(facts_for(demo_shop(), line, wished, method)))


def _severities(readings: list[Reading]) -> list[tuple[Severity, int | None, str | None]]:
    return [(reading.severity, reading.step, reading.size) for reading in readings]


@settings(max_examples=150)
@given(_situations(), _situations(), st.sampled_from(RULES))
def test_a_rule_reads_no_choice_it_does_not_name(
    one: tuple[Line, Decoration, str], other: tuple[Line, Decoration, str], rule: Rule
) -> None:
    """Changing every choice outside ``reads`` leaves a rule's verdict as it was."""
    (line, wished, method), (other_line, other_wished, other_method) = one, other
    reads = rule.reads
    method_2 = method if Choice.METHOD in reads else other_method
    garment, sizes = line.garment, line.pieces_by_size
    if not reads & {Choice.BLANK, Choice.COLOUR, Choice.PLACEMENT, Choice.SIZES}:
        garment, sizes = other_line.garment, other_line.pieces_by_size
    if Choice.COLOUR not in reads and Choice.BLANK in reads:
        garment = replace(garment, lab=other_line.garment.lab, srgb=other_line.garment.srgb)
    changed = replace(
        wished,
        method_id=method_2,
        width_mm=wished.width_mm if Choice.WIDTH in reads else other_wished.width_mm,
        artwork=wished.artwork if Choice.ARTWORK in reads else other_wished.artwork,
        consents=wished.consents if Choice.CONSENTS in reads else other_wished.consents,
    )
    if Choice.FILM_COLOUR in reads and Choice.ARTWORK not in reads:
        # A film colour left open is chosen from the artwork, so the artwork stays.
        changed = replace(changed, artwork=wished.artwork)
    before = _readings(rule, line, wished, method)
    after = _readings(rule, Line(garment, sizes, (changed,)), changed, method_2)
    assert _severities(before) == _severities(after)


@settings(max_examples=60)
@given(_situations(), st.randoms(use_true_random=False))
def test_the_verdict_does_not_depend_on_the_order_of_rules(
    situation: tuple[Line, Decoration, str], random: Any
) -> None:
    """Every rule always runs, so their order changes nothing but the list's order."""
    line, wished, method = situation
    shuffled = list(RULES)
    random.shuffle(shuffled)
    one = judge(demo_shop(), line, wished, method)
    other = judge(demo_shop(), line, wished, method, shuffled)
    assert one.works == other.works
    assert sorted(f.reading.reason for f in one.findings) == sorted(
        f.reading.reason for f in other.findings
    )


@settings(max_examples=150)
@given(_situations(), st.floats(min_value=0.1, max_value=10))
def test_a_verdict_from_memory_says_what_its_rules_say(
    situation: tuple[Line, Decoration, str], times: float
) -> None:
    """Also where only the width is new, and rules that are quiet at it were not asked."""
    line, wished, method = situation
    for width_mm in (wished.width_mm, wished.width_mm * times):
        wish = replace(wished, width_mm=width_mm)
        remembered = judge(demo_shop(), line, wish, method)
        anew = judge(demo_shop(), line, wish, method, list(RULES))
        assert remembered.at_least(Severity.NOTES) == anew.at_least(Severity.NOTES)
        assert remembered.at_least(Severity.PASSES) == anew.at_least(Severity.PASSES)
        assert remembered.findings == anew.findings
        assert [remembered.count(one) for one in Severity] == [anew.count(one) for one in Severity]
        assert (remembered.settings, remembered.look) == (anew.settings, anew.look)


@settings(max_examples=60)
@given(wishes())
def test_a_rule_has_nothing_to_say_where_it_is_quiet(wish: Wish) -> None:
    """It is not asked there: at the ends of its widths, and between them."""
    for rule in RULES:
        if Choice.WIDTH not in rule.reads:
            continue
        assert rule.quiet is not None
        least, greatest = rule.quiet(wish.facts())
        widths = (least, greatest, (least + greatest) / 2, wish.choices[Choice.WIDTH])
        for width_mm in filter(math.isfinite, widths):
            if width_mm > 0.01 and least <= width_mm <= greatest:
                said = readings(rule, wish.wide(width_mm).facts())
                assert {reading.severity for reading in said} <= {Severity.PASSES}


@settings(max_examples=60)
@given(heated_wishes(), st.sampled_from([WHITE, GREY, RED, BLACK]))
def test_cloth_alike_in_what_a_rule_takes_of_its_colour_is_refused_alike(
    wish: HeatedWish, srgb: str
) -> None:
    """The colour itself does not matter then, nor whatever else is on the garment."""
    one = wish.facts()
    other = HeatedWish({**wish.choices, Choice.COLOUR: srgb}).facts()
    for rule in RULES:
        if rule.of_colour is not None and (
            rule.of_colour(one.garment, one.policy) == rule.of_colour(other.garment, other.policy)
        ):
            assert blocks(rule, one) == blocks(rule, other)


@settings(max_examples=60)
@given(_situations(), st.sets(st.sampled_from(RULES)))
def test_more_rules_never_unblock(situation: tuple[Line, Decoration, str], some: set[Rule]) -> None:
    """What a few rules refuse, all rules refuse."""
    line, wished, method = situation
    few = [rule for rule in RULES if rule in some]
    if not judge(demo_shop(), line, wished, method, few).works:
        assert not judge(demo_shop(), line, wished, method).works


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_a_rule_says_who_it_is(rule: Rule) -> None:
    """Id, words, source, templates; thresholds that are the policy's; widths where they matter."""
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", rule.id)
    assert rule.title
    assert rule.explanation
    assert rule.reasons
    assert rule.source
    assert set(rule.policy) <= set(Policy.model_fields)
    assert rule.widths is not None or not rule.may_block or Choice.WIDTH not in rule.reads
    assert rule.of_colour is None or Choice.COLOUR in rule.reads


def test_there_are_at_least_thirty_rules_with_ids_of_their_own() -> None:
    """Each rule is found by its id alone."""
    ids = [rule.id for rule in RULES]
    assert len(set(ids)) == len(ids) >= 30


@settings(max_examples=100)
@given(_situations())
def test_a_finding_says_one_of_the_rules_own_sentences(
    situation: tuple[Line, Decoration, str],
) -> None:
    """Each reason is one template filled in, and what never blocks does not."""
    line, wished, method = situation
    for finding in judge(demo_shop(), line, wished, method).findings:
        assert finding.reading.severity is not Severity.BLOCKS or finding.rule.may_block
        assert any(
            _pattern(template).fullmatch(finding.reading.reason)
            for template in finding.rule.reasons.values()
        ), finding


@lru_cache
def _pattern(template: str) -> re.Pattern[str]:
    """What the template looks like filled in."""
    parts = [
        re.escape(text) + ("" if name is None else ".*")
        for text, name, *_ in Formatter().parse(template)
    ]
    return re.compile("".join(parts), re.DOTALL)
