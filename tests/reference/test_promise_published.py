"""The spread of completion and the correction by late promises, against figures from outside."""

from __future__ import annotations

import math
from datetime import date, datetime, time
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from service.domain.booked_time import Booked, BookedTime
from service.domain.completion import Courses, Workroom, quantile_of
from service.domain.conformal import (
    PLAN_IS_ENOUGH,
    DecidedPromise,
    aimed_at,
    conformal_rank,
    correction,
)
from service.domain.machines import Station
from service.domain.promising import StationWork, plan_work
from service.domain.station_stands import PATHS
from tests.domain.shops import tiny_calendar

MIDNIGHT = datetime.fromisoformat("2026-06-01T00:00:00+02:00")
DAY = date(2026, 6, 1)
CALENDAR = tiny_calendar(opens=time(0), working_weekdays=frozenset(range(7)))
STAGES = (20, 12, 18, 30, 8)
"""Mean minutes of five stages, of algorithms topic 3."""


def _station(name: str) -> Station:
    return Station(
        id=name,
        name=name,
        minutes_per_day=1_320,
        labour_rate_per_hour=Decimal(0),
        machine_rate_per_hour=Decimal(0),
    )


def _ends_min(minutes: tuple[int, ...], booked: Booked, spread: float) -> list[float]:
    """Minutes from midnight to the end of those stages in a row, course by course."""
    stations = {f"stage-{index}": _station(f"stage-{index}") for index in range(len(minutes))}
    works = [[StationWork(f"stage-{i}", 60 * each) for i, each in enumerate(minutes)]]
    plan = plan_work(
        works, ready_day=DAY, calendar=CALENDAR, stations=stations, booked=booked, now=MIDNIGHT
    )
    room = Workroom(CALENDAR, stations, booked, MIDNIGHT, 0, spread)
    return [
        (end - MIDNIGHT.timestamp()) / 60
        for end in Courses(room, works, plan.shares, DAY).ends().tolist()
    ]


def _quantile(ends: list[float], percent: int) -> float:
    return quantile_of(np.array(ends), percent)


def test_five_stages_in_a_row() -> None:
    """Sum of five lognormal stages of cv 0.35: 90 % are done in 107.6 min, 99 % in 129.4.

    Source: algorithms topic 3, simulated there. Five hundred courses place a 90 % quantile at
    0.872 to 0.926 (the same source): 105.4 to 110.6 min by a million draws.
    """
    ends = _ends_min(STAGES, {}, 0.35)
    assert sum(ends) / PATHS == pytest.approx(sum(STAGES), rel=0.01)
    assert 105.4 <= _quantile(ends, 90) <= 110.6
    assert _quantile(ends, 99) == pytest.approx(129.4, rel=0.05)


@pytest.mark.parametrize("percent", [50, 75, 90, 95])
def test_one_step_alone_is_a_lognormal(percent: int) -> None:
    """Quantiles of scipy's lognormal of mean 60 and cv 0.35; half a step of 500 is what is left."""
    sigma = math.sqrt(math.log1p(0.35**2))
    scale = 60 * math.exp(-sigma * sigma / 2)
    found = _quantile(_ends_min((60,), {}, 0.35), percent)
    low, high = (
        stats.lognorm.ppf(percent / 100 + off, sigma, scale=scale) for off in (-0.003, 0.001)
    )
    assert low * 0.999 <= found <= high * 1.001


@pytest.mark.parametrize("queued", [1, 4, 10, 40])
def test_a_queue_of_equal_shares(queued: int) -> None:
    """Behind so many shares of 20 min: mean and 90 % quantile of independent lognormals' sum.

    The source is the drawing of 200,000 such sums by numpy. The skew of many shares is told as that
    of one, so of many the quantile is a little long, never short.
    """
    share_s = 20 * 60
    booked = {("stage-0", DAY): BookedTime(queued * share_s, 0, queued * share_s**2)}
    ends = _ends_min((20,), booked, 0.35)
    sigma = math.sqrt(math.log1p(0.35**2))
    drawn = np.random.default_rng(1).lognormal(
        math.log(20) - sigma**2 / 2, sigma, (200_000, queued + 1)
    )
    sums = drawn.sum(axis=1)
    assert sum(ends) / PATHS == pytest.approx(sums.mean(), rel=0.02)
    assert _quantile(ends, 90) == pytest.approx(np.quantile(sums, 0.9), rel=0.035)


@pytest.mark.parametrize(
    ("count", "rank"), [(9, 9), (19, 18), (50, 46), (100, 91), (8, 9), (200, 181)]
)
def test_conformal_ranks(count: int, rank: int) -> None:
    """Source: algorithms topic 3; fewer than nine cannot speak of 90 %. 200 follows the formula."""
    assert conformal_rank(count, 90) == rank


def test_a_corrected_promise_is_kept_as_often_as_it_says() -> None:
    """Of 500 exchangeable orders 432 to 466 are kept at 90 % (99 % band, algorithms topic 3).

    Each meets the correction that those before it give, whatever distribution they come from.
    """
    draw = np.random.default_rng(7).gamma(2.0, 1.5, 700) - 2.5
    decided: list[DecidedPromise] = []
    for needed in draw.tolist():
        kept = needed <= correction(decided, 90)
        decided.append(DecidedPromise(needed, kept=kept))
    assert stats.binom.ppf(0.005, 500, 0.9) == 432
    assert 432 <= sum(one.kept for one in decided[200:]) <= 466


def test_a_spell_of_late_orders_is_answered_at_once() -> None:
    """When needs double for a while the share kept comes back by leading, sooner than without.

    Adaptive conformal inference keeps the share in the long run under any drift (Gibbs and Candes,
    NeurIPS 2021, from memory): over two years of alternating spells it lies within two points.
    """
    source = np.random.default_rng(3)
    decided: list[DecidedPromise] = []
    for order in range(1_600):
        busy = (order // 80) % 2
        needed = float(source.gamma(2.0, 1.0 + busy))
        decided.append(DecidedPromise(needed, kept=needed <= correction(decided, 90)))
    assert aimed_at([DecidedPromise(0.0, kept=False)] * 20, 90) == 99
    assert aimed_at([DecidedPromise(0.0, kept=True)] * 20, 90) == pytest.approx(87)
    assert sum(one.kept for one in decided[200:]) / 1_400 == pytest.approx(0.9, abs=0.02)


def test_of_too_few_or_still_open_orders() -> None:
    """Eight say nothing of 90 %; open ones need without bound, and the largest known stands in."""
    needs = [DecidedPromise(step / 10, kept=True) for step in range(100)]
    assert correction(needs[:8], 90) == 0.0
    assert correction(needs[:9], 90) == pytest.approx(0.8)
    still_open = [*needs[:60], *[DecidedPromise(math.inf, kept=False)] * 40]
    assert correction(still_open, 90) == pytest.approx(5.9)
    assert correction([DecidedPromise(-math.inf, kept=True)] * 50, 90) == PLAN_IS_ENOUGH
