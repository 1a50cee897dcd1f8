"""Material that falls away over HTTP: its orders are put off and told, the others left alone.

That the most urgent keep theirs, and that what is ordered now takes the supplier's lead days, are
common practice, no source.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime, timedelta
from functools import partial

import pytest

from service.intake.settling import settle_when_due
from service.store.tables import Booking, Event, Ticket
from tests.conftest import FakeClock
from tests.web.shop.bench import go, ticked
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import ON_SQLITE, Caller, Json, ShopDoor, answered, line, together
from tests.web.shop.test_capacity import assert_within_capacity
from tests.web.shop.test_promises import INK, ask, fill_the_shelf
from tests.web.shop.test_stock import FILM, TEE, book, booked, row

TWO = line(sizes={"M": 2})


def _told(shop: ShopDoor) -> list[tuple[str, str, str | None]]:
    """What was told of late orders: order, expected day, why."""
    rows = sorted(shop.rows(Event), key=lambda one: one.seq)
    data = [json.loads(one.payload_json)["data"] for one in rows if one.type == "order.late"]
    return [(one["order_id"], one["expected_day"], one["why"]) for one in data]


def _expected(shop: ShopDoor, order: Json) -> str:
    """The order's expected day as its storefront is told."""
    day: str = answered(shop.storefront.get(f"/v1/orders/{order['id']}"), 200)["expected_day"]
    return day


def _first_day(shop: ShopDoor, order: Json) -> str:
    """The first day on which anything of the order's ticket is booked and not worked."""
    number = order["tickets"][0]["number"]
    (ticket,) = [one for one in shop.rows(Ticket) if one.number == number]
    rows = (one for one in shop.rows(Booking) if one.ticket_id == ticket.id)
    first: date = min(one.day for one in rows if not one.worked)
    return first.isoformat()


def _material_day(shop: ShopDoor) -> str:
    """The day a new quote waits for its material, if it were accepted now."""
    day: str = ask(shop.storefront, TWO, hold_min=1)["promise"]["material_day"]
    return day


def _delivery(staff: Caller, day: date, quantity: int = 40, thing: Json = TEE) -> str:
    unit = {"blank": "pieces", "ink": "ml"}[thing["kind"]]
    body = {**thing, "quantity": quantity, "unit": unit, "day": day.isoformat(), "who": "Ada"}
    found: str = answered(staff.post("/v1/stock/incoming", body), 201)["id"]
    return found


def _call_off(staff: Caller, delivery: str) -> None:
    answered(staff.post(f"/v1/stock/incoming/{delivery}/call-off", {"who": "Ada"}), 201)


def _shelf_without_tees(staff: Caller) -> None:
    for thing, quantity in ((FILM, 90_000), (INK, 5_000)):
        booked(staff, "receive", quantity, thing)


def _on_a_delivery(shop: ShopDoor, day: date) -> Callable[[], object]:
    return partial(_call_off, shop.staff, _delivery(shop.staff, day))


def _on_a_count(shop: ShopDoor, _: date) -> Callable[[], object]:
    booked(shop.staff, "receive", 20)
    return partial(booked, shop.staff, "count", 1)


def _on_what_is_wasted(shop: ShopDoor, _: date) -> Callable[[], object]:
    booked(shop.staff, "receive", 20)
    return partial(booked, shop.staff, "waste", 19)


def _on_less_than_comes(shop: ShopDoor, day: date) -> Callable[[], object]:
    delivery = _delivery(shop.staff, day)
    return partial(booked, shop.staff, "receive", 1, incoming_id=delivery)


