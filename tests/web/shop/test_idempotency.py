"""An order is made once per key, whatever is sent twice, at once, later, or after a crash.

Source of the rules: IETF httpapi draft "The Idempotency-Key HTTP Header Field", and what the
service lays down where the draft leaves it open (keys live 48 hours; refusals are kept too).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from httpx2 import Response

from service.intake import orders as orders_module
from service.intake.idempotency import KEPT_FOR, do_once
from service.store.tables import Booking, Event, Order, Quote, StoredAnswer, Ticket
from service.web import parts as parts_module
from tests.conftest import FakeClock
from tests.web.shop.door import (
    Caller,
    ShopDoor,
    answered,
    decoration,
    line,
    picture,
    refused,
    together,
)

KEY = "0b8e1c52-7f5c-4f0e-9d53-1f1f8c1f2a77"
REPLAYED = "idempotency-replayed"


def same_answer(first: Response, second: Response) -> bool:
    """Whether the second is the first again: status, body and the headers that belong to it."""
    kept = ("content-type", "location", "etag")
    return (
        (first.status_code, first.content) == (second.status_code, second.content)
        and [first.headers.get(name) for name in kept]
        == [second.headers.get(name) for name in kept]
        and second.headers.get(REPLAYED) == "true"
    )


def order_rows(shop: ShopDoor) -> tuple[int, int, int, int]:
    """How many orders, tickets, bookings' tickets and events there are."""
    bookings = {booking.ticket_id for booking in shop.rows(Booking)}
    counts = [len(shop.rows(table)) for table in (Order, Ticket)]
    return counts[0], counts[1], len(bookings), len(shop.rows(Event))


def test_the_same_request_again_is_the_same_answer(shop: ShopDoor, storefront: Caller) -> None:
    """A repeat gives status, body, Location and ETag again, is marked, and does no more."""
    quote = storefront.quote(line())
    first = storefront.accept(quote["id"], KEY, "R-1")
    assert REPLAYED not in first.headers
    counts = shop.row_counts()
    assert same_answer(first, storefront.accept(quote["id"], KEY, "R-1"))
    body = {"reference": "R-1", "quote_id": quote["id"]}
    quoted = storefront.post("/v1/orders", body, {"Idempotency-Key": f'"{KEY}"'})
    assert same_answer(first, quoted)
    assert shop.row_counts() == counts


@pytest.mark.parametrize("callers", [2, 16])
def test_at_once_with_one_key(shop: ShopDoor, storefront: Caller, callers: int) -> None:
    """Of parallel requests with one key one makes the order; the rest replay it or get 409."""
    quote = storefront.quote(line())
    answers = together([partial(storefront.accept, quote["id"], KEY)] * callers)
    assert {answer.status_code for answer in answers} <= {201, 409}
    made = [answer for answer in answers if answer.status_code == 201]
    assert len({answer.content for answer in made}) == 1
    assert sum(REPLAYED not in answer.headers for answer in made) == 1
    assert order_rows(shop) == (1, 1, 1, 1)
    assert same_answer(made[0], storefront.accept(quote["id"], KEY))


@pytest.mark.parametrize("callers", [2, 8])
def test_at_once_with_a_key_each(shop: ShopDoor, storefront: Caller, callers: int) -> None:
    """Of parallel requests for one quote under keys of their own one makes the order."""
    quote = storefront.quote(line())
    answers = together(
        [partial(storefront.accept, quote["id"], f"{KEY}-{number}") for number in range(callers)]
    )
    assert Counter(answer.status_code for answer in answers) == {201: 1, 409: callers - 1}
    (order,) = shop.rows(Order)
    for answer in answers:
        if answer.status_code == 409:
            assert refused(answer, 409, "quote-already-accepted")["order_id"] == order.id
    assert order_rows(shop) == (1, 1, 1, 1)


def test_a_key_stands_for_one_request(shop: ShopDoor, storefront: Caller) -> None:
    """The same key with another body, or on another address, is a 422 and does nothing."""
    quote, other = storefront.quote(line()), storefront.quote(line())
    order = answered(storefront.accept(quote["id"], KEY), 201)
    counts = shop.row_counts()
    refused(storefront.accept(other["id"], KEY), 422, "idempotency-key-reused")
    refused(storefront.accept(quote["id"], KEY, "R-2"), 422, "idempotency-key-reused")
    headers = {"Idempotency-Key": KEY}
    cancel = storefront.post(f"/v1/orders/{order['id']}/cancel", headers=headers)
    refused(cancel, 422, "idempotency-key-reused")
    again = storefront.post("/v1/quotes", {"lines": [line()]}, headers)
    refused(again, 422, "idempotency-key-reused")
    assert shop.row_counts() == counts


