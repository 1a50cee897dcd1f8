"""The day over HTTP: by what lies on the shelf, held for a while, needed by a day, or rushed.

That a line waits for its latest material, that rush takes kept minutes alone and that a hold ends
by its time are rules of the shop's own policy: no source.
"""

from __future__ import annotations

import json
from collections import Counter
from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest

from service.domain.canonical import rfc3339
from service.intake.holds import MOST_HOLDS
from service.store.tables import (
    Booking,
    CapacityHold,
    OrderPromise,
    Quote,
    StationDay,
    StockHold,
    Ticket,
)
from tests.conftest import RACES, FakeClock
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
    only_error,
    picture,
    refused,
    together,
)
from tests.web.shop.test_capacity import assert_within_capacity, install_press
from tests.web.shop.test_stock import FILM, TEE, booked, row

INK = {"kind": "ink", "item": "pigment-printer"}
LARGE_TEE = {**TEE, "size": "L"}
ONE = {"M": 1}


def ask(storefront: Caller, *lines: Json, **more: Any) -> Json:
    """A quote with wishes of its day, which must be had."""
    body = {"lines": list(lines) or [line()], **more}
    return answered(storefront.post("/v1/quotes", body), 201)


def day_of(quote: Json) -> date:
    """The promised day."""
    return date.fromisoformat(quote["promise"]["day"])


def fill_the_shelf(staff: Caller, blanks: int = 500) -> None:
    """So much of everything a line takes that nothing is waited for."""
    for thing, quantity in ((TEE, blanks), (LARGE_TEE, blanks), (FILM, 90_000), (INK, 5_000)):
        booked(staff, "receive", quantity, thing)


def test_what_lies_on_the_shelf_is_not_waited_for(storefront: Caller, staff: Caller) -> None:
    """With nothing kept the supplier decides; with blanks the film; with all of it the work alone.

    What an open order needs is spoken for, and the next one waits for it again.
    """
    bought = ask(storefront)
    assert bought["promise"]["waits_for"] == "white printable film"
    fill_the_shelf(staff, blanks=5)
    at_hand = ask(storefront)
    assert day_of(at_hand) < day_of(bought)
    assert at_hand["promise"]["waits_for"] is None
    assert at_hand["promise"]["tightest_station"]
    answered(storefront.accept(at_hand["id"], "key-of-the-order-shelf"), 201)
    after = ask(storefront)
    assert after["promise"]["waits_for"].startswith("Classic cotton tee, black")
    assert day_of(after) > day_of(at_hand)


def test_a_delivery_on_its_way_is_waited_for(storefront: Caller, staff: Caller) -> None:
    """The day it is expected counts where it is before what could be ordered now."""
    fill_the_shelf(staff, blanks=1)
    ordered = ask(storefront)
    waited = date.fromisoformat(ordered["promise"]["material_day"])
    sooner = (waited - timedelta(days=1)).isoformat()
    for thing in (TEE, LARGE_TEE):
        body = {**thing, "quantity": 40, "unit": "pieces", "day": sooner, "who": "Ada"}
        answered(staff.post("/v1/stock/incoming", body), 201)
    assert ask(storefront)["promise"]["material_day"] == sooner


@ON_SQLITE
def test_a_delivery_that_has_not_come_is_not_counted_on(
    shop: ShopDoor, storefront: Caller, clock: FakeClock
) -> None:
    """Once its day is over it is waited for as long as for one that is ordered now."""
    fill_the_shelf(shop.staff, blanks=1)
    today = clock().date().isoformat()
    body = {**TEE, "quantity": 40, "unit": "pieces", "day": today, "who": "Ada"}
    answered(shop.staff.post("/v1/stock/incoming", body), 201)
    two = line(sizes={"M": 2})
    assert ask(storefront, two)["promise"]["waits_for"] is None
    clock.advance(days=1)
    assert ask(storefront, two)["promise"]["waits_for"] == "Classic cotton tee, black, M"


