"""Prices at the door: curves, offers, taxes, and what was seen of spoilage."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial

import pytest
from sqlmodel import Session, select

from service.demo_artwork import DEMO_ARTWORK_ID
from service.domain.spoilage import MOST_MADE, SpoilageSeen
from service.intake.spoilage_seen import SpoilageShelf
from service.store.tables import Artwork, Quote, TicketPiece
from tests.conftest import FakeClock
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import (
    ON_ONE_STORE,
    ON_SQLITE,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    refused,
    supplied_line,
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
        ({"offer": "Club"}, "/offer"),
        ({"offer": "çlub"}, "/offer"),
        ({"line": line(decoration(width_mm=1e308))}, "/line/decorations/0/width_mm"),
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


@ON_SQLITE
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


@ON_ONE_STORE
def test_a_curve_of_another_storefronts_artwork_is_none(standing_shop: ShopDoor) -> None:
    """It cannot be told from one that does not exist; staff may look at any."""
    body = {"line": line(), "quantities": [5]}
    theirs = refused(standing_shop.other.post("/v1/price-curves", body), 422, "fields-refused")
    none = {**body, "line": line(decoration(artwork_id="art_none"))}
    missing = refused(standing_shop.other.post("/v1/price-curves", none), 422, "fields-refused")
    assert theirs["errors"] == missing["errors"]
    answered(standing_shop.staff.post("/v1/price-curves", body), 200)


@ON_ONE_STORE
def test_a_repeated_quote_is_the_first_one(asking: Caller) -> None:
    """Under one key one quote is kept; without a key each call gives another."""
    key = {"Idempotency-Key": "one-key-for-one-quote"}
    first, again = asking.quote(line(), headers=key), asking.quote(line(), headers=key)
    assert again == first
    assert asking.quote(line())["id"] != first["id"]


def unmeasured(shop: ShopDoor) -> str:
    """The demonstration artwork again, as it was kept before outlines were measured."""

    def copy(session: Session) -> None:
        row = session.get_one(Artwork, DEMO_ARTWORK_ID).model_dump()
        measures = json.dumps({**json.loads(row["measures_json"]), "shapes": None})
        new = {"id": "art_unmeasured", "sha256": "0" * 64, "measures_json": measures}
        session.add(Artwork(**{**row, **new}))

    shop.assembly.database.write(copy)
    return "art_unmeasured"


def test_an_artwork_without_an_outline_is_named(shop: ShopDoor) -> None:
    """Film that is cut cannot be judged without it: no price, and what to do."""
    wish = line(decoration(artwork_id=unmeasured(shop)))
    curve_wish = {"line": wish, "quantities": [1, 50]}
    for path, body in (("quotes", {"lines": [line(), wish]}), ("price-curves", curve_wish)):
        problem = refused(shop.storefront.post(f"/v1/{path}", body), 422, "cannot-be-made")
        decided = problem["check"]["lines"][-1]["decorations"][0]
        reasons = [finding["reason"] for finding in decided["candidates"][0]["findings"]]
        assert any("Upload the picture again" in reason for reason in reasons)


def test_prices_beyond_what_can_be_told_are_refused(shop: ShopDoor) -> None:
    """A book that takes a million times the cost, for 2 000 pieces that cost a million each."""
    catalogue = demo_catalogue().catalogue
    prices = catalogue.prices.model_copy(update={"margin_share": Decimal("0.999999")})
    tee = catalogue.blanks[0]
    sizes = tuple(size.model_copy(update={"cost": Decimal(10**6)}) for size in tee.sizes)
    blanks = (tee.model_copy(update={"sizes": sizes}), *catalogue.blanks[1:])
    put_in_force(shop, changed_catalogue(prices=prices, blanks=blanks))
    wish = {"lines": [line(sizes={"M": 2_000})]}
    problem = refused(shop.storefront.post("/v1/quotes", wish), 422, "fields-refused")
    assert [error["code"] for error in problem["errors"]] == ["too-much-money"]
    body = {"line": line(), "quantities": [1, 2_000]}
    problem = refused(shop.storefront.post("/v1/price-curves", body), 422, "fields-refused")
    assert [error["pointer"] for error in problem["errors"]] == ["#/quantities"]
    answered(shop.storefront.post("/v1/price-curves", {**body, "quantities": [5]}), 200)


@ON_SQLITE
@pytest.mark.parametrize(("currency", "decimals"), [("JPY", 2), ("EUR", 4), ("KWD", 5)])
def test_unit_prices_have_two_decimals_more_than_the_currency(
    shop: ShopDoor, currency: str, decimals: int
) -> None:
    """ISO 4217 gives the yen 0, the euro 2 and the Kuwaiti dinar 3; blanks brought cost nothing."""
    prices = demo_catalogue().catalogue.prices.model_copy(update={"currency": currency})
    put_in_force(shop, changed_catalogue(prices=prices))
    for priced in shop.storefront.quote(line(), supplied_line())["lines"]:
        for size, pieces in priced["pieces_by_size"].items():
            unit = Decimal(priced["unit_prices"][size]["per_piece"])
            assert unit.as_tuple().exponent == -decimals
            told = priced["totals_by_size"][size]["amount"]
            assert abs(told - unit.scaleb(decimals - 2) * pieces) <= 1


def spoil(shop: ShopDoor, number: str, kind: str, count: int, **more: str) -> None:
    """Enter pieces of size M at the bench."""
    entry = {"kind": kind, "size": "M", "count": count, "who": "Ada", **more}
    answered(shop.staff.post(f"/v1/tickets/{number}/pieces", entry), 201)


def seen_by(shop: ShopDoor, quote: Json) -> Json:
    """The spoilage that a quote was priced by."""
    audit = answered(shop.staff.get(f"/v1/quotes/{quote['id']}/audit"), 200)
    assert audit["same"]
    spoilage: Json = audit["spoilage"]
    return spoilage


def test_what_is_taken_back_counts_from_the_day_after(shop: ShopDoor, clock: FakeClock) -> None:
    """An entry of one day, taken back on the next, stands for that next day's prices."""
    number = shop.storefront.order(line(sizes={"M": 20}))["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    spoil(shop, number, "done", 4)
    spoil(shop, number, "spoiled", 2, reason="scorched")
    clock.advance(timedelta(days=1))
    spoil(shop, number, "undone", 2, undoes="spoiled", reason="scorched")
    second = shop.storefront.quote(line())
    clock.advance(timedelta(days=1))
    assert seen_by(shop, second) == {"printed-film": {"made": 6, "spoiled": 2}}
    assert seen_by(shop, shop.storefront.quote(line())) == {
        "printed-film": {"made": 4, "spoiled": 0}
    }


def test_several_decorations_teach_nothing(shop: ShopDoor, clock: FakeClock) -> None:
    """Which of two prints spoiled the garment is not known, though both are printed film."""
    two = line(decoration(width_mm=200), decoration(placement="back"), sizes={"M": 20})
    number = shop.storefront.order(two)["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    spoil(shop, number, "spoiled", 2, reason="scorched")
    clock.advance(timedelta(days=1))
    assert seen_by(shop, shop.storefront.quote(line())) == {}


def test_a_remake_is_begun_as_the_order_was(shop: ShopDoor, clock: FakeClock) -> None:
    """What was seen of spoilage when the order was quoted holds for its remakes too."""
    number = shop.storefront.order(line(sizes={"M": 40}))["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    spoil(shop, number, "spoiled", 40, reason="scorched")
    clock.advance(timedelta(days=1))
    quote = shop.storefront.quote(line(sizes={"M": 12}))
    assert seen_by(shop, quote) == {"printed-film": {"made": 40, "spoiled": 40}}
    order = answered(shop.storefront.accept(quote["id"], "key-of-twelve-pieces"), 201)
    number = order["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    begun = shop.staff.get(f"/v1/tickets/{number}").json()["document"]["pieces_to_start"]
    spoil(shop, number, "spoiled", begun, reason="scorched")
    clock.advance(timedelta(days=9))
    made = {"who": "Ada"}
    remake = answered(shop.staff.post(f"/v1/tickets/{number}/remakes", made), 201)
    again = remake["ticket"]["document"]
    assert again["pieces_by_size"] == {"M": 12}
    assert again["pieces_to_start"] == begun


def entered_at(shop: ShopDoor, moment: datetime) -> None:
    """Move every entry at the bench to that moment."""

    def move(session: Session) -> None:
        for row in session.exec(select(TicketPiece)).all():
            row.at = moment
            session.add(row)

    shop.assembly.database.write(move)


def test_the_day_is_the_shops_and_begins_at_its_midnight(shop: ShopDoor) -> None:
    """On 25 October 2026 Berlin goes from UTC+2 to UTC+1 at 3 o'clock (Directive 2000/84/EC)."""
    number = shop.storefront.order(line(sizes={"M": 20}))["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    spoil(shop, number, "done", 5)
    day, zone = date(2026, 10, 25), "Europe/Berlin"
    for hour, seen in ((21, {"printed-film": SpoilageSeen(0, 5)}), (22, {})):
        entered_at(shop, datetime(2026, 10, 24, hour, 59, 59, tzinfo=UTC))
        shelf = SpoilageShelf()
        assert shop.read(partial(shelf.fetch, day=day, time_zone=zone)) == seen
        assert shelf.at_hand(day, zone) == seen
        assert shelf.at_hand(day, "Asia/Tokyo") is None


def test_more_pieces_than_are_reckoned_with_keep_their_share(shop: ShopDoor) -> None:
    """Two thousand million made, a tenth of them spoiled: counts are scaled down, not refused."""
    number = shop.storefront.order(line(sizes={"M": 20}))["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    spoil(shop, number, "done", 9)
    spoil(shop, number, "spoiled", 1, reason="scorched")

    def many(session: Session) -> None:
        for row in session.exec(select(TicketPiece)).all():
            row.count = row.count * 2 * 10**8
            session.add(row)

    shop.assembly.database.write(many)
    far = date(2099, 1, 1)
    seen = shop.read(lambda session: SpoilageShelf().fetch(session, far, "UTC"))
    assert seen == {"printed-film": SpoilageSeen(MOST_MADE // 10, MOST_MADE)}
