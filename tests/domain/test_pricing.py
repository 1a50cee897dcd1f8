"""Prices of lines and orders: every row, breaks, floors, offers, rush and taxes."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from service.domain.costing import CostPart
from service.domain.line_price import LinePrice
from service.domain.pricing import NO_TERMS, PriceTerms, price_line, price_order
from service.domain.shop import Catalogue
from service.domain.spoilage import SpoilageSeen
from service.domain.wishes import Line
from tests.domain.orders_to_price import (
    ONE_PRICE,
    added_to,
    breaks_of,
    shop_with,
    with_blank_costs,
)
from tests.domain.shops import (
    tiny_decoration,
    tiny_line,
    tiny_supplied_line,
)

MOON = tiny_decoration(artwork_id="moon")
STAR = tiny_decoration()
DIRECT = Decimal("38.2975")
"""Direct cost of 3 S and 2 L in cut film, by test_costing."""


def _by_part(price: LinePrice) -> dict[CostPart, Decimal]:
    parts: dict[CostPart, Decimal] = {}
    for row in price.rows:
        parts[row.part] = parts.get(row.part, Decimal(0)) + row.amount
    return parts


def _three_and_two(terms: PriceTerms = NO_TERMS, **prices: object) -> LinePrice:
    shop = shop_with(breaks=ONE_PRICE, **prices)
    return price_line(shop, tiny_line(shop, {"S": 3, "L": 2}), terms)


def _plain_shop(cost: str, **prices: object) -> tuple[Catalogue, Line]:
    """Nothing to pay but a blank; a line of one S without a decoration."""
    none = {"overhead_share": Decimal(0), "margin_share": Decimal(0)}
    shop = shop_with(**{**none, "consumables_per_piece": Decimal(0), **prices})
    shop = with_blank_costs(shop, cost, cost, cost)
    return shop, replace(tiny_line(shop, {"S": 1}), decorations=())


def test_a_line_is_priced_from_what_it_costs() -> None:
    """Cut film on 3 S and 2 L: overhead a tenth, margin a quarter of the price, a third on top.

    All but the blanks is 38.2975 - 17 = 21.2975, 4.2595 a piece. A piece S is
    (3 + 4.2595) x 1.1 / 0.75 = 10.64727, a piece L 12.11393; 3 S and 2 L are 56.16967.
    """
    price = _three_and_two()
    parts = _by_part(price)
    assert parts[CostPart.OVERHEAD] == DIRECT / 10
    assert parts[CostPart.MARGIN] == (DIRECT * Decimal("1.1") / 3).quantize(Decimal("1e-10"))
    assert dict(price.unit_prices) == {"S": Decimal("10.6473"), "L": Decimal("12.1139")}
    assert (price.total_minor, dict(price.totals_minor)) == (5617, {"S": 3194, "L": 2423})
    assert (price.cost, price.net) == (DIRECT * Decimal("1.1"), Decimal("56.17"))
    assert parts[CostPart.ROUNDING] == Decimal("0.0003333333")


def test_offer_and_rush_each_have_their_row() -> None:
    """Of 56.16967 the club's 15 % are 8.42545; on 47.74422 two days at 5 % are 4.77442."""
    parts = _by_part(_three_and_two(PriceTerms(offer_id="club", rush_days=2)))
    assert parts[CostPart.DISCOUNT] == Decimal("-8.4254500000")
    assert parts[CostPart.RUSH] == Decimal("4.7744216667")
    assert sum(parts.values()) == Decimal("52.52")


def test_discounts_stop_at_cost_unless_the_shop_says_otherwise() -> None:
    """30 % off a margin of 25 % would be 39.32 for what costs 42.12725 with overhead."""
    deep = {"breaks": breaks_of((2, "0.30"))}
    shop = shop_with(**deep)
    price = price_line(shop, tiny_line(shop, {"S": 3, "L": 2}))
    assert _by_part(price)[CostPart.FLOOR] == Decimal("2.8084833333")
    assert (price.total_minor, price.below_cost) == (4213, False)
    brave = shop_with(**deep, may_sell_below_cost=True)
    price = price_line(brave, tiny_line(brave, {"S": 3, "L": 2}))
    assert CostPart.FLOOR not in _by_part(price)
    assert (price.total_minor, price.below_cost) == (3932, True)


