"""How many pieces of a line to start, for every number of good pieces a price looks at.

The number is the beta-binomial quantile of :mod:`service.domain.spoilage`, or, where the price book
lets the redo cost decide, that of :mod:`service.domain.redo_table`. A price looks at many
quantities at once, so the quantiles of 1, 2, 3 and more good pieces are found in one walk: from one
quantity to the next the probability is carried on by recurrence, in constant time for each step.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import lru_cache
from itertools import accumulate

from service.domain.methods import Method
from service.domain.price_book import PriceBook
from service.domain.redo_table import cheapest_starts, weighed_by_cost
from service.domain.spoilage import MOST_SHARE, Belief, Prior, SpoilageSeen

NOTHING_SEEN: Mapping[str, SpoilageSeen] = {}
"""Spoilage seen by method, of a shop that has made nothing yet."""

SUREST = 0.999
"""No probability that a cost decides on is carried further than this."""

_TABLES = 256
_FIRST_LOOK = 256


class StartsTable:
    """Least starts that reach 1, 2, 3 ... good pieces with a probability, worked out as asked for.

    ``belief`` is the beta distribution of the share of spoiled pieces; one without spoiled pieces
    starts as many as are wanted. One piece more always takes at least one start more. Threads may
    share it: two may work out the same numbers at once, and either are kept.
    """

    __slots__ = ("_belief", "_found", "_probability", "_shares")

    def __init__(self, belief: Belief, probability: float) -> None:
        """Begin with nothing worked out; ``probability`` above 0 and below 1."""
        if not 0 < probability < 1:
            raise ValueError(f"probability is {probability}; it must lie between 0 and 1")
        self._belief, self._probability = belief, probability
        self._found: tuple[int, ...] = ()
        self._shares: dict[int, tuple[float, ...]] = {}

    def of(self, good_pieces: int) -> int:
        """Pieces to start for that many good ones; ValueError below one."""
        if good_pieces < 1:
            raise ValueError(f"{good_pieces} good pieces make no sense; at least 1 is needed")
        if self._belief.spoiled == 0:
            return good_pieces
        found = self._found
        if good_pieces > len(found):
            most = max(good_pieces, 2 * len(found), _FIRST_LOOK)
            found = self._found = self._walk(most)
        return found[good_pieces - 1]

    def _walk(self, most: int) -> tuple[int, ...]:
        return least_starts(self._belief, self._probability, most)

    def greatest_shares(self, most: int) -> Sequence[float]:
        """By number of good pieces up to ``most``: the greatest starts per good piece from it on.

        The first entry, that of no pieces, is that of one.
        """
        kept = self._shares.get(most)
        if kept is None:
            self.of(most)
            shares = [self.of(pieces) / pieces for pieces in range(1, most + 1)]
            kept = tuple(accumulate(reversed([shares[0], *shares]), max))[::-1]
            self._shares[most] = kept
        return kept


def least_starts(belief: Belief, probability: float, most: int) -> tuple[int, ...]:
    """Starts that reach 1 to ``most`` good pieces with a probability.

    ``enough`` is the chance that of so many starts at least ``wanted`` come out good, ``one_short``
    that exactly one fewer does; both follow the beta-binomial's ratios from step to step.
    """
    good, spoiled = belief.good, belief.spoiled
    found: list[int] = []
    starts, enough, one_short = 0, 0.0, 1.0
    for wanted in range(1, most + 1):
        short = wanted - 1
        while starts < wanted or enough < probability:
            whole, bad = good + spoiled + starts, starts - short
            enough += one_short * (good + short) / whole
            one_short *= (spoiled + bad) / whole * (starts + 1) / (bad + 1)
            starts += 1
        found.append(starts)
        bad = starts - wanted
        one_short *= (bad + 1) / wanted * (good + short) / (spoiled + bad)
        enough -= one_short
    return tuple(found)


class StartsByCost(StartsTable):
    """Starts that cost least until 1, 2, 3 ... good pieces are there, as the redo cost decides.

    ``redo_ratio`` is what another run costs before its first piece, in pieces. Beyond
    :func:`service.domain.redo_table.weighed_by_cost` good pieces the probability holds on that the
    redo cost decides there: for more it would fall, so that errs to the safe side.
    """

    __slots__ = ("_redo_ratio",)

    def __init__(self, belief: Belief, redo_ratio: float) -> None:
        """Begin with nothing worked out; ``redo_ratio`` 0 or more."""
        super().__init__(belief, SUREST)
        self._redo_ratio = redo_ratio

    def _walk(self, most: int) -> tuple[int, ...]:
        weighed = min(most, weighed_by_cost(self._belief))
        by_cost, reached = cheapest_starts(self._belief, self._redo_ratio, weighed)
        found = list(by_cost)
        for starts in least_starts(self._belief, min(reached, SUREST), most)[weighed:]:
            found.append(max(starts, found[-1] + 1))
        return tuple(found)


def starts_table(
    book: PriceBook,
    methods: Sequence[Method],
    seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN,
    redo_ratio: float | None = None,
) -> StartsTable:
    """The table for a line whose decorations are made by ``methods``.

    With a ``redo_ratio`` it is the redo cost that decides: what another run costs before its first
    piece, in pieces.

    ``seen`` counts by method id what the shop has spoiled. A method's share is the mean of its
    prior after what was seen. A piece is good when every decoration on it is: with several the
    shares combine as 1 - (1 - a)(1 - b), at the weight of the one least is known of. Pieces
    without a decoration are not spoiled. A share above 0.9 is reckoned with as 0.9: what spoils
    more is for the bench to mend, and no number of starts makes up for it.
    """
    belief = spoilage_belief(book, methods, seen)
    if redo_ratio is not None:
        return _table_by_cost(belief.spoiled, belief.good, redo_ratio)
    return _table(belief.spoiled, belief.good, float(book.spoilage_probability))


def spoilage_belief(
    book: PriceBook, methods: Sequence[Method], seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN
) -> Belief:
    """What is believed of the share of pieces spoiled; :func:`starts_table` says how."""
    beliefs = [_belief(book, method, seen.get(method.id)) for method in methods]
    weight = min((belief.good + belief.spoiled for belief in beliefs), default=1.0)
    kept = math.prod(1 - belief.share for belief in beliefs)
    if kept < 1 - MOST_SHARE:
        return Belief(spoiled=MOST_SHARE * weight, good=(1 - MOST_SHARE) * weight)
    if len(beliefs) == 1:
        return beliefs[0]
    return Belief(spoiled=(1 - kept) * weight, good=kept * weight)


def _belief(book: PriceBook, method: Method, seen: SpoilageSeen | None) -> Belief:
    share: Decimal = book.spoilage_share if method.spoilage_share is None else method.spoilage_share
    prior = Prior(share=float(share), weight=float(book.spoilage_prior_pieces))
    return prior.after(seen or SpoilageSeen(spoiled=0, made=0))


@lru_cache(maxsize=_TABLES)
def _table(spoiled: float, good: float, probability: float) -> StartsTable:
    return StartsTable(Belief(spoiled=spoiled, good=good), probability)


@lru_cache(maxsize=_TABLES)
def _table_by_cost(spoiled: float, good: float, redo_ratio: float) -> StartsTable:
    return StartsByCost(Belief(spoiled=spoiled, good=good), redo_ratio)
