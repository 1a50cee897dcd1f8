"""Cost rows, unit prices, breaks and totals."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.costing import (
    CostPart,
    LinePrice,
    break_reached,
    cost_line,
    price_line,
    price_order,
)
from service.domain.money import from_minor, minor_units
from service.domain.shop import Catalogue, PriceBook, QuantityBreak
from service.domain.work import line_work
from tests.domain.shops import (
    tiny_decoration,
    tiny_line,
    tiny_prices,
    tiny_shop,
    tiny_supplied_line,
)

GLITTER = tiny_decoration("dye-on-glitter", width_mm=250, artwork_id="moon")

size_runs = st.dictionaries(
    st.sampled_from(["S", "M", "L"]), st.integers(1, 40), min_size=1, max_size=3
)
shares = st.decimals(0, "0.45", places=3)


@st.composite
def price_books(draw: st.DrawFn) -> PriceBook:
    """Price books with rising breaks and discounts, in currencies of 0, 2 and 3 decimals."""
    starts = sorted(draw(st.sets(st.integers(2, 100), max_size=4)))
    discounts = sorted(draw(st.lists(shares, min_size=len(starts), max_size=len(starts))))
    steps = zip([1, *starts], [Decimal(0), *discounts], strict=True)
    return tiny_prices(
        currency=draw(st.sampled_from(["EUR", "JPY", "KWD"])),
        overhead_share=draw(shares),
        margin_share=draw(shares),
        spoilage_share=draw(shares),
        breaks=tuple(QuantityBreak(from_pieces=n, discount_share=share) for n, share in steps),
    )


def _shop(**prices: object) -> Catalogue:
    return tiny_shop(prices=tiny_prices(**prices))


def _by_part(price: LinePrice) -> dict[CostPart, Decimal]:
    parts: dict[CostPart, Decimal] = {}
    for row in price.rows:
        parts[row.part] = parts.get(row.part, Decimal(0)) + row.amount
    return parts


def test_a_line_is_priced_from_what_it_uses() -> None:
    """Cut film on 3 S and 2 L, added up by hand from the tiny shop's numbers.

    Film 330 mm at 8.00 a metre. Set-up 5 min at 30 and 4 at 27 an hour, artwork check 10 at 24.
    Labour: cut 5, press 7.5, peel 1.25 min at 24; weed 10, check 2.5, pack 5 at 12. Machines: cut
    5 at 6; press 7.5 and peel 1.25 at 3. Margin is a quarter of the price: a third on top.
    """
    shop = _shop()
    price = price_line(shop, tiny_line(shop, {"S": 3, "L": 2}))
    parts = _by_part(price)
    assert parts[CostPart.BLANK] == 3 * 3 + 2 * 4
    assert parts[CostPart.MEDIUM] == Decimal("2.64")
    assert parts[CostPart.SET_UP] == Decimal("2.50") + Decimal("1.80") + Decimal("4.00")
    assert parts[CostPart.LABOUR] == Decimal("5.50") + Decimal("3.50")
    assert parts[CostPart.MACHINE] == Decimal("0.50") + Decimal("0.4375")
    assert parts[CostPart.CONSUMABLES] == Decimal("0.50")
    direct = Decimal("38.3775")
    assert sum(row.amount for row in cost_line(shop, price.work)) == direct
    assert parts[CostPart.OVERHEAD] == direct / 10
    assert parts[CostPart.MARGIN] == direct * Decimal("1.1") / 3
    # Price 56.287; a piece's share of all but blanks is 4.2755: (3 + 4.2755) x 1.1 / 0.75 = 10.6707
    assert price.unit_prices == {"S": 1067, "L": 1214}
    assert price.total_minor == 3 * 1067 + 2 * 1214


def test_ink_and_sheets_have_their_own_units() -> None:
    """4 pieces: 0.625 ml at 0.20; two sheets of glitter at 6.00 each."""
    shop = _shop()
    rows = cost_line(shop, line_work(shop, tiny_line(shop, {"S": 4}, GLITTER)))
    (ink,) = [row for row in rows if row.part is CostPart.INK]
    assert (ink.quantity, ink.unit, ink.amount) == (Decimal("0.625"), "ml", Decimal("0.125"))
    sheets = next(row for row in rows if row.unit == "sheet")
    assert [sheets.quantity, sheets.rate, sheets.amount] == [Decimal(2), Decimal(6), Decimal(12)]


def test_spare_blanks_are_paid_at_the_dearest_size() -> None:
    """One spare on 5 pieces costs what an L costs; media and work count 6 pieces."""
    shop = _shop(spoilage_share=Decimal("0.03"))
    rows = cost_line(shop, line_work(shop, tiny_line(shop, {"S": 3, "L": 2})))
    (spare,) = [row for row in rows if row.part is CostPart.SPOILAGE]
    assert [spare.quantity, spare.amount] == [Decimal(1), Decimal(4)]
    consumables = next(row for row in rows if row.part is CostPart.CONSUMABLES)
    assert consumables.quantity == 6


def test_customers_garments_cost_no_blank_and_no_spare() -> None:
    """Work and materials are priced, garments are not; every size costs the same."""
    shop = _shop(spoilage_share=Decimal("0.03"))
    price = price_line(shop, tiny_supplied_line({"S": 3, "L": 2}))
    assert {CostPart.BLANK, CostPart.SPOILAGE}.isdisjoint(_by_part(price))
    assert price.unit_prices["S"] == price.unit_prices["L"] > 0


def test_parts_that_cost_nothing_leave_no_row() -> None:
    """No consumables, no artwork check and a bench without a machine make no rows of nothing."""
    shop = _shop(consumables_per_piece=Decimal(0), artwork_check_min=Decimal(0))
    rows = price_line(shop, tiny_line(shop, {"S": 1})).rows
    assert all(row.amount for row in rows)
    assert not [row for row in rows if row.part is CostPart.CONSUMABLES]


def test_a_plain_garment_costs_its_blank_and_a_bag() -> None:
    """Without a decoration there is no work, no artwork to check and nothing set up."""
    shop = _shop()
    line = replace(tiny_line(shop, {"S": 2}), decorations=())
    parts = _by_part(price_line(shop, line))
    assert parts[CostPart.BLANK] == 6
    assert {CostPart.SET_UP, CostPart.LABOUR, CostPart.MEDIUM}.isdisjoint(parts)


def test_a_break_may_be_earned_across_lines() -> None:
    """Six pieces at the break of twenty-four cost a fifth less, before rounding."""
    shop = _shop()
    line = tiny_line(shop, {"S": 6})
    alone, together = price_line(shop, line), price_line(shop, line, break_pieces=24)
    assert together.total_minor == pytest.approx(alone.total_minor * 0.8, abs=6)


def test_a_break_never_counts_fewer_than_the_line() -> None:
    """A count below the line's own pieces is a fault of the caller."""
    shop = _shop()
    with pytest.raises(ValueError, match="fewer than the line's 6"):
        price_line(shop, tiny_line(shop, {"S": 6}), break_pieces=5)