def test_at_once_with_one_key_and_two_bodies(shop: ShopDoor, storefront: Caller) -> None:
    """Of two different requests with one key at once one is carried out and one is refused."""
    quotes = [storefront.quote(line()), storefront.quote(line())]
    answers = together([partial(storefront.accept, quote["id"], KEY) for quote in quotes])
    assert sorted(answer.status_code for answer in answers) == [201, 422]
    assert order_rows(shop) == (1, 1, 1, 1)


def test_keys_of_two_callers_never_meet(shop: ShopDoor, storefront: Caller) -> None:
    """The same key from another caller is another key; it neither replays nor reveals anything."""
    other = shop.other
    quote = storefront.quote(line())
    first = answered(storefront.accept(quote["id"], KEY), 201)
    refused(other.accept(quote["id"], KEY), 404, "quote-not-found")
    artwork = answered(other.upload(picture()), 201)["id"]
    theirs = other.quote(line(decoration(artwork_id=artwork)))
    order = answered(other.accept(theirs["id"], KEY), 201)
    assert order["id"] != first["id"]
    assert {row.caller for row in shop.rows(StoredAnswer)} == {storefront.holder, other.holder}


def test_a_refusal_is_replayed(storefront: Caller, clock: FakeClock) -> None:
    """A refusal that the state of things decides is the same again, the very same document."""
    accepted, late = storefront.quote(line()), storefront.quote(line())
    answered(storefront.accept(accepted["id"], KEY), 201)
    twice = storefront.accept(accepted["id"], f"{KEY}-again")
    refused(twice, 409, "quote-already-accepted")
    assert same_answer(twice, storefront.accept(accepted["id"], f"{KEY}-again"))
    clock.advance(hours=24)
    expired = storefront.accept(late["id"], f"{KEY}-late")
    refused(expired, 410, "quote-expired")
    assert same_answer(expired, storefront.accept(late["id"], f"{KEY}-late"))


def test_faults_of_shape_do_not_use_a_key_up(storefront: Caller) -> None:
    """After 400, 404, 415 and 422 for its shape a request may be corrected under its key."""
    quote = storefront.quote(line())
    headers = {"Idempotency-Key": KEY}
    typed = {**headers, "Content-Type": "application/json"}
    assert storefront.send("POST", "/v1/orders", typed, content=b"{").status_code == 400
    assert storefront.send("POST", "/v1/orders", headers, content=b"{}").status_code == 415
    assert storefront.post("/v1/orders", {"quote": "x"}, headers).status_code == 422
    assert storefront.post("/v1/orders", {"quote_id": "none"}, headers).status_code == 404
    answered(storefront.accept(quote["id"], KEY), 201)


def test_a_key_is_new_after_its_time(shop: ShopDoor, storefront: Caller, clock: FakeClock) -> None:
    """A key replays for 48 hours; then it is new, and stands for whatever comes with it."""
    assert timedelta(hours=24) <= KEPT_FOR
    first = storefront.accept(storefront.quote(line())["id"], KEY)
    quote_id = first.json()["quote_id"]
    clock.advance(KEPT_FOR - timedelta(milliseconds=1))
    assert same_answer(first, storefront.accept(quote_id, KEY))
    clock.advance(milliseconds=1)
    fresh = storefront.quote(line())
    second = storefront.accept(fresh["id"], KEY)
    assert answered(second, 201)["id"] != first.json()["id"]
    assert same_answer(second, storefront.accept(fresh["id"], KEY))
    (kept,) = shop.rows(StoredAnswer)
    assert kept.expires_at == clock() + KEPT_FOR


def test_at_once_with_a_key_whose_time_is_over(
    shop: ShopDoor, storefront: Caller, clock: FakeClock
) -> None:
    """Parallel requests that all find an expired key still make one order."""
    storefront.accept(storefront.quote(line())["id"], KEY)
    clock.advance(KEPT_FOR)
    quote = storefront.quote(line())
    answers = together([partial(storefront.accept, quote["id"], KEY)] * 8)
    assert {answer.status_code for answer in answers} <= {201, 409}
    assert len({answer.content for answer in answers if answer.status_code == 201}) == 1
    assert len(shop.rows(Order)) == 2


def _then_raise(work: Callable[..., Any]) -> Callable[..., Any]:
    def run(*args: Any, **kwargs: Any) -> Any:
        work(*args, **kwargs)
        raise RuntimeError("the process dies here")

    return run


