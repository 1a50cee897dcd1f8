"""Outlines slid together, exactly and off the lattice, along one axis at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from service.domain.nesting.outline_overlap import ConvolutionEdges, convolution_edges
from service.domain.nesting.outline_shapes import TurnedShape

Interval = tuple[int, int]
"""Coordinates in um strictly between which a piece would overlap another."""

_ROUNDS = 2


@dataclass(frozen=True, slots=True)
class Spot:
    """A turned shape with the lower corner of its box at x, y in um."""

    shape: int
    at_um: tuple[int, int]


class Slide:
    """Spots of turned shapes on a strip, drawn towards its start without ever overlapping."""

    def __init__(self, shapes: Sequence[TurnedShape], width_um: int, spots: Sequence[Spot]) -> None:
        self.shapes, self.width_um, self.spots = shapes, width_um, list(spots)
        self._edges: dict[tuple[int, int, int], ConvolutionEdges] = {}
        self._intervals: dict[tuple[int, int, int, int], list[Interval]] = {}

    def together(self) -> list[Spot]:
        """The spots after each piece was slid along and across the strip some times."""
        for _ in range(_ROUNDS):
            for down in (False, True):
                self._along()
                self._across(to_end=down)
            self._along()
        return self.spots

    def _along(self) -> None:
        for piece in sorted(range(len(self.spots)), key=lambda p: self.spots[p].at_um[::-1]):
            x, y = self.spots[piece].at_um
            y = min(y, _lowest(0, self._overlaps(piece, axis=1)))
            self.spots[piece] = replace(self.spots[piece], at_um=(x, y))

    def _across(self, *, to_end: bool) -> None:
        order = sorted(range(len(self.spots)), key=lambda p: self.spots[p].at_um, reverse=to_end)
        for piece in order:
            spot = self.spots[piece]
            intervals = self._overlaps(piece, axis=0, to_end=to_end)
            x, y = spot.at_um
            if to_end:
                last = self.width_um - self.shapes[spot.shape].bare.size_um[0]
                x = max(x, -_lowest(-last, [(-high, -low) for low, high in intervals]))
            else:
                x = min(x, _lowest(0, intervals))
            self.spots[piece] = replace(spot, at_um=(x, y))

    def _overlaps(self, piece: int, axis: int, *, to_end: bool = False) -> list[Interval]:
        """Where along an axis the piece would overlap any other, its other coordinate kept.

        Left out are overlaps wholly on the side it does not slide to.
        """
        spot, across = self.spots[piece], 1 - axis
        moved = self.shapes[spot.shape].bare.size_um
        found: list[Interval] = []
        for number, other in enumerate(self.spots):
            still = self.shapes[other.shape]
            apart = spot.at_um[across] - other.at_um[across] + still.margin_um[across]
            shift = other.at_um[axis]
            first = shift - still.margin_um[axis] - moved[axis]
            last = shift - still.margin_um[axis] + still.grown.size_um[axis]
            is_behind = last <= spot.at_um[axis] if to_end else first >= spot.at_um[axis]
            is_clear = not -moved[across] < apart < still.grown.size_um[across]
            if number != piece and not is_behind and not is_clear:
                apart -= still.margin_um[across]
                intervals = self._known_intervals(other.shape, spot.shape, axis, apart)
                found += [(low + shift, high + shift) for low, high in intervals]
        return found

    def _known_intervals(self, still: int, moved: int, axis: int, apart_um: int) -> list[Interval]:
        key = (still, moved, axis, apart_um)
        if key not in self._intervals:
            self._intervals[key] = _on_line(self._known_edges(still, moved, axis), apart_um)
        return self._intervals[key]

    def _known_edges(self, still: int, moved: int, axis: int) -> ConvolutionEdges:
        key = (still, moved, axis)
        if key not in self._edges:
            shape = self.shapes[still]
            start = (-shape.margin_um[0], -shape.margin_um[1])
            self._edges[key] = convolution_edges(
                shape.grown, self.shapes[moved].bare, start, along=axis
            )
        return self._edges[key]


def _on_line(edges: ConvolutionEdges, line_um: int) -> list[Interval]:
    """Where a line of constant second coordinate runs through overlap, rounded outward.

    Just above the line and just below it there must be overlap; else outlines only touch there.
    """
    low, high = edges.lower[:, 1], edges.upper[:, 1]
    above = _crossings(edges, (low <= line_um) & (line_um < high), line_um)
    below = _crossings(edges, (low < line_um) & (line_um <= high), line_um)
    return [
        (max(one[0], other[0]), min(one[1], other[1]))
        for one in above
        for other in below
        if max(one[0], other[0]) < min(one[1], other[1])
    ]


def _crossings(edges: ConvolutionEdges, crossed: NDArray[np.bool_], line_um: int) -> list[Interval]:
    lower, upper, signs = edges.lower[crossed], edges.upper[crossed], edges.signs[crossed]
    rise = upper[:, 1] - lower[:, 1]
    run = lower[:, 0] * rise + (line_um - lower[:, 1]) * (upper[:, 0] - lower[:, 0])
    below, rest = run // rise, run % rise
    opens, is_whole = signs > 0, rest == 0
    # What begins an overlap is rounded down and what ends one up. At the same whole number first
    # comes what ended before it, then what begins and what ends there, then what begins after it.
    at = np.where(opens | is_whole, below, below + 1)
    order = np.lexsort((np.where(opens, np.where(is_whole, 1, 3), 2 * is_whole), at))
    depth = np.cumsum(signs[order])
    ends = [0, *(np.flatnonzero(depth == 0) + 1).tolist()]
    at = at[order]
    return [(int(at[first]), int(at[after - 1])) for first, after in pairwise(ends)]


def _lowest(start: int, intervals: Sequence[Interval]) -> int:
    """The least coordinate from a start on that lies strictly inside no interval."""
    for low, high in sorted(intervals):
        if low >= start:
            break
        start = max(start, high)
    return start
