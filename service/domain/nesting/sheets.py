"""Pieces on sheets of one size: the fewest sheets found, or as much as one sheet holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from service.domain.nesting.bounds import sheet_bound, strip_bound_um
from service.domain.nesting.climbing import RUN, Climber, Effort, Goal, Start, Trial, pursue, spread
from service.domain.nesting.columns import lay_column_sheets
from service.domain.nesting.pieces import (
    Nest,
    NestPiece,
    Placed,
    check_room,
    has_room,
    kinds_of,
)
from service.domain.nesting.search import alike, grown_ways, in_order, placed_of


@dataclass(frozen=True, slots=True)
class SheetNest:
    """A nest for each sheet; no layout can do with fewer than ``bound`` sheets."""

    sheets: tuple[Nest, ...]
    bound: int


@dataclass(frozen=True, slots=True)
class FilledSheet:
    """What one sheet holds, and the pieces that it does not."""

    nest: Nest
    left: tuple[NestPiece, ...]


def nest_sheets(
    pieces: Iterable[NestPiece], width_um: int, sheet_um: int, gap_um: int, effort: Effort = RUN
) -> SheetNest:
    """Lay all pieces on as few sheets of ``width_um`` x ``sheet_um`` as are found.

    Never more than each kind on sheets of its own takes. Raises NoRoom naming the first piece
    that is larger than a sheet and ValueError for a sheet without size or a gap below 0.
    """
    ordered = in_order(pieces)
    check_room(ordered, width_um, gap_um, sheet_um)
    if not ordered:
        return SheetNest((), 0)
    return _SheetSearch(ordered, _Sheet(width_um, sheet_um, gap_um), effort).best()


def fill_sheet(
    pieces: Iterable[NestPiece], width_um: int, sheet_um: int, gap_um: int, effort: Effort = RUN
) -> FilledSheet:
    """Lay as much as is found to go on one sheet or leftover, by area; the rest is given back.

    Pieces larger than the sheet are part of the rest. Raises ValueError as :func:`nest_sheets`.
    """
    check_room([], width_um, gap_um, sheet_um)
    ordered = in_order(pieces)
    fitting = [piece for piece in ordered if has_room(piece, width_um, sheet_um)]
    larger = [piece for piece in ordered if not has_room(piece, width_um, sheet_um)]
    if not fitting:
        return FilledSheet(Nest((), 0, 0), tuple(larger))
    filled = _SheetFill(fitting, _Sheet(width_um, sheet_um, gap_um), effort).best()
    return replace(filled, left=tuple(in_order([*larger, *filled.left])))


@dataclass(frozen=True, slots=True)
class _Sheet:
    width: int
    length: int
    gap: int

    @property
    def grown(self) -> int:
        return self.length + self.gap

    def climber(self, pieces: Sequence[NestPiece], effort: Effort) -> Climber:
        ways = grown_ways(pieces, self.width, self.gap, self.length)
        return Climber(ways, self.width + self.gap, effort)

    def nest(self, placed: Sequence[Placed], pieces: Iterable[NestPiece]) -> Nest:
        """A sheet's pieces with the length they take of it and the least they could take."""
        length = max(place.y_um + place.height_um for place in placed)
        kinds = kinds_of(pieces, self.width, self.gap, self.length)
        return Nest(tuple(placed), length, strip_bound_um(kinds, self.width, self.gap))


class _SheetSearch:
    def __init__(self, pieces: Sequence[NestPiece], sheet: _Sheet, effort: Effort) -> None:
        self._pieces, self._sheet = pieces, sheet
        kinds = kinds_of(pieces, sheet.width, sheet.gap, sheet.length)
        self._bound = sheet_bound(kinds, sheet.width, sheet.length, sheet.gap)
        self._sheets = list(_kind_by_kind(pieces, sheet))
        self._climber = sheet.climber(pieces, effort)

    def best(self) -> SheetNest:
        starts: list[tuple[int, Start]] = []
        # Areas compare only under one goal: with each goal reached the plain orders start anew.
        while (goal := self._goal) is not None and not starts:
            starts = self._plain(goal)
        if goal is not None:
            pursue(self._climber, spread(starts), goal, self._take)
        return SheetNest(tuple(self._sheets), self._bound)

    @property
    def _goal(self) -> Goal | None:
        fewer = len(self._sheets) - 1
        return (self._sheet.grown,) * fewer if fewer >= self._bound else None

    def _plain(self, goal: Goal) -> list[tuple[int, Start]]:
        """Plain orders by what they leave of the goal; none as soon as one reaches it."""
        found = []
        for trial, start in self._climber.plain(goal):
            if trial.complete:
                self._take(trial)
                return []
            found.append((-trial.area, start))
        return found

    def _take(self, trial: Trial) -> Goal | None:
        if trial.complete:
            ranking, gap = self._climber.ranking, self._sheet.gap
            self._sheets = []
            for filling in trial.fillings:
                placed = placed_of(ranking, filling, self._pieces, gap)
                laid = [self._pieces[ranking.order[bit // 2]] for bit, _, _ in filling.laid]
                self._sheets.append(self._sheet.nest(placed, laid))
        return self._goal


class _SheetFill:
    def __init__(self, pieces: Sequence[NestPiece], sheet: _Sheet, effort: Effort) -> None:
        self._pieces, self._sheet = pieces, sheet
        self._climber = sheet.climber(pieces, effort)
        self._area = -1
        self._filled = FilledSheet(Nest((), 0, 0), tuple(pieces))

    def best(self) -> FilledSheet:
        goal: Goal | None = (self._sheet.grown,)
        starts = []
        for trial, start in self._climber.plain((self._sheet.grown,)):
            goal = self._take(trial)
            if goal is None:
                return self._filled
            starts.append((-trial.area, start))
        pursue(self._climber, spread(starts), goal, self._take)
        return self._filled

    def _take(self, trial: Trial) -> Goal | None:
        if trial.area > self._area:
            ranking, (filling,) = self._climber.ranking, trial.fillings
            places = [ranking.order[bit // 2] for bit, _, _ in filling.laid]
            laid = set(places)
            left = (piece for index, piece in enumerate(self._pieces) if index not in laid)
            placed = placed_of(ranking, filling, self._pieces, self._sheet.gap)
            nest = self._sheet.nest(placed, [self._pieces[index] for index in places])
            self._filled = FilledSheet(nest, tuple(left))
            self._area = trial.area
        return None if trial.complete else (self._sheet.grown,)


def _kind_by_kind(pieces: Sequence[NestPiece], sheet: _Sheet) -> Iterator[Nest]:
    """Each kind in columns on sheets of its own."""
    for same in alike(pieces):
        columns = lay_column_sheets(same[0], len(same), sheet.width, sheet.length, sheet.gap)
        for first in range(0, len(same), columns.per_sheet):
            part = same[first : first + columns.per_sheet]
            places = columns.places(len(part))
            placed = [
                replace(place, key=piece.key) for place, piece in zip(places, part, strict=True)
            ]
            yield sheet.nest(placed, part)
