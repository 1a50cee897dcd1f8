"""Bounds: that the functions behind them are dual feasible, and worked examples."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.nesting.bounds import sheet_bound, strip_bound_um
from service.domain.nesting.pieces import Kind


def _kind(width: int, height: int, count: int = 1, *, turn: bool = False) -> Kind:
    return Kind(width, height, turn, count)


@given(widths=st.lists(st.integers(1, 40), min_size=1, max_size=8), spare=st.integers(0, 9))
def test_pieces_abreast_are_never_bound_to_lie_one_after_another(
    widths: list[int], spare: int
) -> None:
    """Strips of height 1 whose widths sum to no more than the strip's fit in length 1.

    That is what makes a function of the width dual feasible: none may ask for more.
    """
    kinds = [_kind(width, 1) for width in widths]
    assert strip_bound_um(kinds, sum(widths) + spare, 0) == 1


@pytest.mark.parametrize(
    ("kinds", "width", "least"),
    [
        ([_kind(6, 7, 3)], 11, 21),  # no two abreast: one after another
        ([_kind(4, 10, 5)], 11, 25),  # at most two abreast: half of 5 x 10
        ([_kind(7, 5), _kind(5, 5)], 11, 8),  # seven and five fill three halves: 3 x 5 / 2
        ([_kind(2, 9, turn=True)], 11, 2),  # turned it is 2 long
        ([_kind(12, 9, turn=True)], 12, 9),  # 12 wide or 9 wide: the tallest side it can avoid
        ([_kind(5, 4, 6)], 10, 12),  # area alone
    ],
)
def test_bounds_worked_by_hand(kinds: list[Kind], width: int, least: int) -> None:
    """What each of the ways to a bound gives where the others give less."""
    assert strip_bound_um(kinds, width, 0) == least


@pytest.mark.parametrize(
    ("kinds", "least"),
    [
        ([_kind(6, 6, 3)], 3),  # no two on a sheet of 10 x 10
        ([_kind(5, 5, 9)], 3),  # four to a sheet
        ([_kind(6, 2, 6)], 2),  # one abreast, five in a column
        ([_kind(2, 6, 6)], 2),  # the same, lying
        ([_kind(1, 1)], 1),
        ([], 0),
    ],
)
def test_sheets_worked_by_hand(kinds: list[Kind], least: int) -> None:
    """Sheets of 10 x 10 without gaps."""
    assert sheet_bound(kinds, 10, 10, 0) == least


def test_nothing_is_bound_to_nothing() -> None:
    """No pieces, no length."""
    assert strip_bound_um([], 10, 3) == 0
