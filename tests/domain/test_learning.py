"""Learning from recorded minutes: shrinkage, forgetting, capping, and minutes put in a catalogue.

The worked figures and the published ones are in ``tests/reference/test_learning_published.py``.
"""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.learning import (
    CAP,
    CELLS_ENOUGH,
    HALF_LIFE_JOBS,
    MOST_WEIGHT,
    PRIOR_JOBS,
    Cell,
    Learnt,
    Summary,
    james_stein,
    job_weights,
    learn,
    prior_of,
    shop_prior,
    spread_of_variance,
    station_spreads,
    variance_of_spread,
)
from service.domain.standard_minutes import (
    AcceptedMinutes,
    OperationName,
    StandardMinutes,
    all_operations,
    as_written,
    operations_of,
    with_accepted,
)
from tests.domain.garments_and_lines import demo_shop

PRESS = Cell("a-method", "press", "pressing")
SPREAD = {"pressing": 0.35}
ratios = st.lists(st.floats(0.02, 50), min_size=1, max_size=30)


def learnt(jobs: list[float], half_life: float | None = None) -> Learnt:
    """What one cell's jobs teach."""
    return learn({PRESS: jobs}, SPREAD, half_life)[PRESS]


@given(jobs=ratios, seed=st.integers(0, 1_000))
def test_without_forgetting_the_order_makes_no_difference(jobs: list[float], seed: int) -> None:
    """Any order of the jobs teaches the same."""
    mixed = np.random.default_rng(seed).permutation(jobs).tolist()
    one, other = learnt(jobs), learnt(mixed)
    assert other.belief.mean == pytest.approx(one.belief.mean, abs=1e-12)
    assert other.belief.scale == pytest.approx(one.belief.scale, rel=1e-12)


@given(jobs=ratios)
def test_what_is_learnt_lies_between_prior_and_jobs(jobs: list[float]) -> None:
    """The mean of the logarithms, of the jobs as they were counted."""
    found, prior = learnt(jobs), prior_of(SPREAD["pressing"])
    low, high = sorted((prior.mean, found.seen.mean))
    assert low - 1e-12 <= found.belief.mean <= high + 1e-12


@given(ratio=st.floats(0.3, 3), count=st.integers(1, 60), more=st.integers(1, 40))
def test_more_jobs_shrink_less(ratio: float, count: int, more: int) -> None:
    """Of equal jobs each further one brings the mean nearer to them, and never past them."""
    few, many = learnt([ratio] * count), learnt([ratio] * (count + more))
    target = few.seen.mean
    assert abs(many.belief.mean - many.seen.mean) <= abs(few.belief.mean - target) + 1e-12
    assert many.belief.weight == PRIOR_JOBS + count + more


def test_before_any_job_the_standard_stands() -> None:
    """The believed mean is exactly what was written, with the spread that was believed."""
    assert learn({}, SPREAD) == {}
    assert station_spreads({}, SPREAD)["pressing"] == pytest.approx(SPREAD["pressing"])
    prior = prior_of(SPREAD["pressing"])
    assert math.exp(prior.mean + prior.variance / 2) == pytest.approx(1)
    assert spread_of_variance(variance_of_spread(0.4)) == pytest.approx(0.4)


def test_the_mean_is_learnt_and_not_the_median() -> None:
    """Many scattered jobs of 1.3 times the minutes on the mean are learnt as that: days add up."""
    draw, spread = np.random.default_rng(7), 0.5
    deviation = math.sqrt(variance_of_spread(spread))
    jobs = 1.3 * np.exp(draw.normal(-(deviation**2) / 2, deviation, 2_000))
    found = learn({PRESS: jobs.tolist()}, SPREAD, None)
    assert found[PRESS].ratio == pytest.approx(1.3, rel=0.03)
    assert station_spreads(found, SPREAD)["pressing"] == pytest.approx(spread, rel=0.05)


def test_one_odd_job_is_capped_and_not_dropped() -> None:
    """A job of 30 times the minutes counts like one of about three scale units, and does count."""
    usual = [1.0, 1.1, 0.9, 1.05]
    without, odd, absurd = learnt(usual), learnt([*usual, 30.0]), learnt([*usual, 1_000.0])
    assert without.ratio < odd.ratio < 1.5
    assert absurd.ratio == pytest.approx(odd.ratio)
    assert odd.jobs == 5
    reach = CAP * math.sqrt(variance_of_spread(SPREAD["pressing"]))
    assert odd.seen.mean <= (sum(map(math.log, usual)) + reach) / 5 + 1e-12


def test_what_is_new_counts_for_more() -> None:
    """A shop that got faster is believed to be; a job counts half after fifty more."""
    slow_then_fast, fast_then_slow = [1.5] * 100 + [0.9] * 100, [0.9] * 100 + [1.5] * 100
    assert learnt(slow_then_fast, HALF_LIFE_JOBS).ratio < 1.1
    assert learnt(fast_then_slow, HALF_LIFE_JOBS).ratio > 1.25
    weights = job_weights(151)
    assert (weights[-1], weights[100], weights[50]) == (1, 0.5, 0.25)


