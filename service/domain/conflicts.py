"""Minimal conflicts and minimal repairs of a set of wishes, over an enumerated domain.

Of each combination that works only one thing matters here: which of the wishes it grants. A set of
wishes conflicts when no working combination grants them all. The minimal conflicts and the minimal
repairs (the wishes to give up) are each other's minimal hitting sets: R. Reiter, Artificial
Intelligence 32, 1987 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

MAX_WISHES = 12
"""The subset lattice is walked whole, so wishes are few."""


@dataclass(frozen=True, slots=True)
class ConflictReport:
    """Sets of wish indexes: ``conflicts`` minimal by inclusion, ``repairs`` minimal to give up.

    Without conflict both are empty; when nothing in the domain works, ``conflicts`` holds the
    empty set and there is no repair.
    """

    conflicts: tuple[frozenset[int], ...]
    repairs: tuple[frozenset[int], ...]


def explain_granted(granted: Iterable[int], count: int) -> ConflictReport:
    """All minimal conflicts and all minimal repairs among ``count`` wishes, smallest first.

    ``granted`` holds, for each working combination, the wishes it grants as bits; repeats and any
    order do no harm. Raises ``ValueError`` beyond ``MAX_WISHES`` wishes.
    """
    if count > MAX_WISHES:
        raise ValueError(f"{count} wishes, at most {MAX_WISHES} can be explained")
    every = (1 << count) - 1
    patterns = sorted(set(granted), key=lambda pattern: -pattern.bit_count())
    if not patterns:
        return ConflictReport((frozenset(),), ())
    largest: list[int] = []
    for pattern in patterns:
        if not any(pattern & ~larger == 0 for larger in largest):
            largest.append(pattern)
    conflicts: list[int] = []
    for subset in _by_size(count):
        if any(conflict & ~subset == 0 for conflict in conflicts):
            continue
        if all(subset & ~pattern for pattern in largest):
            conflicts.append(subset)
    repairs = [every & ~pattern for pattern in largest if pattern != every]
    return ConflictReport(
        tuple(_indexes(conflict) for conflict in conflicts),
        tuple(_indexes(repair) for repair in repairs),
    )


def explain_conflicts(feasible: int, agrees: Sequence[int]) -> ConflictReport:
    """The same of bit masks over combinations: those that work, and those granting each wish."""
    granted: set[int] = set()
    for row in range(feasible.bit_length()):
        if feasible >> row & 1:
            granted.add(sum((mask >> row & 1) << wish for wish, mask in enumerate(agrees)))
    return explain_granted(granted, len(agrees))


_SUBSETS: dict[int, tuple[int, ...]] = {}


def _by_size(count: int) -> tuple[int, ...]:
    """All non-empty subsets of so many wishes as bits, smaller ones first."""
    known = _SUBSETS.get(count)
    if known is None:
        subsets = range(1, 1 << count)
        known = tuple(
            sorted(subsets, key=lambda subset: (subset.bit_count(), _indexes_key(subset)))
        )
        _SUBSETS[count] = known
    return known


def _indexes_key(subset: int) -> tuple[int, ...]:
    return tuple(sorted(_indexes(subset)))


def _indexes(subset: int) -> frozenset[int]:
    return frozenset(index for index in range(subset.bit_length()) if subset >> index & 1)
