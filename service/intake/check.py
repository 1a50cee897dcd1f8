"""Check lines: judge every decoration, and show the ways out of each refusal. Computes only."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from functools import partial

from service.domain.compiled import CompiledCatalogue
from service.domain.look import Look
from service.domain.memo import Same
from service.domain.ranking import TRADE_OFFS
from service.domain.recipe import StrikeSettings, fahrenheit, operation_recipes
from service.domain.rules import RULES, Finding, Severity
from service.domain.verdict import DecorationVerdict, MethodVerdict, beside_of, judge_line
from service.domain.ways_out import Alternative, ChoiceConflict, WaysOut, find_ways_out, wish_key
from service.domain.wishes import Line
from service.intake.answers import (
    AlternativeAnswer,
    CheckAnswer,
    ColourAnswer,
    ConflictAnswer,
    DecorationAnswer,
    FindingAnswer,
    LineAnswer,
    LookAnswer,
    MethodAnswer,
    OperationAnswer,
    StrikeAnswer,
    TradeOffAnswer,
)

MOST_SEARCHES = 20
"""Different refusals of one answer that ways out are looked for; for bounded time, a design choice:
each takes some tens of milliseconds."""

NOT_SEARCHED = (
    f"No way out was looked for here: that is done for the first {MOST_SEARCHES} different "
    "refusals of a request. Check this line by itself to be told its ways out."
)

SUPPLIED_RISK = (
    "You bring the garment: a piece spoiled in the work cannot be replaced from our stock, and the "
    "risk of spoiled pieces is yours. Send spares."
)

LineVerdict = tuple[DecorationVerdict, ...]

_TRADE_OFFS = {one.id: TradeOffAnswer(id=one.id, words=one.words) for one in TRADE_OFFS}

TITLES = {rule.id: rule.title for rule in RULES}
"""What each rule asks for, by its id."""


def judge_lines(compiled: CompiledCatalogue, lines: Sequence[Line]) -> tuple[LineVerdict, ...]:
    """Judge every decoration of every line, each beside the others on its garment."""
    return tuple(judge_line(compiled, line) for line in lines)


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
    Refusals alike in all share theirs, and those beyond ``MOST_SEARCHES`` are told that none were
    looked for.
    """
    least = Severity.PASSES if explain_all else Severity.NOTES
    searches = _Searches(compiled)
    answers = tuple(
        LineAnswer(
            works=all(verdict.chosen is not None for verdict in line_verdicts),
            garment=line.garment.blank_id or "supplied",
            colour=line.garment.colour_id or line.garment.srgb,
            decorations=tuple(
                _decoration(searches, line, line_verdicts, index, least)
                for index in range(len(line_verdicts))
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


class _Searches:
    """The ways out of one answer's refusals, of those alike looked for once."""

    def __init__(self, compiled: CompiledCatalogue) -> None:
        self.compiled = compiled
        self._found: dict[Hashable, WaysOut] = {}
        self._done = 0

    def ways_out(self, line: Line, verdicts: LineVerdict, index: int) -> WaysOut | None:
        """Those of one decoration; None where no more are looked for."""
        decoration = verdicts[index].decoration
        beside = beside_of(self.compiled, verdicts, index) if len(verdicts) > 1 else ()
        key = wish_key(line, decoration, beside)
        found = None if key is None else self._found.get(key)
        if found is None and self._done < MOST_SEARCHES:
            self._done += 1
            found = self._found[key] = find_ways_out(self.compiled, line, decoration, beside)
        return found


def _decoration(
    searches: _Searches, line: Line, verdicts: LineVerdict, index: int, least: Severity
) -> DecorationAnswer:
    """The answer on one decoration, written once for what is remembered of its verdict."""
    compiled, verdict = searches.compiled, verdicts[index]
    ways = None if verdict.chosen else searches.ways_out(line, verdicts, index)
    placement = verdict.decoration.placement_id
    # Verdicts and ways out hash by identity: what is remembered is the same object each time.
    # What speaks for a method depends on the number of pieces as well.
    known = (verdict.candidates, verdict.chosen, ways, line.pieces)
    key = ("decoration answer", placement, least, *known)
    return compiled.asked.get(key, lambda: _write_decoration(compiled, verdict, ways, least))


def _write_decoration(
    compiled: CompiledCatalogue, verdict: DecorationVerdict, ways: WaysOut | None, least: Severity
) -> DecorationAnswer:
    chosen = verdict.chosen
    return DecorationAnswer(
        placement=verdict.decoration.placement_id,
        works=chosen is not None,
        method=chosen.method_id if chosen else None,
        candidates=tuple(_method(compiled, entry, least) for entry in verdict.candidates),
        trade_offs={
            id_: tuple(_TRADE_OFFS[one.id] for one in said)
            for id_, said in verdict.trade_offs.items()
        },
        recipe=compiled.asked.get(
            ("recipe answer", chosen.method_id, Same(chosen.settings)),
            lambda: _recipe(compiled, chosen),
        )
        if chosen
        else (),
        conflicts=tuple(_conflict(conflict) for conflict in ways.conflicts) if ways else (),
        repairs=ways.repairs if ways else (),
        alternatives=_alternatives(compiled, ways) if ways else (),
        nothing_works=ways.nothing_works if ways else False,
        ruled_out_by=ways.ruled_out_by if ways else (),
        not_searched="" if chosen or ways else NOT_SEARCHED,
    )


def _method(compiled: CompiledCatalogue, verdict: MethodVerdict, least: Severity) -> MethodAnswer:
    """The answer of one verdict, written once for what it says, unless every reading is wanted."""
    if least is Severity.PASSES:
        return _write_method(compiled, verdict, least)
    return compiled.asked.get(
        ("method answer", verdict.method_id, verdict.said, least),
        lambda: _write_method(compiled, verdict, least),
    )


def _write_method(
    compiled: CompiledCatalogue, verdict: MethodVerdict, least: Severity
) -> MethodAnswer:
    method, memo = compiled.catalogue.method_by_id[verdict.method_id], compiled.asked
    return MethodAnswer(
        method=method.id,
        name=method.name,
        works=verdict.works,
        feel=method.feel,
        film_colours={id_: colour.id for id_, colour in verdict.film_colours.items()},
        look=memo.get(("look answer", Same(verdict.look)), lambda: _look(verdict.look)),
        findings=tuple(
            memo.get(("finding answer", Same(finding)), partial(_finding, finding))
            for finding in verdict.at_least(least)
        ),
        not_concerned=_not_concerned(verdict) if least is Severity.PASSES else (),
        strikes=memo.get(
            ("strike answers", Same(verdict.settings)),
            lambda: tuple(_strike(settings) for settings in verdict.settings),
        ),
    )


def _not_concerned(verdict: MethodVerdict) -> tuple[str, ...]:
    spoke = {finding.rule.id for finding in verdict.findings}
    return tuple(rule.id for rule in RULES if rule.id not in spoke)


def _look(look: Look) -> LookAnswer:
    return LookAnswer(
        band=look.band,
        mean_delta_e=round(look.mean_delta_e, 2),
        p95_delta_e=round(look.p95_delta_e, 2),
        worst=look.worst,
        contrast_lightness=round(look.contrast_lightness, 1),
        doubt_delta_e=round(look.doubt_delta_e, 2),
        colours=tuple(
            ColourAnswer(
                wanted=colour.wanted,
                predicted=colour.predicted,
                lightest=colour.lightest,
                darkest=colour.darkest,
                share=round(colour.share, 4),
                delta_e=round(colour.delta_e, 2),
            )
            for colour in look.colours
        ),
    )


def _recipe(compiled: CompiledCatalogue, chosen: MethodVerdict) -> tuple[OperationAnswer, ...]:
    recipes = operation_recipes(compiled.chains[chosen.method_id], chosen.settings)
    return tuple(
        OperationAnswer(
            step=recipe.index,
            kind=recipe.kind,
            station=recipe.station,
            machine=recipe.machine,
            medium=recipe.medium,
            mirrored=recipe.mirrored,
            cover=recipe.cover,
            set_c=recipe.set_c,
            set_f=None if recipe.set_f is None else round(recipe.set_f, 1),
            dwell_s=recipe.dwell_s,
            pressure=recipe.pressure,
            peel=recipe.peel,
            wait_min=recipe.wait_min,
        )
        for recipe in recipes
    )


def _conflict(conflict: ChoiceConflict) -> ConflictAnswer:
    return ConflictAnswer(
        choices=conflict.choices,
        rules=conflict.rules,
        because="; ".join(TITLES[rule] for rule in conflict.rules)
        or "The shop does not offer these together",
    )


def finding_answers(findings: Sequence[Finding]) -> tuple[FindingAnswer, ...]:
    """Findings as callers see them."""
    return tuple(_finding(finding) for finding in findings)


def _finding(finding: Finding) -> FindingAnswer:
    reading = finding.reading
    return FindingAnswer(
        rule=finding.rule.id,
        severity=reading.severity,
        reason=reading.reason,
        measured=_nine_decimals(reading.measured),
        limit=_nine_decimals(reading.limit),
        unit=reading.unit,
        source=finding.rule.source,
        step=reading.step,
        size=reading.size,
    )


def _nine_decimals(value: float | str) -> float | str:
    # Processors differ in the last digits of powers and roots; nobody reads them.
    return round(value, 9) if isinstance(value, float) else value


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
    offered = alternative.combination
    method = compiled.catalogue.method_by_id[offered.method_id]
    return AlternativeAnswer(
        changes=alternative.changes,
        method=offered.method_id,
        film_colour=offered.film_colour_id,
        blank=offered.garment.blank_id,
        colour=offered.garment.colour_id,
        placement=offered.placement_id,
        width_mm=offered.width_mm,
        sizes=dict(offered.pieces_by_size),
        consents=tuple(sorted(offered.consents)),
        mean_delta_e=round(alternative.verdict.look.mean_delta_e, 2),
        because=(
            f"{method.name} works on {offered.garment.name} in {offered.garment.colour_name} at "
            f"{offered.width_mm:g} mm: {method.feel}."
        ),
        findings=finding_answers(alternative.verdict.at_least(Severity.NOTES)),
    )
