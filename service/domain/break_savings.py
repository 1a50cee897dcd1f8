"""What is taken off an order just below a quantity break, so that more pieces never cost less.

Below a break the pieces asked for may cost more than they and a few others would at that break: 11
at 10.00 are 110.00, 12 at 9.00 are 108.00. So an order is charged the least of

    told    what its lines cost at the breaks they reach
    lifted  what they cost at a higher break, and for every piece still missing to it what one
            piece adds at the least: the cheapest blank of the cheapest line and the work on it

A larger order costs no less than what lifts the smaller one to its breaks, because a line's total
grows by at least that with each piece. So no total falls when pieces are added, to the minor unit:
lines are rounded first, and the least a piece adds is cut down to whole units.

Artworks that share lines are lifted together, others each for themselves. Where lifting one piece
may serve several artworks the most any of them needs is charged. What is taken off is split in
proportion to what each line saves, so no line falls below its price at the higher break.

So no piece costs more when pieces are added to lines of one artwork each. Where artworks share
lines, the cheapest lift may become another one: what one line saved is then another's, and a piece
of the first costs more, though the order does not cost less.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from service.domain.money import split_by_largest_remainder
from service.domain.price_book import QuantityBreak

Group = Sequence[int]
"""Indices of the lines whose pieces count together for a break."""

ByLine = Callable[[int, int], int]
"""Minor units of the line of an index, when so many pieces count for its break."""


def savings_minor(
    breaks: Sequence[QuantityBreak],
    pieces: Sequence[int],
    groups: Sequence[Group],
    *,
    told: ByLine,
    one_more: ByLine,
    split_in_order: Sequence[int],
) -> list[int]:
    """Minor units taken off each line, none below 0.

    ``pieces`` are those of the lines and ``groups`` those that count together, each line in at
    least one. ``told`` is a line's total and ``one_more`` the least that one piece more adds to
    it. Units that are left over in a split go to lines in the order of ``split_in_order``.
    """
    taken = [0] * len(pieces)
    for together in _connected(groups):
        part = _Connected(breaks, pieces, together, told, one_more)
        off, saved = part.off_and_saved()
        lines = [index for index in split_in_order if index in saved]
        if off:
            parts = split_by_largest_remainder(off, [saved[index] for index in lines])
            for index, minor in zip(lines, parts, strict=True):
                taken[index] = minor
    return taken


def _connected(groups: Sequence[Group]) -> list[list[Group]]:
    """Groups that share lines, together."""
    found: list[list[Group]] = []
    for group in groups:
        touching = [one for one in found if any(set(group) & set(other) for other in one)]
        found = [one for one in found if one not in touching]
        found.append([*(other for one in touching for other in one), group])
    return found


@dataclass(frozen=True, slots=True)
class _Connected:
    """Groups that share lines, and what these cost."""

    breaks: Sequence[QuantityBreak]
    pieces: Sequence[int]
    groups: Sequence[Group]
    told: ByLine
    one_more: ByLine

    def off_and_saved(self) -> tuple[int, Mapping[int, int]]:
        """What is taken off them together, and what each line saves at the break it is lifted to.

        The former is never more than the sum of the latter.
        """
        now = [sum(self.pieces[index] for index in group) for group in self.groups]
        starts = [step.from_pieces for step in self.breaks]
        reached = max(start for start in starts if start <= max(now))
        asked = _Totals(self.told, self.groups, now)
        off, lifted = 0, dict(asked.by_line)
        for top in (start for start in starts if start >= reached):
            for charged, totals in self._lifts(now, [one for one in starts if one <= top]):
                saved = asked.whole - totals.whole - charged
                if saved > off:
                    off, lifted = saved, dict(totals.by_line)
        return off, {index: asked.by_line[index] - lifted[index] for index in lifted}

    def _lifts(self, now: Sequence[int], starts: Sequence[int]) -> Iterator[tuple[int, _Totals]]:
        """A charge, and the totals with some groups lifted, to the last of ``starts`` at most.

        For one charge every group is lifted as high as that pays for, and one to the last start;
        pieces are charged at that break, the lowest that any of them could be at. The totals are
        the same ones each time, lifted on.
        """
        top, totals = starts[-1], _Totals(self.told, self.groups, now)
        each = [min(self.one_more(index, top) for index in group) for group in self.groups]
        steps = sorted(
            (max(0, start - count) * price, start, group)
            for group, (count, price) in enumerate(zip(now, each, strict=True))
            for start in starts
        )
        highest = max(now)
        for charged, paid in groupby(steps, key=lambda step: step[0]):
            for _, start, group in paid:
                totals.lift(self.groups[group], start)
                highest = max(highest, start)
            if highest >= top:
                yield charged, totals


class _Totals:
    """Totals of the lines where so many pieces count in each group, and their sum."""

    __slots__ = ("_counted", "_told", "by_line", "whole")

    def __init__(self, told: ByLine, groups: Sequence[Group], counts: Sequence[int]) -> None:
        self._told = told
        self._counted: dict[int, int] = {}
        for group, count in zip(groups, counts, strict=True):
            for index in group:
                self._counted[index] = max(self._counted.get(index, 0), count)
        self.by_line = {index: told(index, count) for index, count in self._counted.items()}
        self.whole = sum(self.by_line.values())

    def lift(self, group: Group, count: int) -> None:
        """Let at least so many pieces count for the group's lines."""
        for index in group:
            if count > self._counted[index]:
                self._counted[index] = count
                before, now = self.by_line[index], self._told(index, count)
                self.by_line[index] = now
                self.whole += now - before
