"""Mixed pieces on sheets, and on the leftovers and rolls of a stock."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.nesting.pieces import NestPiece, NoRoom
from service.domain.nesting.search import nest_strip
from service.domain.nesting.sheets import fill_sheet, nest_sheets
from service.domain.nesting.stock import Stock, StockPlan, StockSpent, nest_stock
from tests.domain.nesting.layouts import (
    LITTLE,
    MM,
    WIDTH,
    check_layout,
    check_pieces,
    copies,
    piece_lists,
)

gaps = st.sampled_from([0, 1, 2_000])

ROLL = Stock("roll", WIDTH, None)


@given(pieces=piece_lists(10), gap=gaps)
def test_sheets_hold_all_pieces_once(pieces: list[NestPiece], gap: int) -> None:
    """Each sheet is a layout within its size; as many as the bound at least."""
    found = nest_sheets(pieces, WIDTH, WIDTH, gap, LITTLE)
    assert 1 <= found.bound <= len(found.sheets) <= len(pieces)
    for sheet in found.sheets:
        assert sheet.placed
        assert sheet.bound_um <= sheet.length_um <= WIDTH
        check_layout(sheet.placed, WIDTH, WIDTH, gap)
    check_pieces([place for sheet in found.sheets for place in sheet.placed], pieces)
    assert nest_sheets(pieces[::-1], WIDTH, WIDTH, gap, LITTLE) == found


def test_four_quarters_go_on_one_sheet() -> None:
    """Worked by hand: four sheets' quarters fill a sheet to the last; five need a second."""
    quarters = copies("quarter", 100, 150, 4, turn=False)
    assert len(nest_sheets(quarters, 204 * MM, 304 * MM, 4 * MM, LITTLE).sheets) == 1
    found = nest_sheets([*quarters, quarters[0]], 204 * MM, 304 * MM, 4 * MM, LITTLE)
    assert (len(found.sheets), found.bound) == (2, 2)


def test_a_rest_fills_what_other_kinds_leave() -> None:
    """Worked by hand: half a sheet of one kind and half of another go on one sheet together."""
    halves = [
        *copies("wide", 200, 150, 1, turn=False),
        *copies("narrow", 100, 150, 2, turn=False),
    ]
    assert len(nest_sheets(halves, 200 * MM, 300 * MM, 0, LITTLE).sheets) == 1


def test_no_pieces_need_no_sheet() -> None:
    """Nothing takes nothing."""
    assert nest_sheets([], 10, 10, 0).sheets == ()
    assert fill_sheet([], 10, 10, 0).nest.placed == ()


@given(pieces=piece_lists(10), gap=gaps, length=st.integers(1, WIDTH))
def test_a_filled_sheet_gives_back_the_rest(pieces: list[NestPiece], gap: int, length: int) -> None:
    """What lies and what is left are all pieces; nothing that lies is outside."""
    filled = fill_sheet(pieces, WIDTH, length, gap, LITTLE)
    check_layout(filled.nest.placed, WIDTH, length, gap)
    left = [piece.key for piece in filled.left]
    assert sorted(left + [place.key for place in filled.nest.placed]) == sorted(
        piece.key for piece in pieces
    )
    check_pieces(filled.nest.placed, [piece for piece in pieces if piece.key not in left])


def test_a_sheet_is_filled_by_area() -> None:
    """Worked by hand: a sheet that holds one large piece or one small one holds the large one."""
    pieces = [
        NestPiece("small", 60, 60, may_turn=False),
        NestPiece("large", 90, 90, may_turn=False),
    ]
    filled = fill_sheet(pieces, 100, 100, 4, LITTLE)
    assert [place.key for place in filled.nest.placed] == ["large"]
    assert [piece.key for piece in filled.left] == ["small"]


def test_a_piece_larger_than_a_sheet_is_named() -> None:
    """Too long, even turned: the key, the side and the room along the sheet."""
    with pytest.raises(NoRoom) as caught:
        nest_sheets([NestPiece("scarf", 50, 700, may_turn=True)], 600, 650, 4)
    assert (caught.value.key, caught.value.value_um, caught.value.limit_um) == ("scarf", 700, 650)


