"""Rules as callers see them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.errors import NotFound
from service.domain.rules import RULES, Rule
from service.domain.shop import Policy
from service.domain.wishes import Choice
from service.intake.rule_views import plain_template, rule_answer, rule_view, rules_answer
from tests.domain.garments_and_lines import demo_shop

BASE = "https://shop.example/"
INVENTED = Rule(
    id="invented",
    title="An invented rule",
    explanation="It stands for any.",
    source="common practice, no source",
    reads=frozenset({Choice.WIDTH, Choice.BLANK}),
    evaluate=lambda _: (),
    reasons={"wide": "It is {width:.0f} mm wide, {{sic}}, and {limit} mm is the most."},
    may_block=False,
    policy=("dye_full_percent", "colour_counts_from_share", "strikes_max", "light_lightness"),
    ways_out="Choose a narrower print.",
)


def test_every_rule_can_be_shown() -> None:
    """Each rule names only numbers of the policy, and each value lies within its bounds."""
    shown = rules_answer(demo_shop(), BASE)
    assert [rule.id for rule in shown.rules] == [rule.id for rule in RULES]
    assert shown.catalogue_version == demo_shop().version
    for rule in shown.rules:
        assert rule == rule_answer(demo_shop(), rule.id, BASE)
        for threshold in rule.policy:
            for number in (threshold.value, threshold.default):
                assert threshold.least <= number <= threshold.most
                assert number > threshold.least or not threshold.least_excluded


def test_what_a_rule_is_made_of_is_told() -> None:
    """Choices in a settled order, sentences with bare names, and the page's public address."""
    shown = rule_view(INVENTED, Policy(), BASE)
    assert shown.reads == (Choice.BLANK, Choice.WIDTH)
    assert shown.page == "https://shop.example/rules/invented"
    assert shown.reasons == {"wide": "It is {width} mm wide, {sic}, and {limit} mm is the most."}
    assert (shown.title, shown.ways_out) == (INVENTED.title, INVENTED.ways_out)
    assert not shown.may_block


SET = {
    "dye_full_percent": 99,
    "colour_counts_from_share": 0.1,
    "strikes_max": 3,
    "light_lightness": 80,
}


def test_bounds_are_those_a_catalogue_is_held_to() -> None:
    """A percentage, a share, a count and a lightness: what a shop may set, and what it has set."""
    shown = rule_view(INVENTED, Policy.model_validate(SET), BASE).policy
    assert {one.name: one.value for one in shown} == SET
    assert [(one.least, one.least_excluded, one.most, one.default) for one in shown] == [
        (0, True, 100, 95),
        (0, True, 0.25, 0.02),
        (1, False, 40, 9),
        (60, False, 95, 75),
    ]


def test_an_unknown_rule_is_not_found() -> None:
    """The error carries its own code and does not repeat what was asked for."""
    with pytest.raises(NotFound) as missing:
        rule_answer(demo_shop(), "no-such-rule", BASE)
    assert missing.value.code == "rule-not-found"
    assert "no-such-rule" not in missing.value.detail


@given(
    words=st.lists(st.text("abc %.,", max_size=6), min_size=1, max_size=5),
    names=st.lists(st.sampled_from(["width", "film_name"]), min_size=5, max_size=5),
    form=st.sampled_from(["", ":g", ":.3g", ":.0f", "!s", "!s:>4"]),
)
def test_templates_lose_their_formats_alone(words: list[str], names: list[str], form: str) -> None:
    """Words and names stay in their order, however the values are written."""
    pairs = list(zip(words, names, strict=False))
    written = "".join(f"{word}{{{name}{form}}}" for word, name in pairs)
    assert plain_template(written) == "".join(f"{word}{{{name}}}" for word, name in pairs)
