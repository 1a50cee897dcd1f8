"""A strip as a lattice of places, and how deep an outline would overlap others at each place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.domain.nesting.outline_overlap import OverlapMap, overlap_map
from service.domain.nesting.outline_shapes import TurnedShape

Field = NDArray[np.float32]

MAP_WORK = 50
"""Making a map takes about as long as laying so many maps over one another."""


@dataclass(frozen=True, slots=True)
class Place:
    """A turned shape with the lower corner of its box on a point of the lattice."""

    shape: int
    column: int
    row: int


class Board:
    """Turned shapes on a strip of a width, and the maps of their overlaps, made when first needed.

    The lattice has ``pitch_um``; a field looks at every ``stride``-th point, a window at all.
    ``work`` counts what was done, in maps laid over one another: a budget without a clock.
    """

    def __init__(
        self, shapes: Sequence[TurnedShape], width_um: int, pitch_um: int, stride: int
    ) -> None:
        self.shapes = tuple(shapes)
        self.width_um = width_um
        self.pitch_um = pitch_um
        self.stride = stride
        self.work = 0
        self._maps: list[list[OverlapMap | None]] = [[None] * len(shapes) for _ in shapes]

    def last_column(self, shape: int) -> int:
        """The rightmost column at which the shape is on the strip."""
        return (self.width_um - self.shapes[shape].bare.size_um[0]) // self.pitch_um

    def last_row(self, shape: int, length_um: int) -> int:
        """The farthest row at which the shape ends within a length; negative if it is longer."""
        return (length_um - self.shapes[shape].bare.size_um[1]) // self.pitch_um

    def end_um(self, place: Place) -> int:
        """How far along the strip a placed shape reaches."""
        return place.row * self.pitch_um + self.shapes[place.shape].bare.size_um[1]

    def length_um(self, places: Iterable[Place]) -> int:
        """How much of the strip the places take."""
        return max(map(self.end_um, places), default=0)

    def depth(self, still: Place, moved: Place) -> int:
        """How deep two placed shapes overlap, in steps of depth."""
        overlap = self.overlap(still.shape, moved.shape)
        column = moved.column - still.column - overlap.first[0]
        row = moved.row - still.row - overlap.first[1]
        if 0 <= column < overlap.columns and 0 <= row < overlap.rows:
            return int(overlap.depths[row, column])
        return 0

    def field(
        self, shape: int, last_row: int, others: Sequence[Place], weights: Sequence[float]
    ) -> Field:
        """The weighted depths at every stride-th point, rows up to the last one."""
        stride = self.stride
        height, width = last_row // stride + 1, self.last_column(shape) // stride + 1
        total = np.zeros((height, width), np.float32)
        self.work += len(others)
        for place, weight in zip(others, weights, strict=True):
            overlap = self._maps[place.shape][shape] or self.overlap(place.shape, shape)
            x, y = place.column + overlap.first[0], place.row + overlap.first[1]
            # The first points of the field that lie on the map, and those after the last.
            left = -(-x // stride) if x > 0 else 0
            top = -(-y // stride) if y > 0 else 0
            right = min(width, (x + overlap.columns - 1) // stride + 1)
            bottom = min(height, (y + overlap.rows - 1) // stride + 1)
            if left < right and top < bottom:
                part = overlap.depths[
                    top * stride - y : bottom * stride - y : stride,
                    left * stride - x : right * stride - x : stride,
                ]
                total[top:bottom, left:right] += part if weight == 1 else part * np.float32(weight)
        return total

    def window(
        self,
        around: Place,
        reach: int,
        last_row: int,
        others: Sequence[Place],
        weights: Sequence[float],
    ) -> tuple[float, Place]:
        """The least weighted depth at all points near a place, and where it is."""
        x0, y0 = max(0, around.column - reach), max(0, around.row - reach)
        x1 = min(self.last_column(around.shape), around.column + reach) + 1
        y1 = min(last_row, around.row + reach) + 1
        total = np.zeros((y1 - y0, x1 - x0), np.float32)
        self.work += len(others) // 4
        for place, weight in zip(others, weights, strict=True):
            overlap = self._maps[place.shape][around.shape] or self.overlap(
                place.shape, around.shape
            )
            x, y = place.column + overlap.first[0], place.row + overlap.first[1]
            right, bottom = x + overlap.columns, y + overlap.rows
            if x < x1 and y < y1 and right > x0 and bottom > y0:
                left, top = max(x0, x), max(y0, y)
                right, bottom = min(x1, right), min(y1, bottom)
                part = overlap.depths[top - y : bottom - y, left - x : right - x]
                total[top - y0 : bottom - y0, left - x0 : right - x0] += part * np.float32(weight)
        least = int(total.argmin())
        row, column = divmod(least, total.shape[1])
        return float(total.flat[least]), Place(around.shape, x0 + column, y0 + row)

    def overlap(self, still: int, moved: int) -> OverlapMap:
        """The map of one shape lying still, grown by the gap, and one moved."""
        known = self._maps[still][moved]
        if known is None:
            shape = self.shapes[still]
            start = (-shape.margin_um[0], -shape.margin_um[1])
            known = overlap_map(shape.grown, self.shapes[moved].bare, start, self.pitch_um)
            self._maps[still][moved] = known
            self._maps[moved][still] = known.reflected()
            self.work += MAP_WORK
        return known
