"""Learning how long work takes, from recorded minutes, by shrinkage.

Times are multiplicative, so all is reckoned on the logarithm of taken over standard minutes. Jobs
are gathered in cells: one method, one kind of operation, one station. What is believed of a cell
is a normal-inverse-gamma distribution (conjugate, closed form: Gelman et al., Bayesian Data
Analysis, 3.3, from memory):

    weight' = weight + n               mean' = (weight * mean + sum x) / weight'
    shape' = shape + n / 2             scale' = scale + sum (x - x_mean)^2 / 2
                                                + weight * n * (x_mean - mean)^2 / (2 * weight')

Before any job a cell is believed to take the standard minutes on the mean, with the spread that a
promise reckons with, and that counts as much as :data:`PRIOR_JOBS` jobs. Where there are cells
enough with jobs, both the middle and that weight come from them instead, by the shrinkage of Efron
and Morris (Journal of the American Statistical Association 70:311-319, 1975): cells that really
differ are trusted sooner, cells that differ by chance alone are drawn together.

Newer jobs count for more: the weight of a job halves with every :data:`HALF_LIFE_JOBS` jobs after
it. What lies further than :data:`CAP` scale units from the middle is drawn in to there, as in
Huber's estimate, and never dropped.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import mean, median
from typing import Final, NamedTuple

from service.domain.student_t import t_quantile

PRIOR_JOBS: Final = 5.0
"""What was written down before any job counts as much as so many: a design choice, no source. Half
of a difference is believed after five jobs."""

PRIOR_SHAPE: Final = 3.0
"""Shape of the belief in the spread: as much as six jobs tell of it. A design choice, no source."""

HALF_LIFE_JOBS: Final = 50.0
"""After so many further jobs a job counts half: machines, films and hands change."""

CAP: Final = 3.0
"""Scale units from the middle beyond which a job counts no further."""

LEAST_SPREAD: Final = 0.02
"""No work is believed to be steadier than this, or one odd job would be all there is to learn."""

CELLS_ENOUGH: Final = 8
"""Cells with at least :data:`JOBS_ENOUGH` jobs from which middle and weight are estimated. Of three
or fewer nothing can be gained; of a few more the weight comes out as chance has it."""

JOBS_ENOUGH: Final = 3
LEAST_WEIGHT: Final = 1.0
MOST_WEIGHT: Final = 50.0
"""Within these an estimated prior weight is held, in jobs."""

_OF_A_NORMAL: Final = 1.4826
"""Standard deviations in a median absolute deviation of a normal distribution."""


class Cell(NamedTuple):
    """Where jobs are alike: a method, a kind of operation, a station, by their ids."""

    method: str
    kind: str
    station: str


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of a normal quantity: normal-inverse-gamma.

    ``mean`` is worth ``weight`` values; the variance is inverse gamma with ``shape``, above 1, and
    ``scale``.
    """

    mean: float
    weight: float
    shape: float
    scale: float

    def after(self, values: Sequence[float], weights: Sequence[float] | None = None) -> Belief:
        """The belief after values, each counted by its weight of at most 1; fully by default."""
        seen = Summary.of(values, weights)
        if seen.weight == 0:
            return self
        weight = self.weight + seen.weight
        apart = (seen.mean - self.mean) ** 2 * self.weight * seen.weight / weight
        return Belief(
            mean=(self.weight * self.mean + seen.weight * seen.mean) / weight,
            weight=weight,
            shape=self.shape + seen.weight / 2,
            scale=self.scale + (seen.squares + apart) / 2,
        )

    @property
    def variance(self) -> float:
        """Expected variance of a value."""
        return self.scale / (self.shape - 1)

    @property
    def next_scale(self) -> float:
        """Scale of Student's t of the next value, which has ``2 * shape`` degrees of freedom."""
        return math.sqrt(self.scale * (self.weight + 1) / (self.shape * self.weight))

    def next_quantile(self, share: float) -> float:
        """What the next value stays below with probability ``share``, above 0 and below 1."""
        return self.mean + self.next_scale * t_quantile(share, 2 * self.shape)


@dataclass(frozen=True, slots=True)
class Summary:
    """Weighted values: their weight together, mean, and squares about the mean."""

    weight: float
    mean: float
    squares: float

    @classmethod
    def of(cls, values: Sequence[float], weights: Sequence[float] | None = None) -> Summary:
        """Of values in any order, each with its weight; 1 by default. All 0 for none."""
        counted = [1.0] * len(values) if weights is None else weights
        weight = math.fsum(counted)
        if weight == 0:
            return cls(0.0, 0.0, 0.0)
        pairs = list(zip(counted, values, strict=True))
        middle = math.fsum(w * x for w, x in pairs) / weight
        return cls(weight, middle, math.fsum(w * (x - middle) ** 2 for w, x in pairs))


@dataclass(frozen=True, slots=True)
class Shrunk:
    """Means drawn to their middle: ``middle + kept * (mean - middle)``, ``kept`` from 0 to 1."""

    middle: float
    kept: float
    means: tuple[float, ...]


def james_stein(means: Sequence[float], variance: float) -> Shrunk:
    """Shrink four means or more, each measured with that variance, towards their mean.

    ``kept`` is 1 - (k - 3) * variance / sum (mean - middle)^2, and never below 0. Source: Efron and
    Morris 1975. ValueError for fewer means, which this does not improve.
    """
    if len(means) <= 3:
        raise ValueError(f"{len(means)} means cannot be shrunk to their mean; at least 4 can")
    middle = mean(means)
    squares = math.fsum((one - middle) ** 2 for one in means)
    drawn = (len(means) - 3) * variance
    kept = 0.0 if squares <= drawn else 1 - drawn / squares
    return Shrunk(middle, kept, tuple(middle + kept * (one - middle) for one in means))


