"""Outlines laid on a strip: bottom left first, then drawn together by guided local search.

The strip is shortened a little, whatever then overlaps is moved piece by piece to where it overlaps
least, and overlaps that stay weigh more and more until they resolve. Source: Umetani et al.,
Solving the irregular strip packing problem via guided local search for overlap minimization, ITOR
16(6), 2009 (from memory); here on a lattice, with exact overlaps. Nothing looks at a clock: work is
counted, so that equal inputs give equal layouts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.domain.nesting.numbers import Numbers
from service.domain.nesting.outline_board import Board, Place

Choices = Sequence[Sequence[int]]
"""For each piece the shapes it may take, one for each turn that makes a difference."""

_FIRST_STEP, _LAST_STEP = 40, 4
"""By how many thousandths the strip is shortened at a time."""

_MOST_ROUNDS = 600
_PATIENCE = 60
"""Rounds without gain after which it is given up."""

_MOST_FAILURES = 25
"""So many shortest steps that fail end a try, lest a strip of few pieces takes all the work."""

_TRIES, _WORK_OF_TRIES = 2, 200_000
"""So many tries where there is so much work; else one."""

_SEED = 3000
_TOO_LITTLE = 0.98
_FORGET = np.float32(0.95)


def bottom_left(board: Board, choices: Choices) -> list[Place]:
    """Each piece, in the order given, where it ends nearest to the start of the strip."""
    places: list[Place] = []
    for shapes in choices:
        found = [_lowest(board, shape, places) for shape in shapes]
        places.append(min(found, key=lambda place: (board.end_um(place), place.column)))
    return places


def shorten(
    board: Board, choices: Choices, places: list[Place], bound_um: int, effort: int
) -> list[Place]:
    """The places drawn together on as short a strip as so much work allows.

    No piece may be longer than the bound in every turn it may take.
    Half of the work goes into several tries of other chances, the rest into the best of them.
    """
    tries: list[list[Place]] = []
    count = _TRIES if effort >= _WORK_OF_TRIES else 1
    for number in range(count):
        budget = board.work + effort // (2 * count)
        tries.append(
            _Shortening(board, choices, bound_um, budget, Numbers(_SEED + number)).run(places)
        )
    best = min(tries, key=board.length_um)
    last = _Shortening(board, choices, bound_um, board.work + effort // 2, Numbers(_SEED + _TRIES))
    return last.run(best, 2 * _LAST_STEP)


@dataclass(frozen=True, slots=True)
class _Shortening:
    """One try to shorten a strip, down to a bound at the most and up to a count of work."""

    board: Board
    choices: Choices
    bound_um: int
    budget: int
    draw: Numbers

    def run(self, places: list[Place], step: int = _FIRST_STEP) -> list[Place]:
        """The places on the shortest strip found; the step is in thousandths of its length."""
        start, board, failures = places, self.board, 0
        while board.work < self.budget and failures < _MOST_FAILURES:
            length_um = board.length_um(places)
            target_um = max(self.bound_um, length_um * (1000 - step) // 1000)
            if target_um >= length_um:
                break
            separation = _Separation(board, self.choices, start, target_um, self.draw)
            separated = separation.run(self.budget)
            if separated is not None:
                places, start, failures = separated, separated, 0
            elif step > _LAST_STEP:
                step, start = max(_LAST_STEP, step // 2), places
            else:
                start, failures = _exchanged(board, places, self.draw), failures + 1
        return places


def _lowest(board: Board, shape: int, places: Sequence[Place]) -> Place:
    """The first free place of a shape along the strip; there is one at its end at the latest."""
    ends = [place.row + board.overlap(place.shape, shape).end_row for place in places]
    last_row = max(ends, default=0) + board.stride
    free = board.field(shape, last_row, places, [1.0] * len(places)) == 0
    row, column = divmod(int(free.argmax()), free.shape[1])
    return Place(shape, column * board.stride, row * board.stride)


def _exchanged(board: Board, places: list[Place], draw: Numbers) -> list[Place]:
    """The places with two pieces of different shape exchanged, or none by chance."""
    new = list(places)
    one, other = draw.below(len(new)), draw.below(len(new))
    new[one] = _held(board, places[one].shape, places[other])
    new[other] = _held(board, places[other].shape, places[one])
    return new


def _held(board: Board, shape: int, place: Place) -> Place:
    return Place(shape, min(place.column, board.last_column(shape)), place.row)


class _Separation:
    """Pieces on a strip of one length, moved until none overlaps another."""

    def __init__(
        self, board: Board, choices: Choices, places: Sequence[Place], length_um: int, draw: Numbers
    ) -> None:
        self.board, self.choices, self.length_um, self.draw = board, choices, length_um, draw
        self.places = [
            self._within(piece, shapes) for piece, shapes in zip(places, choices, strict=True)
        ]
        count = len(places)
        self.weights = np.ones((count, count), np.float32)
        self.depths: NDArray[np.float32] = np.zeros((count, count), np.float32)
        for piece in range(count):
            self._measure(piece)

    def _within(self, place: Place, shapes: Sequence[int]) -> Place:
        """The place moved to end on the strip, its piece turned if it is too long as it lies."""
        last_row = self.board.last_row(place.shape, self.length_um)
        if last_row >= 0:
            return Place(place.shape, place.column, min(place.row, last_row))
        rows = {shape: self.board.last_row(shape, self.length_um) for shape in shapes}
        shape = max(rows, key=rows.__getitem__)
        return Place(shape, min(place.column, self.board.last_column(shape)), rows[shape])

    def run(self, budget: int) -> list[Place] | None:
        """The places without any overlap, or None when patience or budget are at an end."""
        least, waited = float(self.depths.sum()), 0
        for _ in range(_MOST_ROUNDS):
            self._round()
            total = float(self.depths.sum())
            if total == 0:
                return self.places
            waited = 0 if total < least * _TOO_LITTLE else waited + 1
            if waited > _PATIENCE or self.board.work > budget:
                return None
            least = min(least, total)
            self._weigh()
        return None

    def _round(self) -> None:
        overlapping = np.flatnonzero(self.depths.any(axis=1)).tolist()
        self.draw.shuffle(overlapping)
        for piece in overlapping:
            if self.depths[piece].any():
                self._move(piece)

    def _move(self, piece: int) -> None:
        """Put a piece where its weighted overlap is least, if that is less than where it is."""
        now, board = self.places[piece], self.board
        others = self.places[:piece] + self.places[piece + 1 :]
        weights = np.delete(self.weights[piece], piece).tolist()
        near = [(now, board.stride)]
        near += [(place, board.stride - 1) for place in self._lows(piece, others, weights)]
        cost, best = float((self.weights[piece] * self.depths[piece]).sum()), now
        for place, reach in near:
            last_row = board.last_row(place.shape, self.length_um)
            new_cost, found = board.window(place, reach, last_row, others, weights)
            if new_cost < cost:
                cost, best = new_cost, found
        if best != now:
            self.places[piece] = best
            self._measure(piece)

    def _lows(
        self, piece: int, others: Sequence[Place], weights: Sequence[float]
    ) -> Iterator[Place]:
        """For each turn of a piece the point of the whole strip where it overlaps least."""
        for shape in self.choices[piece]:
            last_row = self.board.last_row(shape, self.length_um)
            if last_row >= 0:
                field = self.board.field(shape, last_row, others, weights)
                row, column = divmod(int(field.argmin()), field.shape[1])
                yield Place(shape, column * self.board.stride, row * self.board.stride)

    def _measure(self, piece: int) -> None:
        place = self.places[piece]
        row = [self.board.depth(other, place) for other in self.places]
        row[piece] = 0
        self.depths[piece] = self.depths[:, piece] = row

    def _weigh(self) -> None:
        """Overlaps that stay weigh more, the deeper the more; others slowly less, 1 at least."""
        overlap = self.depths > 0
        heavier = self.weights * (
            np.float32(1.2) + np.float32(0.8) * self.depths / self.depths.max()
        )
        lighter = np.maximum(np.float32(1), self.weights * _FORGET)
        self.weights = np.where(overlap, heavier, lighter)