def _check_plan(plan: StockPlan, pieces: list[NestPiece], gap: int) -> None:
    for cut in (*plan.leftovers, *plan.rolls):
        longest = cut.nest.length_um if cut.stock.length_um is None else cut.stock.length_um
        assert cut.nest.length_um <= longest
        check_layout(cut.nest.placed, cut.stock.width_um, longest, gap)
    cuts = (*plan.leftovers, *plan.rolls)
    check_pieces([place for cut in cuts for place in cut.nest.placed], pieces)
    assert plan.roll_um2 == sum(cut.stock.width_um * cut.nest.length_um for cut in plan.rolls)


@settings(max_examples=20)
@given(
    pieces=piece_lists(6),
    gap=gaps,
    sizes=st.lists(st.tuples(st.integers(1, WIDTH), st.integers(1, WIDTH)), max_size=3),
)
def test_leftovers_are_used_where_they_save_roll(
    pieces: list[NestPiece], gap: int, sizes: list[tuple[int, int]]
) -> None:
    """Every piece lies once; with leftovers no more roll is taken than without."""
    leftovers = [Stock(f"left{index}", *size) for index, size in enumerate(sizes)]
    plan = nest_stock(pieces, leftovers, [ROLL], gap, effort=LITTLE)
    _check_plan(plan, pieces, gap)
    plain = nest_strip(pieces, WIDTH, gap, LITTLE)
    assert plan.roll_um2 + plan.saved_um2 == plain.length_um * WIDTH
    assert bool(plan.leftovers) == (plan.saved_um2 > 0)


def test_the_smallest_leftover_that_holds_all_saves_all_of_the_roll() -> None:
    """Two squares on a leftover that holds both: nothing is taken of the roll."""
    squares = copies("square", 40, 40, 2, turn=False)
    leftovers = [Stock("long", 60 * MM, 500 * MM), Stock("short", 60 * MM, 84 * MM)]
    plan = nest_stock(squares, leftovers, [ROLL], 4 * MM, effort=LITTLE)
    assert [cut.stock.key for cut in plan.leftovers] == ["short"]
    assert (plan.rolls, plan.roll_um2, plan.saved_um2) == ((), 0, 60 * MM * 84 * MM)


def test_a_leftover_that_saves_too_little_stays() -> None:
    """One of three squares on the leftover saves 44 mm of 60 mm roll; asked for is more."""
    squares = copies("square", 40, 40, 3, turn=False)
    saved = 60 * MM * 44 * MM
    leftover = [Stock("scrap", 40 * MM, 40 * MM)]
    for least, used in ((saved, 1), (saved + 1, 0)):
        plan = nest_stock(squares, leftover, [ROLL], 4 * MM, least_saved_um2=least, effort=LITTLE)
        assert len(plan.leftovers) == used
        assert plan.saved_um2 == saved * used


def test_rolls_are_used_up_in_their_order() -> None:
    """An ending roll takes two squares, the next the third; what only the next holds goes there."""
    pieces = [*copies("square", 40, 40, 3, turn=False), *copies("wide", 90, 10, 1, turn=False)]
    rolls = [Stock("ending", 60 * MM, 90 * MM), Stock("new", 100 * MM, None)]
    plan = nest_stock(pieces, [], rolls, 4 * MM, effort=LITTLE)
    _check_plan(plan, pieces, 4 * MM)
    assert [(cut.stock.key, len(cut.nest.placed)) for cut in plan.rolls] == [
        ("ending", 2),
        ("new", 2),
    ]


def test_stock_that_is_too_small_or_too_little_is_told_apart() -> None:
    """A piece that no stock has room for is named; when rolls end, how many pieces are left."""
    short = [Stock("end", 60 * MM, 90 * MM)]
    with pytest.raises(StockSpent) as caught:
        nest_stock(copies("square", 40, 40, 3, turn=False), [], short, 4 * MM, effort=LITTLE)
    assert caught.value.left == 1
    with pytest.raises(NoRoom) as wide:
        nest_stock(copies("wide", 90, 10, 1, turn=False), [], short, 4 * MM, effort=LITTLE)
    assert (wide.value.key, wide.value.value_um, wide.value.limit_um) == ("wide", 90 * MM, 60 * MM)


def test_stock_without_roll_or_length_is_refused() -> None:
    """No roll at all, and a leftover without an end, are faults of the caller."""
    with pytest.raises(ValueError, match="no roll"):
        nest_stock([], [], [], 4)
    with pytest.raises(ValueError, match="leftover 'roll' has no length"):
        nest_stock([NestPiece("p", 5, 5, may_turn=True)], [ROLL], [ROLL], 4)
