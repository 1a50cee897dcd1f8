"""Equal pieces in columns: worked examples, and laws against plain rows and the bound."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.nesting.columns import lay_column_sheets, lay_columns, rate_of_columns
from service.domain.nesting.pieces import NestPiece, NoRoom
from tests.domain.nesting.layouts import MM, check_layout, check_pieces

sides = st.integers(6_000, 90_000)
counts = st.integers(1, 90)
gaps = st.sampled_from([0, 1, 3_000])
WIDTH = 90_000


def _rows_um(across: int, along: int, count: int, gap: int) -> int:
    """By hand: as many abreast as go, row on row."""
    abreast = (WIDTH + gap) // (across + gap)
    return -(-count // abreast) * (along + gap) - gap


def test_a_hundred_small_copies() -> None:
    """100 of 75 x 50 mm on 600 mm with 4 mm gaps take 752 mm and the last gap, or less.

    Source: algorithms topic 2: area bound 707 mm, every row heuristic 810, columns 756, each with
    one gap at the end. Worked by hand: 2 rows of 7 upright are 108 mm, 11 columns of turned pieces
    hold 88 in 8 rows of 79 mm: 102 pieces in 740 mm.
    """
    columns = lay_columns(
        NestPiece("badge", 75 * MM, 50 * MM, may_turn=True), 100, 600 * MM, 4 * MM
    )
    assert columns.length_um == 736 * MM
    assert -(-(columns.bound_um + 4 * MM) // MM) == 707
    assert len(columns.nest.placed) == 100
    check_layout(columns.nest.placed, 600 * MM, columns.length_um, 4 * MM)


def test_what_may_not_turn_lies_in_rows() -> None:
    """The same 100 upright: 7 abreast, 15 rows of 54 mm less a gap: 806 mm."""
    columns = lay_columns(
        NestPiece("badge", 75 * MM, 50 * MM, may_turn=False), 100, 600 * MM, 4 * MM
    )
    assert columns.length_um == 806 * MM
    assert columns.bound_um >= 100 * 54 * MM // 7 - 4 * MM
    assert not any(place.turned for place in columns.nest.placed)


@given(width=sides, height=sides, turn=st.booleans(), count=counts, gap=gaps)
def test_columns_hold_their_laws(width: int, height: int, turn: bool, count: int, gap: int) -> None:  # noqa: FBT001 - drawn by name
    """All lie, inside and apart; never beyond rows, below the bound, or less for one more."""
    piece = NestPiece("p", width, height, turn)
    columns = lay_columns(piece, count, WIDTH, gap)
    check_layout(columns.nest.placed, WIDTH, columns.length_um, gap)
    check_pieces(columns.nest.placed, [piece] * count)
    assert columns.length_um == max(p.y_um + p.height_um for p in columns.nest.placed)
    assert columns.bound_um <= columns.length_um <= _rows_um(width, height, count, gap)
    if turn:
        assert columns.length_um <= _rows_um(height, width, count, gap)
    assert lay_columns(piece, count + 1, WIDTH, gap).length_um >= columns.length_um
    each, once = rate_of_columns(piece, WIDTH, gap)
    assert columns.length_um <= each * count + once


@given(width=sides, height=sides, turn=st.booleans(), count=counts, gap=gaps)
def test_sheets_hold_their_laws(width: int, height: int, turn: bool, count: int, gap: int) -> None:  # noqa: FBT001 - drawn by name
    """A sheet holds what it says, at least what whole rows of either way hold."""
    piece = NestPiece("p", width, height, turn)
    sheets = lay_column_sheets(piece, count, WIDTH, WIDTH, gap)
    places = sheets.places(sheets.per_sheet)
    assert len(places) == sheets.per_sheet
    check_layout(places, WIDTH, WIDTH, gap)
    check_pieces(places, [piece] * sheets.per_sheet)
    across, along = ((WIDTH + gap) // (side + gap) for side in (width, height))
    assert sheets.per_sheet >= across * along
    assert sheets.bound <= sheets.sheets == -(-count // sheets.per_sheet)


def test_counts_beyond_all_reason_take_no_longer() -> None:
    """A thousand million copies are reckoned, not laid; 11 turned columns of 79 mm hold them."""
    piece = NestPiece("badge", 75 * MM, 50 * MM, may_turn=True)
    columns = lay_columns(piece, 10**9, 600 * MM, 4 * MM)
    assert columns.length_um == -(-(10**9) // 11) * 79 * MM - 4 * MM


def test_a_piece_without_room_is_named() -> None:
    """Too wide for the strip, too long for the sheet: the key, the side and the room."""
    wide = NestPiece("banner", 700 * MM, 50 * MM, may_turn=False)
    with pytest.raises(NoRoom, match="700000 um of piece 'banner' do not fit 600000 um"):
        lay_columns(wide, 1, 600 * MM, 0)
    with pytest.raises(NoRoom) as caught:
        lay_column_sheets(NestPiece("tall", 50, 700, may_turn=False), 1, 600, 600, 0)
    assert (caught.value.key, caught.value.value_um, caught.value.limit_um) == ("tall", 700, 600)


def test_no_copies_are_refused() -> None:
    """None, and fewer than none, are a fault of the caller."""
    piece = NestPiece("p", 10, 10, may_turn=True)
    for count in (0, -3):
        with pytest.raises(ValueError, match="at least 1"):
            lay_columns(piece, count, 100, 0)
        with pytest.raises(ValueError, match="at least 1"):
            lay_column_sheets(piece, count, 100, 100, 0)
