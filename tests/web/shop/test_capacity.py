"""A promise is never made on station time that is not there, however many accept at once."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from functools import partial

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.store.tables import Booking, Order, StationDay, StationMargin
from tests.conftest import FakeClock
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import Caller, Json, ShopDoor, answered, line, refused, together

PRESS_MIN = 30
"""The small press works so many minutes a day; the five pieces of ``line()`` take 24.5 of them."""


@pytest.fixture
def small_press(shop: ShopDoor) -> ShopDoor:
    """The shop with a heat press that does one order of five pieces a day."""
    install_press(shop, PRESS_MIN)
    return shop


def install_press(shop: ShopDoor, minutes: int) -> None:
    """Put a catalogue in force whose press works so many minutes a day."""
    stations = tuple(
        station.model_copy(update={"minutes_per_day": minutes})
        if station.id == "pressing"
        else station
        for station in demo_catalogue().catalogue.stations
    )
    put_in_force(shop, changed_catalogue(stations=stations))


def fill_the_day(storefront: Caller, day: str) -> list[Json]:
    """Order until a new quote is no longer promised that day; gives the orders."""
    orders: list[Json] = []
    for _ in range(9):
        quote = storefront.quote(line())
        if quote["promise"]["day"] > day:
            return orders
        orders.append(answered(storefront.accept(quote["id"], f"key-of-{quote['id']}"), 201))
    raise AssertionError(f"{day} takes any number of orders")


def assert_within_capacity(shop: ShopDoor) -> None:
    """Check that no station has more booked on a day than it can do, and that rows add up."""
    stations = shop.assembly.services.catalogues.current.catalogue.station_by_id
    booked: Counter[tuple[str, date]] = Counter()
    for booking in shop.rows(Booking):
        booked[booking.station, booking.day] += booking.seconds
    for row in shop.rows(StationDay):
        assert 0 <= row.booked_s <= stations[row.station].capacity_min * 60
        assert row.booked_s == booked.pop((row.station, row.day), 0)
    assert not booked


def test_no_day_is_promised_twice(small_press: ShopDoor) -> None:
    """Eight quotes promise the same day; accepted at once, few get it, the rest are told the next.

    Nothing of the rest stays but the refusal kept under each key.
    """
    storefront = small_press.storefront
    quotes = [storefront.quote(line()) for _ in range(8)]
    days = {quote["promise"]["day"] for quote in quotes}
    assert len(days) == 1
    before = small_press.row_counts()
    answers = together(
        [partial(storefront.accept, quote["id"], f"key-of-{quote['id']}") for quote in quotes]
    )
    # The work may begin a day before the promised one, so more than one of them may fit.
    counts = Counter(answer.status_code for answer in answers)
    assert set(counts) == {201, 409}
    assert_within_capacity(small_press)
    made = counts[201]
    first_quote_day = date.fromisoformat(days.pop())
    for answer in answers:
        if answer.status_code == 409:
            problem = refused(answer, 409, "promise-slipped")
            assert problem["promised_day"] == first_quote_day.isoformat()
            assert date.fromisoformat(problem["new_day"]) > first_quote_day
    after = small_press.row_counts()
    grown = {name: after[name] - before[name] for name in after if after[name] != before[name]}
    bookings = len(small_press.rows(Booking))
    assert grown == {
        "stored_answer": 8,
        "customer_order": made,
        "order_promise": made,
        "ticket_need": 4 * made,  # two sizes of blanks, film and ink
        "stock_sum": 4,
        "ticket": made,
        "event": made,
        "booking": bookings,
        "station_day": len(small_press.rows(StationDay)),
        "station_margin": len(small_press.rows(StationMargin)),
    }
    assert {order.promised_day for order in small_press.rows(Order)} == {first_quote_day}


def test_a_refused_acceptance_leaves_nothing(small_press: ShopDoor) -> None:
    """With the day gone an acceptance changes no row but that of its key, and is replayed."""
    storefront = small_press.storefront
    late = storefront.quote(line())
    fill_the_day(storefront, late["promise"]["day"])
    before, booked = small_press.row_counts(), small_press.booked_s()
    first = storefront.accept(late["id"], "key-of-a-late-order")
    problem = refused(first, 409, "promise-slipped")
    assert small_press.row_counts() == before | {"stored_answer": before["stored_answer"] + 1}
    assert small_press.booked_s() == booked
    again = storefront.accept(late["id"], "key-of-a-late-order")
    assert (again.status_code, again.content) == (409, first.content)
    fresh = storefront.quote(line())
    assert fresh["promise"]["day"] >= problem["new_day"]
    answered(storefront.accept(fresh["id"], "key-of-the-new-day"), 201)
    assert_within_capacity(small_press)


def test_cancelled_time_is_promised_again(small_press: ShopDoor) -> None:
    """What an order gives back lets the next one have its day."""
    storefront = small_press.storefront
    free = storefront.quote(line())
    orders = fill_the_day(storefront, free["promise"]["day"])
    answered(storefront.post(f"/v1/orders/{orders[0]['id']}/cancel"), 200)
    answered(storefront.accept(free["id"], "key-of-the-free-day"), 201)
    assert_within_capacity(small_press)


def test_more_than_the_shop_can_make(shop: ShopDoor) -> None:
    """Work that no station can do within the horizon is a 422, and nothing is kept.

    A press of one minute a day does not do 2000 pieces in 400 working days.
    """
    install_press(shop, 1)
    storefront = shop.storefront
    assert storefront.get("/v1/catalogue").status_code == 200
    before = shop.row_counts()
    body = {"lines": [line(sizes={"M": 1_000})]}
    problem = refused(storefront.post("/v1/quotes", body), 422, "more-than-the-shop-can-make")
    assert "Heat press" in problem["detail"]
    assert shop.row_counts() == before


def test_accepting_and_cancelling_at_once(small_press: ShopDoor) -> None:
    """Acceptances and cancellations that meet leave the ledger equal to the bookings."""
    storefront = small_press.storefront
    orders = [storefront.order(line(sizes={"S": 1})) for _ in range(4)]
    quotes = [storefront.quote(line(sizes={"M": 2})) for _ in range(4)]
    cancels = [partial(storefront.post, f"/v1/orders/{order['id']}/cancel") for order in orders]
    accepts = [partial(storefront.accept, q["id"], f"key-of-{q['id']}") for q in quotes]
    answers = together([*cancels, *accepts])
    assert {answer.status_code for answer in answers} <= {200, 201, 409}
    assert [answer.status_code for answer in answers[:4]] == [200] * 4
    assert_within_capacity(small_press)


ORDERS = st.lists(
    st.lists(
        st.dictionaries(st.sampled_from(["S", "M", "L"]), st.integers(1, 6), min_size=1),
        min_size=1,
        max_size=3,
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(orders=ORDERS, hours=st.integers(0, 21))
def test_a_quote_alone_is_always_kept(
    small_press: ShopDoor, clock: FakeClock, orders: list[list[Json]], hours: int
) -> None:
    """While nobody else takes time, a quote is accepted at any moment of its shop day.

    The next day what was left over of others may take it: nobody works here.
    """
    storefront: Caller = small_press.storefront
    for sizes_of_lines in orders:
        clock.set((clock() + timedelta(days=1)).replace(hour=7, minute=30))
        quote = storefront.quote(*(line(sizes=sizes) for sizes in sizes_of_lines))
        clock.advance(hours=hours)
        order = answered(storefront.accept(quote["id"], f"key-of-{quote['id']}"), 201)
        assert order["promised_day"] == quote["promise"]["day"]
    assert_within_capacity(small_press)