def test_lumps_are_evened_out() -> None:
    """A fifth piece begins a third sheet at 6.00, so four cost as much each as five.

    With free labour, 250 x 125 mm: 4 pieces take two sheets 12.00, paper 0.27, ink 0.12504 and
    bags 0.40, 3.19876 a piece; 5 take 18.00 + 0.405 + 0.1563 + 0.50, 3.81226 a piece. So 4 x 0.6135
    is put on before overhead and margin, and a piece costs (3 + 3.81226) x 1.1 / 0.75 = 9.9913.
    """
    shop = shop_with(breaks=ONE_PRICE, artwork_check_min=Decimal(0))
    free = {"labour_rate_per_hour": Decimal(0), "machine_rate_per_hour": Decimal(0)}
    shop = shop.model_copy(
        update={"stations": tuple(s.model_copy(update=free) for s in shop.stations)}
    )
    glitter = tiny_decoration("dye-on-glitter", width_mm=250)
    four, five = (price_line(shop, tiny_line(shop, {"S": n}, glitter)) for n in (4, 5))
    assert _by_part(four)[CostPart.EVENED] == Decimal("3.5992")
    assert CostPart.EVENED not in _by_part(five)
    assert four.unit_prices == five.unit_prices == {"S": Decimal("9.9913")}


def test_rounding_is_at_the_total_of_a_line() -> None:
    """Three at 0.125 are 0.375 and 0.38, not three times 0.13; a unit price keeps two decimals."""
    shop, line = _plain_shop("0.125", breaks=ONE_PRICE)
    price = price_line(shop, replace(line, pieces_by_size={"S": 3}))
    assert (price.total_minor, price.unit_prices["S"]) == (38, Decimal("0.1250"))


def test_a_break_is_earned_across_lines_and_sizes() -> None:
    """Six and eighteen of one artwork count as twenty-four: a fifth less, before rounding."""
    shop = shop_with()
    six, eighteen = tiny_line(shop, {"S": 6}), tiny_line(shop, {"M": 9, "L": 9})
    together = price_order(shop, [six, eighteen])
    alone = price_line(shop_with(breaks=ONE_PRICE), six)
    assert [line.counted for line in together.lines] == [24, 24]
    assert together.lines[0].total_minor == pytest.approx(alone.total_minor * 0.8, abs=1)


def test_another_artwork_earns_no_break() -> None:
    """Pieces of the moon do not count for the star; lines without artwork count alone."""
    shop = shop_with()
    plain = replace(tiny_line(shop, {"S": 20}), decorations=())
    order = price_order(
        shop, [tiny_line(shop, {"S": 6}), tiny_line(shop, {"S": 18}, MOON), plain, plain]
    )
    assert [line.counted for line in order.lines] == [6, 18, 20, 20]


def test_of_two_artworks_the_one_with_most_pieces_counts() -> None:
    """A line with star and moon counts with the moon's 26, the star's own line with its 10."""
    shop = shop_with()
    both = tiny_line(shop, {"S": 6}, STAR, MOON)
    star, moon = tiny_line(shop, {"S": 4}), tiny_line(shop, {"S": 20}, MOON)
    counted = [line.counted for line in price_order(shop, [both, star, moon]).lines]
    assert counted == [26, 10, 26]


def test_pieces_just_below_a_break_cost_no_more_than_the_break() -> None:
    """At 20.00 and 10 % off from twelve, 11 would be 220.00 and 12 are 216.00; half is margin."""
    shop, line = _plain_shop("10", margin_share=Decimal("0.5"), breaks=breaks_of((12, "0.10")))
    prices = {n: price_line(shop, replace(line, pieces_by_size={"S": n})) for n in (10, 11, 12)}
    assert [prices[n].total_minor for n in (10, 11, 12)] == [20_000, 21_600, 21_600]
    (row,) = [row for row in prices[11].rows if row.label == "more pieces cost less"]
    assert (row.part, row.amount) == (CostPart.DISCOUNT, Decimal("-4.00"))


def test_a_missing_piece_is_charged_in_whole_minor_units() -> None:
    """In yen, 2.80 a piece and 2.52 from twelve: 12 are 30.24, told as 30, so 11 are no more.

    11 at 2.52 are told as 28, and the piece missing is 2, not 2.52 or 3.
    """
    breaks = breaks_of((12, "0.10"))
    shop, line = _plain_shop("1.40", currency="JPY", margin_share=Decimal("0.5"), breaks=breaks)
    totals = [
        price_line(shop, replace(line, pieces_by_size={"S": n})).total_minor for n in (10, 11, 12)
    ]
    assert totals == [28, 30, 30]


