"""Conflicts and repairs of random small shops, against a general-purpose constraint solver."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations, product

from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from service.domain.conflicts import explain_granted

Wish = tuple[int, str, int]
"""A variable by its index, '<=', '>=' or '==', and a value: sizes and widths are thresholds."""


@dataclass(frozen=True)
class Domain:
    """Variables by their numbers of values, what rules forbid, and what is wished for."""

    sizes: tuple[int, ...]
    forbidden: tuple[tuple[tuple[int, int], ...], ...]
    wishes: tuple[Wish, ...]

    def rows(self) -> Iterator[tuple[int, ...]]:
        """Every combination that no rule forbids."""
        for row in product(*(range(size) for size in self.sizes)):
            if not any(all(row[at] == value for at, value in rule) for rule in self.forbidden):
                yield row

    def granted(self) -> Iterator[int]:
        """For each such combination, the wishes it grants, as bits."""
        for row in self.rows():
            yield sum(1 << at for at, wish in enumerate(self.wishes) if _holds(row, wish))


def _holds(row: tuple[int, ...], wish: Wish) -> bool:
    at, sign, value = wish
    return {"==": row[at] == value, "<=": row[at] <= value, ">=": row[at] >= value}[sign]


@st.composite
def domains(draw: st.DrawFn) -> Domain:
    """Four or five variables, rules over up to three of them, and a wish or two for each."""
    sizes = tuple(draw(st.lists(st.integers(2, 4), min_size=4, max_size=5)))
    variables = range(len(sizes))

    def rule() -> tuple[tuple[int, int], ...]:
        scope = draw(st.lists(st.sampled_from(variables), min_size=1, max_size=3, unique=True))
        return tuple((at, draw(st.integers(0, sizes[at] - 1))) for at in scope)

    def wish(at: int) -> Wish:
        sign = draw(st.sampled_from(["==", "==", "<=", ">="]))
        return at, sign, draw(st.integers(0, sizes[at] - 1))

    rules = tuple(rule() for _ in range(draw(st.integers(6, 24))))
    twice = draw(st.lists(st.sampled_from(variables), max_size=2))
    return Domain(sizes, rules, tuple(wish(at) for at in (*variables, *twice)))


def _satisfiable(domain: Domain, wishes: Iterable[int]) -> bool:
    """Whether the solver finds a combination that no rule forbids and that grants these wishes."""
    model = cp_model.CpModel()
    variables = [model.new_int_var(0, size - 1, f"v{at}") for at, size in enumerate(domain.sizes)]
    for rule in domain.forbidden:
        scope = [variables[at] for at, _ in rule]
        model.add_forbidden_assignments(scope, [tuple(value for _, value in rule)])
    for index in wishes:
        at, sign, value = domain.wishes[index]
        model.add(
            {
                "==": variables[at] == value,
                "<=": variables[at] <= value,
                ">=": variables[at] >= value,
            }[sign]
        )
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in {cp_model.OPTIMAL, cp_model.INFEASIBLE}
    return bool(status == cp_model.OPTIMAL)


@settings(max_examples=60)
@given(domains())
def test_the_solver_agrees_with_every_conflict_and_repair(domain: Domain) -> None:
    """Each conflict is unsatisfiable and minimal, each repair restores the rest and is minimal.

    Source of the method: Reiter 1987 and Junker, QuickXplain, AAAI 2004; the oracle is OR-Tools
    CP-SAT.
    """
    every = frozenset(range(len(domain.wishes)))
    report = explain_granted(domain.granted(), len(domain.wishes))
    assert _satisfiable(domain, ()) == (report.conflicts != (frozenset(),))
    assert _satisfiable(domain, every) == (not report.conflicts)
    for conflict in report.conflicts:
        assert not _satisfiable(domain, conflict)
        assert all(_satisfiable(domain, conflict - {wish}) for wish in conflict)
    for repair in report.repairs:
        assert _satisfiable(domain, every - repair)
        assert not any(_satisfiable(domain, every - repair | {wish}) for wish in repair)


@settings(max_examples=10)
@given(domains())
def test_the_solver_knows_of_no_other_conflict(domain: Domain) -> None:
    """A set of wishes is unsatisfiable exactly if it holds one of the conflicts."""
    report = explain_granted(domain.granted(), len(domain.wishes))
    for size in range(4):
        for subset in map(frozenset, combinations(range(len(domain.wishes)), size)):
            holds_one = any(conflict <= subset for conflict in report.conflicts)
            assert _satisfiable(domain, subset) == (not holds_one)
