"""How many pieces to start so that enough come out good, from what is known of spoilage.

Three rules:

    known share     the binomial quantile: spoiled pieces before the n-th good one are negative
                    binomial (:func:`starts_for`)
    pieces seen     the same with the share drawn from a beta distribution, which is the shop's
                    stated prior after the pieces made so far (:func:`starts_seen`)
    cost of a redo  the starts that cost least when a shortfall is made up by another run; known
                    as the reject allowance problem (:func:`redo_starts`)

Every piece is taken to be spoiled or not independently of the others, at one share. That is a
simplification: a wrong setting spoils many at once, and no number here covers that.

Shares and probabilities are floats, and so is the ratio of two costs by which plans are compared.
An amount of money is made of Decimals alone: expected runs and starts, which are probabilities
summed, are rounded to Decimals of nine places before a cost is multiplied by them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.domain.money import wide_arithmetic

Floats = NDArray[np.float64]

MOST_PIECES = 1_000_000
"""Good pieces that can be asked for, and spoiled pieces that can be reckoned with."""

MOST_SHARE = 0.9
"""Greatest share of spoiled pieces that is reckoned with."""

MOST_PROBABILITY = 0.999999
"""Greatest probability of reaching the good pieces that can be asked for."""

MOST_MADE = 10**9
"""Greatest number of pieces seen, and greatest weight of a prior."""

LEAST_WEIGHT = 0.01
"""Least weight of a prior; below it, it says nothing."""

MOST_REDO_SPOILED = 350
"""Spoiled pieces expected up to which the choice by cost is worked out; its work grows with their
square, and so many already take a tenth of a second.
"""

MOST_COST = 10**12
"""Greatest cost that is weighed, in the currency's major unit."""

MOST_COST_RATIO = 10**9
"""How many times the cost of a piece a run's fixed cost may be."""

_TIE = 1e-9
"""A probability short by less counts as reached, so that what ties on paper ties here too."""

_PLACES = 9
_SMALLEST_GAIN = 1e-12
_FIRST_LOOK = 32


def _check_pieces(good_pieces: int) -> None:
    if not 1 <= good_pieces <= MOST_PIECES:
        raise ValueError(f"good_pieces is {good_pieces}; it must be 1 to {MOST_PIECES}")


def _check_share(share: float) -> None:
    if not 0 <= share <= MOST_SHARE:
        raise ValueError(f"share is {share}; it must be 0 to {MOST_SHARE}")


def _check_probability(probability: float) -> None:
    if not 0 < probability <= MOST_PROBABILITY:
        raise ValueError(
            f"probability is {probability}; it must be above 0 and at most {MOST_PROBABILITY}"
        )


class Interval(NamedTuple):
    """Limits of a share, each 0 to 1."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SpoilageSeen:
    """Pieces ``spoiled`` of the pieces ``made``, spoiled ones among them; else ValueError."""

    spoiled: int
    made: int

    def __post_init__(self) -> None:
        if not 0 <= self.made <= MOST_MADE:
            raise ValueError(f"made is {self.made}; it must be 0 to {MOST_MADE}")
        if not 0 <= self.spoiled <= self.made:
            raise ValueError(
                f"spoiled is {self.spoiled}; it must be 0 to the {self.made} pieces made"
            )


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of a share before pieces are seen, as if ``weight`` pieces had been.

    The share is Beta(share * weight, (1 - share) * weight) distributed: ``share`` is its mean, and
    ``weight``, 0.01 to 10^9, says how many pieces it takes to outvote it. A share of 0 expects no
    spoiled piece until one is seen. ValueError outside these limits and for a share above 0.9.
    """

    share: float
    weight: float

    def __post_init__(self) -> None:
        _check_share(self.share)
        if not LEAST_WEIGHT <= self.weight <= MOST_MADE:
            raise ValueError(
                f"weight is {self.weight}; it must be {LEAST_WEIGHT} to {MOST_MADE} pieces"
            )

    def after(self, seen: SpoilageSeen) -> Belief:
        """The belief once those pieces are seen (the beta distribution is conjugate)."""
        return Belief(
            spoiled=self.share * self.weight + seen.spoiled,
            good=(1 - self.share) * self.weight + seen.made - seen.spoiled,
        )


@dataclass(frozen=True, slots=True)
class Belief:
    """A beta distribution of the share of spoiled pieces: Beta(``spoiled``, ``good``)."""

    spoiled: float
    good: float

    @property
    def share(self) -> float:
        """Mean of the share."""
        return self.spoiled / (self.spoiled + self.good)


