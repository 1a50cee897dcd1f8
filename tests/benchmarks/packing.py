"""Nesting: how near the published optimum and how long it takes, and what quotes ask for.

The gaps stand in the names of the rows, as the table has no column for them. The packing library's
gaps were measured once (:mod:`tests.reference.packing_figures` has the heights and how).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import TypeVar

from service.domain.nesting.climbing import QUOTE
from service.domain.nesting.columns import lay_columns
from service.domain.nesting.pieces import Nest, NestPiece
from service.domain.nesting.search import nest_strip
from tests.benchmarks.figures import Burst, summarise
from tests.benchmarks.outline_packing import measure_outlines
from tests.benchmarks.table import Row
from tests.reference.packing_figures import (
    UNIT_UM,
    Instance,
    all_instances,
    mean_gap,
    smallest_instances,
)

_MM = 1_000

Result = TypeVar("Result")


def measure_packing(folder: Path | None, only: str, *, thorough: bool) -> Iterator[Row]:
    """A row for each group of instances, case of a quote and set of outlines.

    Those whose kind holds ``only``. All 21 instances with the folder of published data, the six
    smallest without. Outlines are nested with little effort alone unless ``thorough``.
    """
    if only in "packing instances":
        instances = smallest_instances() if folder is None else all_instances(folder)
        for turn in (False, True):
            yield from _groups(instances, turn=turn)
    if only in "packing quotes":
        yield from _quotes()
    if only in "packing outlines":
        yield from measure_outlines(folder, thorough=thorough)


def _groups(instances: Sequence[Instance], *, turn: bool) -> Iterator[Row]:
    name = "quarter turns" if turn else "no turns"
    ours: list[tuple[float, int]] = []
    theirs: list[tuple[float, int]] = []
    bursts: list[Burst] = []
    for group, members in groupby(instances, key=lambda one: one.name[:2]):
        first = len(ours)
        for one in members:
            nest, burst = _timed(partial(one.nest, turn=turn))
            ours.append((nest.length_um / UNIT_UM, one.height))
            theirs.append((float(one.library_height(turn=turn)), one.height))
            bursts.append(burst)
        yield _row(f"packing {group}, {name}", ours[first:], theirs[first:], bursts[first:])
    yield _row(f"packing all {len(ours)}, {name}", ours, theirs, bursts)


def _row(
    what: str,
    ours: Sequence[tuple[float, int]],
    theirs: Sequence[tuple[float, int]],
    bursts: Sequence[Burst],
) -> Row:
    return Row(
        what=f"{what}: {mean_gap(ours):.2%} over the optimum",
        ours=summarise(bursts),
        beside=f"rectpack 0.2.2, best of 44: {mean_gap(theirs):.2%}",
    )


def _quotes() -> Iterator[Row]:
    badge = NestPiece("badge", 75 * _MM, 50 * _MM, may_turn=True)
    columns, burst = _timed(lambda: lay_columns(badge, 100, 600 * _MM, 4 * _MM))
    yield Row(
        f"packing 100 of 75 x 50 mm: {columns.length_um // _MM} mm",
        summarise([burst]),
        f"rows upright: 806 mm, bound {columns.bound_um // _MM} mm",
    )
    for name, pieces in _orders():
        nest, burst = _timed(partial(_quoted, pieces))
        yield Row(
            f"packing {name}: {nest.length_um // _MM} mm",
            summarise([burst]),
            f"bound {nest.bound_um // _MM} mm",
        )


def _quoted(pieces: Sequence[NestPiece]) -> Nest:
    return nest_strip(pieces, 560 * _MM, 4 * _MM, QUOTE)


def _orders() -> Iterator[tuple[str, list[NestPiece]]]:
    """Few kinds of many copies, turned and not, and forty lines of one piece each."""
    for turn, name in ((False, "no turns"), (True, "quarter turns")):
        kinds = ((280, 200, 24), (90, 90, 24), (60, 25, 48))
        yield (
            f"24 + 24 + 48 copies of a quote, {name}",
            [
                NestPiece(f"{w}x{h}", w * _MM, h * _MM, may_turn=turn)
                for w, h, count in kinds
                for _ in range(count)
            ],
        )
    # Made sizes that share no divisor worth having.
    yield (
        "40 lines of a quote",
        [
            NestPiece(
                str(line), (40 + line * 37 % 211) * _MM, (30 + line * 53 % 173) * _MM, may_turn=True
            )
            for line in range(40)
        ],
    )


def _timed(work: Callable[[], Result]) -> tuple[Result, Burst]:
    """What a single call gives and the processor time it took."""
    started = time.process_time()
    result = work()
    taken_s = max(time.process_time() - started, 1e-9)
    return result, Burst((taken_s,), taken_s, processor_s=taken_s)
