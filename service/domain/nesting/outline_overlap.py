"""Where one outline would overlap another, exactly, without building any polygon of places.

Shift outline B over outline A that lies still. The shifts at which they overlap are those around
which the convolution of the edges of A and of the reflected edges of B winds at least once: the
winding number is the Euler characteristic of what both cover, thus the number of parts of it, for
simple outlines have parts without holes. Source: Guibas, Ramshaw, Stolfi, A kinetic framework for
computational geometry, FOCS 1983 (from memory). Winding numbers at the points of a lattice are sums
of crossings along rows, so whole numbers are enough, and equal inputs give equal answers
everywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.nesting.outline_shapes import Angles, Points, Shape

DEPTH_STEPS = 8
"""Depths are counted in so many steps to a lattice step."""

Depths = NDArray[np.uint16]

_TURN = 2 * math.pi


@dataclass(frozen=True, slots=True, eq=False)
class ConvolutionEdges:
    """Edges of a convolution from their lower to their upper end.

    ``signs`` is what the winding number gains where the edge is crossed along the first axis.
    """

    lower: Points
    upper: Points
    signs: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class OverlapMap:
    """How deep B overlaps A when B is shifted by lattice steps; 0 where they only touch or less.

    Row r and column c stand for a shift by ``first[1] + r`` and ``first[0] + c`` steps.
    """

    first: tuple[int, int]
    columns: int
    rows: int
    depths: Depths

    @property
    def end_row(self) -> int:
        """The first row shift beyond the map."""
        return self.first[1] + self.rows

    def reflected(self) -> OverlapMap:
        """The same with the outlines' parts exchanged."""
        first = (1 - self.columns - self.first[0], 1 - self.rows - self.first[1])
        depths = np.ascontiguousarray(self.depths[::-1, ::-1])
        return OverlapMap(first, self.columns, self.rows, depths)


def convolution_edges(
    still: Shape, moved: Shape, start_um: tuple[int, int], along: int = 0
) -> ConvolutionEdges:
    """The convolution of ``still``, its box from ``start_um``, and of ``moved`` reflected.

    It is to be crossed along the axis with that number, which becomes the first one.
    """
    one, other = still.points + np.array(start_um), -moved.points
    parts = (
        _edges_at_corners(one, still.angles, other, moved.opposite, ties_before=True),
        _edges_at_corners(other, moved.opposite, one, still.angles, ties_before=False),
    )
    tails, heads, signs = (np.concatenate(column) for column in zip(*parts, strict=True))
    if along == 1:
        # Exchanging the axes turns the outlines the other way round.
        tails, heads, signs = tails[:, ::-1], heads[:, ::-1], -signs
    rises = heads[:, 1] > tails[:, 1]
    return ConvolutionEdges(
        lower=np.where(rises[:, None], tails, heads),
        upper=np.where(rises[:, None], heads, tails),
        signs=np.where(rises, -signs, signs),
    )


def overlap_map(still: Shape, moved: Shape, start_um: tuple[int, int], pitch_um: int) -> OverlapMap:
    """The overlap of two outlines at all shifts of a lattice at which their boxes meet.

    ``still`` has its box from ``start_um`` on, ``moved`` from the shift on. Overlap or none is
    exact; the depth is the distance to the nearest shift on the lattice without overlap.
    """
    edges = convolution_edges(still, moved, start_um)
    low = [
        -((size - start) // pitch_um) for size, start in zip(moved.size_um, start_um, strict=True)
    ]
    high = [(start + size) // pitch_um for start, size in zip(start_um, still.size_um, strict=True)]
    columns, rows = max(1, high[0] - low[0] + 1), max(1, high[1] - low[1] + 1)
    edge, row = _crossed_rows(edges, pitch_um)
    lower, upper = edges.lower[edge], edges.upper[edge]
    rise = upper[:, 1] - lower[:, 1]
    run = lower[:, 0] * rise + (row * pitch_um - lower[:, 1]) * (upper[:, 0] - lower[:, 0])
    column = -(-run // (rise * pitch_um)) - low[0]
    place = (row - low[1]) * (columns + 1) + np.clip(column, 0, columns)
    steps = np.bincount(place, weights=edges.signs[edge], minlength=rows * (columns + 1))
    winding = np.cumsum(steps.reshape(rows, columns + 1), axis=1)[:, :columns]
    return OverlapMap((low[0], low[1]), columns, rows, _depths(winding > 0.5))


def _edges_at_corners(
    ends: Points, angles: Angles, corners: Points, turns: Angles, *, ties_before: bool
) -> tuple[Points, Points, NDArray[np.int64]]:
    """Edges of one outline carried to those corners of the other whose turn holds their direction.

    At a corner that turns the other way round edges count against. Of parallel edges those of the
    first outline come before those of the second, so that none is taken twice.
    """
    before = np.roll(turns, 1)
    turn = np.mod(turns - before, _TURN)
    is_convex = turn < math.pi
    start = np.where(is_convex, before, turns)
    span = np.where(is_convex, turn, np.mod(before - turns, _TURN))
    at = np.mod(angles[:, None] - start[None, :], _TURN)
    held = (at > 0) & (at <= span) if ties_before else (at < span)
    edge, corner = np.nonzero(held)
    heads = np.roll(ends, -1, axis=0)
    signs = np.where(is_convex[corner], 1, -1)
    return ends[edge] + corners[corner], heads[edge] + corners[corner], signs


def _crossed_rows(
    edges: ConvolutionEdges, pitch_um: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Each edge with each row of the lattice it crosses, its lower end in, its upper end out."""
    first = -(-edges.lower[:, 1] // pitch_um)
    counts = -(-edges.upper[:, 1] // pitch_um) - first
    edge = np.repeat(np.arange(len(counts)), counts)
    begins = np.cumsum(counts) - counts
    return edge, np.arange(len(edge)) - begins[edge] + first[edge]


def _depths(overlaps: NDArray[np.bool_]) -> Depths:
    framed = np.pad(overlaps, 1).astype(np.uint8)
    distances = cv2.distanceTransform(framed, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1]
    return np.rint(distances * DEPTH_STEPS).astype(np.uint16)
