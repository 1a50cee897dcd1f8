"""An independent look at layouts, pair by pair, and pieces to try."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import combinations

from hypothesis import strategies as st

from service.domain.nesting.climbing import Effort
from service.domain.nesting.pieces import NestPiece, Placed

LITTLE = Effort(1_500)
"""Enough to change an order some dozen times, and quick."""

MM = 1_000


def check_layout(placed: Sequence[Placed], width_um: int, length_um: int, gap_um: int) -> None:
    """Every piece inside, and any two apart by the gap in one direction at least."""
    for one in placed:
        assert one.x_um >= 0
        assert one.x_um + one.width_um <= width_um
        assert one.y_um >= 0
        assert one.y_um + one.height_um <= length_um
    for one, other in combinations(placed, 2):
        apart_across = max(
            other.x_um - one.x_um - one.width_um, one.x_um - other.x_um - other.width_um
        )
        apart_along = max(
            other.y_um - one.y_um - one.height_um, one.y_um - other.y_um - other.height_um
        )
        assert max(apart_across, apart_along) >= gap_um, (one, other)


def check_pieces(placed: Iterable[Placed], pieces: Iterable[NestPiece]) -> None:
    """Each piece lies once, in its size, turned only where it may be."""
    free = {piece.key for piece in pieces if piece.may_turn}
    assert all(place.key in free for place in placed if place.turned)
    assert Counter(_as_drawn(place) for place in placed) == Counter(
        (piece.key, piece.width_um, piece.height_um) for piece in pieces
    )


def _as_drawn(place: Placed) -> tuple[str, int, int]:
    sides = place.width_um, place.height_um
    return (place.key, *(sides[::-1] if place.turned else sides))


def copies(key: str, width_mm: int, height_mm: int, count: int, *, turn: bool) -> list[NestPiece]:
    """Equal pieces, in millimetres."""
    return [NestPiece(key, width_mm * MM, height_mm * MM, turn)] * count


SIDES = st.one_of(st.integers(1, 60), st.integers(1, 60_000))

WIDTH = 60_000


@st.composite
def piece_lists(draw: st.DrawFn, most: int = 14) -> list[NestPiece]:
    """Up to ``most`` pieces no side of which is over :data:`WIDTH`, some of them equal."""
    kinds = draw(st.lists(st.tuples(SIDES, SIDES, st.booleans()), min_size=1, max_size=most))
    chosen = draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=most))
    return [NestPiece(f"p{index}", *kind) for index, kind in enumerate(chosen)]
