"""The workroom played event by event, against queues whose answers are known in closed form."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.shop_floor import (
    ALWAYS,
    Job,
    JobStep,
    NeverOpen,
    OpenTimes,
    ShopFloor,
    Span,
    Worked,
    without,
)

HOUR = 3_600.0
DAYS: tuple[Span, ...] = tuple((24 * HOUR * day, 24 * HOUR * day + 8 * HOUR) for day in range(9))
"""Eight hours from the first of every 24."""


def _jobs(floor: ShopFloor, *jobs: Job) -> dict[int, Worked]:
    """Add the jobs and play to the end; the last thing done of each."""
    for job in jobs:
        floor.add(job)
    return {one.job: one for one in floor.run()}


def test_one_server_and_exponential_times() -> None:
    """The 90 % quantile of the time in an M/M/1 queue is -ln(1 - p) / (mu - lambda).

    Textbook result on Markovian queues, from memory; 20,000 arrivals place it within 4 %.
    """
    generator, count, rate = np.random.default_rng(8), 20_000, 0.5
    comes = np.cumsum(generator.exponential(1 / rate, count))
    takes = generator.exponential(1.0, count)
    floor = ShopFloor({"bench": [OpenTimes(ALWAYS)]})
    for n in range(count):
        floor.add(Job(n, (JobStep("bench", float(takes[n])),), (n,), float(comes[n])))
    times = [one.ended_s - comes[one.job] for one in floor.run()]
    assert len(times) == count
    assert np.quantile(times, 0.9) == pytest.approx(-math.log(0.1) / (1 - rate), rel=0.04)
    assert np.mean(times) == pytest.approx(1 / (1 - rate), rel=0.04)


def test_ten_ahead_in_the_queue() -> None:
    """With ten ahead one is done after the sum of eleven exponential times: gamma, q90 15.407.

    The quantile is that of scipy.stats.gamma(11).
    """
    generator = np.random.default_rng(3)
    ends = []
    for _ in range(1_500):
        takes = generator.exponential(1.0, 11)
        jobs = [Job(n, (JobStep("bench", float(takes[n])),), (n,), 0.0) for n in range(11)]
        ends.append(_jobs(ShopFloor({"bench": [OpenTimes(ALWAYS)]}), *jobs)[10].ended_s)
    assert np.quantile(ends, 0.9) == pytest.approx(15.407, rel=0.03)


def test_what_the_day_cuts_off_goes_on_the_next_morning() -> None:
    """Ten hours of a day of eight are done two hours into the next; what waits comes after."""
    floor = ShopFloor({"press": [OpenTimes(DAYS)]})
    long, short = (JobStep("press", 10 * HOUR),), (JobStep("press", HOUR),)
    done = _jobs(floor, Job(0, long, (0,), 0.0), Job(1, short, (1,), HOUR))
    assert [one.ended_s / HOUR for one in done.values()] == [26, 27]


def test_the_more_urgent_of_those_that_wait_is_taken_first() -> None:
    """What is begun is ended first. One that comes overnight is there when the day begins."""
    floor = ShopFloor({"press": [OpenTimes(DAYS)]})
    step = (JobStep("press", 5 * HOUR),)
    done = _jobs(
        floor,
        Job(0, step, (9,), 0.0),
        Job(1, step, (5,), HOUR),
        Job(2, step, (1,), 2 * HOUR),
        Job(3, step, (0,), 20 * HOUR),
    )
    assert [one.job for one in sorted(done.values(), key=lambda one: one.ended_s)] == [0, 2, 3, 1]


def test_waiting_runs_by_the_clock_and_two_machines_work_side_by_side() -> None:
    """Seven hours at the end of a day and a wait of three: the next step waits for the morning."""
    floor = ShopFloor({"print": [OpenTimes(DAYS)] * 2, "cut": [OpenTimes(DAYS)]})
    steps = JobStep("print", 7 * HOUR, 3 * HOUR), JobStep("cut", HOUR)
    done = _jobs(floor, Job(0, steps, (0,), 0.0), Job(1, steps, (1,), 0.0))
    assert [one.ended_s / HOUR for one in done.values()] == [25, 26]


def test_a_breakdown_stops_what_is_on_the_machine() -> None:
    """Two hours of it make everything two hours later."""
    times = OpenTimes(without(DAYS, [(HOUR, 3 * HOUR)]))
    assert times.end_of(0.0, 4 * HOUR) == 6 * HOUR
    assert times.open_s(0.0, 48 * HOUR) == 14 * HOUR
    done = _jobs(ShopFloor({"press": [times]}), Job(0, (JobStep("press", HOUR),), (0,), HOUR))
    assert done[0].ended_s == 4 * HOUR


def test_a_machine_that_has_closed_for_good() -> None:
    """Work that can never be done is no endless loop."""
    floor = ShopFloor({"press": [OpenTimes(DAYS)]})
    floor.add(Job(0, (JobStep("press", 100 * HOUR),), (0,), 0.0))
    with pytest.raises(NeverOpen, match="are left"):
        floor.run()
    with pytest.raises(NeverOpen):
        OpenTimes(()).next_open(0.0)


def test_the_past_is_not_changed() -> None:
    """A job cannot come before what was played."""
    floor = ShopFloor({"press": [OpenTimes(DAYS)]})
    floor.run(HOUR)
    with pytest.raises(ValueError, match="the floor is at 3600"):
        floor.add(Job(0, (JobStep("press", HOUR),), (0,), 0.0))


_JOBS = st.lists(
    st.tuples(
        st.integers(0, 144_000),
        st.lists(st.tuples(st.sampled_from("ab"), st.integers(0, 21_600)), min_size=1, max_size=4),
    ),
    max_size=8,
)


@given(jobs=_JOBS, urgencies=st.permutations(range(8)))
def test_no_machine_is_in_two_places_and_no_step_before_the_one_before(
    jobs: list[tuple[int, list[tuple[str, int]]]], urgencies: list[int]
) -> None:
    """And every step is done once, for as long as it takes, in the hours of its machine."""
    times = OpenTimes((24 * HOUR * day, 24 * HOUR * day + 8 * HOUR) for day in range(60))
    floor = ShopFloor({"a": [times] * 2, "b": [times]})
    for n, (comes, steps) in enumerate(jobs):
        floor.add(Job(n, tuple(JobStep(*step) for step in steps), (urgencies[n],), comes))
    worked = floor.run()
    assert sorted((one.job, one.step) for one in worked) == [
        (n, index) for n, (_, steps) in enumerate(jobs) for index in range(len(steps))
    ]
    for one in worked:
        comes, steps = jobs[one.job]
        assert one.began_s >= comes
        assert times.open_s(one.began_s, one.ended_s) == steps[one.step][1]
    by_job = sorted(worked, key=lambda one: (one.job, one.step))
    by_machine = sorted(
        worked, key=lambda one: (one.station, one.machine, one.began_s, one.ended_s)
    )
    for before, after in itertools.pairwise(by_job):
        assert before.job != after.job or before.over_s <= after.began_s
    for before, after in itertools.pairwise(by_machine):
        same = (before.station, before.machine) == (after.station, after.machine)
        assert not same or before.ended_s <= after.began_s
