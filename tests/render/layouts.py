"""A layout on a roll read back by an independent reader: svgelements for its geometry."""

from __future__ import annotations

import re
from dataclasses import dataclass
from io import StringIO

import numpy as np
import shapely
from numpy.typing import NDArray
from svgelements import SVG, Path, Rect, Text

PPI = 96
MM_PER_PX = 1 / (PPI * 0.0393701)
"""A millimetre in inches as svgelements has it, rounded to seven places (1 / 25.4, from memory)."""

Points = NDArray[np.float64]

_NEAR_MM = 20.0


@dataclass(frozen=True, slots=True)
class ReadLayout:
    """All in mm: the strip's box, the pieces as polygons, and the numbers with where they stand."""

    strip: tuple[float, ...]
    pieces: list[shapely.Polygon]
    numbers: list[tuple[str, tuple[float, float]]]

    @property
    def boxes(self) -> list[tuple[float, float]]:
        """Width and height of each piece's box."""
        bounds = shapely.bounds(self.pieces)
        return [tuple(np.round(side, 3)) for side in bounds[:, 2:] - bounds[:, :2]]

    @property
    def nearest_mm(self) -> float:
        """The least distance between two pieces, up to 20 mm; 0 where two overlap."""
        tree = shapely.STRtree(self.pieces)
        distances = [
            float(shapely.distance(piece, self.pieces[other]))
            for index, piece in enumerate(self.pieces)
            for other in tree.query(piece, predicate="dwithin", distance=_NEAR_MM)
            if other != index
        ]
        return min(distances, default=_NEAR_MM)


def read_layout(text: str) -> ReadLayout:
    """The strip, pieces and numbers of a drawing in real units."""
    drawing = SVG.parse(StringIO(text), ppi=PPI)
    (strip,) = drawing.select(lambda one: isinstance(one, Rect))
    paths = [_ring(path) for path in drawing.select(lambda one: isinstance(one, Path))]
    texts = list(drawing.select(lambda one: isinstance(one, Text)))
    return ReadLayout(
        tuple(round(side * MM_PER_PX, 3) for side in strip.bbox()),
        [shapely.Polygon(ring) for ring in paths],
        [(one.text, _place(one)) for one in texts],
    )


def _ring(path: Path) -> Points:
    return np.array([(part.end.x, part.end.y) for part in path]) * MM_PER_PX


def _place(text: Text) -> tuple[float, float]:
    x, y = text.transform.point_in_matrix_space((text.x, text.y))
    return x * MM_PER_PX, y * MM_PER_PX


def length_taken_mm(told: str) -> float:
    """The length that a command printed."""
    found = re.search(r"^length taken +([\d,.]+) mm", told, re.MULTILINE)
    assert found is not None, told
    return float(found[1].replace(",", ""))