@pytest.mark.parametrize(
    ("pieces", "from_pieces"), [(1, 1), (11, 1), (12, 12), (23, 12), (999, 24)]
)
def test_the_highest_break_reached_counts(pieces: int, from_pieces: int) -> None:
    """Breaks begin at their own number of pieces."""
    assert break_reached(tiny_prices().breaks, pieces).from_pieces == from_pieces


def test_discounts_below_cost_are_told() -> None:
    """A break deeper than the margin takes the price below cost."""
    steps = (QuantityBreak(from_pieces=1, discount_share=Decimal("0.30")),)
    shop = _shop(breaks=steps)
    assert price_line(shop, tiny_line(shop, {"S": 5})).below_cost
    assert not price_line(_shop(), tiny_line(shop, {"S": 5})).below_cost


def test_a_size_the_blank_has_not_is_a_fault() -> None:
    """Sizes are checked before anything is priced."""
    shop = _shop()
    with pytest.raises(KeyError):
        price_line(shop, tiny_line(shop, {"XXL": 1}))


def test_an_order_is_the_sum_of_its_lines_in_any_order() -> None:
    """Totals and pieces add up, and the order of lines changes neither."""
    shop = _shop()
    lines = [price_line(shop, tiny_line(shop, {"S": n})) for n in (1, 5, 12)]
    order, reversed_order = price_order(lines), price_order(lines[::-1])
    assert order.total_minor == sum(line.total_minor for line in lines)
    assert (order.pieces, order.currency) == (18, "EUR")
    assert order.total_minor == reversed_order.total_minor


