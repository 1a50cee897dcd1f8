"""What is taken off below a break: never a trap, never more than it takes."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.break_savings import savings_minor
from service.domain.price_book import QuantityBreak
from tests.domain.orders_to_price import breaks_of

Groups = Sequence[Sequence[int]]
FEW = breaks_of((4, "0.10"), (7, "0.25"))


def _off(breaks: Sequence[QuantityBreak], counted: int) -> Decimal:
    return max(step.discount_share for step in breaks if step.from_pieces <= counted)


def _price(breaks: Sequence[QuantityBreak], each: int, counted: int) -> int:
    """Of one piece; prices are hundreds, so shares of whole hundredths leave whole units."""
    return int(each * (1 - _off(breaks, counted)))


def _counted(pieces: Sequence[int], groups: Groups, index: int) -> int:
    return max(sum(pieces[one] for one in group) for group in groups if index in group)


def _told(
    breaks: Sequence[QuantityBreak], prices: Sequence[int], pieces: Sequence[int], groups: Groups
) -> int:
    """The order's total where a piece of a line has one price and nothing is taken off."""
    return sum(
        count * _price(breaks, prices[index], _counted(pieces, groups, index))
        for index, count in enumerate(pieces)
    )


def _saved(
    breaks: Sequence[QuantityBreak], prices: Sequence[int], pieces: Sequence[int], groups: Groups
) -> list[int]:
    return savings_minor(
        breaks,
        pieces,
        groups,
        told=lambda index, counted: pieces[index] * _price(breaks, prices[index], counted),
        one_more=lambda index, counted: _price(breaks, prices[index], counted),
        split_in_order=range(len(pieces)),
    )


def test_eleven_at_ten_are_charged_as_twelve_at_nine() -> None:
    """110.00 against 108.00; source: algorithms topic 6."""
    assert _saved(breaks_of((12, "0.10")), [1_000], [11], [[0]]) == [200]
    assert _saved(breaks_of((12, "0.10")), [1_000], [10], [[0]]) == [0]
    assert _saved(breaks_of((12, "0.10")), [1_000], [12], [[0]]) == [0]


def test_a_break_beyond_the_next_may_pay() -> None:
    """5 at 1.00: at the break of 6 they are 5.00 as well, at that of 7 with half off 3.50."""
    breaks = breaks_of((6, "0"), (7, "0.50"))
    assert _saved(breaks, [100], [5], [[0]]) == [150]


def test_lines_of_one_artwork_share_by_what_they_save() -> None:
    """3 at 4.00 and 8 at 1.00 lack one of 12: 20.00 less a tenth and 0.90 is 18.90, so 1.10 off.

    By what each saves, 1.20 and 0.80: 0.66 and 0.44.
    """
    assert _saved(breaks_of((12, "0.10")), [400, 100], [3, 8], [[0, 1]]) == [66, 44]


def test_artworks_apart_save_apart() -> None:
    """The second has no break ahead and keeps its price; the first saves as if alone."""
    assert _saved(breaks_of((12, "0.10")), [1_000, 1_000], [11, 30], [[0], [1]]) == [200, 0]


def test_one_piece_may_lift_two_artworks() -> None:
    """Star and moon each lack one; a piece of the line with both serves both.

    Line of both 3 at 1.00, star's own 8 and moon's own 8: 19.00 less a tenth and 0.90 is 18.00.
    """
    groups = [[0, 1], [0, 2]]
    assert sum(_saved(breaks_of((12, "0.10")), [100] * 3, [3, 8, 8], groups)) == 100


def _larger(pieces: Sequence[int], most: int) -> list[tuple[int, ...]]:
    """All orders of as many pieces or more, with so many more of a line at the most."""
    return [
        tuple(p + more for p, more in zip(pieces, added, strict=True))
        for added in product(range(most + 1), repeat=len(pieces))
    ]


lines = st.lists(st.integers(1, 4), min_size=1, max_size=3)
hundreds = st.integers(1, 30).map(lambda n: n * 100)


@settings(max_examples=60, deadline=None)
@given(pieces=lines, data=st.data())
def test_lines_of_one_artwork_cost_the_least_of_all_larger_orders(
    pieces: list[int], data: st.DataObject
) -> None:
    """Where prices of a piece are plain the charge is the least told of any larger order: exactly.

    By trying every order up to seven pieces more of each line.
    """
    prices = data.draw(st.lists(hundreds, min_size=len(pieces), max_size=len(pieces)))
    groups = [list(range(len(pieces)))]
    charged = _told(FEW, prices, pieces, groups) - sum(_saved(FEW, prices, pieces, groups))
    assert charged == min(_told(FEW, prices, each, groups) for each in _larger(pieces, 6))


TANGLES: list[Groups] = [[[0, 1], [1, 2]], [[0, 1], [0, 2], [1]], [[0], [1, 2]], [[0, 1, 2], [2]]]


@settings(max_examples=60, deadline=None)
@given(
    groups=st.sampled_from(TANGLES),
    pieces=st.tuples(*[st.integers(1, 4)] * 3),
    prices=st.tuples(*[hundreds] * 3),
    index=st.integers(0, 2),
)
def test_artworks_that_share_lines_never_cost_more_than_a_larger_order(
    groups: Groups, pieces: tuple[int, ...], prices: tuple[int, ...], index: int
) -> None:
    """No larger order is told or charged at less, and no line has more taken off than it saves."""
    saved = _saved(FEW, prices, pieces, groups)
    charged = _told(FEW, prices, pieces, groups) - sum(saved)
    assert all(charged <= _told(FEW, prices, each, groups) for each in _larger(pieces, 4))
    larger = tuple(p + (at == index) for at, p in enumerate(pieces))
    next_charged = _told(FEW, prices, larger, groups) - sum(_saved(FEW, prices, larger, groups))
    assert charged <= next_charged
    for at, off in enumerate(saved):
        counted = _counted(pieces, groups, at)
        most = _price(FEW, prices[at], counted) - _price(FEW, prices[at], 100)
        assert 0 <= off <= pieces[at] * most


@pytest.mark.parametrize("groups", TANGLES)
def test_equal_questions_get_equal_answers(groups: Groups) -> None:
    """Groups named in another order change nothing but where a left-over unit goes."""
    one = _saved(FEW, [700, 300, 500], [3, 2, 3], groups)
    other = _saved(FEW, [700, 300, 500], [3, 2, 3], groups[::-1])
    assert one == other
