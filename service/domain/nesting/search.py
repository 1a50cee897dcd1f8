"""Mixed pieces on a strip: the shortest layout that a stated effort finds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from math import gcd

from service.domain.nesting.bounds import strip_bound_um
from service.domain.nesting.climbing import RUN, Climber, Effort, Goal, Start, Trial, pursue, spread
from service.domain.nesting.columns import lay_columns
from service.domain.nesting.filling import ENDLESS, Filling
from service.domain.nesting.pieces import Nest, NestPiece, Placed, check_room, kinds_of, ways_of
from service.domain.nesting.ranking import Ranking, Ways

MOST_STACKED = 60
"""Of more kinds, columns of each are not tried: there are few copies of each."""


def nest_strip(
    pieces: Iterable[NestPiece], width_um: int, gap_um: int, effort: Effort = RUN
) -> Nest:
    """Lay all pieces on a strip ``width_um`` wide, no two nearer than ``gap_um`` along both axes.

    The order in which the pieces are given changes nothing but which of equal pieces lies where.
    Of up to :data:`MOST_STACKED` kinds never longer than each kind in columns, kind after kind.
    Raises NoRoom naming the first piece that is too wide and ValueError for a strip without width
    or a gap below 0.
    """
    ordered = in_order(pieces)
    check_room(ordered, width_um, gap_um)
    if not ordered:
        return Nest((), 0, 0)
    return _StripSearch(ordered, width_um, gap_um, effort).best()


def in_order(pieces: Iterable[NestPiece]) -> list[NestPiece]:
    """The pieces in an order of their own."""
    return sorted(
        pieces, key=lambda piece: (piece.width_um, piece.height_um, piece.may_turn, piece.key)
    )


def alike(ordered: Iterable[NestPiece]) -> Iterator[list[NestPiece]]:
    """The pieces of each kind, of pieces in their order."""
    sides = groupby(ordered, key=lambda one: (one.width_um, one.height_um, one.may_turn))
    return (list(group) for _, group in sides)


class _StripSearch:
    def __init__(
        self, pieces: Sequence[NestPiece], width_um: int, gap_um: int, effort: Effort
    ) -> None:
        self._pieces = pieces
        self._gap = gap_um
        self._kinds = kinds = kinds_of(pieces, width_um, gap_um)
        self._bound = strip_bound_um(kinds, width_um, gap_um)
        self._placed: tuple[Placed, ...] = ()
        self._length = ENDLESS
        if len(kinds) <= MOST_STACKED:
            self._placed, self._length = _kind_after_kind(pieces, width_um, gap_um)
        # Every top is a sum of heights: a shorter layout is shorter by their common divisor.
        self._step = gcd(*(height for kind in kinds for _, height in kind.ways))
        grown = grown_ways(pieces, width_um, gap_um)
        self._climber = Climber(grown, width_um + gap_um, effort)

    def best(self) -> Nest:
        """The shortest layout found."""
        if self._length > self._bound:
            plain = list(self._plain())
            if len(self._kinds) > 1 and self._goal is not None:
                starts = spread(plain)
                pursue(self._climber, starts, self._goal, self._take)
        return Nest(self._placed, self._length, self._bound)

    @property
    def _goal(self) -> Goal | None:
        if self._length <= self._bound:
            return None
        return (self._length + self._gap - self._step,)

    def _plain(self) -> Iterator[tuple[int, Start]]:
        for trial, start in self._climber.plain((ENDLESS,)):
            top = top_of(self._climber.ranking, trial.fillings[0])
            self._take_length(trial, top - self._gap)
            yield top, start

    def _take(self, trial: Trial) -> Goal | None:
        if trial.complete:
            top = top_of(self._climber.ranking, trial.fillings[0])
            self._take_length(trial, top - self._gap)
        return self._goal

    def _take_length(self, trial: Trial, length_um: int) -> None:
        if length_um < self._length:
            ranking = self._climber.ranking
            self._placed = placed_of(ranking, trial.fillings[0], self._pieces, self._gap)
            self._length = length_um


def grown_ways(
    pieces: Sequence[NestPiece], width_um: int, gap_um: int, length_um: int | None = None
) -> list[Ways]:
    """Width and height of each way each piece fits, grown by the gap."""
    return [
        tuple(
            (across + gap_um, along + gap_um)
            for across, along, _ in ways_of(piece, width_um, length_um)
        )
        for piece in pieces
    ]


def top_of(ranking: Ranking, filling: Filling) -> int:
    """The grown length that a filling takes; 0 of nothing."""
    heights = ranking.heights.of
    return max((y + heights[bit] for bit, _, y in filling.laid), default=0)


def placed_of(
    ranking: Ranking, filling: Filling, pieces: Sequence[NestPiece], gap_um: int
) -> tuple[Placed, ...]:
    """The pieces of a filling, in the order in which they were laid."""
    found = []
    for bit, x, y in filling.laid:
        piece = pieces[ranking.order[bit // 2]]
        across = ranking.widths.of[bit] - gap_um
        along = ranking.heights.of[bit] - gap_um
        found.append(Placed(piece.key, x, y, across, along, across != piece.width_um))
    return tuple(found)


def _kind_after_kind(
    pieces: Sequence[NestPiece], width_um: int, gap_um: int
) -> tuple[tuple[Placed, ...], int]:
    """Each kind in columns, one kind after the other: what cutting kind by kind takes."""
    placed: list[Placed] = []
    start_um = 0
    for same in alike(pieces):
        columns = lay_columns(same[0], len(same), width_um, gap_um)
        placed += [
            replace(place, key=piece.key, y_um=place.y_um + start_um)
            for place, piece in zip(columns.nest.placed, same, strict=True)
        ]
        start_um += columns.length_um + gap_um
    return tuple(placed), start_um - gap_um
