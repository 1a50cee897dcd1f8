"""Why a decoration is refused, as the customer's own choices, and the nearest that works.

The shop's blanks, colours and methods, the width (as asked, or as large as fits) and the consents
are laid out as one table of combinations. Each rule is run once for each combination of the
choices it reads, so the table costs far less than checking every row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import product

from service.domain.compiled import CompiledCatalogue
from service.domain.conflicts import explain_conflicts
from service.domain.garments import Garment
from service.domain.rules import RULES, Facts, Rule, Severity
from service.domain.verdict import MethodVerdict, facts_for, judge
from service.domain.wishes import Choice, Consent, Decoration, Line

ORDER = (Choice.METHOD, Choice.COLOUR, Choice.BLANK, Choice.WIDTH, Choice.CONSENTS)
"""Which change is offered first: another method on the same blank, then another colour, and so on.
A consent comes last, since it asks the customer to accept a loss."""


@dataclass(frozen=True, slots=True)
class Combination:
    """One row of the table."""

    method_id: str
    garment: Garment
    width_mm: float
    consents: frozenset[Consent]


@dataclass(frozen=True, slots=True)
class Alternative:
    """A combination that works, what of the wish it changes, and its verdict."""

    combination: Combination
    changes: tuple[Choice, ...]
    verdict: MethodVerdict


@dataclass(frozen=True, slots=True)
class WaysOut:
    """Why not, and what instead.

    ``conflicts`` are the smallest sets of choices that cannot all hold, ``alternatives`` the
    nearest first. When nothing in the shop works, ``nothing_works`` is True and both are empty.
    """

    conflicts: tuple[tuple[Choice, ...], ...]
    alternatives: tuple[Alternative, ...]
    nothing_works: bool


def find_ways_out(
    compiled: CompiledCatalogue, line: Line, decoration: Decoration, rules: tuple[Rule, ...] = RULES
) -> WaysOut:
    """Explain a refusal. The decoration's method may be None, for "any"; then it is no wish."""
    table = list(_combinations(compiled, line, decoration))
    works = _Works(compiled, line, decoration, rules)
    feasible = [works(row) for row in table]
    wish = Combination(
        decoration.method_id or "", line.garment, decoration.width_mm, decoration.consents
    )
    wishes = [choice for choice in ORDER if _is_wish(choice, line, decoration)]
    agrees = [_mask(_same(choice, row, wish) for row in table) for choice in wishes]
    report = explain_conflicts(_mask(feasible), agrees)
    working = [row for row, works_here in zip(table, feasible, strict=True) if works_here]
    return WaysOut(
        conflicts=tuple(
            tuple(wishes[index] for index in sorted(conflict)) for conflict in report.conflicts
        )
        if working
        else (),
        alternatives=_nearest(compiled, line, decoration, working, wish, wishes),
        nothing_works=not working,
    )


def _is_wish(choice: Choice, line: Line, decoration: Decoration) -> bool:
    if choice is Choice.METHOD:
        return decoration.method_id is not None
    return choice not in (Choice.BLANK, Choice.COLOUR) or not line.garment.supplied


def _combinations(
    compiled: CompiledCatalogue, line: Line, decoration: Decoration
) -> Iterator[Combination]:
    consents = {decoration.consents: None, frozenset(Consent): None}
    for garment in _garments(compiled, line, decoration):
        widths = {decoration.width_mm: None}
        fits = widest_fit_mm(compiled, line, decoration, garment)
        if fits < decoration.width_mm:
            widths[fits] = None
        for method, width, consent in product(compiled.catalogue.methods, widths, consents):
            yield Combination(method.id, garment, width, consent)


def _garments(compiled: CompiledCatalogue, line: Line, decoration: Decoration) -> Iterator[Garment]:
    if line.garment.supplied:
        yield line.garment
        return
    for garment in compiled.garments.values():
        placement = garment.placements.get(decoration.placement_id)
        if placement and all(size in placement.areas for size in line.pieces_by_size):
            yield garment


def widest_fit_mm(
    compiled: CompiledCatalogue, line: Line, decoration: Decoration, garment: Garment
) -> float:
    """The widest print, in whole mm, that fits the placement in every size and every press."""
    aspect = decoration.artwork.height_mm_at(1.0)
    placement = garment.placements[decoration.placement_id]
    areas = [placement.areas[size] for size in line.pieces_by_size]
    fits = [min(area.width_mm, area.height_mm / aspect) for area in areas]
    for press in compiled.catalogue.presses:
        width, length = press.usable_mm
        fits.append(max(min(width, length / aspect), min(length, width / aspect)))
    return max(1.0, float(int(min(fits))))