def test_what_is_taken_off_stays_with_its_artwork() -> None:
    """The star saves just below its break; the moon, with none ahead, pays the same as alone."""
    shop = shop_with(breaks=breaks_of((12, "0.25")))
    star, moon = tiny_line(shop, {"S": 11}), tiny_line(shop, {"S": 20}, MOON)
    order = price_order(shop, [star, moon])
    assert order.lines[0].total_minor == price_line(shop, star).total_minor
    assert order.lines[1].total_minor == price_line(shop, moon).total_minor


def test_where_more_may_cost_less_the_order_says_so() -> None:
    """Nothing is taken off 11 pieces; one more S makes the whole order 216.00."""
    breaks = breaks_of((12, "0.10"))
    shop, line = _plain_shop(
        "10", margin_share=Decimal("0.5"), breaks=breaks, more_may_cost_less=True
    )
    order = price_order(shop, [replace(line, pieces_by_size={"M": 11})])
    assert order.total_minor == 22_000
    more = order.more_costs_less
    assert more is not None
    assert [(one.line, one.size, one.pieces) for one in more.added] == [(0, "L", 1)]
    assert more.total_minor == 21_600
    assert price_order(shop, [replace(line, pieces_by_size={"M": 5})]).more_costs_less is None


def test_tax_is_rounded_once_for_the_order() -> None:
    """3 lines of 0.49 at 21 %: 0.31 on the total, not three times 0.10.

    Source: algorithms topic 6, tax per line against tax per total.
    """
    region = {"id": "added", "name": "tax added", "rate": "0.21", "inclusive": False}
    shop, line = _plain_shop("0.49", breaks=ONE_PRICE)
    book = shop.prices.model_validate({**shop.prices.model_dump(), "tax_regions": [region]})
    shop = shop.model_copy(update={"prices": book})
    order = price_order(shop, [line] * 3, PriceTerms(tax_region_id="added"))
    assert (order.lines_minor, order.tax_minor, order.total_minor) == (147, 31, 178)


def test_an_inclusive_tax_is_in_the_price_and_has_its_row() -> None:
    """100.00 net at 19 % is told as 119.00, of which 19.00 are tax; below cost it is not."""
    shop, line = _plain_shop("100", breaks=ONE_PRICE)
    order = price_order(shop, [line], PriceTerms(tax_region_id="within"))
    assert (order.lines_minor, order.tax_minor, order.total_minor) == (11_900, 1_900, 11_900)
    assert _by_part(order.lines[0])[CostPart.TAX] == 19
    assert order.lines[0].net == 100
    assert not order.lines[0].below_cost


@pytest.mark.parametrize("cost", ["1.03501", "0.50", "0.01"])
def test_rounding_alone_takes_nothing_below_cost(cost: str) -> None:
    """1.03501 at 19 % is told as 1.23, which is 1.0336 without tax: half a cent is no discount."""
    shop, line = _plain_shop(cost, breaks=ONE_PRICE)
    assert not price_line(shop, line, PriceTerms(tax_region_id="within")).below_cost


def test_without_a_region_there_is_no_tax() -> None:
    """None is the default."""
    shop, line = _plain_shop("100", breaks=ONE_PRICE)
    order = price_order(shop, [line])
    assert (order.tax, order.tax_minor, order.total_minor) == (None, 0, 10_000)


def test_customers_garments_cost_no_blank_and_no_spare() -> None:
    """Work and materials are priced, garments are not; every size costs the same."""
    shop = shop_with(spoilage_share=Decimal("0.03"))
    price = price_line(shop, tiny_supplied_line({"S": 3, "L": 2}))
    assert {CostPart.BLANK, CostPart.SPOILAGE}.isdisjoint(_by_part(price))
    assert price.unit_prices["S"] == price.unit_prices["L"] > 0


def test_a_plain_garment_costs_its_blank_and_a_bag() -> None:
    """Without a decoration there is no work, no artwork to check and nothing set up."""
    shop = shop_with()
    line = replace(tiny_line(shop, {"S": 2}), decorations=())
    parts = _by_part(price_line(shop, line))
    assert [parts[CostPart.BLANK], parts[CostPart.CONSUMABLES]] == [6, Decimal("0.20")]
    assert {CostPart.SET_UP, CostPart.LABOUR, CostPart.MEDIUM}.isdisjoint(parts)


