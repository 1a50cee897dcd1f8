"""Published sets of outlines, nested; every layout is looked at by a geometry library too.

Source: Oliveira, Gomes, Ferreira, A new constructive algorithm for nesting problems, OR Spektrum
22:263-284, 2000; the shirts also Dowsland, Dowsland, Bennell, JORS 49:647-658, 1998; both as in the
ESICUP collection (CC0 1.0). Strip widths and turns of 0 and 180 degrees are those of the sets.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pytest
import shapely

from service.domain.nesting.outline_check import layout_faults
from service.domain.nesting.outlines import (
    OutlineEffort,
    OutlineNest,
    OutlinePiece,
    nest_outlines,
    worth_outlines,
)

UNIT_UM = 1_000

Corners = Sequence[Sequence[float]]

# The eight outlines of the shirts and how many of each; strip width 40, whole area 2160.
SHIRTS: Sequence[tuple[int, Corners]] = (
    (8, ((0, 0), (7, 1), (7, 5), (0, 7), (-1, 5), (-1, 4), (-2, 3), (-1, 2))),
    (
        8,
        ((0, 0), (11, 0), (12, 2), (11, 3), (11, 5), (10, 6), (6, 5), (3, 6), (0, 5), (-1, 3)),
    ),
    (
        8,
        ((0, 0), (3, 0), (3, -1), (5, 0), (8, 0), (11, -1), (12, 4), (11, 8), (7, 7), (0, 7)),
    ),
    (15, ((0, 0), (4, 0), (4, 2), (3, 3), (0, 3))),
    (15, ((0, 0), (8, 0), (7, 1), (1, 1))),
    (15, ((0, 0), (4, 0), (4, 1), (0, 1))),
    (15, ((0, 0), (3, 0), (3, 1), (0, 1))),
    (15, ((0, 0), (8, 0), (8, 2), (6, 2), (4, 1), (3, 1), (2, 2), (-1, 2))),
)
SHIRTS_WIDTH_UM = 40 * UNIT_UM


def pieces_of(outlines: Iterable[tuple[int, Corners]]) -> list[OutlinePiece]:
    """Every copy of the outlines; the sets run along x, a strip here along y."""
    return [
        OutlinePiece(
            f"{kind}-{copy}",
            tuple((round(y * UNIT_UM), round(x * UNIT_UM)) for x, y in corners),
            frozenset({0, 180}),
        )
        for kind, (quantity, corners) in enumerate(outlines)
        for copy in range(quantity)
    ]


def _holds(nest: OutlineNest, width_um: int, gap_um: int) -> None:
    rings = [one.ring_um for one in nest.placed]
    assert not list(layout_faults(rings, width_um, nest.length_um, gap_um))
    polygons = np.array([shapely.Polygon(ring) for ring in rings])
    together = shapely.area(shapely.union_all(polygons))
    assert together == pytest.approx(shapely.area(polygons).sum(), rel=1e-9)
    one, other = shapely.STRtree(polygons).query(polygons)
    apart = shapely.distance(polygons[one[one != other]], polygons[other[one != other]])
    assert (apart >= gap_um - 1e-6).all()
    left, top, right, bottom = shapely.total_bounds(polygons)
    assert min(left, top) >= 0
    assert (right <= width_um, bottom) == (True, nest.length_um)
    assert nest.length_um >= nest.bound_um


def test_shirts_lie_closer_than_their_boxes() -> None:
    """At a hundredth of the work of a usual layout; no layout is shorter than 2160 / 40 = 54.

    Their boxes fill 0.794 of the strip at best, as measured beside the published set.
    """
    pieces = pieces_of(SHIRTS)
    nest = nest_outlines(pieces, SHIRTS_WIDTH_UM, 0, OutlineEffort.QUICK // 100)
    _holds(nest, SHIRTS_WIDTH_UM, 0)
    assert nest.bound_um == 54 * UNIT_UM
    assert nest.density == pytest.approx(2160 / 40 / nest.length_um * UNIT_UM)
    assert nest.density > 0.70
    assert not worth_outlines(pieces)


def _set(folder: Path, name: str) -> tuple[list[OutlinePiece], int, float]:
    """Pieces, strip width in um and whole area in units of the set."""
    text = (folder / "nesting_esicup_shirts_swim.json").read_text(encoding="utf-8")
    (found,) = (one for one in json.loads(text)["instances"] if one["name"] == name)
    outlines = [(piece["quantity"], piece["xy"]) for piece in found["pieces"]]
    return pieces_of(outlines), found["strip_width"] * UNIT_UM, found["total_area"]


@pytest.mark.reference_data
@pytest.mark.parametrize(
    ("name", "effort", "gap_um", "least_density"),
    [
        ("swim", OutlineEffort.THOROUGH, 0, 0.70),
        ("swim", OutlineEffort.QUICK, 10 * UNIT_UM, 0.62),
        ("shirts", OutlineEffort.QUICK, 0, 0.79),
    ],
)
def test_published_sets(
    reference_data: Path, name: str, effort: OutlineEffort, gap_um: int, least_density: float
) -> None:
    """At least as dense as asked; the order of the pieces changes nothing."""
    pieces, width_um, area = _set(reference_data, name)
    nest = nest_outlines(pieces, width_um, gap_um, effort)
    _holds(nest, width_um, gap_um)
    used = width_um * nest.length_um / UNIT_UM**2
    assert nest.density == pytest.approx(area / used, rel=1e-6)
    assert nest.density >= least_density
    assert nest == nest_outlines(pieces[::-1], width_um, gap_um, effort)


@pytest.mark.reference_data
def test_the_shirts_written_here_are_the_published_ones(reference_data: Path) -> None:
    """Outlines, quantities and width as in the file; swim is worth nesting by outlines."""
    assert _set(reference_data, "shirts")[:2] == (pieces_of(SHIRTS), SHIRTS_WIDTH_UM)
    assert worth_outlines(_set(reference_data, "swim")[0])
