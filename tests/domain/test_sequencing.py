"""Laws of the order of jobs by stations in series."""

from __future__ import annotations

from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.nesting.numbers import Numbers
from service.domain.sequencing import (
    Effort,
    Times,
    completion_times,
    insertion_order,
    least_makespan,
    least_total_flow,
    makespan,
    makespan_bound,
    total_flow,
)

SOME = Effort(30_000)
GOALS = [(least_makespan, makespan), (least_total_flow, total_flow)]


@st.composite
def shops(draw: st.DrawFn, most_jobs: int = 12) -> Times:
    """Jobs by one to six stations; a fifth of the visits is left out."""
    stations = draw(st.integers(1, 6))
    time = st.sampled_from([0, 1, 1, 2, 30]) | st.integers(1, 99)
    row = st.lists(time, min_size=stations, max_size=stations)
    return draw(st.lists(row, max_size=most_jobs))


@given(shops(), st.integers(0, 30_000), st.integers(0, 2**64 - 1))
def test_an_order_holds_every_job_and_is_no_worse_than_as_given(
    times: Times, visits: int, seed: int
) -> None:
    """Whatever the effort and the numbers; the value is the order's own, and none beats the bound.

    Equal questions get equal answers.
    """
    given_order = range(len(times))
    for search, value in GOALS:
        found = search(times, Effort(visits), Numbers(seed))
        assert sorted(found.order) == list(given_order)
        assert found.least <= found.value == value(times, found.order) <= value(times, given_order)
        assert found == search(times, Effort(visits), Numbers(seed))


@settings(max_examples=20)
@given(shops(most_jobs=5))
def test_few_jobs_are_put_in_the_best_of_all_orders(times: Times) -> None:
    """The oracle tries every order."""
    for search, value in GOALS:
        best = min(value(times, order) for order in permutations(range(len(times))))
        assert search(times, SOME).value == best


@given(shops())
def test_insertion_tries_all_places(times: Times) -> None:
    """The heuristic as published, every place reckoned from the start, gives the same order."""
    order: list[int] = []
    for job in sorted(range(len(times)), key=lambda job: -sum(times[job])):
        tries = [[*order[:at], job, *order[at:]] for at in range(len(order) + 1)]
        order = min(tries, key=lambda tried: makespan(times, tried))
    assert insertion_order(times) == tuple(order)


@given(shops())
def test_turned_round_a_line_takes_as_long(times: Times) -> None:
    """Jobs and stations both taken from the end: a law of the flow shop."""
    backwards = [list(reversed(job)) for job in times]
    order = list(range(len(times)))
    assert makespan(times, order) == makespan(backwards, order[::-1])
    assert makespan_bound(times) == makespan_bound(backwards) <= makespan(times, order)


def test_the_order_given_wins_a_tie() -> None:
    """Nothing is moved for nothing: at one station all orders end together."""
    assert least_makespan([[3], [9], [1]]).order == (0, 1, 2)
    assert least_total_flow([[3], [9], [1]]).order == (2, 0, 1)
    assert completion_times([[3], [9], [1]], (2, 0)) == (1, 4)


def test_no_jobs_and_no_stations_take_no_time() -> None:
    """An empty day is an order too."""
    for search, _ in GOALS:
        assert search([], SOME).order == ()
        assert search([[], []], SOME).value == 0


@pytest.mark.parametrize(
    ("times", "words"), [([[1, 2], [3]], "a time for every station"), ([[1, -2]], "below 0")]
)
def test_times_that_make_no_sense_are_refused(times: Times, words: str) -> None:
    """Each job needs as many times as another, none of them negative."""
    for search, _ in GOALS:
        with pytest.raises(ValueError, match=words):
            search(times)
    with pytest.raises(ValueError, match=words):
        insertion_order(times)
