"""The verdict: every rule over one decoration by one method, and the best of several methods.

What was worked out is remembered with the compiled catalogue, by exactly what it depends on: a
rule's readings by the choices it reads, a verdict by all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from operator import itemgetter

from service.domain.chain import Chain
from service.domain.compiled import CompiledCatalogue
from service.domain.facts import Beside, facts_for, memorable
from service.domain.look import Look
from service.domain.media import FilmColour
from service.domain.ranking import TradeOff, profile_of, rank, trade_offs
from service.domain.recipe import StrikeSettings
from service.domain.rules import RULES, Facts, Finding, Rule, Severity
from service.domain.wishes import Choice, Decoration, Line

_GRAVITY = {severity: index for index, severity in enumerate(Severity)}


@dataclass(frozen=True, eq=False)
class Said:
    """What is said of a decoration by one method, the same for all widths that change nothing.

    ``findings`` holds, in the rules' order, the readings graver than that all is well;
    ``settings`` the press settings by strike; ``look`` what it will look like.
    """

    findings: tuple[Finding, ...]
    settings: tuple[StrikeSettings, ...]
    film_colours: dict[str, FilmColour]
    look: Look

    @cached_property
    def by_gravity(self) -> Mapping[Severity, list[Finding]]:
        """The findings of each severity."""
        found: dict[Severity, list[Finding]] = {severity: [] for severity in Severity}
        for finding in self.findings:
            found[finding.reading.severity].append(finding)
        return found


@dataclass(frozen=True, eq=False)
class MethodVerdict:
    """What all rules say of one decoration by one method.

    ``read_all`` gives every reading of every rule, the passing ones too; it is called when
    ``findings`` is first asked for.
    """

    method_id: str
    said: Said
    read_all: Callable[[], tuple[Finding, ...]]

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Every reading of every rule, in the rules' order."""
        return self.read_all()

    @property
    def settings(self) -> tuple[StrikeSettings, ...]:
        """The press settings by strike."""
        return self.said.settings

    @property
    def film_colours(self) -> dict[str, FilmColour]:
        """The colour of each film, by medium id."""
        return self.said.film_colours

    @property
    def look(self) -> Look:
        """What it will look like."""
        return self.said.look

    @property
    def hold_h(self) -> int:
        """Hours for which a first piece is held before the rest is pressed."""
        return max((finding.reading.hold_h for finding in self.said.findings), default=0)

    @property
    def works(self) -> bool:
        """True when no rule blocks."""
        return not self.said.by_gravity[Severity.BLOCKS]

    def count(self, severity: Severity) -> int:
        """How many findings are of that severity."""
        if severity is Severity.PASSES:
            return sum(finding.severity is severity for finding in self.findings)
        return len(self.said.by_gravity[severity])

    def at_least(self, severity: Severity) -> tuple[Finding, ...]:
        """Findings of that severity or graver, gravest first and then in the rules' order."""
        graver = [one for one in Severity if _GRAVITY[one] >= _GRAVITY[severity]]
        said = self.said.by_gravity
        passing = (
            [finding for finding in self.findings if finding.severity is Severity.PASSES]
            if severity is Severity.PASSES
            else []
        )
        return tuple(
            finding
            for one in reversed(graver)
            for finding in (passing if one is Severity.PASSES else said[one])
        )


@dataclass(frozen=True, slots=True)
class DecorationVerdict:
    """Verdicts of the methods asked for, best first; ``chosen`` is the best that works, or None.

    ``trade_offs`` says of each method that works what speaks for and against it.
    """

    decoration: Decoration
    candidates: tuple[MethodVerdict, ...]
    chosen: MethodVerdict | None
    trade_offs: Mapping[str, tuple[TradeOff, ...]]


def judge(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    method_id: str,
    rules: Sequence[Rule] = RULES,
    beside: tuple[Beside, ...] = (),
) -> MethodVerdict:
    """Run every rule on one decoration by one method.

    ``beside`` are the line's other decorations with the chains they are made by.
    """
    if rules is not RULES or not memorable(compiled, line.garment):
        facts = facts_for(compiled, line, decoration, method_id, beside)
        every = _every_finding(facts, rules)
        return MethodVerdict(method_id, _said(facts, every), lambda: every)
    values = _values_at_any_width(line, decoration, beside)
    return _judge(compiled, line, decoration, method_id, beside, values)


def _judge(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    method_id: str,
    beside: tuple[Beside, ...],
    values: Mapping[Choice, Hashable],
) -> MethodVerdict:
    """The same by all rules, from memory where what was said before is said again."""
    gather = partial(facts_for, compiled, line, decoration, method_id, beside)
    known = (method_id, *values.values())
    at_any_width = compiled.asked.get(
        ("at any width", *known), lambda: _at_any_width(compiled, gather(), values)
    )
    said, loud = at_any_width.said, at_any_width.loud_at(decoration.width_mm)
    if loud:
        said = compiled.asked.get(
            ("said", decoration.width_mm, *known), lambda: _said_at(at_any_width, loud, gather())
        )
    return MethodVerdict(method_id, said, lambda: _every_finding(gather(), RULES))


