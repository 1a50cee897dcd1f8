"""Orders of jobs by stations in series, against published examples and instances."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import permutations
from pathlib import Path

import pytest

from service.domain.promising import StationWork
from service.domain.sequencing import (
    THOROUGH,
    Effort,
    Sequenced,
    Times,
    completion_times,
    insertion_order,
    least_makespan,
    least_total_flow,
    makespan,
    total_flow,
)
from service.domain.ticket_sequence import DayJob, day_sequence
from tests.reference.flowshop_figures import (
    FILE,
    INSTANCES,
    JOBS,
    MOST_MEAN_GAP,
    STATIONS,
    Instance,
    mean_gap,
)

JOHNSON = ((4, 5), (4, 1), (30, 4), (6, 30), (2, 3))
"""Source: Johnson, Optimal two- and three-stage production schedules with setup times included,
Naval Research Logistics Quarterly 1(1):61-68, 1954. Least makespan 47."""

SIX_JOBS = ((3, 8), (12, 10), (5, 9), (2, 6), (9, 3), (11, 1))
"""A common teaching example, no source; 43 by Johnson's rule and by trying all orders."""

FIVE_JOBS = ((10, 2), (5, 4), (7, 5), (3, 6), (1, 7))
"""As ``SIX_JOBS``: 28 by trying all orders. Where 26 is given for it, no order reaches that."""

PRINT_TO_PACK = ((20, 10, 30, 24, 6), (10, 5, 12, 12, 4), (30, 15, 20, 40, 10), (5, 5, 25, 8, 3))
"""Made up: jobs A to D by print, cut, weed, press and pack. Results by trying all 24 orders."""

SMALL, LITTLE = Effort(30_000), Effort(300_000)


@pytest.mark.parametrize(
    ("times", "least"), [(JOHNSON, 47), (SIX_JOBS, 43), (FIVE_JOBS, 28), (PRINT_TO_PACK, 146)]
)
def test_small_examples_end_as_soon_as_they_can(times: Times, least: int) -> None:
    """The search finds what trying every order finds."""
    found = least_makespan(times, SMALL)
    assert found.value == makespan(times, found.order) == least
    assert least == min(makespan(times, order) for order in permutations(range(len(times))))


def test_two_stations_end_as_worked_out() -> None:
    """Johnson's order 5, 1, 4, 3, 2 ends at 47, the order given at 77; the six jobs' D A C B E F.

    On two stations the day at the bench is the same problem, in minutes.
    """
    assert makespan(JOHNSON, (4, 0, 3, 2, 1)) == 47
    assert makespan(JOHNSON, range(5)) == 77
    assert makespan(SIX_JOBS, (3, 0, 2, 1, 4, 5)) == 43
    jobs = [
        DayJob(str(job), (StationWork("print", 60 * first), StationWork("press", 60 * second)))
        for job, (first, second) in enumerate(JOHNSON, 1)
    ]
    day = day_sequence(jobs, {})
    assert (day.ends_s, day.as_given_s) == (47 * 60, 77 * 60)


def test_a_line_of_five_stations_ends_as_worked_out() -> None:
    """One unit a stage. A B C D ends at 90, 100, 146, 149; the least total flow is 367, not 485."""
    assert completion_times(PRINT_TO_PACK, range(4)) == (90, 100, 146, 149)
    assert total_flow(PRINT_TO_PACK, range(4)) == 485
    assert makespan(PRINT_TO_PACK, (3, 0, 2, 1)) == 146
    found = least_total_flow(PRINT_TO_PACK, SMALL)
    assert (found.order, found.value) == ((3, 1, 0, 2), 367)
    assert completion_times(PRINT_TO_PACK, found.order) == (46, 63, 107, 151)


def test_insertion_gives_the_known_makespans() -> None:
    """Nawaz, Enscore and Ham's heuristic on all ten, ties by job index."""
    inserted = [makespan(times, insertion_order(times)) for times in map(Instance.times, INSTANCES)]
    assert inserted == [instance.inserted for instance in INSTANCES]


def _gap(search: Callable[[Times, Effort], Sequenced], effort: Effort) -> list[tuple[int, int]]:
    values = []
    for instance in INSTANCES:
        found = search(instance.times(), effort)
        assert found.least <= instance.optimum <= found.value
        values.append((found.value, instance.optimum))
    return values


def test_orders_end_near_the_proved_optimum() -> None:
    """With little effort within 2 % on the mean, and never below the optimum."""
    assert mean_gap(_gap(least_makespan, LITTLE)) <= MOST_MEAN_GAP


@pytest.mark.reference_data
def test_thorough_orders_end_nearer() -> None:
    """With the effort for what is kept: a tenth of that on the mean, and nine are optimal."""
    values = _gap(least_makespan, THOROUGH)
    assert mean_gap(values) <= MOST_MEAN_GAP / 10
    assert sum(found == optimum for found, optimum in values) >= 9


@pytest.mark.reference_data
def test_the_instances_made_here_are_the_published_ones(reference_data: Path) -> None:
    """Times by station and job, seeds, optima and what insertion reaches."""
    published = json.loads((reference_data / FILE).read_text(encoding="utf-8"))["instances"]
    for instance, row in zip(INSTANCES, published, strict=True):
        assert (row["name"], row["n"], row["m"]) == (instance.name, JOBS, STATIONS)
        assert (row["seed"], row["optimum"]) == (instance.seed, instance.optimum)
        assert row["neh_makespan"] == instance.inserted
        assert list(zip(*row["p_machine_by_job"], strict=True)) == instance.times()
