"""Nesting of outlines: how dense and how long it takes, on the published sets and on stickers.

The shirts are those written in the reference test; swim is read from the folder of published data
where one is named. Beside each stands the same nesting with no work given to shortening.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

from service.domain.nesting.outlines import (
    OutlineEffort,
    OutlineNest,
    OutlinePiece,
    nest_outlines,
)
from tests.benchmarks.figures import Burst, summarise, times_as_long
from tests.benchmarks.table import Row
from tests.reference.test_outline_nesting_published import (
    SHIRTS,
    SHIRTS_WIDTH_UM,
    UNIT_UM,
    pieces_of,
)

ROLL_UM, GAP_UM = 600_000, 4_000

Work = Callable[[], OutlineNest]


def measure_outlines(folder: Path | None, *, thorough: bool) -> Iterator[Row]:
    """A row for each set and effort; the density stands in its name, all times are processor's."""
    efforts = OutlineEffort if thorough else [OutlineEffort.QUICK]
    for name, pieces, width_um, gap_um in _sets(folder):
        bare, bare_burst = _timed(partial(nest_outlines, pieces, width_um, gap_um, 0))
        for effort in efforts:
            ours, burst = _timed(partial(nest_outlines, pieces, width_um, gap_um, effort))
            yield Row(
                what=f"packing {name}, {effort.name.lower()}: density {ours.density:.3f}",
                ours=summarise([burst]),
                beside=f"not drawn together: {bare.density:.3f}",
                baseline=summarise([bare_burst]),
                ratio=times_as_long([burst], [bare_burst]),
            )


def _timed(work: Work) -> tuple[OutlineNest, Burst]:
    started = time.process_time()
    nest = work()
    spent_s = time.process_time() - started
    return nest, Burst((spent_s,), spent_s, 0, spent_s)


def _sets(folder: Path | None) -> Iterator[tuple[str, Sequence[OutlinePiece], int, int]]:
    yield "shirts", pieces_of(SHIRTS), SHIRTS_WIDTH_UM, 0
    if folder is not None:
        text = (folder / "nesting_esicup_shirts_swim.json").read_text(encoding="utf-8")
        (swim,) = (one for one in json.loads(text)["instances"] if one["name"] == "swim")
        outlines = [(piece["quantity"], piece["xy"]) for piece in swim["pieces"]]
        yield "swim", pieces_of(outlines), swim["strip_width"] * UNIT_UM, 0
    yield "stickers", stickers(40), ROLL_UM, GAP_UM


def stickers(count: int) -> list[OutlinePiece]:
    """Invented outlines of 30 to 300 mm, all different: stars, crescents and drops of 60 points."""
    return [
        OutlinePiece(f"{number:03}", _sticker(number), frozenset({0, 90, 180, 270}))
        for number in range(count)
    ]


def _sticker(number: int) -> tuple[tuple[int, int], ...]:
    size_um = 15_000 + 135_000 * ((number * 37) % 101) / 100
    points, lobes = 60, 2 + number % 5
    ring = []
    for at in range(points):
        angle = 2 * math.pi * at / points
        reach = 0.65 + 0.35 * math.cos(lobes * angle + number)
        squeeze = 0.5 + 0.5 * ((number * 53) % 97) / 96
        x, y = reach * math.cos(angle) * squeeze, reach * math.sin(angle)
        ring.append((round(size_um * x), round(size_um * y)))
    return tuple(ring)
