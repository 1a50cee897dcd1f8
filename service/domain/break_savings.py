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
        asked = self._totals(now)
        off, lifted = 0, asked
        for counts, charged in self._lifts(now):
            totals = self._totals(counts)
            saved = sum(asked.values()) - sum(totals.values()) - charged
            if saved > off:
                off, lifted = saved, totals
        return off, {index: asked[index] - lifted[index] for index in asked}

    def _totals(self, counts: Sequence[int]) -> dict[int, int]:
        """Totals of the lines where so many pieces count in each group."""
        counted: dict[int, int] = {}
        for group, count in zip(self.groups, counts, strict=True):
            for index in group:
                counted[index] = max(counted.get(index, 0), count)
        return {index: self.told(index, count) for index, count in counted.items()}

    def _lifts(self, now: Sequence[int]) -> Iterator[tuple[Sequence[int], int]]:
        """Counts with some groups lifted to breaks, the highest first reached, and the charge.

        For one charge every group is lifted as high as that pays for, up to one highest break;
        pieces are charged at that break, the lowest that any of them could be at.
        """
        starts = [step.from_pieces for step in self.breaks]
        reached = max(start for start in starts if start <= max(now))
        for top in (start for start in starts if start >= reached):
            each = [min(self.one_more(index, top) for index in group) for group in self.groups]
            prices = [
                [(start, max(0, start - count) * price) for start in starts if start <= top]
                for count, price in zip(now, each, strict=True)
            ]
            for charge in sorted({charge for steps in prices for _, charge in steps}):
                counts = [
                    max(count, *(start for start, price in steps if price <= charge))
                    for count, steps in zip(now, prices, strict=True)
                ]
                if max(counts) >= top:
                    yield counts, charge
