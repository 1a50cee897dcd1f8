"""Minimal conflicts and minimal repairs of a set of wishes, over an enumerated domain.

Of each combination that works only one thing matters here: which of the wishes it grants. A set of
wishes conflicts when no working combination grants them all. The minimal conflicts and the minimal
repairs (the wishes to give up) are each other's minimal hitting sets: R. Reiter, Artificial
Intelligence 32, 1987 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

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
    # A number of 2^count bits holds a set of sets of wishes: bit s is the set whose members are the
    # bits of s. Taking wish i away from all of them at once is a shift by 2^i.
    lattice = _lattice(count)
    held = 0
    for pattern in granted:
        held |= 1 << pattern
    if not held:
        return ConflictReport((frozenset(),), ())
    for wish, holding in enumerate(lattice):
        held |= (held & holding) >> (1 << wish)
    conflicts = ~held & ((1 << (1 << count)) - 1)
    largest = held
    for wish, holding in enumerate(lattice):
        conflicts &= ~holding | ((held & ~holding) << (1 << wish))
        largest &= ~((held & holding) >> (1 << wish))
    every = (1 << count) - 1
    repairs = [every & ~pattern for pattern in _members(largest) if pattern != every]
    return ConflictReport(_sets(_members(conflicts)), _sets(repairs))


@lru_cache
def _lattice(count: int) -> tuple[int, ...]:
    """For each wish the sets that hold it, among all sets of ``count`` wishes."""
    return tuple(
        sum(1 << subset for subset in range(1 << count) if subset >> wish & 1)
        for wish in range(count)
    )


def _members(sets: int) -> list[int]:
    members = []
    while sets:
        lowest = sets & -sets
        members.append(lowest.bit_length() - 1)
        sets ^= lowest
    return members


def _sets(subsets: list[int]) -> tuple[frozenset[int], ...]:
    """As sets of indexes, smallest first."""
    named = [[at for at in range(subset.bit_length()) if subset >> at & 1] for subset in subsets]
    return tuple(frozenset(indexes) for indexes in sorted(named, key=lambda x: (len(x), x)))
