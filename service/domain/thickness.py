"""The narrowest part of what is inked, and the narrowest gap: what a blade and a hand meet first.

Covers and masks are those of :mod:`service.domain.planes`; around the plane all is clear. The
constants are design choices, no source.

A figure (ink; for gaps, the clear space) is too narrow for a diameter d when

* shrunk by d/2 it loses or splits a piece, or clear areas run together through a wall of it; or
* some of it lies farther than ``REACH`` * d, through the figure, from all places that a disc of
  diameter d covers. That finds thin parts with a free end and tips sharper than 29 degrees, and
  forgives corners: one of angle a reaches d/2 * (1 / sin(a/2) - 1) out of the disc.

The least such d is the width of the narrowest place. Above it the figure need not stay too narrow:
a short hair on a big blob is found at its own scale only. So diameters are tried upward by factors
of ``STEP``, roughly, each on pixels of a fitting size; every suspect place is then measured in a
window of its own, drawn from the antialiased coverage with ``FINE_PX`` pixels to the diameter, and
the narrowest once more with ``FINEST_PX``. What a disc covers is the local thickness of Hildebrand
and Rueegsegger, J. Microscopy 185 (1997).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.narrow_places import (
    REACH,
    Places,
    TooNarrow,
    Window,
    blended,
    least_width,
    neck_test,
    part_test,
    wall_test,
)
from service.domain.planes import (
    CROSS,
    HALF,
    SQUARE,
    Indexes,
    Labels,
    Plane,
    as_plane,
    at_least,
    distances,
    euler_number,
    halved,
    labelled,
    padded,
    sharpened,
)

_Pair = tuple[int, int]

MOSTLY = 230
"""Coverage from which pixels of a coarse plane are the figure, so that thin walls stay."""

LEAST_PX = 1.0
"""No place is told to be narrower than a pixel."""

STEP = math.sqrt(2)
FIRST_PX = 2 * STEP
"""First diameter tried, in pixels; what is thinner is found at it."""

FINE_PX = 24
FINEST_PX = 96
LARGE_PX = 1 << 20
"""Planes of more pixels are tried with small discs only, and judged at half size."""

SPOTS_MAX = 16
_PAD = 16


def narrowest_px(cover: Plane, pieces: int, holes: int, *, gaps: bool = False) -> float:
    """Width in pixels of the narrowest place of the ink, or of the clear space for gaps.

    At most the width of the plane, which also stands for none at all. Give all ``pieces`` and
    ``holes`` of the ink; there is some.
    """
    most = float(cover.shape[1])
    if gaps and cover.min() >= HALF:
        return most
    figure = _Figure(cover, pieces, holes + 1, is_ink=not gaps)
    diameter = FIRST_PX
    while (found := _narrowest_of(figure, diameter)).width > diameter:
        if diameter > 1.25 * most:
            return most
        diameter *= STEP
    for _ in range(3):
        # Only some of many suspects were measured: look whether others are narrower still.
        diameter = 0.92 * found.width
        lower = _narrowest_of(figure, diameter) if diameter >= FIRST_PX else found
        if lower.width > 0.98 * found.width:
            break
        found = lower
    return float(np.clip(_measured_finely(figure, found), LEAST_PX, most))


class _Spot(NamedTuple):
    """A suspect place: its point in pixels at full size, and how to measure the figure there.

    ``between`` are two labels of ``label_at``, a plane of the sieve's pixels.
    """

    sieve: _Sieve
    x: float
    y: float
    test: Callable[[Window], TooNarrow]
    between: _Pair
    label_at: Labels | None


class _Found(NamedTuple):
    """The width of a place, infinite for none."""

    width: float
    spot: _Spot | None


class _Figure:
    """Coverage at full size, half, a quarter and so on; what lies ``beyond`` it.

    ``counts`` are how many components the figure has, and the space around and inside it.
    """

    def __init__(self, cover: Plane, pieces: int, areas: int, *, is_ink: bool) -> None:
        self.beyond = 0 if is_ink else 255
        self.connectivity = 8 if is_ink else 4
        self.counts = (pieces, areas) if is_ink else (areas, pieces)
        self._planes = [cover if is_ink else 255 - cover]
        self._masks = [at_least(self._planes[0], HALF)]
        self._sieve: _Sieve | None = None

    def plane(self, level: int) -> Plane:
        """Coverage in pixels that are 2**level wide."""
        while len(self._planes) <= level:
            last = self._planes[-1] if self._planes[1:] else sharpened(self._planes[0])
            self._planes.append(halved(padded(last, 0, self.beyond)))
        return self._planes[level]

    def mask(self, level: int) -> Plane:
        """The figure; at a level above 0 the pixels wholly of it, so that no wall is lost."""
        while len(self._masks) <= level:
            half = halved(padded(self._masks[-1], 0, self.beyond))
            self._masks.append(at_least(half, 255))
        return self._masks[level]

    def sieve(self, diameter: float) -> _Sieve:
        """The sieve for a diameter."""
        level = 0
        while diameter / 2**level > (6 if (is_large := self.mask(level).size > LARGE_PX) else 12):
            level += 1
        pool = 2 if is_large and diameter / 2**level > 1.2 * FIRST_PX else 1
        if self._sieve is None or (self._sieve.level, self._sieve.pool) != (level, pool):
            self._sieve = None  # its memory is needed
            self._sieve = _Sieve(self, level, pool, is_large=is_large)
        return self._sieve


class _Sieve:
    """Finds places of a figure that look too narrow, on pixels of one size.

    Topology is compared with ``_before``: what the last smaller diameter left of the figure, or, at
    level 0, all of it at full size, of which ``_counts`` are known.
    """

    def __init__(self, figure: _Figure, level: int, pool: int, *, is_large: bool) -> None:
        self.level, self.pool = level, pool
        self.unit = pool * 2**level
        self._inner, self._outer = figure.connectivity, 12 - figure.connectivity
        self._whole = padded(figure.mask(level), _PAD, figure.beyond)
        self._mask = self._whole if pool == 1 else at_least(halved(self._whole), 255)
        self._size = cv2.countNonZero(self._mask)
        self._before = self._core(FIRST_PX * 2**level) if level else self._whole
        self._counts = None if level else figure.counts
        # On a large plane, what comes apart is found with the next diameter too, and faster.
        self._is_for_thin = is_large and self.unit == 1

    def suspects(self, diameter: float) -> Iterator[_Spot]:
        """Places to measure."""
        core = self._core(diameter)
        yield from self._thin(core, diameter)
        # Lost pieces are thin, so other changes only raise the Euler number: none hides another.
        if not self._is_for_thin and self._euler != euler_number(core, self._inner):
            yield from self._parted(core, diameter)
            yield from self._breached(core, diameter)

    @functools.cached_property
    def _euler(self) -> int:
        return euler_number(self._before, self._inner)

    def labels_near(self, label_at: Labels, x: Places, y: Places) -> Labels:
        """Labels at the sieve's pixels, looked up at columns x and rows y of full size."""
        rows, columns = (
            np.clip(np.floor(place / self.unit).astype(np.intp) + _PAD // self.pool, 0, side - 1)
            for place, side in zip((y, x), label_at.shape, strict=True)
        )
        return label_at[np.ix_(rows, columns)]

    def _core(self, diameter: float) -> Plane:
        """Where the middle of a disc may lie."""
        # At a level above 0 edges lie up to a pixel inside.
        disc = _disc(diameter / 2**self.level - (0.75 if self.level else 0))
        return self._pooled(as_plane(cv2.erode(self._whole, disc)))

    def _pooled(self, mask: Plane) -> Plane:
        """The pixels of the sieve that hold any of a mask."""
        return mask if self.pool == 1 else at_least(halved(mask), 1)

    def _thin(self, core: Plane, diameter: float) -> Iterator[_Spot]:
        """Places farther from the disc than its reach."""
        # A step across a corner would pass through the wall of what does not hang together there.
        steps, enough = ((CROSS, SQUARE), 0.85) if self._inner == 8 else ((CROSS,), 1.0)
        reached, reach = core, (1 + 2 * REACH) * diameter / 2 / self.unit
        for step in range(max(1, int(enough * reach))):
            reached = as_plane(cv2.dilate(reached, steps[step % len(steps)])) & self._mask
            if cv2.countNonZero(reached) == self._size:
                return
        for flat in _spread(self._mask - reached):
            yield self._spot(flat, part_test)

    def _parted(self, core: Plane, diameter: float) -> Iterator[_Spot]:
        """Necks between what is left of one piece."""
        count, label_at = labelled(core, self._inner)
        if self._counts and count <= self._counts[0]:
            return
        before = self._before if self.level else self._pooled(self._before)
        pieces, piece_at = labelled(before, self._inner)
        first = (label_at[:, 1:] > 0) & (label_at[:, :-1] == 0)
        piece_of = np.zeros(count + 1, np.int32)
        piece_of[label_at[:, 1:][first]] = piece_at[:, 1:][first]
        is_parted = np.bincount(piece_of, minlength=pieces + 1)[piece_of] > 1
        is_parted[0] = False
        if is_parted.any():
            parted = np.where(is_parted[label_at], label_at, 0)
            room = self._mask - core
            for flat, pair in _meetings(parted, room, 2 * diameter / self.unit):
                if piece_of[pair[0]] == piece_of[pair[1]]:
                    yield self._spot(flat, neck_test, pair, label_at)

    def _breached(self, core: Plane, diameter: float) -> Iterator[_Spot]:
        """Walls between two clear areas that are too thin."""
        left, _ = labelled(~core, self._outer)
        if self._counts and left >= self._counts[1]:
            return
        count, area_at = labelled(~self._before, self._outer)
        if left < count:
            finer = area_at.shape[0] // core.shape[0]
            corners = (area_at[k::finer, k::finer] for k in range(finer))
            area_at = functools.reduce(np.maximum, corners)
            for flat, pair in _meetings(area_at, self._mask, diameter / 2 / self.unit + 1):
                yield self._spot(flat, wall_test, pair, area_at)

    def _spot(
        self,
        flat: int,
        test: Callable[[Window], TooNarrow],
        between: _Pair = (0, 0),
        label_at: Labels | None = None,
    ) -> _Spot:
        row, column = divmod(flat, self._mask.shape[1])
        x, y = ((place + 0.5 - _PAD // self.pool) * self.unit for place in (column, row))
        return _Spot(self, x, y, test, between, label_at)


def _window(figure: _Figure, spot: _Spot, diameter: float, fine: int) -> Window:
    """The neighbourhood of a spot, with ``fine`` pixels to a diameter."""
    half, near = round(3.2 * fine), round(0.7 * fine)
    offsets = np.arange(-half, half + 1) * (diameter / fine)
    x, y = spot.x + offsets, spot.y + offsets
    level = max(0, math.ceil(math.log2(diameter / fine)))
    grey = blended(figure.plane(level), x / 2**level - 0.5, y / 2**level - 0.5, figure.beyond)
    mask = at_least(grey, MOSTLY if level else HALF)
    distance = distances(mask)
    if level:
        # So far inside the edge is coverage MOSTLY, of pixels averaged and blended linearly.
        distance += 0.62 * 2**level * fine / diameter
    one = other = np.zeros(mask.shape, np.bool_)
    if spot.label_at is not None:
        named = spot.sieve.labels_near(spot.label_at, x, y)
        one, other = (named == name for name in spot.between)
    middle = slice(half - near, half + near + 1)
    return Window(mask, distance, fine / diameter, figure.connectivity, middle, one, other)


def _narrowest_of(figure: _Figure, diameter: float) -> _Found:
    """The narrowest of the suspect places that are no wider than the diameter."""
    found = _Found(math.inf, None)
    for spot in figure.sieve(diameter).suspects(diameter):
        is_too_narrow = spot.test(_window(figure, spot, diameter, FINE_PX))
        widths = [0.97 * found.width]
        if found.spot is None:
            widths = np.geomspace(diameter / 5, diameter, 9).tolist()
        width = least_width(is_too_narrow, widths)
        if width < found.width:
            found = _Found(width, spot)
    return found


def _measured_finely(figure: _Figure, found: _Found) -> float:
    """The width of a place, once more with ``FINEST_PX`` pixels to it."""
    if found.spot is None:
        return found.width
    is_too_narrow = found.spot.test(_window(figure, found.spot, found.width, FINEST_PX))
    width = least_width(is_too_narrow, [0.85 * found.width, 1.2 * found.width])
    return width if width < math.inf else found.width


def _spread(mask: Plane) -> Iterator[int]:
    """Flat indexes of some pixels of a mask: all over, and in each of its largest components."""
    flat = _few(np.flatnonzero(mask.ravel() > 0), 1 << 16)
    if not flat.size:
        return
    names = labelled(mask, 8)[1].ravel()[flat]
    middles = _middles(names)
    sizes = np.bincount(names)[names[middles]]
    largest = flat[middles[np.argsort(-sizes, kind="stable")[: SPOTS_MAX // 2]]]
    yield from np.unique(np.concatenate([largest, _few(flat, SPOTS_MAX // 2)])).tolist()


def _meetings(label_at: Labels, room: Plane, farthest: float) -> Iterator[tuple[int, _Pair]]:
    """Places in the room where two labels are nearest, within reach of both; and the two."""
    far_off = np.float32(label_at.max() + 1)
    named = label_at.astype(np.float32)
    unnamed = np.where(label_at > 0, named, far_off)
    seen = set()
    for reach in range(1, math.ceil(farthest) + 1):
        square = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
        highest = np.asarray(cv2.dilate(named, square))
        lowest = np.asarray(cv2.erode(unnamed, square))
        flat = _few(np.flatnonzero(((lowest < highest) & (room > 0)).ravel()), 1 << 16)
        low, high = (plane.ravel()[flat].astype(np.int64) for plane in (lowest, highest))
        for middle in _few(_middles(low * (1 << 32) + high), SPOTS_MAX):
            pair = int(low[middle]), int(high[middle])
            if pair not in seen:
                seen.add(pair)
                yield int(flat[middle]), pair
        if len(seen) >= SPOTS_MAX:
            return


def _middles(keys: NDArray[np.signedinteger]) -> Indexes:
    """For each distinct key, the index that is the middle one of all its indexes."""
    order = np.argsort(keys, kind="stable")
    _, first, count = np.unique(keys[order], return_index=True, return_counts=True)
    middles: Indexes = order[first + count // 2]
    return middles


def _few(indexes: Indexes, most: int) -> Indexes:
    """At most so many of the indexes, evenly spread."""
    wanted = np.linspace(0, indexes.size - 1, min(most, indexes.size))
    return indexes[wanted.astype(np.intp)]


def _disc(diameter: float) -> Plane:
    """The pixels that a disc of a diameter in pixels covers, for erosion."""
    count = max(1, round(diameter))
    squared = (np.arange(count) - (count - 1) / 2) ** 2
    radius = max(0.5, (diameter - 0.5) / 2)
    return as_plane(squared[:, None] + squared[None, :] <= radius**2 + 1e-9)
