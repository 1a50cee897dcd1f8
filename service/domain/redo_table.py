"""The starts that cost least until enough pieces are good, for every number of good pieces.

The rule is that of :func:`service.domain.spoilage.redo_starts` (the reject allowance problem), with
good pieces beta-binomial as what was seen leaves the share in doubt: with V(n) the least expected
cost until n pieces are good, S what a run costs before its first piece and every cost in pieces,

    V(n) = min over N of S + N + sum over k of P(k good of N) V(n - k)

Each run is taken to be spoiled at a share drawn anew: what a first run teaches is not reckoned
with. The share known for sure gives the same starts as that function.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from service.domain.spoilage import Belief

Floats = NDArray[np.float64]

MOST_BY_COST = 200
MOST_SPOILED = 60
"""Good pieces up to which every number is weighed by its cost, fewer where more than so many are
expected to be spoiled: for bounded work."""

_MOST_TIMES = 4
_MORE_STARTS = 200
_SMALLEST_GAIN = 1e-12


def weighed_by_cost(belief: Belief) -> int:
    """Good pieces up to which every number is weighed by its cost; at least 1."""
    return max(1, min(MOST_BY_COST, int(MOST_SPOILED * belief.good / belief.spoiled)))


def cheapest_starts(belief: Belief, ratio: float, most: int) -> tuple[tuple[int, ...], float]:
    """Starts for 1 to ``most`` good pieces, and the chance that the last of these are enough.

    ``ratio`` is S, 0 or more, and some pieces are expected to be spoiled. One piece more always
    takes at least one start more: where the rule alone would not ask for it, that is the least that
    keeps totals from falling.
    """
    chances = _Chances(belief)
    costs = np.zeros(most + 1)
    found: list[int] = []
    for wanted in range(1, most + 1):
        first = found[-1] + 1 if found else 1
        starts, costs[wanted] = _cheapest(chances, costs[:wanted], ratio, first)
        found.append(starts)
    return tuple(found), 1 - chances.short(most, found[-1])


class _Chances:
    """Chances of 0, 1, 2 ... spoiled pieces of so many started: beta-binomial, kept by starts."""

    def __init__(self, belief: Belief) -> None:
        self._belief = belief
        self._log_none = [0.0]
        self._kept: dict[int, Floats] = {}

    def of(self, starts: int) -> Floats:
        """For 0 to ``starts`` spoiled; by their ratios from one to the next."""
        kept = self._kept.get(starts)
        if kept is None:
            good, spoiled = self._belief.good, self._belief.spoiled
            while len(self._log_none) <= starts:
                before = len(self._log_none) - 1
                step = math.log1p(-spoiled / (good + spoiled + before))
                self._log_none.append(self._log_none[-1] + step)
            k = np.arange(float(starts))
            growth = (starts - k) / (k + 1) * (spoiled + k) / (good + starts - k - 1)
            logs = np.concatenate(([self._log_none[starts]], np.log(growth)))
            kept = self._kept[starts] = np.exp(np.cumsum(logs))
        return kept

    def short(self, wanted: int, starts: int) -> float:
        """The chance that fewer than ``wanted`` of them are good."""
        return float(self.of(starts)[starts - wanted + 1 :].sum())


def _cheapest(chances: _Chances, later: Floats, ratio: float, first: int) -> tuple[int, float]:
    """The cheapest starts from ``first`` on, and what they cost until all is good.

    ``later`` are the costs of 0, 1, 2 ... missing pieces, fewer than those wanted. A start more
    saves at most what one missing piece costs, where there is a shortfall at all: the search ends
    where that is less than the start.
    """
    wanted = len(later)
    best, best_cost = first, math.inf
    for starts in range(first, _MOST_TIMES * first + _MORE_STARTS):
        spoiled = chances.of(starts)
        short = spoiled[starts - wanted + 1 : starts]
        cost = (ratio + starts + float(short @ later[1:])) / (1 - spoiled[starts])
        if cost < best_cost * (1 - _SMALLEST_GAIN):
            best, best_cost = starts, cost
        one_missing = later[1] if wanted > 1 else best_cost
        if chances.short(wanted, starts) * one_missing <= 1:
            break
    return best, best_cost
