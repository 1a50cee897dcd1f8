"""Long reference run: what the folder of published data holds, read whole.

Runs only when the folder is named (``--reference-data=FOLDER``). The other reference tests have the
figures they need written beside them; here these are compared with their source.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from service.domain.colour import Lab, delta_e_2000, delta_e_2000_pair
from service.domain.conflicts import ConflictReport, explain_granted
from tests.domain.masks import explain_conflicts
from tests.reference.test_colour_published import PRINTED_TO, SHARMA_PAIRS

pytestmark = pytest.mark.reference_data

Row = tuple[int, ...]
Test = Callable[[Row], bool]
Example = Mapping[str, Any]


# Colour differences
#
# Source: Sharma, Wu, Dalal, Color Research & Application 30(1):21-30, 2005, Table I: pairs,
# CIEDE2000 and the terms on the way to it, all printed to four decimals.


@pytest.fixture(scope="module")
def printed_pairs(reference_data: Path) -> list[dict[str, float]]:
    """The rows of the table, by column."""
    file = reference_data / "ciede2000_sharma_2005.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        rows = [{name: float(text) for name, text in row.items()} for row in csv.DictReader(lines)]
    assert len(rows) == 34
    return rows


def _labs(row: Mapping[str, float]) -> tuple[Lab, Lab]:
    one, other = (Lab(row[f"L{end}"], row[f"a{end}"], row[f"b{end}"]) for end in "12")
    return one, other


def test_the_pairs_are_the_printed_ones(printed_pairs: list[dict[str, float]]) -> None:
    """The pairs that the default tests hold are those of the table, in its order."""
    assert [(*_labs(row), row["dE00"]) for row in printed_pairs] == list(SHARMA_PAIRS)


def test_differences_as_printed(printed_pairs: list[dict[str, float]]) -> None:
    """Both forms of CIEDE2000 give every printed difference, either way round."""
    for row in printed_pairs:
        one, other = _labs(row)
        expected = pytest.approx(row["dE00"], abs=PRINTED_TO)
        assert delta_e_2000_pair(one, other) == expected
        assert delta_e_2000_pair(other, one) == expected
        assert float(delta_e_2000(one, other)) == expected


def _from_printed_terms(row: Mapping[str, float]) -> float:
    """CIEDE2000 put together from the printed G, SL, SC, SH and RT (ISO/CIE 11664-6)."""
    one, other = _labs(row)
    a1, a2 = ((1 + row["G"]) * lab.a for lab in (one, other))
    c1, c2 = math.hypot(a1, one.b), math.hypot(a2, other.b)
    turn = math.atan2(other.b, a2) - math.atan2(one.b, a1) if c1 * c2 else 0.0
    hue = 2 * math.sqrt(c1 * c2) * math.sin(math.remainder(turn, math.tau) / 2)
    d_l, d_c, d_h = (
        (other.lightness - one.lightness) / row["SL"],
        (c2 - c1) / row["SC"],
        hue / row["SH"],
    )
    return math.sqrt(d_l**2 + d_c**2 + d_h**2 + row["RT"] * d_c * d_h)


def test_differences_from_printed_terms(printed_pairs: list[dict[str, float]]) -> None:
    """The printed terms lead to the same differences within 1 in 10,000: G has four decimals."""
    for row in printed_pairs:
        assert delta_e_2000_pair(*_labs(row)) == pytest.approx(_from_printed_terms(row), rel=1e-4)


# Conflicts
#
# Sources: Junker, AAAI 2004; O'Sullivan, Papadopoulos, Faltings, Pu, AAAI 2007; de Kleer and
# Williams, Artificial Intelligence 32:97-130, 1987. The file holds costs and all minimal sets; what
# may not be and how parts work it tells in words, put into functions here.


def _chosen(option: int) -> Test:
    return lambda row: row[option] == 1


def _within_budget(costs: Sequence[int]) -> Test:
    return lambda row: sum(cost for cost, taken in zip(costs, row, strict=True) if taken) <= 3000


def _granted(rows: Iterable[Row], hard: Test, wishes: Sequence[Test]) -> list[list[bool]]:
    return [[wish(row) for wish in wishes] for row in rows if hard(row)]


def _options_over_budget(example: Example) -> list[list[bool]]:
    costs = example["cost"]
    wishes = [_chosen(option) for option in range(len(costs))]
    return _granted(product((0, 1), repeat=len(costs)), _within_budget(costs), wishes)


def _budget_as_a_wish(example: Example) -> list[list[bool]]:
    """No roof rack (option 0) on a convertible (option 1); the budget is the first wish."""
    costs = example["cost"][1:]
    wishes = [_within_budget(costs), *(_chosen(option) for option in range(len(costs)))]
    rows = product((0, 1), repeat=len(costs))
    return _granted(rows, lambda row: not (row[0] and row[1]), wishes)


def _multipliers_and_adders(_example: Example) -> list[list[bool]]:
    """A=3, B=2, C=2, D=3, E=3; X=AC, Y=BD, Z=CE, F=X+Y is seen as 10 and G=Y+Z as 12."""
    wishes: list[Test] = [
        lambda row: row[0] == 3 * 2,
        lambda row: row[1] == 2 * 3,
        lambda row: row[2] == 2 * 3,
        lambda row: row[0] + row[1] == 10,
        lambda row: row[1] + row[2] == 12,
    ]
    return _granted(product(range(13), repeat=3), lambda _row: True, wishes)


EXAMPLES: Mapping[str, Callable[[Example], list[list[bool]]]] = {
    "junker2004_budget": _options_over_budget,
    "osullivan2007_budget": _budget_as_a_wish,
    "dekleer_williams1987_polybox": _multipliers_and_adders,
}


@pytest.fixture(scope="module")
def examples(reference_data: Path) -> dict[str, Example]:
    """The examples of the file, by name."""
    text = (reference_data / "conflict_examples.json").read_text(encoding="utf-8")
    return {example["name"]: example for example in json.loads(text)["examples"]}


def _reports(granted: Sequence[Sequence[bool]]) -> tuple[ConflictReport, ConflictReport]:
    """What both doors say, given which wishes each working combination grants."""
    count = len(granted[0])
    patterns = [sum(yes << wish for wish, yes in enumerate(row)) for row in granted]
    agrees = [sum(row[wish] << at for at, row in enumerate(granted)) for wish in range(count)]
    return explain_granted(patterns, count), explain_conflicts((1 << len(granted)) - 1, agrees)


def _sets(members: Iterable[Iterable[int]]) -> set[frozenset[int]]:
    return {frozenset(member) for member in members}


def _printed_conflicts(example: Example) -> set[frozenset[int]]:
    """The conflicts that the paper itself prints: one, all, or none in the file."""
    single = example.get("published_minimal_conflict")
    printed = example.get("published_all_minimal_conflicts", [single] if single else [])
    return _sets(printed)


def test_every_example_is_known(examples: dict[str, Example]) -> None:
    """No example of the file is passed over."""
    assert examples.keys() == EXAMPLES.keys()


@pytest.mark.parametrize("name", EXAMPLES)
def test_published_conflicts(examples: dict[str, Example], name: str) -> None:
    """Both doors give all minimal conflicts and repairs, with those that the paper prints."""
    example = examples[name]
    for report in _reports(EXAMPLES[name](example)):
        conflicts = set(report.conflicts)
        assert conflicts == _sets(example["all_minimal_conflicts"])
        assert set(report.repairs) == _sets(example["all_minimal_diagnoses"])
        assert _printed_conflicts(example) <= conflicts
