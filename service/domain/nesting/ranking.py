"""Pieces in an order of preference, kept as bits so that choosing one takes no loop.

Bit ``2 * rank`` is the piece of that rank upright, the bit after it the same piece turned. For each
side there is one number with the bits of all pieces that have it, and one of those that have less.
What fits a hollow is then one ``and``, and the first of it in order is its lowest bit.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence

Ways = Sequence[tuple[int, int]]
"""Width and height of each way a piece may lie, one or two."""


class _Side:
    """The bits of the pieces by one side."""

    __slots__ = ("lengths", "masks", "of", "upto")

    def __init__(self, lengths: Iterable[int], bits: int) -> None:
        self.lengths = sorted(set(lengths))
        self.masks = dict.fromkeys(self.lengths, 0)
        self.of = [0] * bits
        self.upto = [0]

    def add_up(self) -> None:
        """Make the numbers of all pieces that measure up to each length."""
        mask = 0
        upto = [0]
        for length in self.lengths:
            mask |= self.masks[length]
            upto.append(mask)
        self.upto = upto

    def at_most(self, length: int) -> int:
        """The pieces that measure no more."""
        return self.upto[bisect_right(self.lengths, length)]

    def within(self, least: int, most: int) -> int:
        """The pieces that measure ``least`` to ``most``, both included."""
        lengths, upto = self.lengths, self.upto
        return upto[bisect_right(lengths, most)] & ~upto[bisect_right(lengths, least - 1)]

    def exchange(self, one: int, other: int) -> None:
        """Let two bits change places; a length of 0 is a way that there is not."""
        of, masks = self.of, self.masks
        both = 1 << one | 1 << other
        for bit in (one, other):
            if of[bit]:
                masks[of[bit]] ^= both
        of[one], of[other] = of[other], of[one]


class Ranking:
    """The pieces of one strip, each with its ways, in an order that may be changed."""

    __slots__ = ("_ways", "all", "areas", "heights", "order", "widths")

    def __init__(self, pieces: Sequence[Ways], order: Iterable[int]) -> None:
        """The pieces, and in which order they come: their indexes."""
        self._ways = pieces
        self.areas = [ways[0][0] * ways[0][1] for ways in pieces]
        self.arrange(order)

    def arrange(self, order: Iterable[int]) -> None:
        """Set the order: the indexes of all pieces."""
        self.order = list(order)
        bits = 2 * len(self.order)
        self.widths = _Side((width for ways in self._ways for width, _ in ways), bits)
        self.heights = _Side((height for ways in self._ways for _, height in ways), bits)
        self.all = 0
        for rank, piece in enumerate(self.order):
            for way, (width, height) in enumerate(self._ways[piece]):
                bit = 2 * rank + way
                self.all |= 1 << bit
                for side, length in ((self.widths, width), (self.heights, height)):
                    side.of[bit] = length
                    side.masks[length] |= 1 << bit
        self._add_up()

    def alike(self, one: int, other: int) -> bool:
        """Whether the pieces of two ranks can do the same."""
        return self._ways[self.order[one]] == self._ways[self.order[other]]

    def exchange(self, one: int, other: int) -> None:
        """Let the pieces of two ranks change places; done twice, nothing has changed."""
        order = self.order
        order[one], order[other] = order[other], order[one]
        for way in (0, 1):
            bits = 2 * one + way, 2 * other + way
            if bool(self.widths.of[bits[0]]) != bool(self.widths.of[bits[1]]):
                self.all ^= 1 << bits[0] | 1 << bits[1]
            self.widths.exchange(*bits)
            self.heights.exchange(*bits)
        self._add_up()

    def _add_up(self) -> None:
        self.widths.add_up()
        self.heights.add_up()
