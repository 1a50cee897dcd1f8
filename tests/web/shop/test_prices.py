"""Prices at the door: curves, offers, taxes, and what was seen of spoilage."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from sqlmodel import Session

from service.store.tables import Quote
from tests.conftest import FakeClock
from tests.web.shop.conftest import changed_catalogue, demo_catalogue
from tests.web.shop.door import (
    ON_ONE_STORE,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    refused,
)

QUANTITIES = [1, 2, 3, 5, 8, 11, 12, 23, 24, 40, 47, 48, 100, 143, 144, 500]


def curve(caller: Caller, **changes: object) -> Json:
    """A price curve that must be had."""
    body = {"line": line(sizes={"M": 2, "2XL": 1}), "quantities": QUANTITIES, **changes}
    return answered(caller.post("/v1/price-curves", body), 200)


@ON_ONE_STORE
def test_each_costs_less_and_all_cost_more(asking: Caller) -> None:
    """Along the curve no price of a piece rises, no total falls, and a break is told ahead."""
    points = curve(asking)["points"]
    assert [point["pieces"] for point in points] == QUANTITIES
    assert [sum(point["pieces_by_size"].values()) for point in points] == QUANTITIES
    totals = [point["total"]["amount"] for point in points]
    assert totals == sorted(totals)
    for size in ("M", "2XL"):
        units = [
            Decimal(point["unit_prices"][size]["per_piece"])
            for point in points
            if size in point["unit_prices"]
        ]
        assert units == sorted(units, reverse=True)
    assert all(point["one_more"]["amount"] >= 0 for point in points)
    eight = next(point for point in points if point["pieces"] == 8)
    assert eight["next_break"]["more_pieces"] == 4
    twelve = next(point for point in points if point["pieces"] == 12)
    assert eight["next_break"]["total"] == twelve["total"]


@ON_ONE_STORE
def test_a_point_of_the_curve_is_what_a_quote_costs(asking: Caller) -> None:
    """The curve and the quote are one price."""
    (point,) = curve(asking, quantities=[9], offer="club")["points"]
    wish = line(sizes=point["pieces_by_size"])
    quote = answered(asking.post("/v1/quotes", {"lines": [wish], "offer": "club"}), 201)
    assert quote["total"] == point["total"]
    assert quote["lines"][0]["unit_prices"] == point["unit_prices"]


@ON_ONE_STORE
def test_staff_see_what_it_costs_and_storefronts_do_not(asking: Caller, bench: Caller) -> None:
    """Two shapes of one answer."""
    (told,) = curve(asking, quantities=[6])["points"]
    body = {"line": line(sizes={"M": 2, "2XL": 1}), "quantities": [6]}
    own = answered(bench.post("/v1/price-curves", body), 200)
    (known,) = own["points"]
    assert set(known) - set(told) == {"cost", "one_more_cost", "starts"}
    assert Decimal(known["cost"]) * 100 < known["total"]["amount"]
    assert known["starts"] >= 6


@ON_ONE_STORE
def test_lines_of_one_artwork_earn_the_break_together(asking: Caller) -> None:
    """Six tees and six of another colour count as twelve; another artwork does not count."""
    six, other = line(sizes={"M": 6}), line(colour="white", sizes={"M": 6})
    alone = asking.quote(six)["lines"][0]
    together = asking.quote(six, other)["lines"][0]
    assert (alone["counted_pieces"], together["counted_pieces"]) == (6, 12)
    assert together["total"]["amount"] < alone["total"]["amount"]


@ON_ONE_STORE
def test_tax_is_in_the_price_or_on_top(asking: Caller) -> None:
    """20 % in the prices, 7.5 % added, and none where none was asked for."""

    def asked(**terms: str) -> Json:
        return answered(asking.post("/v1/quotes", {"lines": [line()], **terms}), 201)

    plain, inside = asked(), asked(tax_region="home-region")
    on_top = asked(tax_region="across-the-border")
    assert plain["tax"] is None
    assert plain["goods"] == plain["total"]
    assert inside["goods"] == inside["total"]
    assert inside["total"]["amount"] == pytest.approx(plain["total"]["amount"] * 1.2, abs=1)
    assert inside["tax"]["amount"]["amount"] == pytest.approx(inside["total"]["amount"] / 6, abs=1)
    assert on_top["goods"] == plain["goods"]
    tax = on_top["tax"]["amount"]["amount"]
    assert tax == pytest.approx(plain["goods"]["amount"] * 0.075, abs=0.5)
    assert on_top["total"]["amount"] == on_top["goods"]["amount"] + tax
    offered = asked(offer="club")
    assert offered["offer"] == "club"
    assert offered["total"]["amount"] == pytest.approx(plain["total"]["amount"] * 0.95, abs=1)


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"offer": "no-such"}, "/offer"),
        ({"tax_region": "no-such"}, "/tax_region"),
        ({"quantities": []}, "/quantities"),
        ({"quantities": [0]}, "/quantities/0"),
        ({"quantities": [5, 1_000_000_000]}, "/quantities/1"),
        ({"quantities": [5, 2_001]}, "/quantities/1"),
        ({"quantities": list(range(1, 42))}, "/quantities"),
        ({"line": line(sizes={"XXS": 3})}, "/line/sizes/XXS"),
        ({"line": line(sizes={"M": 2_001})}, "/line"),
        ({"line": line(decoration(artwork_id="art_none"))}, "/line/decorations/0/artwork_id"),
    ],
)
def test_what_cannot_be_priced_is_named(asking: Caller, body: Json, pointer: str) -> None:
    """Every wrong field with what would be right."""
    asked = {"line": line(), "quantities": [1], **body}
    problem = refused(asking.post("/v1/price-curves", asked), 422, "fields-refused")
    assert pointer in {error["pointer"].lstrip("#") for error in problem["errors"]}


def test_spoilage_seen_counts_from_the_next_day(shop: ShopDoor, clock: FakeClock) -> None:
    """A method that spoils much is begun with more pieces tomorrow, and today's quotes hold."""
    wish = line(sizes={"M": 20})
    before = shop.storefront.quote(wish)
    number = shop.storefront.order(wish)["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    for kind, count in (("done", 12), ("spoiled", 8)):
        entry = {"kind": kind, "size": "M", "count": count, "who": "Ada"}
        entry |= {"reason": "scorched"} if kind == "spoiled" else {}
        answered(shop.staff.post(f"/v1/tickets/{number}/pieces", entry), 201)
    assert shop.storefront.quote(wish)["total"] == before["total"]
    clock.advance(timedelta(days=1))
    after = shop.storefront.quote(wish)
    assert after["total"]["amount"] > before["total"]["amount"]
    first, last = (
        answered(shop.staff.get(f"/v1/quotes/{quote['id']}/audit"), 200)
        for quote in (before, after)
    )
    assert first["spoilage"] == {}
    assert last["spoilage"] == {"printed-film": {"made": 20, "spoiled": 8}}
    assert last["lines"][0]["starts"] > first["lines"][0]["starts"]
    assert first["same"]
    assert last["same"]


def test_a_quote_without_its_inputs_is_not_recomputed(shop: ShopDoor) -> None:
    """Quotes from before inputs were kept stand, and say that they cannot be recomputed."""
    quote = shop.storefront.quote(line())

    def forget(session: Session) -> None:
        row = session.get_one(Quote, quote["id"])
        row.inputs_json = "{}"
        session.add(row)

    shop.assembly.database.write(forget)
    answer = shop.staff.get(f"/v1/quotes/{quote['id']}/audit")
    refused(answer, 409, "quote-not-recomputable")
    refused(shop.staff.get("/v1/quotes/quote_none/audit"), 404, "quote-not-found")
    refused(shop.storefront.get(f"/v1/quotes/{quote['id']}/audit"), 403, "scope-missing")


def test_a_shop_may_let_more_cost_less_and_says_so(shop: ShopDoor, clock: FakeClock) -> None:
    """With the owner's flag the total of eleven is told as it is, and what twelve would cost."""
    wish = line(sizes={"M": 11})
    held = shop.storefront.quote(wish)
    prices = demo_catalogue().catalogue.prices.model_copy(update={"more_may_cost_less": True})
    shop.assembly.services.catalogues.install(changed_catalogue(prices=prices), clock())
    free = shop.storefront.quote(wish)
    twelve = shop.storefront.quote(line(sizes={"M": 12}))
    more = free["more_costs_less"]
    assert sum(one["pieces"] for one in more["added"]) == 1
    assert more["total"]["amount"] <= twelve["total"]["amount"] < free["total"]["amount"]
    assert held["more_costs_less"] is None
    assert held["total"]["amount"] <= more["total"]["amount"]