def test_a_shop_that_charges_nothing_is_priced_at_nothing() -> None:
    """All costs nought: no division by nought, no rows, a price of nought."""
    free = {"labour_rate_per_hour": Decimal(0), "machine_rate_per_hour": Decimal(0)}
    shop = shop_with(consumables_per_piece=Decimal(0))
    shop = shop.model_copy(
        update={
            "stations": tuple(station.model_copy(update=free) for station in shop.stations),
            "media": tuple(m.model_copy(update={"price_per_m": Decimal(0)}) for m in shop.media),
        }
    )
    price = price_line(shop, tiny_supplied_line({"S": 2}))
    assert (price.total_minor, price.rows, dict(price.totals_minor)) == (0, (), {"S": 0})
    assert dict(price.unit_prices) == {"S": 0}


def test_what_was_seen_of_spoilage_is_paid_for() -> None:
    """Half of 400 pieces spoiled makes the same line dearer; none of 4 000 makes it cheaper."""
    shop = shop_with(spoilage_share=Decimal("0.03"))
    line = tiny_line(shop, {"S": 24})
    totals = [
        price_line(shop, line, seen={"cut-film": seen}).total_minor
        for seen in (SpoilageSeen(0, 4_000), SpoilageSeen(0, 0), SpoilageSeen(200, 400))
    ]
    assert totals[0] < totals[1] < totals[2]


@pytest.mark.parametrize(
    ("terms", "fault", "told"),
    [
        (PriceTerms(offer_id="friends"), KeyError, "friends"),
        (PriceTerms(tax_region_id="nowhere"), KeyError, "nowhere"),
        (PriceTerms(rush_days=4), ValueError, "4 days cannot be gained; the shop offers at most 3"),
        (PriceTerms(rush_days=-1), ValueError, "-1 days cannot be gained"),
    ],
)
def test_terms_the_shop_has_not_are_faults(
    terms: PriceTerms, fault: type[Exception], told: str
) -> None:
    """Offers, regions and days are checked before anything is priced."""
    shop = shop_with()
    with pytest.raises(fault, match=told):
        price_line(shop, tiny_line(shop, {"S": 1}), terms)


def test_a_shop_without_rush_gains_no_day() -> None:
    """It offers none."""
    shop = shop_with(rush=None)
    with pytest.raises(ValueError, match="1 days cannot be gained; the shop offers at most 0"):
        price_line(shop, tiny_line(shop, {"S": 1}), PriceTerms(rush_days=1))


def test_what_is_no_order_is_a_fault() -> None:
    """No lines, and a size the blank has not."""
    shop = shop_with()
    with pytest.raises(ValueError, match="at least one line"):
        price_order(shop, [])
    with pytest.raises(KeyError, match="XXL"):
        price_line(shop, tiny_line(shop, {"XXL": 1}))


@pytest.mark.parametrize(
    ("costs", "book", "runs", "index", "more"),
    [
        # a cheap size must not make the spares of dear ones cheaper
        (
            ("3", "4", "20"),
            {"spoilage_share": Decimal("0.3"), "breaks": ONE_PRICE},
            [("cut-film", 60, {"M": 2, "L": 3})],
            0,
            {"S": 1},
        ),
        # a break just ahead must not lower the lumps of another line before it is reached
        (
            ("3", "3", "4"),
            {"spoilage_share": Decimal("0.03"), "breaks": breaks_of((14, "0.27"))},
            [("cut-film", 60, {"L": 5}), ("cut-film", 60, {"S": 4})],
            1,
            {"M": 3},
        ),
        # pieces spread over two lines may reach a break for less than all in one of them
        (
            ("3", "3", "4"),
            {"spoilage_share": Decimal("0.3"), "breaks": breaks_of((21, "0.35"))},
            [("dye-on-glitter", 250, {"M": 6, "S": 5}), ("dye-on-glitter", 200, {"L": 5})],
            0,
            {"S": 2},
        ),
    ],
)
def test_totals_that_once_fell(
    costs: tuple[str, ...],
    book: dict[str, object],
    runs: list[tuple[str, int, dict[str, int]]],
    index: int,
    more: dict[str, int],
) -> None:
    """Orders found by trial whose total an earlier rule let fall as pieces were added."""
    shop = with_blank_costs(shop_with(margin_share=Decimal("0.4"), **book), *costs)
    lines = [
        tiny_line(shop, run, tiny_decoration(method, width_mm=width)) for method, width, run in runs
    ]
    larger = price_order(shop, added_to(lines, index, more))
    assert larger.total_minor >= price_order(shop, lines).total_minor