@pytest.mark.parametrize(
    "rests", [_on_a_delivery, _on_a_count, _on_what_is_wasted, _on_less_than_comes]
)
def test_what_falls_away_puts_its_order_off_and_is_told(
    shop: ShopDoor, clock: FakeClock, rests: Callable[[ShopDoor, date], Callable[[], object]]
) -> None:
    """At once and once, before the promised day, by the day that a new quote would wait for.

    The schedule tells it too. What lies there again moves nothing, and is no longer waited for.
    """
    _shelf_without_tees(shop.staff)
    fall = rests(shop, clock().date())
    order = shop.storefront.order(TWO)
    fall()
    expected = _expected(shop, order)
    assert expected > order["promised_day"] > clock().date().isoformat()
    assert _told(shop) == [(order["id"], expected, "material")]
    assert _first_day(shop, order) == _material_day(shop)
    (late,) = answered(shop.staff.get("/v1/schedule"), 200)["late_orders"]
    assert (late["order_id"], late["told_day"]) == (order["id"], expected)
    on_hand = row(shop.staff)["on_hand"]
    if on_hand:
        booked(shop.staff, "waste", 1)
    booked(shop.staff, "receive", 40)
    booked(shop.staff, "count", 39)
    assert _told(shop) == [(order["id"], expected, "material")]
    assert _expected(shop, order) == expected
    assert_within_capacity(shop)


def test_a_delivery_that_does_not_come_puts_its_order_off_each_morning(
    shop: ShopDoor, clock: FakeClock
) -> None:
    """From the next shop day on; who settles the day again tells nothing anew.

    Who orders while it is overdue waits for what is ordered then, and is not put off. Called off
    it is waited for as if it had been ordered that day, and no longer put off.
    """
    _shelf_without_tees(shop.staff)
    today = clock().date()
    delivery = _delivery(shop.staff, today)
    order = shop.storefront.order(TWO)
    promised = date.fromisoformat(order["promised_day"])
    told: list[tuple[str, str, str | None]] = []
    later: list[tuple[Json, str]] = []
    for ahead in (1, 2):
        clock.set(datetime(2026, 3, 2 + ahead, 8, tzinfo=clock().tzinfo))
        assert settle_when_due(shop.assembly.services)
        shop.storefront.quote(TWO)
        expected = _expected(shop, order)
        told.append((order["id"], expected, "material"))
        assert _told(shop) == told
        assert _first_day(shop, order) == _material_day(shop)
        assert [_first_day(shop, one) for one, _ in later] == [day for _, day in later]
        more = shop.storefront.order(TWO)
        later.append((more, _first_day(shop, more)))
    assert promised.isoformat() < told[0][1] < told[1][1]
    _call_off(shop.staff, delivery)
    clock.advance(days=1)
    assert settle_when_due(shop.assembly.services)
    assert _told(shop) == told
    assert_within_capacity(shop)


def test_the_most_urgent_keep_theirs(shop: ShopDoor, clock: FakeClock) -> None:
    """Of three the last gives way when it is not enough for all, and goes with what comes next."""
    fill_the_shelf(shop.staff, blanks=30)
    orders = [shop.storefront.order(TWO) for _ in range(3)]
    before = [_first_day(shop, one) for one in orders]
    each = row(shop.staff)["held"] / 3
    tomorrow = clock().date() + timedelta(days=1)
    _delivery(shop.staff, tomorrow)
    booked(shop.staff, "count", 2 * each)
    assert [_first_day(shop, one) for one in orders] == [*before[:2], tomorrow.isoformat()]
    booked(shop.staff, "count", each)
    assert [_first_day(shop, one) for one in orders] == [before[0], *[tomorrow.isoformat()] * 2]
    assert {told[0] for told in _told(shop)} <= {one["id"] for one in orders[1:]}
    assert_within_capacity(shop)


def test_what_leaves_enough_tells_nobody(shop: ShopDoor, clock: FakeClock) -> None:
    """A count down to what is needed, waste of what is free, a delivery that nobody needs."""
    fill_the_shelf(shop.staff, blanks=30)
    spare = _delivery(shop.staff, clock().date())
    orders = [shop.storefront.order(TWO) for _ in range(2)]
    held, taken, tags = row(shop.staff)["held"], shop.booked_s(), [_tag(shop, o) for o in orders]
    booked(shop.staff, "count", held + 3)
    booked(shop.staff, "waste", 3)
    _call_off(shop.staff, spare)
    instead = _delivery(shop.staff, clock().date())
    booked(shop.staff, "count", 0)
    _call_off(shop.staff, _delivery(shop.staff, clock().date() + timedelta(days=1)))
    assert (_told(shop), shop.booked_s()) == ([], taken)
    assert [_tag(shop, one) for one in orders] == tags
    booked(shop.staff, "receive", held, incoming_id=instead)
    assert (_told(shop), shop.booked_s()) == ([], taken)


