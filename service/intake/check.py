"""Check lines: judge every decoration, and show the ways out of each refusal. Computes only."""

from __future__ import annotations

from collections.abc import Sequence

from service.domain.compiled import CompiledCatalogue
from service.domain.recipe import StrikeSettings, fahrenheit
from service.domain.rules import Finding, Severity
from service.domain.verdict import DecorationVerdict, MethodVerdict, judge_decoration
from service.domain.ways_out import Alternative, WaysOut, find_ways_out
from service.domain.wishes import Line
from service.intake.answers import (
    AlternativeAnswer,
    CheckAnswer,
    DecorationAnswer,
    FindingAnswer,
    LineAnswer,
    MethodAnswer,
    StrikeAnswer,
)

SUPPLIED_RISK = (
    "You bring the garment: a piece spoiled in the work cannot be replaced from our stock, and the "
    "risk of spoiled pieces is yours. Send spares."
)

LineVerdict = tuple[DecorationVerdict, ...]


def judge_lines(compiled: CompiledCatalogue, lines: Sequence[Line]) -> tuple[LineVerdict, ...]:
    """Judge every decoration of every line."""
    return tuple(
        tuple(judge_decoration(compiled, line, decoration) for decoration in line.decorations)
        for line in lines
    )


def all_work(verdicts: Sequence[LineVerdict]) -> bool:
    """True when every decoration of every line has a working method."""
    return all(verdict.chosen is not None for line in verdicts for verdict in line)


def check_answer(
    compiled: CompiledCatalogue,
    lines: Sequence[Line],
    verdicts: Sequence[LineVerdict],
    *,
    explain_all: bool = False,
) -> CheckAnswer:
    """Write the answer, with ways out wherever nothing works.

    ``explain_all`` lists every reading, the passing ones too. Finding ways out takes some
    milliseconds for each refused decoration, so a caller on an event loop hands that to a thread.
    """
    least = Severity.PASSES if explain_all else Severity.NOTES
    answers = tuple(
        LineAnswer(
            works=all(verdict.chosen is not None for verdict in line_verdicts),
            garment=line.garment.blank_id or "supplied",
            colour=line.garment.colour_id or line.garment.srgb,
            decorations=tuple(
                _decoration(compiled, line, verdict, least) for verdict in line_verdicts
            ),
            risk=SUPPLIED_RISK if line.garment.supplied else "",
        )
        for line, line_verdicts in zip(lines, verdicts, strict=True)
    )
    return CheckAnswer(
        works=all(answer.works for answer in answers),
        catalogue_version=compiled.version,
        lines=answers,
    )


def _decoration(
    compiled: CompiledCatalogue, line: Line, verdict: DecorationVerdict, least: Severity
) -> DecorationAnswer:
    ways = None if verdict.chosen else find_ways_out(compiled, line, verdict.decoration)
    return DecorationAnswer(
        placement=verdict.decoration.placement_id,
        works=verdict.chosen is not None,
        method=verdict.chosen.method_id if verdict.chosen else None,
        candidates=tuple(_method(compiled, entry, least) for entry in verdict.candidates),
        conflicts=ways.conflicts if ways else (),
        alternatives=_alternatives(compiled, ways) if ways else (),
        nothing_works=ways.nothing_works if ways else False,
    )


def _method(compiled: CompiledCatalogue, verdict: MethodVerdict, least: Severity) -> MethodAnswer:
    method = compiled.catalogue.method_by_id[verdict.method_id]
    return MethodAnswer(
        method=method.id,
        name=method.name,
        works=verdict.works,
        feel=method.feel,
        film_colours={id_: colour.id for id_, colour in verdict.film_colours.items()},
        findings=finding_answers(verdict.at_least(least)),
        strikes=tuple(_strike(settings) for settings in verdict.settings),
    )


def finding_answers(findings: Sequence[Finding]) -> tuple[FindingAnswer, ...]:
    """Findings as callers see them."""
    return tuple(
        FindingAnswer(
            rule=finding.rule.id,
            severity=finding.severity,
            reason=finding.reading.reason,
            measured=finding.reading.measured,
            limit=finding.reading.limit,
            unit=finding.reading.unit,
            source=finding.rule.source,
            step=finding.reading.step,
            size=finding.reading.size,
        )
        for finding in findings
    )


def _strike(settings: StrikeSettings) -> StrikeAnswer:
    medium = settings.strike.medium
    set_c = settings.set_c
    return StrikeAnswer(
        step=settings.strike.step,
        medium=medium.id if medium else None,
        set_c=set_c,
        set_f=None if set_c is None else round(fahrenheit(set_c), 1),
        min_c=settings.min_set_c,
        max_c=settings.tightest(migration=True).max_set_c,
        dwell_s=settings.dwell_s,
        pressure=settings.pressure,
        peel=settings.peel,
    )


def _alternatives(compiled: CompiledCatalogue, ways: WaysOut) -> tuple[AlternativeAnswer, ...]:
    return tuple(_alternative(compiled, alternative) for alternative in ways.alternatives)


def _alternative(compiled: CompiledCatalogue, alternative: Alternative) -> AlternativeAnswer:
    row = alternative.combination
    method = compiled.catalogue.method_by_id[row.method_id]
    return AlternativeAnswer(
        changes=alternative.changes,
        method=row.method_id,
        blank=row.garment.blank_id,
        colour=row.garment.colour_id,
        width_mm=row.width_mm,
        consents=tuple(sorted(row.consents)),
        because=(
            f"{method.name} works on {row.garment.name} in {row.garment.colour_name} at "
            f"{row.width_mm:g} mm: {method.feel}."
        ),
        findings=finding_answers(alternative.verdict.at_least(Severity.NOTES)),
    )
