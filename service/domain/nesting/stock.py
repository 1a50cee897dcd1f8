"""Which pieces go on which leftover and which roll of a stock."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service.domain.nesting.climbing import RUN, Effort
from service.domain.nesting.pieces import Nest, NestPiece, NoRoom, check_room, has_room, no_room
from service.domain.nesting.search import in_order, nest_strip
from service.domain.nesting.sheets import FilledSheet, fill_sheet


class StockSpent(ValueError):
    """Each piece by itself has room, but all rolls end before the last is laid."""

    def __init__(self, left: int) -> None:
        """Keep how many pieces are left."""
        super().__init__(f"{left} pieces are left when all rolls and leftovers are full")
        self.left = left


@dataclass(frozen=True, slots=True)
class Stock:
    """A roll or a leftover, clear of its margins; ``length_um`` None is as long as need be."""

    key: str
    width_um: int
    length_um: int | None


@dataclass(frozen=True, slots=True)
class Cut:
    """What is laid on one roll or leftover."""

    stock: Stock
    nest: Nest


@dataclass(frozen=True, slots=True)
class StockPlan:
    """Leftovers used, then rolls, each with its pieces.

    ``roll_um2`` is how much of the rolls is taken, width times length; ``saved_um2`` how much
    less than without the leftovers.
    """

    leftovers: tuple[Cut, ...]
    rolls: tuple[Cut, ...]
    roll_um2: int
    saved_um2: int


def nest_stock(
    pieces: Iterable[NestPiece],
    leftovers: Sequence[Stock],
    rolls: Sequence[Stock],
    gap_um: int,
    *,
    least_saved_um2: int = 1,
    effort: Effort = RUN,
) -> StockPlan:
    """Lay the pieces on leftovers, smallest first, where that saves roll, and the rest on rolls.

    A leftover is used only if at least ``least_saved_um2`` less of the rolls is taken for it. Rolls
    are used in the order given; one that is too short for what is left takes what it can hold.
    ``effort`` is for each single layout. Raises NoRoom naming a piece that is larger than all
    of the stock, :class:`StockSpent` when the rolls end too soon, ValueError for stock without
    size or a gap below 0.
    """
    if not rolls:
        raise ValueError("there is no roll to lay on")
    for stock in (*leftovers, *rolls):
        check_room([], stock.width_um, gap_um, stock.length_um)
    rest = tuple(in_order(pieces))
    work = _Work(gap_um, effort, rolls)
    plain = rolled = work.on_rolls(rest)
    used: list[Cut] = []
    for leftover in sorted(leftovers, key=_size):
        filled = work.on_leftover(rest, leftover)
        if not filled.nest.placed:
            continue
        without = work.on_rolls(filled.left)
        if without.leaves < rolled.leaves or (
            without.leaves == rolled.leaves and rolled.um2 - without.um2 >= least_saved_um2
        ):
            used.append(Cut(leftover, filled.nest))
            rest, rolled = filled.left, without
    if rolled.left:
        raise _fault(rolled.left, (*leftovers, *rolls))
    return StockPlan(tuple(used), rolled.cuts, rolled.um2, max(0, plain.um2 - rolled.um2))


def _size(leftover: Stock) -> tuple[int, str]:
    return leftover.width_um * (leftover.length_um or 0), leftover.key


@dataclass(frozen=True, slots=True)
class _Rolled:
    cuts: tuple[Cut, ...]
    left: tuple[NestPiece, ...]

    @property
    def um2(self) -> int:
        return sum(cut.stock.width_um * cut.nest.length_um for cut in self.cuts)

    @property
    def leaves(self) -> int:
        return sum(piece.width_um * piece.height_um for piece in self.left)


@dataclass(frozen=True, slots=True)
class _Work:
    gap_um: int
    effort: Effort
    rolls: Sequence[Stock]

    def on_leftover(self, pieces: Sequence[NestPiece], stock: Stock) -> FilledSheet:
        """What a leftover holds, and laid as close to its beginning as is found."""
        if stock.length_um is None:
            raise ValueError(f"leftover '{stock.key}' has no length")
        filled = fill_sheet(pieces, stock.width_um, stock.length_um, self.gap_um, self.effort)
        counts = list(pieces)
        for piece in filled.left:
            counts.remove(piece)
        close = nest_strip(counts, stock.width_um, self.gap_um, self.effort)
        if close.length_um < filled.nest.length_um:
            return FilledSheet(close, filled.left)
        return filled

    def on_rolls(self, pieces: Sequence[NestPiece]) -> _Rolled:
        """The pieces on one roll after the other; what no roll has room for is left."""
        rest, cuts = tuple(pieces), []
        for roll in self.rolls:
            filled = self._on_roll(rest, roll)
            if filled.nest.placed:
                cuts.append(Cut(roll, filled.nest))
            rest = filled.left
        return _Rolled(tuple(cuts), rest)

    def _on_roll(self, pieces: Sequence[NestPiece], roll: Stock) -> FilledSheet:
        fitting = [one for one in pieces if has_room(one, roll.width_um, roll.length_um)]
        nest = nest_strip(fitting, roll.width_um, self.gap_um, self.effort)
        if roll.length_um is not None and nest.length_um > roll.length_um:
            return self.on_leftover(pieces, roll)
        others = (one for one in pieces if not has_room(one, roll.width_um, roll.length_um))
        return FilledSheet(nest, tuple(others))


def _fault(left: Sequence[NestPiece], stocks: Sequence[Stock]) -> NoRoom | StockSpent:
    """Why pieces are left: the first that is larger than all of the stock, or too many."""
    for piece in left:
        if not any(has_room(piece, stock.width_um, stock.length_um) for stock in stocks):
            widest = max(stocks, key=lambda stock: stock.width_um)
            return no_room(piece, widest.width_um, widest.length_um)
    return StockSpent(len(left))