def test_a_crash_between_commit_and_answer(
    shop: ShopDoor, storefront: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was committed before the answer was lost is replayed to the retry."""
    quote = storefront.quote(line())
    with monkeypatch.context() as patch:
        patch.setattr(parts_module, "do_once", _then_raise(do_once))
        refused(storefront.accept(quote["id"], KEY), 500, "internal-fault")
    assert order_rows(shop) == (1, 1, 1, 1)
    retry = storefront.accept(quote["id"], KEY)
    (order,) = shop.rows(Order)
    assert answered(retry, 201)["id"] == order.id
    assert retry.headers[REPLAYED] == "true"
    assert retry.headers["location"] == f"/v1/orders/{order.id}"
    assert order_rows(shop) == (1, 1, 1, 1)


@pytest.mark.parametrize("step", ["_write_tickets", "book", "order_event"])
def test_a_crash_before_the_commit(
    shop: ShopDoor, storefront: Caller, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """Whatever step breaks, not a row of the order or of its key stays; the retry makes it."""
    quote = storefront.quote(line(), line())
    counts = shop.row_counts()
    with monkeypatch.context() as patch:
        patch.setattr(orders_module, step, _then_raise(getattr(orders_module, step)))
        refused(storefront.accept(quote["id"], KEY), 500, "internal-fault")
    assert shop.row_counts() == counts
    retry = storefront.accept(quote["id"], KEY)
    assert retry.status_code == 201
    assert REPLAYED not in retry.headers


def test_a_key_on_a_quote_is_optional(shop: ShopDoor, storefront: Caller) -> None:
    """With a key a quote is given once; without one each request is another quote."""
    body = {"lines": [line()]}
    headers = {"Idempotency-Key": KEY}
    first = storefront.post("/v1/quotes", body, headers)
    assert same_answer(first, storefront.post("/v1/quotes", body, headers))
    assert len(shop.rows(Quote)) == 1
    plain = [storefront.post("/v1/quotes", body) for _ in range(2)]
    assert len({answered(answer, 201)["id"] for answer in plain}) == 2
    malformed = storefront.post("/v1/quotes", body, {"Idempotency-Key": "short"})
    refused(malformed, 400, "idempotency-key-malformed")


def test_a_key_on_a_move_and_on_a_cancel_is_optional(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """A repeated move or cancel with a key is replayed, where without one it would be illegal."""
    one, other = storefront.order(line()), storefront.order(line())
    number = one["tickets"][0]["number"]
    moved = staff.move(number, "start", idempotency_key=KEY)
    assert same_answer(moved, staff.move(number, "start", idempotency_key=KEY))
    refused(staff.move(number, "start"), 409, "move-not-legal")
    path, headers = f"/v1/orders/{other['id']}/cancel", {"Idempotency-Key": KEY}
    cancelled = storefront.post(path, headers=headers)
    assert answered(cancelled, 200)["state"] == "cancelled"
    assert same_answer(cancelled, storefront.post(path, headers=headers))
    refused(storefront.post(path), 409, "order-already-cancelled")
    assert shop.events(one["id"]) == [(1, "order.accepted"), (2, "ticket.moved")]


def test_a_quote_is_replayed_after_the_catalogue_has_changed(
    shop: ShopDoor, storefront: Caller, less_the_method: Callable[[str], None]
) -> None:
    """A lost answer is given again though the shop could not make the line any more."""
    body = {"lines": [line()]}
    headers = {"Idempotency-Key": KEY}
    first = storefront.post("/v1/quotes", body, headers)
    less_the_method("printed-film")
    refused(storefront.post("/v1/quotes", body), 422, "fields-refused")
    assert same_answer(first, storefront.post("/v1/quotes", body, headers))
    assert len(shop.rows(Quote)) == 1


def test_a_quote_that_was_refused_may_be_corrected_under_its_key(storefront: Caller) -> None:
    """Unknown names do not use a key up; that a thing cannot be made is kept and replayed."""
    headers = {"Idempotency-Key": KEY}
    unknown = storefront.post("/v1/quotes", {"lines": [line(colour="blak")]}, headers)
    refused(unknown, 422, "fields-refused")
    impossible = {"lines": [line(decoration(method="dye-transfer"))]}
    first = storefront.post("/v1/quotes", impossible, headers)
    refused(first, 422, "cannot-be-made")
    assert same_answer(first, storefront.post("/v1/quotes", impossible, headers))