@ON_SQLITE
def test_a_way_told_holds_when_it_is_acted_on(shop: ShopDoor, storefront: Caller) -> None:
    """Of several things that are missing one alone would not do, and none is said to."""
    two = line(sizes={"M": 2})
    (_, way) = ask(storefront, two, needed_by="2026-03-03")["needed_by"]["ways"]
    assert way.endswith("With all that it takes on the shelf it could leave on 2026-03-03.")
    booked(shop.staff, "receive", 90_000, FILM)
    assert ask(storefront, two, needed_by="2026-03-03")["needed_by"]["answer"] == "no"
    fill_the_shelf(shop.staff)
    assert ask(storefront, two, needed_by="2026-03-03")["needed_by"]["answer"] == "yes"


def test_a_hold_keeps_time_and_material_until_it_ends(
    shop: ShopDoor, storefront: Caller, clock: FakeClock
) -> None:
    """Others are told a later day; when the time is over the day is free with no job having run.

    Accepting turns the hold into bookings in one step, and nothing of it is left.
    """
    install_press(shop, 70)
    fill_the_shelf(shop.staff, blanks=5)
    plain = ask(storefront)
    held = ask(storefront, hold_min=30)
    assert held["held_until"] == rfc3339(clock() + timedelta(minutes=30))
    assert shop.rows(CapacityHold)
    assert not shop.booked_s()
    assert {hold.item: hold.quantity for hold in shop.rows(StockHold)}["pigment-printer"] > 0
    other = ask(storefront)
    assert other["promise"]["waits_for"]
    assert day_of(other) > day_of(plain)
    clock.advance(minutes=29)
    assert day_of(ask(storefront)) == day_of(other)
    clock.advance(minutes=1)
    assert day_of(ask(storefront)) == day_of(plain)
    again = ask(storefront, hold_min=10)
    assert {hold.quote_id for hold in shop.rows(CapacityHold)} == {again["id"]}
    answered(storefront.accept(again["id"], "key-of-the-order-held"), 201)
    assert not shop.rows(CapacityHold)
    assert not shop.rows(StockHold)
    assert_within_capacity(shop)
    (kept,) = shop.rows(OrderPromise)
    assert (kept.promised_day, kept.expected_day, kept.closed) == (day_of(again),) * 2 + (False,)


def test_a_hold_stands_whatever_others_are_promised(shop: ShopDoor, storefront: Caller) -> None:
    """They take what is free about it, and it is still accepted, on the time that it held."""
    install_press(shop, 70)
    fill_the_shelf(shop.staff)
    held = ask(storefront, line(sizes={"M": 6}), hold_min=30)
    kept = {(one.station, one.day, one.seconds) for one in shop.rows(CapacityHold)}
    for _ in range(8):
        storefront.order(line(sizes={"M": 2}))
    order = answered(storefront.accept(held["id"], "key-of-the-order-held"), 201)
    ticket = max(one.id for one in shop.rows(Ticket))
    taken = [one for one in shop.rows(Booking) if one.ticket_id == ticket]
    assert {(one.station, one.day, one.seconds) for one in taken} == kept
    assert order["promised_day"] == held["promise"]["day"]
    assert_within_capacity(shop)


def test_nobody_holds_the_whole_shop(shop: ShopDoor, storefront: Caller, clock: FakeClock) -> None:
    """Beyond so many holds at a time a holder is refused, others are not, until one has ended."""
    for _ in range(MOST_HOLDS - 1):
        ask(storefront, line(sizes=ONE), hold_min=10)
    ask(storefront, line(sizes=ONE), hold_min=5)
    body = {"lines": [line(sizes=ONE)], "hold_min": 5}
    problem = refused(storefront.post("/v1/quotes", body), 409, "too-many-holds")
    assert problem["next_ends_at"] == rfc3339(clock() + timedelta(minutes=5))
    ask(storefront, line(sizes=ONE))
    artwork = answered(shop.other.upload(picture()), 201)["id"]
    ask(shop.other, line(decoration(artwork_id=artwork, width_mm=70), sizes=ONE), hold_min=5)
    clock.advance(minutes=5)
    ask(storefront, line(sizes=ONE), hold_min=5)