JEFFREYS = Prior(share=0.5, weight=1)
"""Beta(1/2, 1/2), the prior that favours no share; for shops that know nothing of a method."""


@dataclass(frozen=True, slots=True)
class RedoChoice:
    """The starts that cost least, shortfalls made up by further runs.

    ``probability_reached`` is that of getting the good pieces from these starts without another
    run. ``expected_runs`` and ``expected_starts`` count all runs until the last good piece;
    ``expected_cost`` is what they cost, not rounded to a currency.
    """

    starts: int
    probability_reached: float
    expected_runs: Decimal
    expected_starts: Decimal
    expected_cost: Decimal


def starts_for(good_pieces: int, share: Decimal | float, probability: float) -> int:
    """The least N of which at least ``good_pieces`` come out good with that ``probability``.

    N is the least with P(Binomial(N, 1 - share) >= good_pieces) >= probability, where short by less
    than 10^-9 counts as reached. ``good_pieces`` is 1 to 1 000 000, ``share`` 0 to 0.9 and
    ``probability`` above 0 and at most 0.999999; ValueError outside, and where over a million
    pieces would be spoiled. Source: N - good_pieces is a quantile of the negative binomial
    distribution, from memory.
    """
    known = float(share)
    _check_pieces(good_pieces)
    _check_share(known)
    _check_probability(probability)
    return _starts_known(good_pieces, known, probability)


def starts_seen(good_pieces: int, seen: SpoilageSeen, prior: Prior, probability: float) -> int:
    """As :func:`starts_for` where the share is not known but pieces were ``seen``.

    The share is what ``prior`` becomes after ``seen``; good pieces are then beta-binomial. The
    more pieces are seen, the nearer this comes to the quantile at the share seen. With little seen
    and a flat prior the answer can be many times the good pieces: nothing then tells a good method
    from a bad one. Limits and ValueError as :func:`starts_for`.
    """
    _check_pieces(good_pieces)
    _check_probability(probability)
    return _starts_believed(good_pieces, prior.after(seen), probability)


def probability_reached(good_pieces: int, starts: int, share: Decimal | float) -> float:
    """Probability that at least ``good_pieces`` of ``starts`` come out good; limits as above."""
    known = float(share)
    _check_pieces(good_pieces)
    _check_share(known)
    return _reached_by(_spoiling_known(good_pieces, known), good_pieces, starts)


def probability_reached_seen(
    good_pieces: int, starts: int, seen: SpoilageSeen, prior: Prior
) -> float:
    """As :func:`probability_reached` where the share is not known but pieces were ``seen``."""
    _check_pieces(good_pieces)
    return _reached_by(_spoiling_believed(good_pieces, prior.after(seen)), good_pieces, starts)


def redo_starts(
    good_pieces: int,
    share: Decimal | float,
    setup_cost: Decimal,
    piece_cost: Decimal,
    redo_extra: Decimal = Decimal(0),
) -> RedoChoice:
    """The starts N >= ``good_pieces`` of the least expected cost V until all pieces are good.

    A run costs ``setup_cost`` and ``piece_cost`` for each start; what it leaves short is made by
    another run, again with spares of its own, and ``redo_extra`` is what each further run costs
    beyond its set-up (the delay, an express delivery). With S the set-up, c the piece:
    V(n) = min over N of S + c N + sum over k of P(k good of N) V(n - k). Good pieces beyond those
    wanted are worth nothing. Of equal costs the fewest starts are chosen.

    Limits as :func:`starts_for`, at most 350 spoiled pieces expected, costs 0 to 10^12, a piece's
    above 0, and a run's fixed cost at most 10^9 times a piece's; else ValueError. Source: the
    reject allowance problem (Levitan 1960, White 1965; survey by Grosfeld-Nir and Gerchak
    2004), from memory.
    """
    known = float(share)
    _check_pieces(good_pieces)
    _check_share(known)
    if good_pieces * known / (1 - known) > MOST_REDO_SPOILED:
        raise ValueError(
            f"good_pieces is {good_pieces} at a share of {known}; the choice by cost is worked out "
            f"for at most {MOST_REDO_SPOILED} spoiled pieces expected, a probability can be instead"
        )
    for name, cost in (
        ("setup_cost", setup_cost),
        ("piece_cost", piece_cost),
        ("redo_extra", redo_extra),
    ):
        if not cost.is_finite() or not 0 <= cost <= MOST_COST:
            raise ValueError(f"{name} is {cost}; it must be 0 to {MOST_COST}")
    with wide_arithmetic():
        if not piece_cost or setup_cost + redo_extra > MOST_COST_RATIO * piece_cost:
            raise ValueError(
                f"piece_cost is {piece_cost}; it must be above 0 and at least 1/{MOST_COST_RATIO} "
                f"of a run's fixed cost of {setup_cost + redo_extra}"
            )
        ratio = (setup_cost + redo_extra) / piece_cost
        plan = _cheapest(good_pieces, known, float(ratio))
        runs, starts = (Decimal(f"{part:.{_PLACES}f}") for part in (plan.runs, plan.all_starts))
        cost = setup_cost * runs + piece_cost * starts + redo_extra * (runs - 1)
    return RedoChoice(
        starts=plan.starts,
        probability_reached=probability_reached(good_pieces, plan.starts, known),
        expected_runs=runs,
        expected_starts=starts,
        expected_cost=cost,
    )


