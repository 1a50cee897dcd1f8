"""Conflicts of a domain that is given as bit masks over its combinations."""

from __future__ import annotations

from collections.abc import Sequence

from service.domain.conflicts import ConflictReport, explain_granted


def explain_conflicts(feasible: int, agrees: Sequence[int]) -> ConflictReport:
    """Conflicts and repairs from the masks of what works and of what grants each wish."""
    granted: set[int] = set()
    for row in range(feasible.bit_length()):
        if feasible >> row & 1:
            granted.add(sum((mask >> row & 1) << wish for wish, mask in enumerate(agrees)))
    return explain_granted(granted, len(agrees))