def test_cells_that_do_not_differ_are_drawn_together() -> None:
    """Twenty cells of one truth get a heavy prior at their common mean; different ones a light."""
    draw = np.random.default_rng(3)
    deviation = math.sqrt(variance_of_spread(0.35))

    def cell(centre: float) -> Summary:
        return Summary.of(draw.normal(centre, deviation, 12).tolist())

    alike = shop_prior([cell(0.25) for _ in range(20)])
    apart = shop_prior([cell(draw.normal(0.25, 2 * deviation)) for _ in range(20)])
    assert alike is not None
    assert apart is not None
    assert alike.mean == pytest.approx(0.25, abs=0.08)
    assert apart.weight < PRIOR_JOBS < alike.weight <= MOST_WEIGHT
    assert shop_prior([cell(0.25) for _ in range(CELLS_ENOUGH - 1)]) is None


def test_enough_cells_give_each_other_a_prior() -> None:
    """A cell of one job is drawn to what the shop's other cells have taught, not to the files."""
    jobs = {Cell(f"method-{at}", "press", "pressing"): [1.5] * 9 for at in range(CELLS_ENOUGH)}
    alone = learn({PRESS: [1.0]}, SPREAD)[PRESS]
    among = learn({PRESS: [1.0], **jobs}, SPREAD)[PRESS]
    assert alone.prior_ratio == pytest.approx(1)
    assert among.prior_ratio > 1.4
    assert among.ratio > alone.ratio


def test_three_means_cannot_be_shrunk() -> None:
    """Shrinkage to the mean takes four at least."""
    with pytest.raises(ValueError, match="at least 4"):
        james_stein([1.0, 2.0, 3.0], 0.1)
    assert james_stein([2.0] * 5, 0.1).means == (2.0,) * 5


# Minutes in a catalogue

DEMO = demo_shop().catalogue
CUT_FILM = DEMO.method_by_id["cut-film"]


def minutes(each_min: str, weed_share: str = "0") -> StandardMinutes:
    """Standard minutes."""
    return StandardMinutes(Decimal(each_min), Decimal(weed_share))


def test_operations_are_named_by_kind_and_count() -> None:
    """The second stroke of a method keeps its name whatever other steps come and go."""
    names = [one.name.operation for one in operations_of(CUT_FILM)]
    assert names == ["cut", "weed", "pre-press", "press", "peel", "press-2", "check", "pack"]
    fewer = CUT_FILM.model_copy(update={"operations": CUT_FILM.operations[3:]})
    assert [one.name.operation for one in operations_of(fewer)][:3] == ["press", "peel", "press-2"]


def test_accepted_minutes_hold_while_the_files_say_the_same() -> None:
    """Edited files have the last word; the latest of two accepted figures counts."""
    name = OperationName("cut-film", "press-2")
    first = AcceptedMinutes(name, "pressing", minutes("0.5"), minutes("0.6"))
    second = AcceptedMinutes(name, "pressing", minutes("0.5"), minutes("0.7"))
    for_other_figures = AcceptedMinutes(name, "pressing", minutes("0.4"), minutes("0.9"))
    elsewhere = AcceptedMinutes(name, "packing", minutes("0.5"), minutes("0.9"))
    accepted = [first, elsewhere, second]
    changed = with_accepted(DEMO, accepted)
    found = {one.name: StandardMinutes.of(one.operation) for one in all_operations(changed)}
    before = {one.name: StandardMinutes.of(one.operation) for one in all_operations(DEMO)}
    assert found == {**before, name: minutes("0.7")}
    assert as_written(changed, accepted) == before
    assert with_accepted(DEMO, [for_other_figures]) is DEMO
    taken_back = AcceptedMinutes(name, "pressing", minutes("0.5"), minutes("0.5"))
    assert with_accepted(DEMO, [first, taken_back]) is DEMO
    assert with_accepted(changed, accepted) is changed


@given(
    each=st.decimals(0, 10_000, places=4),
    share=st.decimals(0, 10, places=4),
    ratio=st.floats(1e-6, 1e6),
)
def test_proposed_minutes_are_ones_a_catalogue_takes(
    each: Decimal, share: Decimal, ratio: float
) -> None:
    """Within the catalogue's bounds, nothing stays nothing, and something stays something."""
    found = StandardMinutes(each, share).times(ratio)
    assert (found.each_min > 0, found.weed_share > 0) == (each > 0, share > 0)
    assert found.each_min <= 10_000
    assert found.weed_share <= 10
    assert all(abs(int(part.as_tuple().exponent)) <= 4 for part in found)
    assert "E" not in f"{found.each_min} {found.weed_share}"
