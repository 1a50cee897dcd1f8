"""What each line of a quote waits for, and the day it is told.

That a line waits for its latest material and for no other line's is the shop's own rule: no source.
"""

from __future__ import annotations

import json
from datetime import date, timedelta

from sqlmodel import Session, select

from service.domain.calendar import add_working_days, first_work_day, next_working_day
from service.store.tables import Booking, Quote, Ticket
from tests.conftest import FakeClock
from tests.web.shop.conftest import demo_catalogue
from tests.web.shop.door import ON_SQLITE, Caller, ShopDoor, answered, line
from tests.web.shop.test_capacity import assert_within_capacity
from tests.web.shop.test_promises import ask, day_of, fill_the_shelf
from tests.web.shop.test_stock import booked, row


@ON_SQLITE
def test_no_line_waits_for_what_another_lacks(
    shop: ShopDoor, storefront: Caller, clock: FakeClock
) -> None:
    """Two hundred tees that are there are made while one other tee is bought in, not after it.

    The order leaves when both are done, on the later of their days, the next for what may go
    otherwise with two; accepted, no line's work stands before its own material.
    """
    fill_the_shelf(shop.staff)
    many = line(sizes={"M": 200})
    other = line(blank="tri-blend-tee", colour="white", sizes={"M": 1})
    long, short = ask(storefront, many), ask(storefront, other)
    assert long["promise"]["waits_for"] is None
    assert short["promise"]["waits_for"].startswith("Tri-blend tee")
    assert long["lines"][0]["day"] == long["promise"]["day"] > short["promise"]["day"]
    for lines in ([many, other], [other, many]):
        both = ask(storefront, *lines)
        assert day_of(long) <= day_of(both) <= _next_working_day(day_of(long))
        days = {one["garment"]: date.fromisoformat(one["day"]) for one in both["lines"]}
        assert max(days.values()) <= day_of(both)
        assert days["tri-blend-tee"] < days["classic-cotton-tee"]
        assert both["promise"]["waits_for"] == short["promise"]["waits_for"]
        assert "is the tightest station" in both["promise"]["reason"]
    order = answered(storefront.accept(both["id"], "key-of-both-lines"), 201)
    first: dict[int, date] = {}
    for one in shop.rows(Booking):
        first[one.ticket_id] = min(one.day, first.get(one.ticket_id, one.day))
    late, at_once = (first[one.id] for one in sorted(shop.rows(Ticket), key=lambda one: one.id))
    catalogue = demo_catalogue().catalogue
    lead_days = catalogue.blank_by_id["tri-blend-tee"].supplier_lead_days
    assert at_once == first_work_day(catalogue.calendar, clock())
    assert late >= add_working_days(catalogue.calendar, at_once, lead_days)
    assert order["promised_day"] == both["promise"]["day"]
    assert_within_capacity(shop)


def _next_working_day(day: date) -> date:
    return next_working_day(demo_catalogue().catalogue.calendar, day + timedelta(days=1))


@ON_SQLITE
def test_what_two_lines_take_is_not_there_twice(shop: ShopDoor, storefront: Caller) -> None:
    """With blanks for both nothing is waited for; with one less the second waits, not the first.

    A hold of both is accepted as it stands, for what they take was kept for them.
    """
    fill_the_shelf(shop.staff)
    booked(shop.staff, "count", 0)
    two = line(sizes={"M": 2})
    probe = storefront.order(two)
    blanks = -2 * int(row(shop.staff)["free"])
    answered(storefront.post(f"/v1/orders/{probe['id']}/cancel"), 200)
    booked(shop.staff, "count", blanks)
    assert ask(storefront, two, two)["promise"]["waits_for"] is None
    booked(shop.staff, "count", blanks - 1)
    waiting = ask(storefront, two, two)
    assert waiting["promise"]["waits_for"] == "Classic cotton tee, black, M"
    first, second = (date.fromisoformat(one["day"]) for one in waiting["lines"])
    assert first < date.fromisoformat(waiting["promise"]["material_day"]) <= second
    held = ask(storefront, two, two, hold_min=30)
    assert held["promise"]["waits_for"] == waiting["promise"]["waits_for"]
    assert ask(storefront, line(sizes={"M": 1}))["promise"]["waits_for"]
    answered(storefront.accept(held["id"], "key-of-the-order-held"), 201)
    assert row(shop.staff)["free"] == -1


@ON_SQLITE
def test_a_quote_from_before_lines_had_days_is_shown(shop: ShopDoor, storefront: Caller) -> None:
    """It tells none."""
    quote = ask(storefront)

    def forget(session: Session) -> None:
        (kept,) = session.exec(select(Quote)).all()
        answer = json.loads(kept.answer_json)
        for one in answer["lines"]:
            del one["day"]
        kept.answer_json = json.dumps(answer)
        session.add(kept)

    shop.assembly.services.database.write(forget)
    shown = answered(storefront.get(f"/v1/quotes/{quote['id']}"), 200)
    (told,) = quote["lines"]
    assert shown == {**quote, "lines": [{**told, "day": None}]}


@ON_SQLITE
def test_no_hold_is_advised_that_would_not_help(
    shop: ShopDoor, storefront: Caller, clock: FakeClock
) -> None:
    """On a Sunday work begins on Monday, with a hold and without."""
    fill_the_shelf(shop.staff)
    clock.advance(days=(6 - clock().weekday()) % 7)
    today = clock().date().isoformat()
    monday = (clock().date() + timedelta(days=1)).isoformat()
    for hold_min in (0, 30):
        needed = ask(storefront, needed_by=today, hold_min=hold_min)["needed_by"]
        assert needed["ways"][1:] == [f"The shop next begins new work on {monday}."]
