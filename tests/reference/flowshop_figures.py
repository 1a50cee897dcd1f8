"""Published permutation flow shops of 20 jobs and 5 stations in series.

Source: Taillard, Benchmarks for basic scheduling problems, EJOR 64(2):278-285, 1993: the generator,
the seeds and the times it makes. Optima: the author's list of best known makespans, proved again by
a constraint solver when the reference data were made.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from service.domain.sequencing import Times

JOBS, STATIONS = 20, 5
FILE = "flowshop_taillard_20x5.json"

MOST_MEAN_GAP = Fraction(2, 100)
"""What the mean gap to the optimum must not exceed."""

_MODULUS, _FACTOR = 2**31 - 1, 16_807


@dataclass(frozen=True, slots=True)
class Instance:
    """A published instance.

    ``inserted`` is the makespan of the insertion heuristic with ties by job index, as reckoned for
    the reference data. ``flow_known`` is the least total flow known, from memory.
    """

    name: str
    seed: int
    optimum: int
    inserted: int
    flow_known: int

    def times(self) -> Times:
        """The times that the published generator makes: whole, 1 to 99, by job and station."""
        drawn = _drawn(self.seed)
        by_station = [[next(drawn) for _ in range(JOBS)] for _ in range(STATIONS)]
        return list(zip(*by_station, strict=True))


def _drawn(seed: int) -> Iterator[int]:
    while True:
        seed = seed * _FACTOR % _MODULUS
        yield 1 + seed * 99 // _MODULUS


INSTANCES = (
    Instance("ta001", 873_654_221, 1278, 1286, 14_033),
    Instance("ta002", 379_008_056, 1359, 1365, 15_151),
    Instance("ta003", 1_866_992_158, 1081, 1159, 13_301),
    Instance("ta004", 216_771_124, 1293, 1325, 15_447),
    Instance("ta005", 495_070_989, 1235, 1305, 13_529),
    Instance("ta006", 402_959_317, 1195, 1228, 13_123),
    Instance("ta007", 1_369_363_414, 1234, 1278, 13_548),
    Instance("ta008", 2_021_925_980, 1206, 1223, 13_948),
    Instance("ta009", 573_109_518, 1230, 1291, 14_295),
    Instance("ta010", 88_325_120, 1108, 1151, 12_943),
)


def mean_gap(found_and_known: Sequence[tuple[int, int]]) -> Fraction:
    """By what share the found values lie above the known ones, on the mean."""
    gaps = [Fraction(found - known, known) for found, known in found_and_known]
    return sum(gaps, Fraction(0)) / len(gaps)
