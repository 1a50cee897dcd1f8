"""Figures from samples: percentiles, medians and ratios. Knows no clock, server or store."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median


@dataclass(frozen=True, slots=True)
class Burst:
    """What one burst of calls gave: seconds each call took, seconds in all, and how many failed.

    ``latencies_s`` holds the calls that were answered as wanted, in the order of their answers.
    ``processor_s`` is the processor time that all calls took of the one that answered them.
    """

    latencies_s: tuple[float, ...]
    elapsed_s: float
    failed: int = 0
    processor_s: float = math.nan

    @property
    def per_second(self) -> float:
        """Good answers a second; 0 where there were none."""
        return len(self.latencies_s) / self.elapsed_s if self.elapsed_s > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Summary:
    """Several bursts in a few figures; times in seconds, NaN where nothing was answered.

    ``per_second`` is the median over the bursts, the percentiles are over all their calls.
    ``processor_s`` is the processor time of a call, the mean over all, the failed ones too.
    """

    per_second: float
    p50_s: float
    p99_s: float
    processor_s: float
    calls: int
    failed: int


@dataclass(frozen=True, slots=True)
class Ratio:
    """How many times as long as its baseline something takes: the median pair, least and most."""

    middle: float
    least: float
    most: float


def percentile(values: Sequence[float], percent: float) -> float:
    """The nearest-rank percentile: the least value that ``percent`` of all do not exceed.

    NaN of no values. Raises ``ValueError`` unless ``percent`` is above 0 and at most 100.
    """
    if not 0 < percent <= 100:
        raise ValueError(f"a percentile is above 0 and at most 100, not {percent}")
    if not values:
        return math.nan
    return sorted(values)[math.ceil(len(values) * percent / 100) - 1]


def summarise(bursts: Sequence[Burst]) -> Summary:
    """The figures of at least one burst."""
    latencies = [latency for burst in bursts for latency in burst.latencies_s]
    failed = sum(burst.failed for burst in bursts)
    answered = len(latencies) + failed
    return Summary(
        per_second=median(burst.per_second for burst in bursts),
        p50_s=percentile(latencies, 50),
        p99_s=percentile(latencies, 99),
        processor_s=sum(burst.processor_s for burst in bursts) / answered if answered else math.nan,
        calls=len(latencies),
        failed=failed,
    )


def times_as_long(ours: Sequence[Burst], baseline: Sequence[Burst]) -> Ratio | None:
    """Baseline's rate by ours, pair by pair, so that what slows both falls out.

    None where no pair has good answers on both sides.
    """
    pairs = zip(ours, baseline, strict=True)
    ratios = [
        bare.per_second / real.per_second
        for real, bare in pairs
        if real.latencies_s and bare.latencies_s
    ]
    return Ratio(median(ratios), min(ratios), max(ratios)) if ratios else None


def shares(count: int, parts: int) -> list[range]:
    """The numbers 0 to ``count`` cut into ``parts`` runs in order, no two differing by over one."""
    edges = [count * part // parts for part in range(parts + 1)]
    return [range(first, last) for first, last in pairwise(edges)]
