"""Prices at several quantities, and sizes in proportion."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.price_curve import in_proportion, price_curve
from service.domain.pricing import PriceTerms, price_order
from service.domain.shop import Catalogue
from tests.domain.orders_to_price import (
    MOST_PIECES,
    ONE_PRICE,
    lines_of,
    shop_with,
    shops,
    terms_asked,
)
from tests.domain.shops import tiny_line

mixes = st.dictionaries(
    st.sampled_from(["XS", "S", "M", "L", "XL"]), st.integers(1, 40), min_size=1
)


def test_a_point_says_what_more_would_cost() -> None:
    """At 9 pieces, two thirds of them S: what one more adds, and what the break at 12 costs."""
    shop = shop_with()
    line = tiny_line(shop, {"S": 2, "M": 1})
    (point,) = price_curve(shop, line, [9])
    assert dict(point.pieces_by_size) == {"S": 6, "M": 3}
    assert point.price == price_order(shop, [tiny_line(shop, {"S": 6, "M": 3})])
    (ten,) = price_curve(shop, line, [10])
    assert point.one_more_minor == ten.price.total_minor - point.price.total_minor
    assert point.one_more_cost == ten.price.lines[0].cost - point.price.lines[0].cost
    ahead = point.next_break
    assert ahead is not None
    assert (ahead.more_pieces, dict(ahead.pieces_by_size)) == (3, {"S": 8, "M": 4})
    assert ahead.price == price_order(shop, [tiny_line(shop, {"S": 8, "M": 4})])


def test_at_the_most_pieces_nothing_more_is_told() -> None:
    """2 000 is the tiny shop's limit; the last break lies behind."""
    shop = shop_with()
    (point,) = price_curve(shop, tiny_line(shop, {"S": 1}), [2_000])
    assert (point.one_more_minor, point.one_more_cost, point.next_break) == (None, None, None)


def test_a_break_beyond_the_most_pieces_is_not_told() -> None:
    """Breaks at 12 and 24, of which an order of up to 20 reaches one."""
    shop = shop_with()
    policy = shop.policy.model_copy(update={"max_pieces_per_order": 20})
    shop = shop.model_copy(update={"policy": policy})
    points = price_curve(shop, tiny_line(shop, {"S": 1}), [5, 13])
    assert points[0].next_break is not None
    assert points[1].next_break is None


def test_quantities_come_once_and_in_order() -> None:
    """Smallest first, whatever was asked."""
    shop = shop_with(breaks=ONE_PRICE)
    points = price_curve(shop, tiny_line(shop, {"S": 1}), [7, 2, 7])
    assert [point.price.pieces for point in points] == [2, 7]


@pytest.mark.parametrize("quantities", [[], [0], [-1, 5], [2_001]])
def test_quantities_out_of_reach_are_faults(quantities: list[int]) -> None:
    """None, none of a piece, and more than an order may have."""
    shop = shop_with()
    with pytest.raises(ValueError, match="each must be 1 to 2000"):
        price_curve(shop, tiny_line(shop, {"S": 1}), quantities)


@settings(max_examples=25, deadline=None)
@given(
    data=st.data(),
    shop=shops(),
    terms=terms_asked,
    quantities=st.sets(st.integers(1, MOST_PIECES), min_size=2, max_size=6),
)
def test_along_a_curve_unit_prices_never_rise_and_totals_never_fall(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms, quantities: set[int]
) -> None:
    """Of every size there is at both points, to the last decimal told; one more is never less."""
    points = price_curve(shop, data.draw(lines_of(shop)), quantities, terms)
    for before, after in pairwise(points):
        assert after.price.total_minor >= before.price.total_minor
        units = after.price.lines[0].unit_prices
        for size, unit in before.price.lines[0].unit_prices.items():
            assert units[size] <= unit
    for point in points:
        assert point.one_more_minor is None or point.one_more_minor >= 0
        assert point.one_more_cost is None or point.one_more_cost >= 0
        if point.next_break is not None:
            assert point.next_break.price.total_minor >= point.price.total_minor


@settings(max_examples=60, deadline=None)
@given(mix=mixes, quantities=st.sets(st.integers(1, 120), min_size=1, max_size=6))
def test_sizes_in_proportion_are_house_monotone(mix: dict[str, int], quantities: set[int]) -> None:
    """One piece more never takes one from a size; counts add up; the mix itself is kept."""
    whole = sum(mix.values())
    found = in_proportion(mix, {*quantities, *(q + 1 for q in quantities), whole})
    assert found[whole] == mix
    for quantity in quantities:
        now, more = Counter(found[quantity]), Counter(found[quantity + 1])
        assert (now.total(), (more - now).total()) == (quantity, 1)
        assert not now - more
        assert min(found[quantity].values()) >= 1
        assert in_proportion(mix, [quantity])[quantity] == found[quantity]


def test_sizes_in_proportion_by_odd_divisors() -> None:
    """Seats by votes 53 : 24 : 23, 7 to give: 3, 2 and 2 where d'Hondt's divisors give 4, 2, 1.

    Quotients by 1, 3, 5 ...: 53, 24, 23, 17.67, 10.6, 8, 7.67, so the seven greatest are three of
    the first and two each of the others. Worked by hand from the rule's definition.
    """
    assert in_proportion({"S": 53, "M": 24, "L": 23}, [7]) == {7: {"S": 3, "M": 2, "L": 2}}
