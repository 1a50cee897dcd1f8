"""What equal pieces take of a roll or of sheets: laws that prices rest on."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.roll import DoesNotFit, Strip, lay_out, taken_at_most

ROLL = Strip("film", 300_000, None, 4_000, 5_000, may_turn=True)
SHEET = replace(ROLL, medium="sheets", sheet_um=400_000)

sides = st.floats(20, 290)


@given(
    width=sides,
    height=sides,
    pieces=st.integers(1, 2_000),
    strip=st.sampled_from([ROLL, SHEET, replace(ROLL, may_turn=False)]),
)
def test_what_is_taken_stays_under_its_line(
    width: float, height: float, pieces: int, strip: Strip
) -> None:
    """Never more than a n + b, and never less than the area bound."""
    each, once = taken_at_most(strip, width, height)
    layout = lay_out(strip, width, height, pieces)
    assert float(layout.taken) <= each * pieces + once + 1e-6
    assert layout.bound_mm <= layout.length_mm


def test_sheets_are_whole_and_counted() -> None:
    """Worked by hand: 6 rows of 3 of 80 x 60 mm on a sheet of 300 x 400; 19 need a second."""
    layouts = [lay_out(replace(SHEET, may_turn=False), 80, 60, pieces) for pieces in (1, 18, 19)]
    assert [layout.sheets for layout in layouts] == [1, 1, 2]
    assert [layout.length_mm for layout in layouts] == [410, 410, 820]
    assert [layout.bound_mm for layout in layouts] == [410, 410, 820]
    assert [layout.taken for layout in layouts] == [1, 1, 2]


def test_a_roll_is_cut_with_its_margins() -> None:
    """Worked by hand: 3 columns of 80 x 60 and, in what is left, none: rows of 64 mm less a gap."""
    layout = lay_out(replace(ROLL, may_turn=False), 80, 60, 7)
    assert layout.length_mm == Decimal(3 * 64 - 4 + 10)
    assert (layout.pattern.upright_columns, layout.pattern.turned_columns) == (3, 0)


def test_what_does_not_fit_has_no_line() -> None:
    """As with a layout: the medium, the side and the room."""
    with pytest.raises(DoesNotFit, match="310 mm does not fit the 300 mm of medium 'film'"):
        taken_at_most(ROLL, 310, 320)