@dataclass(frozen=True, slots=True)
class Learnt:
    """What a cell's jobs have taught of taken over standard minutes.

    ``belief`` is of the logarithm, after ``jobs`` jobs and a prior worth ``prior_jobs`` of them
    with the mean ratio ``prior_ratio``. ``seen`` sums the jobs up as they were counted.
    """

    jobs: int
    prior_jobs: float
    prior_ratio: float
    belief: Belief
    seen: Summary

    @property
    def ratio(self) -> float:
        """Taken over standard minutes on the mean of many jobs; that of their logarithm is less.

        It is the mean and not the median, for station time adds up.
        """
        return math.exp(self.belief.mean + self.belief.variance / 2)

    def next_ratio(self, share: float) -> float:
        """What the next job's ratio stays below with probability ``share``."""
        return math.exp(self.belief.next_quantile(share))


def variance_of_spread(spread: float) -> float:
    """Variance of the logarithm of times whose deviation is ``spread`` of their mean."""
    return math.log1p(max(spread, LEAST_SPREAD) ** 2)


def spread_of_variance(variance: float) -> float:
    """Deviation as a share of the mean, of times whose logarithm has that variance."""
    return math.sqrt(math.expm1(variance))


def prior_of(spread: float) -> Belief:
    """Before any job: the standard minutes on the mean, scattered by ``spread``."""
    variance = variance_of_spread(spread)
    return Belief(-variance / 2, PRIOR_JOBS, PRIOR_SHAPE, (PRIOR_SHAPE - 1) * variance)


def learn(
    jobs: Mapping[Cell, Sequence[float]],
    spreads: Mapping[str, float],
    half_life: float | None = HALF_LIFE_JOBS,
) -> dict[Cell, Learnt]:
    """What each cell's jobs teach: taken over standard minutes, above 0, the oldest first.

    ``spreads`` holds by station the spread that is believed before any job. A half-life of None
    forgets nothing; then the order of jobs makes no difference.
    """
    priors = {cell: prior_of(spreads[cell.station]) for cell in jobs}
    logs = {
        cell: capped([math.log(ratio) for ratio in ratios], priors[cell])
        for cell, ratios in jobs.items()
    }
    weights = {cell: job_weights(len(values), half_life) for cell, values in logs.items()}
    seen = {cell: Summary.of(values, weights[cell]) for cell, values in logs.items()}
    many = [seen[cell] for cell, values in logs.items() if len(values) >= JOBS_ENOUGH]
    shared = shop_prior(many)
    learnt = {}
    for cell, values in logs.items():
        prior = priors[cell]
        if shared is not None:
            prior = Belief(shared.mean, shared.weight, prior.shape, prior.scale)
        learnt[cell] = Learnt(
            jobs=len(values),
            prior_jobs=prior.weight,
            prior_ratio=math.exp(prior.mean + prior.variance / 2),
            belief=prior.after(values, weights[cell]),
            seen=seen[cell],
        )
    return learnt


@dataclass(frozen=True, slots=True)
class ShopPrior:
    """What a shop's cells have in common: the mean of their logarithms, worth ``weight`` jobs."""

    mean: float
    weight: float


def shop_prior(cells: Sequence[Summary]) -> ShopPrior | None:
    """Middle and prior weight from cells of :data:`JOBS_ENOUGH` jobs or more; None of too few.

    The weight is the variance within cells over that between them (empirical Bayes), the latter by
    :func:`james_stein` at the harmonic mean of the cells' jobs.
    """
    if len(cells) < CELLS_ENOUGH:
        return None
    freedom = math.fsum(cell.weight - 1 for cell in cells)
    within = math.fsum(cell.squares for cell in cells) / freedom
    each = len(cells) / math.fsum(1 / cell.weight for cell in cells)
    shrunk = james_stein([cell.mean for cell in cells], within / each)
    weight = MOST_WEIGHT if shrunk.kept == 0 else each * (1 - shrunk.kept) / shrunk.kept
    return ShopPrior(shrunk.middle, min(max(weight, LEAST_WEIGHT), MOST_WEIGHT))


def job_weights(jobs: int, half_life: float | None = HALF_LIFE_JOBS) -> list[float]:
    """What each of so many jobs counts, the oldest first; the newest counts 1."""
    if half_life is None:
        return [1.0] * jobs
    return [0.5 ** ((jobs - 1 - at) / half_life) for at in range(jobs)]


def capped(values: Sequence[float], prior: Belief) -> list[float]:
    """The values, none further from the middle than :data:`CAP` scale units.

    The middle is the median of the values and of the prior's mean, which counts as often as the
    prior is worth. The scale is the prior's, or that of the values where they scatter more.
    """
    if not values:
        return []
    middle = median([*values, *[prior.mean] * round(prior.weight)])
    own = median(values)
    scatter = _OF_A_NORMAL * median(abs(value - own) for value in values)
    reach = CAP * max(math.sqrt(prior.variance), scatter)
    return [min(max(value, middle - reach), middle + reach) for value in values]


def station_spreads(
    learnt: Mapping[Cell, Learnt], spreads: Mapping[str, float]
) -> dict[str, float]:
    """How far real minutes scatter about a station's own mean: deviation as a share of it.

    Pools the cells of each station of ``spreads``, which is what is believed before any job.
    """
    found = {}
    for station, spread in spreads.items():
        prior = prior_of(spread)
        cells = [one.seen for cell, one in learnt.items() if cell.station == station]
        freedom = math.fsum(max(0.0, seen.weight - 1) for seen in cells)
        squares = math.fsum(seen.squares for seen in cells)
        variance = (prior.scale + squares / 2) / (prior.shape + freedom / 2 - 1)
        found[station] = spread_of_variance(variance)
    return found
