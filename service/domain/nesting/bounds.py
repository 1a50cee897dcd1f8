"""Lengths and numbers of sheets that no layout can beat.

A line across the strip cuts pieces whose widths sum to no more than the strip's. So does any
dual feasible function of the widths: summed over each line and then along the strip, the
function's values times the heights are no more than its value of the strip times the length. With
the plain width that is the area bound. The two families here are those of Martello and Vigo (1998)
and of Carlier, Clautiaux and Moukrim (Computers & Operations Research 34, 2007), both from memory;
that they are dual feasible is tested. A piece that may turn counts with the lesser of its ways.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from service.domain.nesting.pieces import Kind

MOST_LOOKS = 4_000
"""How many values of functions are worked out at most; fewer functions are tried beyond."""

Dual = Callable[[int], int]


def strip_bound_um(kinds: Sequence[Kind], width_um: int, gap_um: int) -> int:
    """The least length of any layout of the kinds on a strip; 0 of none.

    The kinds are grown by the gap, ``width_um`` and the answer are not.
    """
    if not kinds:
        return 0
    grown_um = width_um + gap_um
    tallest_um = max(min(height for _, height in kind.ways) for kind in kinds)
    return max(tallest_um, *_lengths(kinds, grown_um)) - gap_um


def sheet_bound(kinds: Sequence[Kind], width_um: int, sheet_um: int, gap_um: int) -> int:
    """The least number of sheets of that length that hold the kinds; 0 of none.

    By length on a strip that wide, by width on a strip as wide as the sheet is long, and by
    counting pieces of which no two share a sheet.
    """
    if not kinds:
        return 0
    wide_um, long_um = width_um + gap_um, sheet_um + gap_um
    lying = [
        kind if kind.may_turn else replace(kind, width_um=kind.height_um, height_um=kind.width_um)
        for kind in kinds
    ]
    alone = sum(
        kind.count
        for kind in kinds
        if all(2 * across > wide_um and 2 * along > long_um for across, along in kind.ways)
    )
    upwards = max(-(-length // long_um) for length in _lengths(kinds, wide_um))
    across = max(-(-length // wide_um) for length in _lengths(lying, long_um))
    return max(1, alone, upwards, across)


def _lengths(kinds: Sequence[Kind], grown_um: int) -> Iterator[int]:
    """Each function's least grown length."""
    for function in _functions(kinds, grown_um):
        total = sum(
            kind.count * min(function(across) * along for across, along in kind.ways)
            for kind in kinds
        )
        yield -(-total // function(grown_um))


def _functions(kinds: Sequence[Kind], grown_um: int) -> Iterator[Dual]:
    """The plain width, then both families at the widths at which their values change."""
    yield lambda across: across
    sides = {side for kind in kinds for way in kind.ways for side in way[:1]}
    marks = {side for side in sides if 2 * side <= grown_um}
    marks |= {grown_um - side for side in sides if grown_um < 2 * side < 2 * grown_um}
    marks |= {grown_um // parts + 1 for parts in range(2, 9) if grown_um > parts}
    most = max(4, MOST_LOOKS // (2 * len(kinds)))
    ordered = sorted(marks)
    for mark in ordered[:: 1 + len(ordered) // most]:
        if 2 * mark <= grown_um:
            yield _keep_wide(mark, grown_um)
        yield _count_in(mark, grown_um)


def _keep_wide(least_um: int, grown_um: int) -> Dual:
    """What leaves less than ``least_um`` counts as all of the width, what is less as nothing."""

    def function(across: int) -> int:
        if across > grown_um - least_um:
            return grown_um
        return across if across >= least_um else 0

    return function


def _count_in(step_um: int, grown_um: int) -> Dual:
    """Twice how many whole steps; beyond half, what is left over is counted from the other end."""
    whole = grown_um // step_um

    def function(across: int) -> int:
        if 2 * across > grown_um:
            return 2 * (whole - (grown_um - across) // step_um)
        if 2 * across == grown_um:
            return whole
        return 2 * (across // step_um)

    return function
