"""Why combinations are blocked: the fewest rules that between them leave none of them."""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from operator import or_

import numpy as np

from service.domain.choice_table import BLOCKERS, EVERY_RULE, NOT_OFFERED, Bits


def smallest_cause(blocked: Bits, forbids: Callable[[int], bool]) -> tuple[str, ...]:
    """Rules, none of them needless, that between them block all of these combinations.

    ``forbids`` tells whether the rules of some bits alone block them all. It is not enough that
    each combination is blocked by one: a width may need two rules to be ruled out, one that asks
    for a wide print and one for a narrow, and sizes one rule for each.
    """
    cover = _smallest_cover(blocked)
    kept = cover if forbids(cover) else EVERY_RULE
    # What is left out first stays out, so the rules that block most are tried last.
    for index in sorted(range(len(BLOCKERS)), key=lambda index: cover >> index & 1):
        without = kept & ~(1 << index)
        if without != kept and forbids(without):
            kept = without
    return rules_of(kept)


def rules_of(bits: int) -> tuple[str, ...]:
    """The ids of the rules of these bits."""
    return tuple(rule.id for index, rule in enumerate(BLOCKERS) if bits >> index & 1)


def _smallest_cover(blocked: Bits) -> int:
    """Bits of rules, none of it needless, of which each of the combinations is blocked by one.

    Rules that block most are kept first. Combinations that do not exist need no rule.
    """
    seen = [int(bits) for bits in np.unique(blocked) if not int(bits) & int(NOT_OFFERED)]
    some = reduce(or_, seen, 0)
    named = [index for index in range(len(BLOCKERS)) if some >> index & 1]
    counts = {index: sum(bits >> index & 1 for bits in seen) for index in named}
    kept = sorted(named, key=lambda index: (counts[index], index))
    for index in list(kept):
        without = sum(1 << other for other in kept if other != index)
        if all(bits & without for bits in seen):
            kept.remove(index)
    return sum(1 << index for index in kept)