def test_an_order_has_one_currency() -> None:
    """Euro and yen do not add up, and no lines have no currency."""
    shop = _shop()
    line = price_line(shop, tiny_line(shop, {"S": 1}))
    with pytest.raises(ValueError, match="one currency"):
        price_order([line, replace(line, currency="JPY")])
    with pytest.raises(ValueError, match="one currency"):
        price_order([])


def test_a_shop_that_charges_nothing_is_priced_at_nothing() -> None:
    """All costs nought: no division by nought, no rows, a price of nought."""
    free = {"labour_rate_per_hour": Decimal(0), "machine_rate_per_hour": Decimal(0)}
    shop = _shop(consumables_per_piece=Decimal(0))
    shop = shop.model_copy(
        update={
            "stations": tuple(station.model_copy(update=free) for station in shop.stations),
            "media": tuple(m.model_copy(update={"price_per_m": Decimal(0)}) for m in shop.media),
        }
    )
    price = price_line(shop, tiny_supplied_line({"S": 2}))
    assert (price.total_minor, price.rows, price.unit_prices) == (0, (), {"S": 0})


@settings(max_examples=40)
@given(book=price_books(), run=size_runs, glitter=st.booleans())
def test_rows_sum_to_the_total_exactly(book: PriceBook, run: dict[str, int], glitter: bool) -> None:  # noqa: FBT001 - drawn by hypothesis
    """Unit prices times quantities are the total, and so is the sum of all rows."""
    shop = tiny_shop(prices=book)
    decorations = (tiny_decoration(), GLITTER) if glitter else (tiny_decoration(),)
    price = price_line(shop, tiny_line(shop, run, *decorations))
    assert price.total_minor == sum(price.unit_prices[size] * n for size, n in run.items())
    total = from_minor(price.total_minor, book.currency)
    assert sum(row.amount for row in price.rows) == total


@settings(max_examples=40)
@given(book=price_books(), run=size_runs)
def test_unit_prices_agree_with_exact_fractions(book: PriceBook, run: dict[str, int]) -> None:
    """The stated formula in exact fractions, from the rows alone, gives the same cents."""
    shop = tiny_shop(prices=book)
    price = price_line(shop, tiny_line(shop, run))
    direct = blanks = more = Fraction(0)
    for row in price.rows:
        exact = Fraction(row.quantity) * Fraction(row.rate) / Fraction(row.rate_per)
        direct += exact if list(CostPart).index(row.part) <= 7 else 0
        blanks += exact if row.part is CostPart.BLANK else 0
        more += Fraction(row.rate) if row.label.endswith("cost less") else 0
    discount = break_reached(book.breaks, price.pieces).discount_share
    listed = direct * (1 + Fraction(book.overhead_share)) / (1 - Fraction(book.margin_share))
    charged = listed * (1 - Fraction(discount)) + more
    costs = {"S": 3, "M": 3, "L": 4}
    for size in run:
        share = costs[size] + (direct - blanks) / price.pieces
        minor = share * charged / direct * 10 ** minor_units(book.currency)
        # A larger quantity's saving stands in its row to forty digits, not as a fraction.
        slack = 0 if more == 0 else 1
        assert abs(price.unit_prices[size] - math.floor(minor + Fraction(1, 2))) <= slack


@settings(max_examples=40)
@given(book=price_books(), run=size_runs, more=size_runs)
def test_more_never_costs_less_but_for_rounding(
    book: PriceBook, run: dict[str, int], more: dict[str, int]
) -> None:
    """Adding pieces of any size never lowers the total by more than unit rounding can."""
    shop = tiny_shop(prices=book)
    larger = {size: run.get(size, 0) + more.get(size, 0) for size in {**run, **more}}
    small, large = (price_line(shop, tiny_line(shop, pieces)) for pieces in (run, larger))
    rounding = (small.pieces + large.pieces) / 2
    assert large.total_minor >= small.total_minor - rounding


@settings(max_examples=40)
@given(book=price_books(), run=size_runs)
def test_the_price_does_not_hang_on_the_order_of_sizes(
    book: PriceBook, run: dict[str, int]
) -> None:
    """The same sizes written the other way round cost the same."""
    shop = tiny_shop(prices=book)
    turned = dict(reversed(run.items()))
    one, other = (price_line(shop, tiny_line(shop, pieces)) for pieces in (run, turned))
    assert dict(one.unit_prices) == dict(other.unit_prices)
    assert one.total_minor == other.total_minor
