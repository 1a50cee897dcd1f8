"""Published over-constrained examples through the code that explains refusals."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import product

from service.domain.conflicts import ConflictReport, explain_granted
from tests.domain.masks import explain_conflicts

Row = tuple[int, ...]
Test = Callable[[Row], bool]


def _explain(rows: Iterable[Row], hard: Test, wishes: Sequence[Test]) -> ConflictReport:
    """The report, which comes out the same from masks and from what each row grants."""
    domain = list(rows)

    def mask(test: Test) -> int:
        return sum(1 << index for index, row in enumerate(domain) if test(row))

    granted = [
        sum(1 << index for index, wish in enumerate(wishes) if wish(row))
        for row in domain
        if hard(row)
    ]
    report = explain_granted(granted, len(wishes))
    by_masks = explain_conflicts(mask(hard), [mask(wish) for wish in wishes])
    assert by_masks == report
    return report


def _sets(*members: Iterable[int]) -> set[frozenset[int]]:
    return {frozenset(member) for member in members}


def _chosen(option: int) -> Test:
    return lambda row: row[option] == 1


def test_options_of_a_car_over_budget() -> None:
    """Five options, 3000 to spend: the dear version clashes with each of the others.

    Source: Junker, QuickXplain, AAAI 2004, tables 1-2; the conflict of seat colour and special
    version is printed, the full lists were recomputed by enumeration.
    """
    costs = (500, 500, 800, 500, 2600)

    def within_budget(row: Row) -> bool:
        return sum(cost for cost, taken in zip(costs, row, strict=True) if taken) <= 3000

    report = _explain(
        product((0, 1), repeat=5), within_budget, [_chosen(option) for option in range(5)]
    )
    assert set(report.conflicts) == _sets((0, 4), (1, 4), (2, 4), (3, 4))
    assert set(report.repairs) == _sets((4,), (0, 1, 2, 3))


def test_budget_as_a_wish_and_a_forbidden_pair() -> None:
    """The budget itself may be given up, and no roof rack goes on a convertible.

    Source: O'Sullivan, Papadopoulos, Faltings, Pu, AAAI 2007, introduction; conflicts as printed,
    repairs recomputed by enumeration.
    """
    costs = (500, 500, 500, 2600)

    def no_rack_on_convertible(row: Row) -> bool:
        return not (row[0] and row[1])

    def within_budget(row: Row) -> bool:
        return sum(cost for cost, taken in zip(costs, row, strict=True) if taken) <= 3000

    wishes = [within_budget, *(_chosen(option) for option in range(4))]
    report = _explain(product((0, 1), repeat=4), no_rack_on_convertible, wishes)
    assert set(report.conflicts) == _sets((1, 2), (0, 1, 4), (0, 2, 4), (0, 3, 4))
    assert set(report.repairs) == _sets((0, 1), (0, 2), (1, 2, 3), (1, 4), (2, 4))


def test_three_multipliers_and_two_adders() -> None:
    """Which of five parts cannot all be working, given what is measured at the outputs.

    Source: de Kleer and Williams, Artificial Intelligence 32:97-130, 1987: A=3 B=2 C=2 D=3 E=3,
    observed F=10 and G=12, with X=AC, Y=BD, Z=CE, F=X+Y, G=Y+Z.
    """
    wishes: list[Test] = [
        lambda row: row[0] == 6,
        lambda row: row[1] == 6,
        lambda row: row[2] == 6,
        lambda row: row[0] + row[1] == 10,
        lambda row: row[1] + row[2] == 12,
    ]
    report = _explain(product(range(13), repeat=3), lambda _row: True, wishes)
    assert set(report.conflicts) == _sets((0, 1, 3), (0, 2, 3, 4))
    assert set(report.repairs) == _sets((0,), (3,), (1, 2), (1, 4))
