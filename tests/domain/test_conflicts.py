"""Minimal conflicts and repairs: laws that hold on every domain."""

from __future__ import annotations

from itertools import combinations
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.conflicts import MAX_WISHES, explain_granted
from tests.domain.masks import explain_conflicts

DOMAINS = st.integers(min_value=1, max_value=6).flatmap(
    lambda wishes: st.integers(min_value=1, max_value=24).flatmap(
        lambda rows: st.tuples(
            st.integers(min_value=0, max_value=2**rows - 1),
            st.lists(
                st.integers(min_value=0, max_value=2**rows - 1),
                min_size=wishes,
                max_size=wishes,
            ),
        )
    )
)


def _granted(feasible: int, agrees: list[int], wishes: frozenset[int]) -> bool:
    mask = feasible
    for wish in wishes:
        mask &= agrees[wish]
    return mask != 0


def _hitting_sets(sets: list[frozenset[int]], count: int) -> set[frozenset[int]]:
    """Minimal hitting sets by brute force."""
    hitting = [
        frozenset(subset)
        for size in range(count + 1)
        for subset in combinations(range(count), size)
        if all(frozenset(subset) & entry for entry in sets)
    ]
    return {one for one in hitting if not any(other < one for other in hitting)}


@given(DOMAINS)
def test_each_conflict_is_minimal(domain: tuple[int, list[int]]) -> None:
    """A conflict cannot be granted, and without any one of its wishes it can."""
    feasible, agrees = domain
    for conflict in explain_conflicts(feasible, agrees).conflicts:
        assert not _granted(feasible, agrees, conflict)
        for wish in conflict:
            assert _granted(feasible, agrees, conflict - {wish})


@given(DOMAINS)
def test_repairs_are_the_minimal_hitting_sets_of_the_conflicts(
    domain: tuple[int, list[int]],
) -> None:
    """Reiter's duality holds both ways whenever anything works at all."""
    feasible, agrees = domain
    report = explain_conflicts(feasible, agrees)
    if feasible and report.conflicts:
        conflicts, repairs = list(report.conflicts), list(report.repairs)
        assert set(repairs) == _hitting_sets(conflicts, len(agrees))
        assert set(conflicts) == _hitting_sets(repairs, len(agrees))


@given(DOMAINS)
def test_no_conflict_means_all_wishes_can_be_granted(domain: tuple[int, list[int]]) -> None:
    """An empty report is given exactly when every wish holds at once."""
    feasible, agrees = domain
    report = explain_conflicts(feasible, agrees)
    everything = _granted(feasible, agrees, frozenset(range(len(agrees))))
    assert everything == (not report.conflicts and not report.repairs)


@given(DOMAINS)
def test_smaller_sets_come_first(domain: tuple[int, list[int]]) -> None:
    """Conflicts and repairs are listed by the number of wishes in them."""
    report = explain_conflicts(*domain)
    for sets in (report.conflicts, report.repairs):
        assert [len(one) for one in sets] == sorted(len(one) for one in sets)


@given(st.lists(st.integers(min_value=0, max_value=31), max_size=12), st.randoms())
def test_neither_order_nor_repeats_matter(granted: list[int], random: Random) -> None:
    """The same combinations in any order, some of them twice, give the same sets."""
    report = explain_granted(granted, 5)
    shuffled = [*granted, *granted[:3]]
    random.shuffle(shuffled)
    again = explain_granted(shuffled, 5)
    assert set(again.conflicts) == set(report.conflicts)
    assert set(again.repairs) == set(report.repairs)


@given(st.lists(st.integers(min_value=0, max_value=31), min_size=1, max_size=12))
def test_a_further_combination_never_adds_to_what_cannot_be_had(granted: list[int]) -> None:
    """Whatever still conflicts once more combinations work, conflicted before."""
    before = explain_granted(granted[1:], 5).conflicts
    for conflict in explain_granted(granted, 5).conflicts:
        assert any(smaller <= conflict for smaller in before)


def test_without_wishes_there_is_nothing_to_explain() -> None:
    """Something works and nothing was wished for: no conflict and no repair."""
    assert explain_granted([0], 0) == explain_conflicts(1, [])
    assert explain_granted([0], 0).conflicts == ()


def test_nothing_feasible_blames_no_wish() -> None:
    """Where nothing works, the empty set conflicts and giving up wishes does not help."""
    report = explain_conflicts(0, [0b11, 0b01])
    assert report.conflicts == (frozenset(),)
    assert report.repairs == ()


def test_too_many_wishes_are_refused() -> None:
    """The lattice of subsets is walked whole, so its size is bounded."""
    with pytest.raises(ValueError, match=f"at most {MAX_WISHES}"):
        explain_conflicts(1, [1] * (MAX_WISHES + 1))
    assert explain_granted([1], MAX_WISHES).repairs == (frozenset(range(1, MAX_WISHES)),)