@ON_SQLITE
def test_nothing_is_held_for_a_quote_that_has_expired(shop: ShopDoor, storefront: Caller) -> None:
    """Nobody could accept it."""
    policy = demo_catalogue().catalogue.policy.model_copy(
        update={"quote_valid_min": 5, "hold_max_min": 60}
    )
    put_in_force(shop, changed_catalogue(policy=policy))
    held = ask(storefront, hold_min=60)
    assert held["held_until"] == held["expires_at"]


def test_a_held_day_that_slipped_is_refused_with_the_new_one(
    shop: ShopDoor, storefront: Caller, clock: FakeClock
) -> None:
    """When the hold has gone others may take its material: 409, and nothing is half taken."""
    fill_the_shelf(shop.staff, blanks=5)
    held = ask(storefront, hold_min=5)
    clock.advance(minutes=6)
    answered(storefront.accept(ask(storefront)["id"], "key-of-the-order-first"), 201)
    before, taken = shop.row_counts(), shop.booked_s()
    problem = refused(
        storefront.accept(held["id"], "key-of-the-order-held"), 409, "promise-slipped"
    )
    assert date.fromisoformat(problem["new_day"]) > day_of(held)
    assert shop.booked_s() == taken
    assert shop.row_counts() == before | {"stored_answer": before["stored_answer"] + 1}
    assert day_of(ask(storefront)) >= date.fromisoformat(problem["new_day"])


def test_the_last_units_go_to_as_many_as_there_are(
    request: pytest.FixtureRequest, shop: ShopDoor, storefront: Caller
) -> None:
    """Twelve accept at once for the last four: four succeed, the rest are told the next day.

    With ``--races=50`` 64 accept at once for the last ten, fifty times over. After each race those
    that succeeded are cancelled, which gives back what they took.
    """
    times = request.config.getoption(RACES)
    accepts, units = (64, 10) if times else (12, 4)
    probe = storefront.order(line(sizes=ONE))
    each = -int(row(shop.staff)["free"])
    fill_the_shelf(shop.staff, blanks=units * each)
    answered(storefront.post(f"/v1/orders/{probe['id']}/cancel"), 200)
    for _ in range(max(1, times)):
        quotes = [ask(storefront, line(sizes=ONE)) for _ in range(accepts)]
        assert len({day_of(quote) for quote in quotes}) == 1
        answers = together(
            [partial(storefront.accept, q["id"], f"key-of-{q['id']}") for q in quotes]
        )
        counts = Counter(answer.status_code for answer in answers)
        assert counts == {201: units, 409: accepts - units}
        for answer in answers:
            if answer.status_code == 409:
                problem = refused(answer, 409, "promise-slipped")
                assert problem["new_day"] > quotes[0]["promise"]["day"]
        assert row(shop.staff)["free"] == 0
        assert_within_capacity(shop)
        for answer in answers:
            if answer.status_code == 201:
                answered(storefront.post(f"/v1/orders/{answer.json()['id']}/cancel"), 200)