def _every_finding(facts: Facts, rules: Sequence[Rule]) -> tuple[Finding, ...]:
    return tuple(Finding(rule, reading) for rule in rules for reading in rule.evaluate(facts))


def _said(facts: Facts, findings: Iterable[Finding]) -> Said:
    graver = tuple(one for one in findings if one.reading.severity is not Severity.PASSES)
    return Said(graver, facts.settings, dict(facts.film_colours), facts.look)


@dataclass(frozen=True, slots=True)
class _ByWidth:
    """A rule that reads the width, its place in RULES, and the widths at which it is quiet."""

    place: int
    rule: Rule
    least_mm: float
    greatest_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _AtAnyWidth:
    """What is said whatever the width, and between which widths nothing is added to it."""

    said: Said
    placed: _Placed
    by_width: tuple[_ByWidth, ...]
    least_mm: float
    greatest_mm: float

    def loud_at(self, width_mm: float) -> tuple[_ByWidth, ...]:
        """The rules that may have something to say at that width."""
        if self.least_mm <= width_mm <= self.greatest_mm:
            return ()
        return tuple(
            one for one in self.by_width if not one.least_mm <= width_mm <= one.greatest_mm
        )


def _at_any_width(
    compiled: CompiledCatalogue, facts: Facts, values: Mapping[Choice, Hashable]
) -> _AtAnyWidth:
    """What does not read the width, which is what a customer tries most often.

    Each group of rules that read the same choices is run once for what they read.
    """
    groups = compiled.memo.get(("groups", facts.chain.method.id), lambda: _groups(facts.chain))
    films = tuple(colour.id for colour in facts.film_colours.values())
    values = {**values, Choice.FILM_COLOUR: (facts.decoration.film_colour_id, films)}
    found: list[tuple[int, Finding]] = []
    for group in groups.at_any_width:
        key = ("findings", group.key, *[values[choice] for choice in group.reads])
        found += compiled.asked.get(key, partial(_placed, group.rules, facts))
    found = [one for one in found if one[1].reading.severity is not Severity.PASSES]
    found.sort(key=itemgetter(0))
    # A rule that names no quiet widths is asked at every one: no width lies in an empty range.
    by_width = tuple(
        _ByWidth(place, rule, *(rule.quiet(facts) if rule.quiet else (math.inf, 0.0)))
        for place, rule in groups.by_width
    )
    return _AtAnyWidth(
        said=_said(facts, [finding for _, finding in found]),
        placed=tuple(found),
        by_width=by_width,
        least_mm=max((one.least_mm for one in by_width), default=0.0),
        greatest_mm=min((one.greatest_mm for one in by_width), default=math.inf),
    )


def _said_at(at_any_width: _AtAnyWidth, loud: Sequence[_ByWidth], facts: Facts) -> Said:
    """The same with what these rules add at the width of the facts."""
    found = [*at_any_width.placed, *_placed([(one.place, one.rule) for one in loud], facts)]
    found.sort(key=itemgetter(0))
    return _said(facts, [finding for _, finding in found])


@dataclass(frozen=True, slots=True)
class _Group:
    """Rules that read the same choices on a chain, each with its place in RULES.

    ``key`` tells the group from others; rules that do not read the method are one group for all
    chains.
    """

    key: Hashable
    reads: tuple[Choice, ...]
    rules: tuple[tuple[int, Rule], ...]


@dataclass(frozen=True, slots=True)
class _Groups:
    """The rules that do not read the width in groups, and those that do with their places."""

    at_any_width: tuple[_Group, ...]
    by_width: tuple[tuple[int, Rule], ...]


_Placed = tuple[tuple[int, Finding], ...]
"""Findings, each with the place of its rule in RULES."""


def _groups(chain: Chain) -> _Groups:
    """The rules by what they read of this chain's decorations."""
    groups: dict[frozenset[Choice], list[tuple[int, Rule]]] = {}
    by_width = []
    for index, rule in enumerate(RULES):
        reads = rule.reads_for(chain)
        if Choice.WIDTH in reads:
            by_width.append((index, rule))
        else:
            groups.setdefault(reads, []).append((index, rule))
    at_any_width = [
        _Group(
            (chain.method.id if Choice.METHOD in reads else None, *[index for index, _ in rules]),
            tuple(choice for choice in Choice if choice in reads and choice is not Choice.METHOD),
            tuple(rules),
        )
        for reads, rules in groups.items()
    ]
    return _Groups(tuple(at_any_width), tuple(by_width))


def _placed(rules: Iterable[tuple[int, Rule]], facts: Facts) -> _Placed:
    return tuple(
        (index, Finding(rule, reading)) for index, rule in rules for reading in rule.evaluate(facts)
    )