class _Works:
    """Whether a combination works, each rule run once per combination of what it reads."""

    def __init__(
        self,
        compiled: CompiledCatalogue,
        line: Line,
        decoration: Decoration,
        rules: tuple[Rule, ...],
    ) -> None:
        self._compiled = compiled
        self._line = line
        self._decoration = decoration
        self._rules = [(rule, _key_of(rule)) for rule in rules]
        self._blocks: dict[tuple[object, ...], bool] = {}

    def __call__(self, row: Combination) -> bool:
        facts: Facts | None = None
        for rule, key_of in self._rules:
            key = (rule.id, *key_of(row))
            blocks = self._blocks.get(key)
            if blocks is None:
                facts = facts or self._facts(row)
                blocks = any(r.severity is Severity.BLOCKS for r in rule.evaluate(facts))
                self._blocks[key] = blocks
            if blocks:
                return False
        return True

    def _facts(self, row: Combination) -> Facts:
        line, decoration = _applied(self._line, self._decoration, row)
        return facts_for(self._compiled, line, decoration, row.method_id)


_READERS: dict[Choice, Callable[[Combination], object]] = {
    Choice.METHOD: lambda row: row.method_id,
    Choice.BLANK: lambda row: row.garment.blank_id,
    Choice.COLOUR: lambda row: row.garment.colour_id,
    Choice.WIDTH: lambda row: row.width_mm,
    Choice.CONSENTS: lambda row: row.consents,
}


def _key_of(rule: Rule) -> Callable[[Combination], tuple[object, ...]]:
    readers = [_READERS[choice] for choice in ORDER if choice in rule.reads]
    return lambda row: tuple(reader(row) for reader in readers)


def _same(choice: Choice, row: Combination, wish: Combination) -> bool:
    return _READERS[choice](row) == _READERS[choice](wish)


def _mask(bits: Iterator[bool] | list[bool]) -> int:
    text = "".join("1" if bit else "0" for bit in bits)
    return int(text[::-1] or "0", 2)


def _applied(line: Line, decoration: Decoration, row: Combination) -> tuple[Line, Decoration]:
    changed = replace(
        decoration, method_id=row.method_id, width_mm=row.width_mm, consents=row.consents
    )
    return replace(line, garment=row.garment, decorations=(changed,)), changed


def _nearest(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    working: list[Combination],
    wish: Combination,
    wishes: list[Choice],
) -> tuple[Alternative, ...]:
    """Fewest changes first, one of each kind of change before a second of any."""
    limit = compiled.catalogue.policy.nearest_alternatives
    ranked = sorted(
        ((_changes(row, wish, wishes), index) for index, row in enumerate(working)),
        key=lambda pair: (len(pair[0]), [ORDER.index(c) for c in pair[0]], pair[1]),
    )
    seen: set[tuple[Choice, ...]] = set()
    firsts: list[tuple[tuple[Choice, ...], int]] = []
    others: list[tuple[tuple[Choice, ...], int]] = []
    fewest = len(ranked[0][0]) if ranked else 0
    for changes, index in ranked:
        fresh = changes not in seen and not any(set(kind) < set(changes) for kind in seen)
        if fresh:
            firsts.append((changes, index))
        elif len(changes) == fewest:
            others.append((changes, index))
        seen.add(changes)
    chosen = sorted(
        (firsts + others)[:limit], key=lambda pair: (len(pair[0]), ORDER.index(pair[0][0]))
    )
    offered = (
        Alternative(working[index], changes, _verdict(compiled, line, decoration, working[index]))
        for changes, index in chosen
    )
    return tuple(alternative for alternative in offered if alternative.verdict.works)


def _changes(row: Combination, wish: Combination, wishes: list[Choice]) -> tuple[Choice, ...]:
    return tuple(choice for choice in wishes if not _same(choice, row, wish))


def _verdict(
    compiled: CompiledCatalogue, line: Line, decoration: Decoration, row: Combination
) -> MethodVerdict:
    """Check the offer in full: nothing is offered that fails its own check."""
    changed_line, changed = _applied(line, decoration, row)
    return judge(compiled, changed_line, changed, row.method_id)