def wilson(spoiled: int, made: int, level: float) -> Interval:
    """Wilson's score interval of the share of spoiled pieces, without continuity correction.

    ``level`` is the confidence, above 0 and below 1, for both sides together. ValueError outside,
    for no pieces made, and for more spoiled than made. Source: Wilson 1927, as method 3 of
    Newcombe, Statistics in Medicine 17:857-872, 1998 (from memory).
    """
    SpoilageSeen(spoiled, made)
    if made < 1:
        raise ValueError(f"made is {made}; at least 1 piece must have been made")
    if not 0 < level < 1:
        raise ValueError(f"level is {level}; it must be above 0 and below 1")
    z2 = NormalDist().inv_cdf((1 + level) / 2) ** 2
    share = spoiled / made
    middle = (share + z2 / (2 * made)) / (1 + z2 / made)
    spread = math.sqrt(z2 * (share * (1 - share) + z2 / (4 * made)) / made) / (1 + z2 / made)
    return Interval(
        low=max(0.0, middle - spread) if spoiled else 0.0,
        high=min(1.0, middle + spread) if spoiled < made else 1.0,
    )


def _chances(log_none: float, growth: Floats) -> Floats:
    """Probabilities of 0, 1, 2 ... from the logarithm of the first and the growth to each next."""
    with np.errstate(divide="ignore"):  # growth 0: what cannot be has the logarithm -infinity
        logs = np.concatenate(([log_none], np.log(growth)))
    chances: Floats = np.exp(np.cumsum(logs))
    return chances


# Spoiled pieces before the last good one


@dataclass(frozen=True, slots=True)
class _Spoiling:
    """Probabilities of 0, 1, 2 ... spoiled pieces before the last good one, by their logarithms.

    ``log_none`` is that of 0; ``growth`` gives, for an array of counts k, P(k + 1) / P(k);
    ``usual`` is about the mean, where to look first. Logarithms, because 0.97 to the power of
    100 000 is no float.
    """

    log_none: float
    growth: Callable[[Floats], Floats]
    usual: float

    def reached(self, counts: int) -> Floats:
        """Probability of at most k spoiled pieces, for k from 0 to below ``counts``."""
        return np.cumsum(_chances(self.log_none, self.growth(np.arange(counts - 1.0))))


def _spoiling_known(good: int, share: float) -> _Spoiling:
    """Negative binomial."""
    return _Spoiling(
        log_none=good * math.log1p(-share),
        growth=lambda k: (good + k) / (k + 1) * share,
        usual=good * share / (1 - share),
    )


def _spoiling_believed(good: int, belief: Belief) -> _Spoiling:
    """Beta negative binomial; the product of the chances that each next piece is good as well."""
    pieces = belief.spoiled + belief.good
    return _Spoiling(
        log_none=float(np.log1p(-belief.spoiled / (pieces + np.arange(good))).sum()),
        growth=lambda k: (good + k) / (k + 1) * ((belief.spoiled + k) / (pieces + good + k)),
        usual=good * belief.spoiled / belief.good,
    )


