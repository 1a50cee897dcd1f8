"""Shrinkage against Efron and Morris, a worked case, and scipy.

Sources: Efron and Morris, Journal of the American Statistical Association 70:311-319, 1975;
algorithms topic 7, whose figures were computed outside this project; scipy.stats.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.domain.learning import (
    PRIOR_JOBS,
    Belief,
    Cell,
    Summary,
    james_stein,
    learn,
    prior_of,
)
from service.domain.student_t import incomplete_beta, t_quantile

FIRST_45 = (
    *(0.400, 0.378, 0.356, 0.333, 0.311, 0.311, 0.289, 0.267, 0.244),
    *(0.244, 0.222, 0.222, 0.222, 0.222, 0.222, 0.200, 0.178, 0.156),
)
REST = (
    *(0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269),
    *(0.230, 0.264, 0.256, 0.303, 0.264, 0.226, 0.285, 0.316, 0.200),
)
"""Shares of eighteen men's first 45 tries that went well, and of the rest of the season. Source:
Efron and Morris 1975, as in shrinkage_efron_morris_1975.csv."""

TRIES = 45


def _squared_error(found: tuple[float, ...]) -> float:
    return sum((one - true) ** 2 for one, true in zip(found, REST, strict=True))


def test_shrinking_eighteen_shares() -> None:
    """Middle .2654 and factor .212 as printed; squared error .0754 becomes .0213 (topic 7)."""
    share = sum(FIRST_45) / len(FIRST_45)
    shrunk = james_stein(FIRST_45, share * (1 - share) / TRIES)
    assert round(shrunk.middle, 4) == 0.2654
    assert round(shrunk.kept, 3) == 0.212
    assert round(_squared_error(FIRST_45), 4) == 0.0754
    assert round(_squared_error(shrunk.means), 4) == 0.0213


def test_shrinking_them_on_the_scale_of_the_arcsine() -> None:
    """Factor .209, squared error 17.58 becomes 5.00 (topic 7; printed 17.56 and 5.01, from memory).

    On sqrt(45) * arcsin(2 p - 1) every share has variance 1.
    """
    means, true = (
        tuple(math.sqrt(TRIES) * math.asin(2 * share - 1) for share in shares)
        for shares in (FIRST_45, REST)
    )
    shrunk = james_stein(means, 1.0)
    errors = [
        sum((one - other) ** 2 for one, other in zip(found, true, strict=True))
        for found in (means, shrunk.means)
    ]
    assert round(shrunk.kept, 3) == 0.209
    assert [round(error, 2) for error in errors] == [17.58, 5.00]


@pytest.mark.reference_data
def test_the_shares_are_those_of_the_file(reference_data: Path) -> None:
    """Source: shrinkage_efron_morris_1975.csv."""
    file = reference_data / "shrinkage_efron_morris_1975.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        rows = [(float(row["first45"]), float(row["rest"])) for row in csv.DictReader(lines)]
    assert rows == list(zip(FIRST_45, REST, strict=True))


def test_the_worked_case() -> None:
    """Standard 6.0 worth 5 jobs, taken 7.0 7.4 6.8 7.1. Source: algorithms topic 7."""
    found = Belief(mean=6.0, weight=5, shape=3, scale=2).after([7.0, 7.4, 6.8, 7.1])
    assert round(found.mean, 4) == 6.4778
    assert (found.weight, found.shape, round(found.scale, 4)) == (9, 5, 3.3778)
    assert round(found.next_scale, 4) == 0.8664
    assert round(found.next_quantile(0.9), 3) == 7.667
    by_scipy = stats.t.ppf(0.9, df=2 * found.shape, loc=found.mean, scale=found.next_scale)
    assert found.next_quantile(0.9) == pytest.approx(by_scipy, rel=1e-9)


@given(
    prior=st.builds(Belief, *[st.floats(-1, 1), *[st.floats(0.5, 20)] * 2, st.floats(0.01, 5)]),
    values=st.lists(st.floats(-3, 3), min_size=1, max_size=5),
)
def test_the_belief_is_that_of_bayes(prior: Belief, values: list[float]) -> None:
    """The densities of prior times likelihood and of the belief after differ by one factor.

    Oracle: the densities of scipy.stats, at four pairs of mean and variance.
    """
    after = prior.after(values)

    def log_density(belief: Belief, mean: float, variance: float) -> float:
        of_mean = stats.norm.logpdf(mean, belief.mean, math.sqrt(variance / belief.weight))
        of_variance = stats.invgamma.logpdf(variance, belief.shape, scale=belief.scale)
        return float(of_mean + of_variance)

    factors = []
    for mean, variance in ((0.0, 1.0), (0.5, 0.3), (-1.0, 2.0), (0.2, 5.0)):
        likelihood = float(np.sum(stats.norm.logpdf(values, mean, math.sqrt(variance))))
        joint = log_density(prior, mean, variance) + likelihood
        factors.append(joint - log_density(after, mean, variance))
    assert factors == pytest.approx([factors[0]] * 4, abs=1e-7 * max(1, abs(factors[0])))


@pytest.mark.parametrize("freedom", [0.5, 1, 2.5, 6, 10, 51.3, 400, 20_000])
def test_quantiles_of_students_t(freedom: float) -> None:
    """Oracle: scipy.stats.t."""
    for share in (0.001, 0.05, 0.4, 0.5, 0.9, 0.95, 0.999):
        expected = float(stats.t.ppf(share, freedom))
        assert t_quantile(share, freedom) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@given(x=st.floats(0, 1), a=st.floats(0.2, 200), b=st.floats(0.2, 200))
def test_the_incomplete_beta_function(x: float, a: float, b: float) -> None:
    """Oracle: scipy.stats.beta."""
    expected = float(stats.beta.cdf(x, a, b))
    assert incomplete_beta(x, a, b) == pytest.approx(expected, rel=1e-8, abs=1e-12)


def test_nine_of_ten_next_jobs_lie_in_the_interval() -> None:
    """500 cells drawn from what is believed, each with some jobs and one more, seeded.

    450 are expected; accepted are 432 to 466 (algorithms topic 7).
    """
    draw, prior, cell = np.random.default_rng(20), prior_of(0.35), Cell("any", "press", "pressing")
    inside = 0
    for _ in range(500):
        variance = 1 / draw.gamma(prior.shape, 1 / prior.scale)
        centre = draw.normal(prior.mean, math.sqrt(variance / PRIOR_JOBS))
        times = np.exp(draw.normal(centre, math.sqrt(variance), draw.integers(2, 41)))
        found = learn({cell: times[:-1].tolist()}, {"pressing": 0.35})[cell]
        inside += found.next_ratio(0.05) <= times[-1] <= found.next_ratio(0.95)
    assert 432 <= inside <= 466


def test_a_mean_of_few_jobs_is_nearer_the_truth_when_shrunk() -> None:
    """Over 300 seeded cells of three jobs the squared error is less than half of the plain mean's.

    What Efron and Morris found for many small groups, here for the cells of one shop.
    """
    draw, deviation = np.random.default_rng(5), 0.35
    truths = draw.normal(0, 0.15, 300).tolist()
    cells = {
        Cell(f"method-{at}", "press", "pressing"): np.exp(draw.normal(true, deviation, 3)).tolist()
        for at, true in enumerate(truths)
    }
    found = learn(cells, {"pressing": deviation}, None)
    plain = [Summary.of([math.log(one) for one in jobs]).mean for jobs in cells.values()]
    shrunk = [one.belief.mean for one in found.values()]
    plain_error, error = (
        sum((one - true) ** 2 for one, true in zip(means, truths, strict=True))
        for means in (plain, shrunk)
    )
    assert error < plain_error / 2