def test_a_needed_day_is_answered_yes_by_rush_or_no(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """The ordinary minutes of days are taken; those kept for rush give an earlier day at a price.

    Rush never takes a day from an order that has it: the next ordinary quote is as before.
    """
    fill_the_shelf(staff)
    install_press(shop, 120)
    first = ask(storefront)
    while day_of(ask(storefront)) <= day_of(first) + timedelta(days=6):
        storefront.order(line(sizes={"M": 20}))
    one = line(sizes={"M": 1})
    ordinary = ask(storefront, one)
    assert ask(storefront, one, needed_by=ordinary["promise"]["day"])["needed_by"] == {
        "day": ordinary["promise"]["day"],
        "answer": "yes",
        "nearest_day": ordinary["promise"]["day"],
        "nearest_rush_days": 0,
        "nearest_total": ordinary["total"],
        "ways": [],
    }
    wanted = (day_of(ordinary) - timedelta(days=1)).isoformat()
    asked = ask(storefront, one, needed_by=wanted)
    needed = asked["needed_by"]
    assert (needed["answer"], asked["total"]) == ("rush", ordinary["total"])
    assert needed["nearest_day"] <= wanted
    assert needed["nearest_total"]["amount"] > ordinary["total"]["amount"]
    fast = ask(storefront, one, needed_by=wanted, rush=True)
    assert fast["promise"]["day"] == needed["nearest_day"]
    assert fast["promise"]["rush_days"] == needed["nearest_rush_days"] > 0
    assert fast["total"] == needed["nearest_total"]
    audit = answered(shop.staff.get(f"/v1/quotes/{fast['id']}/audit"), 200)
    assert (audit["same"], audit["told_total"]) == (True, fast["total"])
    answered(storefront.accept(fast["id"], "key-of-the-order-fast"), 201)
    assert sum(row.rush_s for row in shop.rows(StationDay)) > 0
    assert_within_capacity(shop)
    assert day_of(ask(storefront, one)) == day_of(ordinary)
    never = ask(storefront, line(sizes={"M": 400}), needed_by=wanted)["needed_by"]
    assert never["answer"] == "no"
    assert never["nearest_day"] > wanted
    assert never["ways"][0].startswith("The nearest day is ")


@ON_SQLITE
def test_a_cloth_that_may_bleed_waits_for_its_sample(shop: ShopDoor, storefront: Caller) -> None:
    """Light film on dark polyester is looked at after 24 hours before the rest is pressed.

    Source: trade facts, "migration delay", hold sample 24 h; on cotton nothing is held.
    """
    artwork = answered(storefront.upload(picture("#ffffff")), 201)["id"]
    film = decoration(artwork_id=artwork, width_mm=90, method="low-heat-cut-film")
    for blank in ("classic-cotton-tee", "sport-polyester-tee"):
        ask(storefront, line(film, blank=blank))
    works = {
        json.loads(quote.request_json)["lines"][0]["blank"]: json.loads(quote.plan_json)["tickets"][
            0
        ]["works"]
        for quote in shop.rows(Quote)
    }
    held = {
        blank: [wait_s for _, _, wait_s in steps if wait_s == 86_400]
        for blank, steps in works.items()
    }
    assert held == {"classic-cotton-tee": [], "sport-polyester-tee": [86_400]}


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("wish", "field", "code"),
    [
        ({"needed_by": "2020-02-29"}, "/needed_by", "day-is-over"),
        ({"hold_min": 45}, "/hold_min", "too-large"),
        ({"hold_min": 61}, "/hold_min", None),
        ({"hold_min": -1}, "/hold_min", None),
        ({"needed_by": "2027-02-29"}, "/needed_by", None),
        ({"needed_by": "soon"}, "/needed_by", None),
        ({"needed_by": "1772409600"}, "/needed_by", None),
        ({"rush": "very"}, "/rush", None),
    ],
)
def test_wishes_that_cannot_be(asking: Caller, wish: Json, field: str, code: str | None) -> None:
    """Each names the field, what was asked, and what can be."""
    answer = asking.post("/v1/quotes", {"lines": [line()], **wish})
    fault = only_error(answered(answer, 422))
    assert fault["pointer"] == f"#{field}"
    assert code is None or fault["code"] == code


@ON_ONE_STORE
def test_a_leap_day_may_be_needed(asking: Caller) -> None:
    """The twenty-ninth of February 2028 is a day like others."""
    needed = ask(asking, needed_by="2028-02-29")["needed_by"]
    assert (needed["day"], needed["answer"]) == ("2028-02-29", "yes")


@ON_SQLITE
def test_a_shop_without_rush_says_so(shop: ShopDoor, storefront: Caller) -> None:
    """No terms in the price book, or no minutes kept: rush is refused, and finds no day."""
    catalogue = demo_catalogue().catalogue
    prices = catalogue.prices.model_copy(update={"rush": None})
    policy = catalogue.policy.model_copy(update={"rush_reserve_percent": 0})
    for changed in (changed_catalogue(prices=prices), changed_catalogue(policy=policy)):
        put_in_force(shop, changed)
        answer = storefront.post("/v1/quotes", {"lines": [line()], "rush": True})
        assert only_error(answered(answer, 422))["code"] == "no-rush"
        today = ask(storefront)["created_at"][:10]
        assert ask(storefront, needed_by=today)["needed_by"]["answer"] == "no"
