"""Minimal conflicts and minimal repairs of a set of wishes, over an enumerated domain.

A domain is a list of combinations, each one bit of a mask. ``feasible`` has the bits of the
combinations that work; ``agrees[i]`` those that grant wish ``i``. A set of wishes conflicts when
no feasible combination grants them all. The minimal conflicts and the minimal repairs (the wishes
to give up) are each other's minimal hitting sets: R. Reiter, Artificial Intelligence 32, 1987
(from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

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


def explain_conflicts(feasible: int, agrees: Sequence[int]) -> ConflictReport:
    """All minimal conflicts and all minimal repairs, smallest first.

    ``feasible`` and each of ``agrees`` are bit masks over the same combinations. Raises
    ``ValueError`` beyond ``MAX_WISHES`` wishes.
    """
    count = len(agrees)
    if count > MAX_WISHES:
        raise ValueError(f"{count} wishes, at most {MAX_WISHES} can be explained")
    if feasible == 0:
        return ConflictReport((frozenset(),), ())
    conflicts: list[frozenset[int]] = []
    granted: list[frozenset[int]] = []
    remaining = {frozenset[int](): feasible}
    for size in range(1, count + 1):
        for subset in map(frozenset, combinations(range(count), size)):
            if any(conflict <= subset for conflict in conflicts):
                continue
            last = max(subset)
            mask = remaining[subset - {last}] & agrees[last]
            if mask:
                remaining[subset] = mask
            else:
                conflicts.append(subset)
    for subset in sorted(remaining, key=len, reverse=True):
        if not any(subset < larger for larger in granted):
            granted.append(subset)
    every = frozenset(range(count))
    repairs = tuple(every - subset for subset in granted if subset != every)
    return ConflictReport(tuple(conflicts), repairs)
