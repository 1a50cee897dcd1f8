"""Mixed pieces on a strip: laws of every layout, and worked examples."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from service.domain.nesting.bounds import strip_bound_um
from service.domain.nesting.climbing import QUOTE
from service.domain.nesting.pieces import NestPiece, NoRoom, kinds_of
from service.domain.nesting.search import nest_strip
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


def _order(turn: bool) -> list[NestPiece]:  # noqa: FBT001 - a table's column
    return [
        *copies("back", 280, 200, 24, turn=turn),
        *copies("chest", 90, 90, 24, turn=turn),
        *copies("label", 60, 25, 48, turn=turn),
    ]


@pytest.mark.parametrize(("turn", "most_mm", "bound_mm"), [(False, 4896, 4892), (True, 3232, 2995)])
def test_few_kinds_many_copies(turn: bool, most_mm: int, bound_mm: int) -> None:  # noqa: FBT001 - a table's column
    """24 backs, 24 chests and 48 labels on 560 mm with 4 mm gaps.

    Source: algorithms topic 2: 4896 mm upright, 3232 mm with turns, area bound 3000. Two backs
    upright do not lie abreast, so that 24 of them take 24 x 204 mm less a gap.
    """
    nest = nest_strip(_order(turn), 560 * MM, 4 * MM, QUOTE)
    check_layout(nest.placed, 560 * MM, nest.length_um, 4 * MM)
    check_pieces(nest.placed, _order(turn))
    assert bound_mm * MM <= nest.bound_um <= nest.length_um <= most_mm * MM


def test_gap_share_is_length_over_bound() -> None:
    """One square in the middle of a wide strip: bound and length are its side; nothing: nothing."""
    nest = nest_strip([NestPiece("p", 50, 50, may_turn=True)], 90, 4)
    assert (nest.length_um, nest.bound_um, nest.gap_share) == (50, 50, 0)
    assert nest_strip([], 90, 4).gap_share == 0


@given(pieces=piece_lists(), gap=gaps)
def test_every_layout_holds_the_laws(pieces: list[NestPiece], gap: int) -> None:
    """All lie once, inside, apart by the gap; the length is the last top, never below the bound."""
    nest = nest_strip(pieces, WIDTH, gap, LITTLE)
    check_layout(nest.placed, WIDTH, nest.length_um, gap)
    check_pieces(nest.placed, pieces)
    assert nest.length_um == max(place.y_um + place.height_um for place in nest.placed)
    assert 0 < nest.bound_um <= nest.length_um


@given(pieces=piece_lists(8), gap=gaps, data=st.data())
def test_the_order_of_the_pieces_changes_nothing(
    pieces: list[NestPiece], gap: int, data: st.DataObject
) -> None:
    """The same layout to the micrometre in any order, and twice."""
    shuffled = data.draw(st.permutations(pieces))
    assert nest_strip(shuffled, WIDTH, gap, LITTLE) == nest_strip(pieces, WIDTH, gap, LITTLE)


@given(pieces=piece_lists(8), gap=gaps)
def test_more_pieces_never_lower_the_bound(pieces: list[NestPiece], gap: int) -> None:
    """What every layout of all pieces needs is no less than what one without the last needs."""
    bounds = [
        strip_bound_um(kinds_of(some, WIDTH, gap), WIDTH, gap) for some in (pieces, pieces[:-1])
    ]
    assert bounds[0] >= bounds[1] - 1


@st.composite
def small_orders(draw: st.DrawFn) -> tuple[list[NestPiece], int, int]:
    """Up to five pieces of a few micrometres, the strip's width and the gap."""
    side = st.integers(1, 7)
    kinds = draw(st.lists(st.tuples(side, side, st.booleans()), min_size=1, max_size=5))
    pieces = [NestPiece(f"p{index}", *kind) for index, kind in enumerate(kinds)]
    widest = max(min(w, h) if turn else w for w, h, turn in kinds)
    return pieces, draw(st.integers(widest, 12)), draw(st.integers(0, 2))


@settings(max_examples=30)
@given(small_orders())
def test_a_solver_finds_nothing_outside_bound_and_length(
    order: tuple[list[NestPiece], int, int],
) -> None:
    """The optimum of a constraint solver lies between the bound and the length. Source: CP-SAT."""
    pieces, width, gap = order
    nest = nest_strip(pieces, width, gap, LITTLE)
    optimum = _optimum(pieces, width, gap, nest.length_um)
    assert nest.bound_um <= optimum <= nest.length_um


def _optimum(pieces: list[NestPiece], width: int, gap: int, most: int) -> int:
    """The least length at which no two pieces overlap, with a gap between any two."""
    model = cp_model.CpModel()
    length = model.new_int_var(1, most, "length")
    boxes = []
    for piece in pieces:
        turned = model.new_bool_var("turned")
        if not piece.may_turn:
            model.add(turned == 0)
        across = piece.width_um + (piece.height_um - piece.width_um) * turned
        along = piece.height_um + (piece.width_um - piece.height_um) * turned
        x, y = model.new_int_var(0, width, "x"), model.new_int_var(0, most, "y")
        model.add(x + across <= width)
        model.add(y + along <= length)
        boxes.append((x, y, across, along))
    for one, other in combinations(boxes, 2):
        sides = [model.new_bool_var(f"side {side}") for side in range(4)]
        model.add_bool_or(sides)
        for axis in (0, 1):
            model.add(one[axis] + one[axis + 2] + gap <= other[axis]).only_enforce_if(sides[axis])
            model.add(other[axis] + other[axis + 2] + gap <= one[axis]).only_enforce_if(
                sides[axis + 2]
            )
    model.minimize(length)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return solver.value(length)


def test_the_first_piece_without_room_is_named() -> None:
    """Wider than the strip; with a turn it is the shorter side that has to fit."""
    banner = NestPiece("banner", 700, 50, may_turn=False)
    with pytest.raises(NoRoom) as caught:
        nest_strip([banner], 600, 4)
    assert (caught.value.key, caught.value.value_um, caught.value.limit_um) == ("banner", 700, 600)
    assert nest_strip([NestPiece("banner", 700, 50, may_turn=True)], 600, 4).length_um == 700
    with pytest.raises(NoRoom, match="610"):
        nest_strip([NestPiece("poster", 700, 610, may_turn=True)], 600, 4)


@pytest.mark.parametrize(("width", "gap"), [(0, 4), (-1, 0), (600, -1)])
def test_a_strip_without_width_is_refused(width: int, gap: int) -> None:
    """No width, or a gap below nothing, is a fault of the caller, pieces or none."""
    with pytest.raises(ValueError, match="leave no strip"):
        nest_strip([], width, gap)


@pytest.mark.parametrize("sides", [(0, 5), (5, -1)])
def test_a_piece_without_size_is_refused(sides: tuple[int, int]) -> None:
    """Each side is a micrometre at least."""
    with pytest.raises(ValueError, match="each side is at least 1"):
        NestPiece("p", *sides, may_turn=True)