def _tag(shop: ShopDoor, order: Json) -> str:
    tag: str = shop.storefront.get(f"/v1/orders/{order['id']}").headers["etag"]
    return tag


def test_thrown_away_at_once_is_told_once(shop: ShopDoor) -> None:
    """Eight throw away what two orders rest on, while tickets are started and more is quoted."""
    fill_the_shelf(shop.staff, blanks=12)
    orders = [shop.storefront.order(TWO) for _ in range(3)]
    number = orders[0]["tickets"][0]["number"]
    waste = partial(book, shop.staff, "waste", 1)
    quote = partial(shop.storefront.post, "/v1/quotes", {"lines": [TWO]})
    found = together([*[waste] * 8, partial(shop.staff.move, number, "start"), quote])
    assert all(one.status_code in {201, 409} for one in found)
    told = [one[0] for one in _told(shop)]
    assert sorted(set(told)) == sorted(told)
    assert orders[2]["id"] in told
    assert_within_capacity(shop)


@ON_SQLITE
def test_a_halted_order_waits_for_it_when_it_goes_on(shop: ShopDoor) -> None:
    """Its day is told, and resumed it is planned no earlier than what it lacks."""
    fill_the_shelf(shop.staff, blanks=20)
    order = shop.storefront.order(TWO)
    number = order["tickets"][0]["number"]
    go(shop.staff, number, "halt")
    booked(shop.staff, "count", 0)
    ((_, expected, why),) = _told(shop)
    assert (expected, why) == (_expected(shop, order), "material")
    go(shop.staff, number, "resume")
    assert _first_day(shop, order) == _material_day(shop)
    assert len(_told(shop)) == 1
    assert_within_capacity(shop)


@ON_SQLITE
def test_who_has_used_theirs_waits_for_nothing(shop: ShopDoor) -> None:
    """A print that is done lacks no film, though the ledger knows of it at the finish only."""
    fill_the_shelf(shop.staff)
    order = shop.storefront.order(TWO)
    number = order["tickets"][0]["number"]
    go(shop.staff, number, "start")
    steps = answered(shop.staff.get(f"/v1/tickets/{number}"), 200)["document"]["steps"]
    for step in steps:
        if step["station"] == "printing":
            ticked(shop.staff, number, step["key"])
    taken = shop.booked_s()
    booked(shop.staff, "count", 0, FILM)
    assert (_told(shop), shop.booked_s()) == ([], taken)


@ON_SQLITE
def test_ink_that_no_ledger_tells_of_is_bought_in(shop: ShopDoor, clock: FakeClock) -> None:
    """Its only delivery called off, nobody lacks it; nor what was never on any shelf."""
    delivery = _delivery(shop.staff, clock().date(), thing=INK)
    order = shop.storefront.order(TWO)
    _call_off(shop.staff, delivery)
    clock.advance(days=1)
    settle_when_due(shop.assembly.services)
    assert _told(shop) == []
    assert _expected(shop, order) <= order["promised_day"]


@ON_SQLITE
def test_what_is_gone_from_the_catalogue_takes_as_long_as_it_was_quoted(shop: ShopDoor) -> None:
    """An order of a garment that is no longer sold is put off by its supplier's days."""
    fill_the_shelf(shop.staff, blanks=20)
    order = shop.storefront.order(TWO)
    blanks = demo_catalogue().catalogue.blanks
    put_in_force(shop, changed_catalogue(blanks=tuple(b for b in blanks if b.id != TEE["item"])))
    booked(shop.staff, "count", 0)
    assert _told(shop) == [(order["id"], _expected(shop, order), "material")]