def _least_spoiled(spoiling: _Spoiling, probability: float) -> int:
    """The least k such that at most k pieces are spoiled with that probability."""
    wanted = probability - _TIE
    if math.exp(spoiling.log_none) >= wanted:
        return 0
    counts = min(_FIRST_LOOK + int(1.1 * spoiling.usual), MOST_PIECES + 1)
    while True:
        reached = spoiling.reached(counts)
        if reached[-1] >= wanted:
            return int(np.searchsorted(reached, wanted))
        if counts > MOST_PIECES:
            raise ValueError(
                f"probability is {probability}; to reach it over {MOST_PIECES} spoiled pieces "
                "would have to be reckoned with"
            )
        counts = min(4 * counts, MOST_PIECES + 1)


def _reached_by(spoiling: _Spoiling, good: int, starts: int) -> float:
    """Probability that ``starts`` are enough: the rest over the good pieces may be spoiled."""
    spare = starts - good
    if spare > MOST_PIECES:
        raise ValueError(f"starts is {starts}; it must be at most {good + MOST_PIECES}")
    if spare < 0:
        return 0.0
    return min(1.0, float(spoiling.reached(spare + 1)[-1]))


@lru_cache(maxsize=4_096)
def _starts_known(good: int, share: float, probability: float) -> int:
    return good + _least_spoiled(_spoiling_known(good, share), probability)


@lru_cache(maxsize=4_096)
def _starts_believed(good: int, belief: Belief, probability: float) -> int:
    return good + _least_spoiled(_spoiling_believed(good, belief), probability)


# The choice by cost


class _Plan(NamedTuple):
    """Starts of the next run, and runs and starts expected until all is good, that run included."""

    starts: int
    runs: float
    all_starts: float


class _Shortfalls:
    """Cheapest plans for growing numbers of missing pieces, each built on the smaller ones.

    ``ratio`` is a run's fixed cost in units of a piece's; so is every cost here.
    """

    def __init__(self, share: float, ratio: float, most: int) -> None:
        self._share = share
        self._ratio = ratio
        self._runs = np.zeros(most + 1)
        self._starts = np.zeros(most + 1)
        self._costs = np.zeros(most + 1)
        self._spoiled: dict[int, Floats] = {}

    def add(self, missing: int) -> None:
        """Work out and keep the plan for ``missing`` pieces; those for fewer are kept already."""
        plan = self.plan(missing)
        self._runs[missing] = plan.runs
        self._starts[missing] = plan.all_starts
        self._costs[missing] = self._ratio * plan.runs + plan.all_starts

    def plan(self, missing: int) -> _Plan:
        """The cheapest plan; the search ends where the first run alone costs what the best does."""
        best, best_cost = missing, math.inf
        starts = missing
        while self._ratio + starts < best_cost:
            cost = self._until_done(self._costs, missing, starts, self._ratio + starts)
            if cost < best_cost * (1 - _SMALLEST_GAIN):
                best, best_cost = starts, cost
            starts += 1
        return _Plan(
            starts=best,
            runs=self._until_done(self._runs, missing, best, 1),
            all_starts=self._until_done(self._starts, missing, best, best),
        )

    def _until_done(self, later: Floats, missing: int, starts: int, now: float) -> float:
        """Expected sum of ``now`` and of ``later`` by shortfall; a run all spoiled starts anew."""
        short = self._chances(starts)[starts - missing + 1 : starts]
        return (now + float(short @ later[1 : 1 + len(short)])) / (1 - self._share**starts)

    def _chances(self, starts: int) -> Floats:
        """Chances of 0, 1, 2 ... spoiled of ``starts``, as far as they matter."""
        if starts not in self._spoiled:
            odds = self._share / (1 - self._share)
            k = np.arange(float(min(starts, _spoiled_at_most(starts, self._share))))
            self._spoiled[starts] = _chances(
                starts * math.log1p(-self._share), (starts - k) / (k + 1) * odds
            )
        return self._spoiled[starts]


def _spoiled_at_most(starts: int, share: float) -> int:
    """A count that spoiled pieces of ``starts`` do not exceed but by a chance below 10^-12.

    Eight standard deviations above the mean, and twenty where the mean is too small for the bell.
    """
    mean = starts * share
    return math.ceil(mean + 8 * math.sqrt(mean * (1 - share))) + 20


@lru_cache(maxsize=1_024)
def _cheapest(good: int, share: float, ratio: float) -> _Plan:
    most = min(good - 1, _spoiled_at_most(good, share))
    shortfalls = _Shortfalls(share, ratio, most)
    for missing in range(1, most + 1):
        shortfalls.add(missing)
    return shortfalls.plan(good)
