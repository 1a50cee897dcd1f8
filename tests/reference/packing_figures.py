"""Published strip-packing instances, and what a packing library makes of them.

Source: Hopper and Turton, An empirical investigation of meta-heuristic and heuristic algorithms for
a 2D packing problem, EJOR 128(1):34-57, 2001; the authors' data in the ESICUP collection (CC0),
width first. Each is a rectangle cut up, so that its height is the optimum; in the file's order
some greedy rules find that cut again, so the order must not matter to what is measured.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from service.domain.nesting.climbing import RUN, Effort
from service.domain.nesting.pieces import Nest, NestPiece
from service.domain.nesting.search import nest_strip

UNIT_UM = 1_000
MOST_MEAN_GAP = {False: 0.018, True: 0.010}
"""What the mean gap to the optimum must not exceed, without and with quarter turns."""

FILE = "strip_hopper_turton_2001_C.json"

_SMALLEST = """
C1P1 20 20 2x12 7x12 8x6 3x6 3x5 5x5 3x12 3x7 5x7 2x6 3x2 4x2 3x4 4x4 9x2 11x2
C1P2 20 20 4x1 4x5 9x4 3x5 3x9 1x4 5x3 4x1 5x5 7x2 9x3 3x13 2x8 15x4 5x4 10x6 7x2
C1P3 20 20 4x14 5x2 2x2 9x7 5x5 2x5 7x7 3x5 6x5 3x2 6x2 4x6 6x3 10x3 6x3 10x3
C2P1 40 15 11x3 13x3 9x2 7x2 9x3 7x3 11x2 13x2 11x4 13x4 3x5 11x2 2x2 11x3 2x3 5x4 6x4 12x2 1x2 \
3x5 13x5 12x4 1x4 5x2 6x2
C2P2 40 15 11x2 2x3 10x7 8x4 9x5 7x2 4x1 6x1 4x5 8x3 1x3 5x5 3x1 12x4 6x2 2x4 11x4 10x2 3x2 11x2 \
3x4 26x4 8x4 3x2 6x2
C2P3 40 15 12x7 7x7 7x1 5x1 3x2 6x2 7x2 5x2 3x1 6x1 12x6 9x6 12x2 7x2 10x3 4x1 5x1 16x3 5x3 4x2 \
5x2 10x3 9x3 16x3 5x3
"""

_NAMES = tuple(f"C{group}P{number}" for group in range(1, 8) for number in range(1, 4))

# Measured with rectpack 0.2.2 (Apache-2.0) on CPython 3.11, one strip ten times as high as the
# optimum, offline: the least height of its four MaxRects, six Skyline and one Guillotine (short
# side fit, shorter axis split) algorithms with each of four sorts: area, perimeter, short side and
# long side. Took 0.1 s for C1 and 8 to 18 s for C7.
_LIBRARY = {
    False: (
        *(21, 22, 22, 17, 16, 15, 32, 33, 32, 65, 63, 63),
        *(95, 94, 94, 124, 124, 125, 249, 247, 248),
    ),
    True: (
        *(21, 21, 20, 16, 16, 15, 32, 32, 32, 62, 63, 61),
        *(92, 91, 92, 123, 122, 123, 244, 242, 243),
    ),
}


@dataclass(frozen=True, slots=True)
class Instance:
    """Rectangles for a strip of that width; no layout is shorter than ``height``."""

    name: str
    width: int
    height: int
    sides: tuple[tuple[int, int], ...]

    def pieces(self, *, turn: bool) -> list[NestPiece]:
        """The rectangles as pieces."""
        return [
            NestPiece(str(index), width * UNIT_UM, height * UNIT_UM, turn)
            for index, (width, height) in enumerate(self.sides)
        ]

    def nest(self, *, turn: bool, effort: Effort = RUN) -> Nest:
        """Our layout of them."""
        return nest_strip(self.pieces(turn=turn), self.width * UNIT_UM, 0, effort)

    def library_height(self, *, turn: bool) -> int:
        """The packing library's best of 44."""
        return _LIBRARY[turn][_NAMES.index(self.name)]


def smallest_instances() -> tuple[Instance, ...]:
    """The six smallest, which are written here."""
    return tuple(_written(line) for line in _SMALLEST.strip().splitlines())


def all_instances(folder: Path) -> tuple[Instance, ...]:
    """All 21, from the folder of published data."""
    listed = json.loads((folder / FILE).read_text(encoding="utf-8"))["instances"]
    return tuple(
        Instance(
            one["name"],
            one["strip_width"],
            one["optimal_height"],
            tuple((width, height) for width, height in one["rects_w_h"]),
        )
        for one in listed
    )


def mean_gap(heights: Sequence[tuple[float, int]]) -> float:
    """The mean of how far heights lie above their optimum, as a share of it."""
    return sum(height / optimum - 1 for height, optimum in heights) / len(heights)


def _written(line: str) -> Instance:
    name, width, height, *sides = line.split()
    pairs = (side.split("x") for side in sides)
    return Instance(name, int(width), int(height), tuple((int(w), int(h)) for w, h in pairs))
