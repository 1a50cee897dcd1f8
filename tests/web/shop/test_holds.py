"""What is held reckons with those before it, and is given back when it ends.

That what was promised first is not put off beyond what it bears is a rule of the shop's own: no
source.
"""

from __future__ import annotations

from datetime import date

import pytest

from service.store.tables import StationMargin
from tests.conftest import FakeClock
from tests.web.shop.door import ON_SQLITE, ShopDoor, answered, line
from tests.web.shop.test_capacity import assert_within_capacity, install_press
from tests.web.shop.test_promises import INK, LARGE_TEE, ask, day_of
from tests.web.shop.test_stock import FILM, TEE, booked

SIX = {"M": 6}


@pytest.fixture
def busy(shop: ShopDoor) -> ShopDoor:
    """A small press, in front of orders that wait for their blanks, and some work before them."""
    install_press(shop, 60)
    for thing, quantity in ((TEE, 500), (FILM, 900_000), (INK, 50_000), (LARGE_TEE, 1)):
        booked(shop.staff, "receive", quantity, thing)
    coming = {**LARGE_TEE, "quantity": 500, "unit": "pieces", "day": "2026-03-04", "who": "Ada"}
    answered(shop.staff.post("/v1/stock/incoming", coming), 201)
    for sizes in [{"L": 12}] * 8 + [{"M": 3}] * 3:
        shop.storefront.order(line(sizes=sizes))
    return shop


def test_what_is_held_delays_those_before_it_no_more_than_they_bear(busy: ShopDoor) -> None:
    """What is held in front of them takes at once of what they bear; accepting takes no more."""
    borne = _borne(busy)
    held = [ask(busy.storefront, line(sizes={"M": 1}), hold_min=30) for _ in range(14)]
    left = _borne(busy)
    assert all(left[place] <= borne[place] for place in borne)
    assert any(left[place] < borne[place] for place in borne)
    for quote in held:
        answered(busy.storefront.accept(quote["id"], f"key-of-{quote['id']}"), 201)
    assert _borne(busy) == left
    assert_within_capacity(busy)


@ON_SQLITE
def test_a_quote_outlives_its_hold(busy: ShopDoor, clock: FakeClock) -> None:
    """Where nobody has taken what it held, it is accepted for its day after the hold's end too."""
    quote = ask(busy.storefront, line(sizes=SIX), hold_min=1)
    clock.advance(minutes=1)
    order = answered(busy.storefront.accept(quote["id"], "key-of-the-order-held"), 201)
    assert order["promised_day"] == quote["promise"]["day"]


@ON_SQLITE
def test_many_holds_that_nobody_accepts(busy: ShopDoor, clock: FakeClock) -> None:
    """When they have ended the day is as it was, what a cancelled order gave back among it."""
    order = busy.storefront.order(line(sizes=SIX))
    answered(busy.storefront.post(f"/v1/orders/{order['id']}/cancel"), 200)
    before = day_of(ask(busy.storefront, line(sizes=SIX)))
    for _ in range(8):
        assert day_of(ask(busy.storefront, line(sizes=SIX), hold_min=1)) == before
        clock.advance(minutes=1)
    assert day_of(ask(busy.storefront, line(sizes=SIX))) == before


def _borne(shop: ShopDoor) -> dict[tuple[str, date], tuple[int, int]]:
    """How much later orders may delay those before them, in seconds and in courses."""
    return {
        (one.station, one.day): (one.margin_s, one.courses)
        for one in shop.rows(StationMargin)
        if not one.rush
    }
