"""The rules as callers see them: words, source, sentences, and the thresholds in force."""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter
from typing import Any

from pydantic import Field

from service.domain.compiled import CompiledCatalogue
from service.domain.errors import NotFound
from service.domain.rules import RULES, Rule
from service.domain.shop import Policy
from service.domain.wishes import Choice
from service.intake.answers import Answer

RULE_CAUTION = (
    "A rule is a caution, no statement on what any law asks, and no proof that a garment is safe, "
    "fit for a child or rightly labelled. The data sheets of press, film, ink, paper and cloth "
    "come first, and so do local codes."
)

_BY_ID: Mapping[str, Rule] = {rule.id: rule for rule in RULES}


class ThresholdAnswer(Answer):
    """A number of the shop's policy that a rule reads; its unit stands in its name."""

    name: str
    value: float = Field(description="What the catalogue in force says.")
    least: float = Field(description="The lowest that a catalogue may set.")
    least_excluded: bool = Field(description="Whether it must lie above 'least', not at it.")
    most: float = Field(description="The highest that a catalogue may set.")
    default: float = Field(description="What holds in a catalogue that does not set it.")


class RuleAnswer(Answer):
    """A rule, and what a person needs to trust it. ``page`` explains it to anyone."""

    id: str
    title: str
    explanation: str
    source: str
    reads: tuple[Choice, ...] = Field(description="The choices of yours that it depends on.")
    may_block: bool = Field(description="Whether it ever refuses; if not, it notes and warns.")
    reasons: Mapping[str, str] = Field(
        description="All that it may say, by a short name; words in braces are filled in."
    )
    ways_out: str = Field(description="What usually helps; empty where nothing does.")
    page: str
    policy: tuple[ThresholdAnswer, ...]


class RulesAnswer(Answer):
    """Every rule, with the thresholds of one catalogue version."""

    catalogue_version: str
    rules: tuple[RuleAnswer, ...]


def rules_answer(compiled: CompiledCatalogue, base_url: str) -> RulesAnswer:
    """Every rule in the order in which they run; pages lie under the public ``base_url``."""
    policy = compiled.catalogue.policy
    return RulesAnswer(
        catalogue_version=compiled.version,
        rules=tuple(rule_view(rule, policy, base_url) for rule in RULES),
    )


def rule_answer(compiled: CompiledCatalogue, rule_id: str, base_url: str) -> RuleAnswer:
    """The rule of that id. Raises ``NotFound`` if there is none."""
    rule = _BY_ID.get(rule_id)
    if rule is None:
        raise NotFound("rule-not-found", "There is no rule of that id.")
    return rule_view(rule, compiled.catalogue.policy, base_url)


def rule_page_uri(base_url: str, rule_id: str) -> str:
    """The address of the rule's page."""
    return f"{base_url.rstrip('/')}/rules/{rule_id}"


def rule_view(rule: Rule, policy: Policy, base_url: str) -> RuleAnswer:
    """One rule with the thresholds of ``policy``."""
    return RuleAnswer(
        id=rule.id,
        title=rule.title,
        explanation=rule.explanation,
        source=rule.source,
        reads=tuple(sorted(rule.reads)),
        may_block=rule.may_block,
        reasons={name: plain_template(template) for name, template in rule.reasons.items()},
        ways_out=rule.ways_out,
        page=rule_page_uri(base_url, rule.id),
        policy=tuple(_threshold(policy, name) for name in rule.policy),
    )


def plain_template(template: str) -> str:
    """A ``str.format`` template with the bare names in its braces: no widths, no digits."""
    return "".join(
        text if name is None else f"{text}{{{name}}}"
        for text, name, _, _ in Formatter().parse(template)
    )


def _threshold(policy: Policy, name: str) -> ThresholdAnswer:
    field = Policy.model_fields[name]
    bounds: dict[str, Any] = {
        kind: getattr(limit, kind)
        for limit in field.metadata
        for kind in ("ge", "gt", "le")
        if hasattr(limit, kind)
    }
    return ThresholdAnswer(
        name=name,
        value=float(getattr(policy, name)),
        least=float(bounds["gt"] if "gt" in bounds else bounds["ge"]),
        least_excluded="gt" in bounds,
        most=float(bounds["le"]),
        default=float(field.default),
    )
