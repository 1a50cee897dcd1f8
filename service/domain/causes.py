"""Why combinations are blocked: the fewest rules that between them leave none of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache, reduce
from operator import and_, or_

import numpy as np

from service.domain.choice_table import BLOCKERS, EVERY_RULE, NOT_OFFERED, Bits

Refusals = tuple[int, tuple[int, ...]]
"""Of one combination the bits of rules that refuse it, and those that refuse each of its sizes.

Sizes that do not exist are left out; a combination without any does not exist.
"""

KEPT_CAUSES = 1_024
"""Causes remembered, each for the bits it follows from alone; some kilobytes each at most."""

_ABSENT = int(NOT_OFFERED)


def smallest_cause(blocked: Bits, forbids: Callable[[int], bool]) -> tuple[str, ...]:
    """Rules, none of them needless, that between them block all of these combinations.

    ``forbids`` tells whether the rules of some bits alone block them all. It is not enough that
    each combination is blocked by one: a width may need two rules to be ruled out, one that asks
    for a wide print and one for a narrow, and sizes one rule for each.
    """
    return _fewest(np.unique(blocked).tolist(), forbids)


@lru_cache(KEPT_CAUSES)
def cause_of(patterns: tuple[int, ...]) -> tuple[str, ...]:
    """Rules that block combinations of these bits: those that block each, or else the fewest.

    Each rule blocks by itself. There are none where none of the combinations exists.
    """
    offered = [bits for bits in patterns if not bits & _ABSENT]
    if not offered:
        return ()
    return rules_of(reduce(and_, offered) or _smallest_cover(offered))


@lru_cache(KEPT_CAUSES)
def cause_by_size(refusals: tuple[Refusals, ...]) -> tuple[str, ...]:
    """The same where a combination is blocked once each of its sizes is refused.

    A rule that refuses every size there is blocks the combination by itself.
    """
    offered = [(rest, sizes) for rest, sizes in refusals if sizes and not rest & _ABSENT]
    if not offered:
        return ()
    always = reduce(and_, (rest | reduce(and_, sizes) for rest, sizes in offered))
    if always:
        return rules_of(always)

    def forbids(rules: int) -> bool:
        return all(rest & rules or all(bits & rules for bits in sizes) for rest, sizes in offered)

    return _fewest(list({rest | reduce(or_, sizes) for rest, sizes in offered}), forbids)


def cause_by_range(by_table: Bits, by_fit: Callable[[int], Bits]) -> tuple[str, ...]:
    """The same where rules may leave a combination no width, or no size, only together.

    ``by_fit`` gives the bits of width and sizes by the rules that count; rules of the table block
    each by itself.
    """
    blocked = by_table | by_fit(EVERY_RULE)
    offered = (blocked & NOT_OFFERED) == 0
    if not offered.any():
        return ()

    def forbids(rules: int) -> bool:
        left = by_table & np.uint64(rules | _ABSENT)
        return bool((left | by_fit(rules)).all())

    always = int(np.bitwise_and.reduce(blocked[offered]))
    if np.bitwise_and.reduce(by_table[offered]) or forbids(always):
        return rules_of(always)
    return smallest_cause(blocked, forbids)


def rules_of(bits: int) -> tuple[str, ...]:
    """The ids of the rules of these bits."""
    return tuple(rule.id for index, rule in enumerate(BLOCKERS) if bits >> index & 1)


def _fewest(patterns: Sequence[int], forbids: Callable[[int], bool]) -> tuple[str, ...]:
    cover = _smallest_cover([bits for bits in patterns if not bits & _ABSENT])
    kept = cover if forbids(cover) else EVERY_RULE
    # What is left out first stays out, so the rules that block most are tried last.
    for index in sorted(range(len(BLOCKERS)), key=lambda index: cover >> index & 1):
        without = kept & ~(1 << index)
        if without != kept and forbids(without):
            kept = without
    return rules_of(kept)


def _smallest_cover(patterns: Sequence[int]) -> int:
    """Bits of rules, none of it needless, of which each pattern has one.

    Rules that block most are kept first.
    """
    some = reduce(or_, patterns, 0)
    named = [index for index in range(len(BLOCKERS)) if some >> index & 1]
    counts = {index: sum(bits >> index & 1 for bits in patterns) for index in named}
    kept = sorted(named, key=lambda index: (counts[index], index))
    for index in list(kept):
        without = sum(1 << other for other in kept if other != index)
        if all(bits & without for bits in patterns):
            kept.remove(index)
    return sum(1 << index for index in kept)
