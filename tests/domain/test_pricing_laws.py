"""Laws that prices keep whatever is ordered: sums, and never a trap for more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.line_price import LinePrice
from service.domain.money import from_minor
from service.domain.pricing import OrderPrice, PriceTerms, price_line, price_order
from service.domain.shop import Catalogue
from service.domain.wishes import Line
from tests.domain.orders_to_price import (
    ONE_PRICE,
    added_to,
    lines_of,
    orders,
    shops,
    terms_asked,
)
from tests.domain.shops import (
    SIZES,
)


def _sums(order: OrderPrice) -> None:
    """Every sum there is."""
    for line in order.lines:
        told = from_minor(line.total_minor, order.currency)
        assert sum(row.amount for row in line.rows) == told
        assert sum(line.totals_minor.values()) == line.total_minor
        assert min(line.totals_minor.values()) >= 0
        assert all(row.amount for row in line.rows)
    assert order.lines_minor == sum(line.total_minor for line in order.lines)
    inclusive = order.tax is not None and order.tax.inclusive
    assert order.total_minor == order.lines_minor + (0 if inclusive else order.tax_minor)
    assert order.pieces == sum(line.pieces for line in order.lines)


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops(), terms=terms_asked)
def test_rows_sizes_and_lines_sum_to_the_total(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """Exactly, whatever the terms."""
    _sums(price_order(shop, data.draw(orders(shop, apart=False)), terms))


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops(), terms=terms_asked)
def test_a_size_costs_its_number_times_its_unit_price(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """But for the rounding of the line's total, of the split and of the unit price."""
    line = data.draw(lines_of(shop, apart=False))
    price = price_line(shop, line, terms)
    for size, pieces in line.pieces_by_size.items():
        minor = price.unit_prices[size] * pieces / from_minor(1, price.currency)
        slack = Decimal("1.5") + Decimal(pieces) / 200
        assert abs(price.totals_minor[size] - minor) <= slack


@settings(max_examples=60, deadline=None)
@given(data=st.data(), shop=shops(), terms=terms_asked)
def test_no_total_falls_when_pieces_are_added(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """Of any size, to any line, whatever artworks the lines share; to the minor unit."""
    lines = data.draw(orders(shop, apart=False))
    larger = _larger(data, lines)
    before, after = price_order(shop, lines, terms), price_order(shop, larger, terms)
    assert after.lines_minor >= before.lines_minor
    assert after.total_minor >= before.total_minor


@settings(max_examples=60, deadline=None)
@given(data=st.data(), shop=shops(), terms=terms_asked)
def test_no_unit_price_rises_when_pieces_are_added(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """Of any size and line, where each line has one artwork, but for what rounds a reduction.

    That is a line's part of what is taken off, in whole minor units, by the number of its pieces.
    """
    lines = data.draw(orders(shop, apart=True))
    larger = _larger(data, lines)
    before, after = (price_order(shop, some, terms) for some in (lines, larger))
    for small, large in zip(before.lines, after.lines, strict=True):
        slack = _rounding_of_a_unit(small, large)
        for size, unit in small.unit_prices.items():
            assert large.unit_prices[size] <= unit + slack


def _rounding_of_a_unit(*lines: LinePrice) -> Decimal:
    """Nothing where nothing is taken off the lines."""
    reduced = [one for one in lines if any(row.label.startswith("more") for row in one.rows)]
    return max(
        (2 * from_minor(1, one.currency) / one.pieces for one in reduced), default=Decimal(0)
    )


@settings(max_examples=40, deadline=None)
@given(data=st.data(), shop=shops(), terms=terms_asked)
def test_no_unit_price_of_a_line_alone_rises_at_all(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """Not by the last decimal told, from any number of pieces to one more."""
    lines = [data.draw(lines_of(shop))]
    larger = added_to(lines, 0, {data.draw(st.sampled_from(SIZES)): 1})
    before, after = price_line(shop, lines[0], terms), price_line(shop, larger[0], terms)
    for size, unit in before.unit_prices.items():
        assert after.unit_prices[size] <= unit


def _larger(data: st.DataObject, lines: Sequence[Line]) -> list[Line]:
    index = data.draw(st.integers(0, len(lines) - 1))
    more = st.dictionaries(st.sampled_from(SIZES), st.integers(1, 5), min_size=1, max_size=2)
    return added_to(lines, index, data.draw(more))


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops(), terms=terms_asked)
def test_the_order_of_lines_and_sizes_changes_nothing(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """Each line costs the same wherever it stands, and so does each of its sizes.

    Lines that are alike in all may change places: of a unit left over one of them has it.
    """
    lines = data.draw(orders(shop, apart=False))
    places = data.draw(st.permutations(range(len(lines))))
    turned = [
        replace(lines[at], pieces_by_size=dict(reversed([*lines[at].pieces_by_size.items()])))
        for at in places
    ]
    one, other = price_order(shop, lines, terms), price_order(shop, turned, terms)
    assert (one.total_minor, one.tax_minor) == (other.total_minor, other.tax_minor)
    if all(lines.count(line) == 1 for line in lines):
        for at, line in zip(places, other.lines, strict=True):
            assert dict(one.lines[at].unit_prices) == dict(line.unit_prices)
            assert dict(one.lines[at].totals_minor) == dict(line.totals_minor)
    else:
        totals = (sorted(line.total_minor for line in each.lines) for each in (one, other))
        assert len({tuple(each) for each in totals}) == 1


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops(), terms=terms_asked)
def test_no_price_is_below_cost_without_the_owners_flag(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """Whatever breaks, offers and reductions together take off."""
    for line in price_order(shop, data.draw(orders(shop, apart=False)), terms).lines:
        assert not line.below_cost


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops(more_may_cost_less=True), terms=terms_asked)
def test_where_more_may_cost_less_what_is_said_is_true(
    data: st.DataObject, shop: Catalogue, terms: PriceTerms
) -> None:
    """Nothing is taken off, and the larger order told of costs what it is told to cost, and less.

    Where nothing is told the shop would take nothing off either, but for what rounding hides.
    """
    lines = data.draw(orders(shop, apart=False))
    order = price_order(shop, lines, terms)
    labels = {row.label for line in order.lines for row in line.rows}
    assert "more pieces cost less" not in labels
    more = order.more_costs_less
    if more is not None:
        larger = lines
        for one in more.added:
            larger = added_to(larger, one.line, {one.size: one.pieces})
        assert price_order(shop, larger, terms).total_minor == more.total_minor
        assert more.total_minor <= order.total_minor
        strict = shop.prices.model_copy(update={"more_may_cost_less": False})
        careful = price_order(shop.model_copy(update={"prices": strict}), lines, terms)
        assert careful.total_minor <= more.total_minor


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops(breaks=ONE_PRICE))
def test_taxes_within_and_on_top_agree_but_for_rounding(
    data: st.DataObject, shop: Catalogue
) -> None:
    """Each line is rounded once with the tax in it, or once without and the tax once for all."""
    lines = data.draw(orders(shop, apart=False))
    within, added = (
        price_order(shop, lines, PriceTerms(tax_region_id=region)) for region in ("within", "added")
    )
    rate = Decimal("0.19")
    half = Decimal("0.5")
    slack = half * len(lines) + half * len(lines) * (1 + rate) + half
    assert abs(within.total_minor - added.total_minor) <= slack
    net = Decimal(within.total_minor) / (1 + rate)
    assert abs(within.total_minor - within.tax_minor - net) <= half
    assert abs(added.tax_minor - added.lines_minor * rate) <= half
