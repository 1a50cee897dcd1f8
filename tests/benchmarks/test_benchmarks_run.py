"""The figures that the benchmark prints come from pure helpers; these are right. No timings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.benchmarks.figures import (
    Burst,
    percentile,
    shares,
    summarise,
    times_as_long,
)
from tests.benchmarks.table import rate_text, ratio_text, time_text

TIMES = st.lists(st.floats(1e-6, 60), min_size=1, max_size=200)


@given(TIMES, st.integers(1, 100))
def test_a_percentile_is_the_nearest_rank(times: list[float], percent: int) -> None:
    """Source: numpy's percentile by the inverse of the empirical distribution function."""
    expected = np.percentile(times, percent, method="inverted_cdf")
    assert percentile(times, percent) == expected


def test_percentiles_of_few_and_of_no_values() -> None:
    """The 99th of fewer than a hundred is the largest; of nothing there is none."""
    assert percentile([3.0, 1.0, 2.0], 99) == 3.0
    assert percentile([3.0, 1.0, 2.0], 50) == 2.0
    assert math.isnan(percentile([], 50))


@pytest.mark.parametrize("percent", [0, -1, 100.5])
def test_a_percentile_outside_its_range_is_refused(percent: float) -> None:
    """Nothing lies below 0 or above 100 in 100."""
    with pytest.raises(ValueError, match="above 0 and at most 100"):
        percentile([1.0], percent)


def test_a_summary_takes_the_middle_rate_and_all_latencies() -> None:
    """Worked by hand: rates 2, 4 and 20 a second; one failed call counts as work, not as speed."""
    bursts = [
        Burst((0.5, 0.5), 1.0, processor_s=0.3),
        Burst((0.25, 0.25, 0.25, 0.25), 1.0, failed=1, processor_s=0.5),
        Burst((0.05, 0.05), 0.1, processor_s=0.1),
    ]
    summary = summarise(bursts)
    assert summary.per_second == 4.0
    assert (summary.p50_s, summary.p99_s) == (0.25, 0.5)
    assert (summary.calls, summary.failed) == (8, 1)
    assert summary.processor_s == pytest.approx(0.1)


def test_a_burst_without_answers_has_no_speed() -> None:
    """A server that answers nothing gives 0 a second and no times, and no ratio."""
    nothing = Burst((), 1.0, failed=3, processor_s=0.0)
    summary = summarise([nothing])
    assert summary.per_second == 0
    assert math.isnan(summary.p50_s)
    assert times_as_long([nothing], [Burst((1.0,), 1.0)]) is None


def test_a_ratio_is_taken_pair_by_pair() -> None:
    """Worked by hand: both sides half as fast in one pair leave its ratio as it was."""
    ours = [Burst((0.1,) * 10, 1.0), Burst((0.2,) * 5, 1.0), Burst((0.1,) * 10, 1.0)]
    bare = [Burst((0.05,) * 20, 1.0), Burst((0.1,) * 10, 1.0), Burst((0.025,) * 40, 1.0)]
    ratio = times_as_long(ours, bare)
    assert ratio is not None
    assert (ratio.middle, ratio.least, ratio.most) == (2.0, 2.0, 4.0)
    assert ratio_text(ratio) == "2.00 (2.00 - 4.00)"


@given(st.integers(0, 500), st.integers(1, 20))
def test_shares_hold_everything_once_and_evenly(count: int, parts: int) -> None:
    """Every call falls to one round, and no round has two more than another."""
    cut = shares(count, parts)
    assert [number for share in cut for number in share] == list(range(count))
    assert len(cut) == parts
    assert max(map(len, cut)) - min(map(len, cut)) <= 1


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(3.43e-6, "3.43 µs"), (0.000_999_6, "1.00 ms"), (0.0281, "28.1 ms"), (1.39, "1.39 s")],
)
def test_times_are_written_in_the_unit_that_suits_them(seconds: float, text: str) -> None:
    """Three figures, with the SI prefix that leaves one to three of them before the point."""
    assert time_text(seconds) == text


def test_rates_and_what_is_missing() -> None:
    """Rates from a hundred up are whole; what was not measured is a stroke or nothing."""
    assert rate_text(3219.4) == "3,219"
    assert rate_text(10.84) == "10.8"
    assert time_text(math.nan) == "-"
    assert rate_text(math.nan) == "-"
    assert ratio_text(None) == ""
