"""The verdict: every rule over one decoration by one method, and the best of several methods."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from service.domain.chain import Chain
from service.domain.colour import Lab, delta_e_2000_pair, lab_from_srgb_hex
from service.domain.compiled import CompiledCatalogue
from service.domain.media import FilmColour, Medium
from service.domain.look import predict, surface_of
from service.domain.recipe import StrikeSettings, strike_settings
from service.domain.rules import RULES, Facts, Finding, Rule, Severity
from service.domain.wishes import Decoration, Line


@dataclass(frozen=True, slots=True)
class MethodVerdict:
    """What all rules say of one decoration by one method.

    ``findings`` holds every reading of every rule, the passing ones too; ``settings`` the press
    settings by strike.
    """

    method_id: str
    findings: tuple[Finding, ...]
    settings: tuple[StrikeSettings, ...]
    film_colours: dict[str, FilmColour]

    @property
    def works(self) -> bool:
        """True when no rule blocks."""
        return all(finding.severity is not Severity.BLOCKS for finding in self.findings)

    def at_least(self, severity: Severity) -> tuple[Finding, ...]:
        """Findings of that severity or graver, gravest first and then in the rules' order."""
        order = list(Severity)
        kept = [f for f in self.findings if order.index(f.severity) >= order.index(severity)]
        return tuple(sorted(kept, key=lambda f: -order.index(f.severity)))


@dataclass(frozen=True, slots=True)
class DecorationVerdict:
    """Verdicts of the methods asked for; ``chosen`` is the best working one, or None."""

    decoration: Decoration
    candidates: tuple[MethodVerdict, ...]
    chosen: MethodVerdict | None


def facts_for(
    compiled: CompiledCatalogue, line: Line, decoration: Decoration, method_id: str
) -> Facts:
    """Gather what the rules read; the method must be one of the catalogue's."""
    chain = compiled.chains[method_id]
    colours = {layer.id: _film_colour(layer, decoration, chain, compiled) for layer in chain.layers}
    labs = {id_: compiled.film_labs[id_, colour.id] for id_, colour in colours.items()}
    policy = compiled.catalogue.policy
    garment = line.garment
    return Facts(
        catalogue=compiled.catalogue,
        line=line,
        decoration=decoration,
        chain=chain,
        film_colours=colours,
        film_labs=labs,
        settings=strike_settings(chain, garment, labs, policy),
        see=lambda: predict(
            decoration.artwork.palette, surface_of(chain, garment, labs, policy), policy
        ),
    )


def _film_colour(
    medium: Medium, decoration: Decoration, chain: Chain, compiled: CompiledCatalogue
) -> FilmColour:
    """The colour asked for if the film has it; under dye the lightest; else the nearest."""
    for colour in medium.colours:
        if colour.id == decoration.film_colour_id:
            return colour
    labs = compiled.film_lab_rows[medium.id]
    if any(transfer.target == medium for transfer in chain.dye):
        return medium.colours[max(range(len(labs)), key=lambda index: labs[index].lightness)]
    return medium.colours[_nearest(labs, decoration.artwork.palette[0].srgb)]


@lru_cache(maxsize=8_192)
def _nearest(labs: tuple[Lab, ...], srgb: str) -> int:
    wanted = lab_from_srgb_hex(srgb)
    return min(range(len(labs)), key=lambda index: delta_e_2000_pair(labs[index], wanted))


def judge(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    method_id: str,
    rules: Sequence[Rule] = RULES,
) -> MethodVerdict:
    """Run every rule on one decoration by one method."""
    facts = facts_for(compiled, line, decoration, method_id)
    findings = tuple(Finding(rule, reading) for rule in rules for reading in rule.evaluate(facts))
    return MethodVerdict(method_id, findings, facts.settings, facts.film_colours)


def judge_decoration(
    compiled: CompiledCatalogue, line: Line, decoration: Decoration
) -> DecorationVerdict:
    """Judge the method asked for, or every method when any will do.

    Of several working methods the one with fewest warnings, then fewest operations, is chosen;
    ties keep the catalogue's order.
    """
    asked = decoration.method_id
    method_ids = [asked] if asked else [method.id for method in compiled.catalogue.methods]
    verdicts = [judge(compiled, line, decoration, method_id) for method_id in method_ids]
    ranked = sorted(verdicts, key=lambda verdict: _rank(compiled, verdict))
    chosen = next((verdict for verdict in ranked if verdict.works), None)
    return DecorationVerdict(decoration, tuple(ranked), chosen)


def _rank(compiled: CompiledCatalogue, verdict: MethodVerdict) -> tuple[bool, int, int]:
    warnings = len(verdict.at_least(Severity.WARNS))
    operations = len(compiled.catalogue.method_by_id[verdict.method_id].operations)
    return not verdict.works, warnings, operations


def with_method(decoration: Decoration, method_id: str) -> Decoration:
    """The same decoration, by that method."""
    return replace(decoration, method_id=method_id)