def _values_at_any_width(
    line: Line, decoration: Decoration, beside: tuple[Beside, ...]
) -> dict[Choice, Hashable]:
    """What stands for each choice when results are remembered; method and width stand apart."""
    garment = line.garment
    others = [(garment.key, *_of_other(other)) for other in beside]
    return {
        Choice.BLANK: garment.cloth_key,
        Choice.COLOUR: garment.key,
        Choice.PLACEMENT: decoration.placement_id,
        Choice.SIZES: tuple(line.pieces_by_size),
        Choice.ARTWORK: (decoration.artwork.key, decoration.rights_declared),
        Choice.FILM_COLOUR: decoration.film_colour_id,
        Choice.CONSENTS: decoration.consents,
        Choice.OTHER_DECORATIONS: tuple(others),
    }


def _of_other(other: Beside) -> tuple[Hashable, ...]:
    decoration = other.decoration
    return (
        other.listed_before,
        other.chain.method.id,
        decoration.placement_id,
        decoration.artwork.key,
        decoration.width_mm,
        decoration.film_colour_id,
        decoration.consents,
    )


def judge_decoration(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    beside: tuple[Beside, ...] = (),
) -> DecorationVerdict:
    """Judge the method asked for, or every method when any will do.

    Working methods come first, in the order of the shop's policy
    (:mod:`service.domain.ranking`); then those that do not work, fewest refusals first.
    """
    asked = decoration.method_id
    method_ids = [asked] if asked else list(compiled.chains)
    if memorable(compiled, line.garment):
        values = _values_at_any_width(line, decoration, beside)

        def ranked() -> _Ranked:
            judged = (_judge(compiled, line, decoration, id_, beside, values) for id_ in method_ids)
            return _ranked(compiled, line, decoration, tuple(judged))

        key = ("ranked", asked, line.pieces, decoration.width_mm, *values.values())
        candidates, said = compiled.asked.get(key, ranked)
    else:
        judged = [judge(compiled, line, decoration, id_, RULES, beside) for id_ in method_ids]
        candidates, said = _ranked(compiled, line, decoration, judged)
    chosen = candidates[0] if candidates[0].works else None
    return DecorationVerdict(decoration, candidates, chosen, said)


_Ranked = tuple[tuple[MethodVerdict, ...], Mapping[str, tuple[TradeOff, ...]]]


def _ranked(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    verdicts: Sequence[MethodVerdict],
) -> _Ranked:
    """The verdicts in their order, and what speaks for each that works."""
    working = {verdict.method_id: verdict for verdict in verdicts if verdict.works}
    profiles = [
        profile_of(compiled, line, decoration, id_, verdict.look, verdict.count(Severity.WARNS))
        for id_, verdict in working.items()
    ]
    best_first = rank(profiles, compiled.catalogue.policy.ranking)
    refused = [verdict for verdict in verdicts if not verdict.works]
    refused.sort(key=lambda verdict: verdict.count(Severity.BLOCKS))
    return (
        (*[working[profile.method_id] for profile in best_first], *refused),
        {profile.method_id: trade_offs(profile, profiles) for profile in profiles},
    )


def judge_line(compiled: CompiledCatalogue, line: Line) -> tuple[DecorationVerdict, ...]:
    """Judge every decoration of the line, each beside the others.

    Each is first judged alone; then beside the methods the others would be made by, in turn, until
    nothing changes or as often as there are decorations. What is chosen in the end has been judged
    beside exactly what is chosen for the others: a choice that only worked beside another is not
    kept.
    """
    verdicts = [judge_decoration(compiled, line, one) for one in line.decorations]
    if len(verdicts) == 1:
        return tuple(verdicts)
    for _ in line.decorations:
        before = [_method_of(verdict) for verdict in verdicts]
        for index, decoration in enumerate(line.decorations):
            beside = beside_of(compiled, verdicts, index)
            verdicts[index] = judge_decoration(compiled, line, decoration, beside)
        if [_method_of(verdict) for verdict in verdicts] == before:
            return tuple(verdicts)
    return tuple(
        replace(
            verdict,
            chosen=verdict.chosen
            and _if_works(
                judge(
                    compiled,
                    line,
                    verdict.decoration,
                    verdict.chosen.method_id,
                    RULES,
                    beside_of(compiled, verdicts, index),
                )
            ),
        )
        for index, verdict in enumerate(verdicts)
    )


def _if_works(verdict: MethodVerdict) -> MethodVerdict | None:
    return verdict if verdict.works else None


def _method_of(verdict: DecorationVerdict) -> str | None:
    """The method it is or would be made by: the chosen one, else the one asked for."""
    return verdict.chosen.method_id if verdict.chosen else verdict.decoration.method_id


def beside_of(
    compiled: CompiledCatalogue, verdicts: Sequence[DecorationVerdict], index: int
) -> tuple[Beside, ...]:
    """The other decorations of a line with the methods they are or would be made by."""
    chains = [compiled.chains.get(_method_of(verdict) or "") for verdict in verdicts]
    return tuple(
        Beside(verdict.decoration, chain, listed_before=other < index)
        for other, (verdict, chain) in enumerate(zip(verdicts, chains, strict=True))
        if other != index and chain is not None
    )
