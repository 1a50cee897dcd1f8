"""Shares of a piece, evened out so that they never rise, and the bound that ends the search."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.costing import CostPart, cost_line, direct_cost, exact_sum
from service.domain.money import wide_arithmetic
from service.domain.roll import DoesNotFit, Strip, lay_out, taken_at_most
from service.domain.shop import Catalogue
from service.domain.unit_prices import EvenedShares, PriceFactors
from service.domain.work import line_account
from tests.domain.orders_to_price import MOST_PIECES, breaks_of, lines_of, shop_with, shops
from tests.domain.shops import tiny_decoration, tiny_line, tiny_media, tiny_prices

TAIL = Decimal("1e-25")
"""What a division may leave behind."""


def _factors(offer: str = "0", rush: str = "0", **prices: object) -> PriceFactors:
    return PriceFactors(tiny_prices(**prices), Decimal(offer), Decimal(rush))


def test_price_over_cost_is_margin_breaks_offer_and_rush() -> None:
    """1 / 0.75 is 4/3; a tenth off from 12 is 1.2; a fifth off that 0.96; a quarter more 1.2."""
    assert _factors().of(12) * 10 == pytest.approx(12)
    assert _factors(offer="0.20", rush="0.25").of(12) * 10 == pytest.approx(12)
    assert _factors(offer="0.20").after_discounts(12) * 100 == pytest.approx(96)


def test_price_over_cost_never_falls_below_one_unless_the_shop_lets_it() -> None:
    """0.96 is lifted to 1."""
    assert _factors(offer="0.20").of(12) == 1
    assert _factors(offer="0.20", may_sell_below_cost=True).of(12) * 100 == pytest.approx(96)


@settings(max_examples=15, deadline=None)
@given(data=st.data(), shop=shops())
def test_evened_shares_are_the_greatest_of_all_larger_quantities(
    data: st.DataObject, shop: Catalogue
) -> None:
    """By trying them all, each added up from the rows of a line of so many; they never rise."""
    account = line_account(shop, data.draw(lines_of(shop, apart=False)))
    with wide_arithmetic():
        shares = EvenedShares(direct_cost(shop, account), MOST_PIECES)
        greatest = Decimal(0)
        for pieces in range(MOST_PIECES, 0, -1):
            one = line_account(shop, replace(account.line, pieces_by_size={"S": pieces}))
            rows = [
                row for row in cost_line(shop, one, one.work()) if row.part is not CostPart.BLANK
            ]
            greatest = max(greatest, exact_sum(rows) / pieces)
            assert abs(shares.evened(pieces) - greatest) <= TAIL


@settings(max_examples=40, deadline=None)
@given(data=st.data(), shop=shops(), pieces=st.integers(1, MOST_PIECES - 1))
def test_evened_shares_never_rise_and_their_sum_grows_with_the_work(
    data: st.DataObject, shop: Catalogue, pieces: int
) -> None:
    """From one quantity to the next; never below the plain share."""
    account = line_account(shop, data.draw(lines_of(shop, apart=False)))
    with wide_arithmetic():
        direct = direct_cost(shop, account)
        shares = EvenedShares(direct, MOST_PIECES)
        now, then = shares.evened(pieces), shares.evened(pieces + 1)
        assert now >= then
        assert now >= shares.plain(pieces)
        assert (pieces + 1) * then - pieces * now >= direct.each - TAIL


def test_few_quantities_are_looked_at() -> None:
    """With set-ups to share out a larger quantity soon cannot matter: of 2,000 under 50 do."""
    shop = shop_with(breaks=breaks_of((12, "0.10")), spoilage_share=Decimal("0.03"))
    account = line_account(shop, tiny_line(shop, {"S": 24}, tiny_decoration("dye-on-glitter")))
    with wide_arithmetic():
        shares = EvenedShares(direct_cost(shop, account), 2_000)
        shares.evened(24)
    assert len(shares._plain) < 50


sides = st.floats(5, 285)


@settings(max_examples=60, deadline=None)
@given(width=sides, height=sides, pieces=st.integers(1, 300), index=st.integers(0, 2))
def test_no_number_of_pieces_takes_more_than_the_bound(
    width: float, height: float, pieces: int, index: int
) -> None:
    """What is laid out is a n + b at the most, on rolls and on sheets; more never take less."""
    strip = Strip.of(tiny_media()[index])
    each, once = taken_at_most(strip, width, height)
    taken = lay_out(strip, width, height, pieces).taken
    assert float(taken) <= (each * pieces + once) * (1 + 1e-9)
    assert lay_out(strip, width, height, pieces + 1).taken >= taken


def test_what_does_not_fit_has_no_bound() -> None:
    """A piece wider than the film."""
    with pytest.raises(DoesNotFit):
        taken_at_most(Strip.of(tiny_media()[0]), 500, 500)
