"""One layout: hollow after hollow, the lowest first, each by the piece that suits it best.

Source: lowest-gap filling with scored fitness, as in Burke, Kendall and Whitwell (Operations
Research 52, 2004) and Leung, Zhang and Sim (EJOR 215, 2011), both from memory. Ours is that
what nearly fits is scored below what fits, and a hollow is never left with a rest too narrow for
any piece while some piece avoids that.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from service.domain.nesting.ranking import Ranking
from service.domain.nesting.skyline import WALL, Skyline

ENDLESS = WALL - 1
"""The length of a strip that is as long as need be."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How much narrower than a hollow, and lower than its walls, still counts as suiting it."""

    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Filling:
    """What lies on one strip or sheet: bit of the piece and its corner; ``left`` are the others."""

    laid: tuple[tuple[int, int, int], ...]
    left: int
    area: int


@dataclass(frozen=True, slots=True)
class Space:
    """A strip to fill, all measures grown; filling ends early when more than ``waste`` is lost."""

    width: int
    length: int
    waste: int


def fill(ranking: Ranking, available: int, space: Space, tolerance: Tolerance) -> Filling:
    """Lay what of ``available`` goes on a strip, hollow after hollow."""
    return _Filler(ranking, available, space, tolerance).fill(Skyline(space.width))


class _Filler:
    """One filling under way. Its loops are where all the time goes, so look-ups are kept local."""

    __slots__ = ("_available", "_narrowest", "_ranking", "_space", "_tolerance")

    def __init__(
        self, ranking: Ranking, available: int, space: Space, tolerance: Tolerance
    ) -> None:
        self._ranking = ranking
        self._available = available
        self._space = space
        self._tolerance = tolerance
        self._narrowest = 0

    def fill(self, skyline: Skyline) -> Filling:
        across, along = self._ranking.widths, self._ranking.heights
        length, waste = self._space.length, self._space.waste
        lengths_across, upto_across = across.lengths, across.upto
        lengths_along, upto_along = along.lengths, along.upto
        tops, widths, lay, walls = skyline.tops, skyline.widths, skyline.lay, skyline.walls
        available = self._available
        laid = []
        area = 0
        while available:
            y = min(tops)
            step = tops.index(y)
            width = widths[step]
            fitting = available & upto_across[bisect_right(lengths_across, width)]
            fitting &= upto_along[bisect_right(lengths_along, length - y)]
            left, right = beside = walls(step)
            if fitting:
                bit, at_left = self._choose(
                    fitting,
                    width,
                    min(left, length) - y,
                    min(right, length) - y,
                )
                available &= ~(3 << (bit & ~1))
                self._available = available
                wide, high = across.of[bit], along.of[bit]
                laid.append((bit, lay(step, wide, y + high, beside, at_left=at_left), y))
                area += wide * high
            elif left == right == WALL:
                break
            else:
                waste -= width * (min(left, right, length) - y)
                if waste < 0:
                    break
                skyline.lift(step, left, right)
        return Filling(tuple(laid), available, area)

    def _choose(
        self, fitting: int, width: int, rise_left: int, rise_right: int
    ) -> tuple[int, bool]:
        """The piece for a hollow and whether it goes to its left wall.

        As wide as the hollow is best, nearly as wide next; then what leaves room for another
        piece. Among those, level with a wall is best, nearly level next, then the order decides.
        """
        across, along, tolerance = self._ranking.widths, self._ranking.heights, self._tolerance
        narrow, near = tolerance.width, tolerance.height
        pool = fitting & across.masks.get(width, 0)
        if not pool and narrow:
            pool = fitting & across.within(width - narrow, width)
        if not pool:
            lengths = across.lengths
            pool = fitting & across.upto[bisect_right(lengths, width - self._least_width())]
        level = along.masks.get
        chosen = pool and pool & (level(rise_left, 0) | level(rise_right, 0))
        if not chosen and near and pool:
            within = along.within
            chosen = within(rise_left - near, rise_left) | within(rise_right - near, rise_right)
            chosen &= pool
        chosen = chosen or pool or fitting
        bit = (chosen & -chosen).bit_length() - 1
        high = along.of[bit]
        if rise_left - near <= high <= rise_left:
            return bit, True
        if rise_right - near <= high <= rise_right:
            return bit, False
        return bit, rise_left >= rise_right

    def _least_width(self) -> int:
        """The least width that is still available; never less than it was."""
        widths, narrowest = self._ranking.widths, self._narrowest
        if self._available & widths.masks[widths.lengths[narrowest]]:
            return widths.lengths[narrowest]
        lengths, masks, available = widths.lengths, widths.masks, self._available
        while not available & masks[lengths[narrowest]]:
            narrowest += 1
        self._narrowest = narrowest
        return lengths[narrowest]
