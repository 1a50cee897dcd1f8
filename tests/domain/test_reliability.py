"""How promises turned out: figures by hand, and their interval against a statistics library."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from service.domain.reliability import PromiseOutcome, reliability
from tests.domain.shops import tiny_calendar

MONDAY = date(2026, 6, 1)
CALENDAR = tiny_calendar()
WEEK = [MONDAY + timedelta(days=ahead) for ahead in (0, 1, 2, 3, 4, 7, 8, 9, 10, 11)]
"""Ten working days, a weekend between."""


def _outcome(promised: int, left: int, **changes: object) -> PromiseOutcome:
    """An order of Monday, by the indexes of working days."""
    known: dict[str, object] = {
        "first_day": MONDAY,
        "promised_day": WEEK[promised],
        "nominal_day": WEEK[max(0, promised - 1)],
        "left_day": WEEK[left],
        "still_open": False,
        "target_percent": 90,
        "load": 0.5,
        "method": "",
        "rush": False,
    }
    return PromiseOutcome(**{**known, **changes})  # type: ignore[arg-type] # as named above


def test_figures_by_hand() -> None:
    """Five orders promised for the fourth day: two early by 2, one in time, late by 1 and by 5."""
    outcomes = [_outcome(3, left) for left in (1, 1, 3, 4, 8)]
    outcomes[-1] = _outcome(3, 8, still_open=True, rush=True, method="film", load=0.9)
    found = reliability(outcomes, CALENDAR)
    whole = found.overall
    assert (whole.orders, whole.kept, whole.still_open, whole.share) == (5, 3, 1, 0.6)
    assert (whole.late_days, whole.late_95_days, whole.early_days) == (6 / 5, 5, 4 / 5)
    assert whole.pinball_days == pytest.approx((0.9 * 6 + 0.1 * 4) / 5)
    assert whole.promise_days == 4
    assert [(one.greatest_load, one.figures.orders) for one in found.by_load] == [
        (0.5, 1), (0.5, 2), (0.9, 2),
    ]  # fmt: skip
    assert [(name, one.kept) for name, one in found.by_method] == [("", 3), ("film", 0)]
    assert [(rush, one.orders) for rush, one in found.by_rush] == [(False, 4), (True, 1)]
    assert (found.by_plan.kept, found.by_plan.promise_days) == (2, 3)
    # 2, 2, 4, 5 and 9 days: three of five are kept by four days, two by three.
    assert found.constant is not None
    assert (found.constant.days, found.constant.shorter_by) == (4, 0)


def test_a_constant_lead_time_mixes_two_numbers_of_days() -> None:
    """Half of the orders kept; two days keep 1 of 4, three days 3 of 4: it is half of either."""
    outcomes = [_outcome(promised, left) for promised, left in ((1, 1), (3, 2), (1, 2), (1, 4))]
    found = reliability(outcomes, CALENDAR)
    assert (found.overall.kept, found.overall.promise_days) == (2, (2 + 4 + 2 + 2) / 4)
    assert found.constant is not None
    assert found.constant.days == 2.5
    assert found.constant.shorter_by == 0


def test_nothing_to_measure() -> None:
    """No orders are no share and no interval; without a kept one no lead time is the equal."""
    found = reliability([], CALENDAR)
    assert (found.overall.share, found.overall.low, found.by_load) == (None, None, ())
    assert found.constant is None
    assert reliability([_outcome(1, 2)], CALENDAR).constant is None


days = st.integers(0, 9)
outcomes = st.lists(
    st.builds(_outcome, days, days, load=st.floats(0, 1.5), rush=st.booleans()),
    min_size=1,
    max_size=30,
)


@given(outcomes=outcomes)
def test_parts_make_the_whole(outcomes: list[PromiseOutcome]) -> None:
    """Thirds and kinds share out the orders; the interval is Wilson's (scipy's binomtest)."""
    found = reliability(outcomes, CALENDAR)
    whole = found.overall
    for parts in ([one.figures for one in found.by_load], [one for _, one in found.by_rush]):
        assert sum(one.orders for one in parts) == whole.orders == len(outcomes)
        assert sum(one.kept for one in parts) == whole.kept
    exact = binomtest(whole.kept, whole.orders).proportion_ci(0.95, method="wilson")
    assert (whole.low, whole.high) == pytest.approx((exact.low, exact.high), abs=1e-9)
    loads = [(one.least_load, one.greatest_load) for one in found.by_load]
    assert [each for pair in loads for each in pair] == sorted(
        each for pair in loads for each in pair
    )
    assert whole.late_days <= whole.orders * 9
    if found.constant is not None:
        took = [WEEK.index(one.left_day) + 1 for one in outcomes]
        longer = sum(one <= -(-found.constant.days // 1) for one in took)
        shorter = sum(one <= found.constant.days - 1 for one in took)
        assert shorter < whole.kept <= longer
