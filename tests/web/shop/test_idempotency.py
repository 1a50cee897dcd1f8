"""An order is made once per key, whatever is sent twice, at once, later, or after a crash.

Source of the rules: IETF httpapi draft "The Idempotency-Key HTTP Header Field", and what the
service lays down where the draft leaves it open (keys live 48 hours; refusals are kept too).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from hashlib import sha256
from types import ModuleType
from typing import Any

import pytest
from httpx2 import Response
from sqlmodel import select

from service.intake import accepting as accepting_module
from service.intake import idempotency as idempotency_module
from service.intake.idempotency import KEPT_FOR, do_each_once
from service.store.tables import Booking, Event, Order, Quote, StoredAnswer, Ticket
from service.web.operations import orders as orders_module
from tests.conftest import FakeClock
from tests.web.shop.door import (
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    picture,
    refused,
    together,
)

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


@pytest.fixture
def key(request: pytest.FixtureRequest) -> str:
    """An idempotency key that no other test uses."""
    return sha256(request.node.nodeid.encode()).hexdigest()


def made_of(shop: ShopDoor, *quotes: Json) -> tuple[int, int, int, int]:
    """How many orders, tickets, tickets with station time and events came of the quotes."""
    quote_ids = {quote["id"] for quote in quotes}
    orders = {order.id for order in shop.rows(Order) if order.quote_id in quote_ids}
    tickets = {ticket.id for ticket in shop.rows(Ticket) if ticket.order_id in orders}
    booked = {booking.ticket_id for booking in shop.rows(Booking)} & tickets
    events = [event for event in shop.rows(Event) if event.order_id in orders]
    return len(orders), len(tickets), len(booked), len(events)


def test_the_same_request_again_is_the_same_answer(
    standing_shop: ShopDoor, asking: Caller, key: str
) -> None:
    """A repeat gives status, body, Location and ETag again, is marked, and does no more."""
    quote = asking.quote(line())
    first = asking.accept(quote["id"], key, "R-1")
    assert REPLAYED not in first.headers
    counts = standing_shop.row_counts()
    assert same_answer(first, asking.accept(quote["id"], key, "R-1"))
    body = {"reference": "R-1", "quote_id": quote["id"]}
    quoted = asking.post("/v1/orders", body, {"Idempotency-Key": f'"{key}"'})
    assert same_answer(first, quoted)
    assert standing_shop.row_counts() == counts


def order_of(shop: ShopDoor, quote: Json) -> Order:
    """The one order that came of the quote."""
    query = select(Order).where(Order.quote_id == quote["id"])
    return shop.read(lambda session: session.exec(query).one())


@pytest.mark.parametrize("callers", [2, 16])
def test_at_once_with_one_key(
    standing_shop: ShopDoor, asking: Caller, callers: int, key: str
) -> None:
    """Of parallel requests with one key one makes the order; the rest replay it or get 409."""
    quote = asking.quote(line())
    answers = together([partial(asking.accept, quote["id"], key)] * callers)
    assert {answer.status_code for answer in answers} <= {201, 409}
    made = [answer for answer in answers if answer.status_code == 201]
    assert len({answer.content for answer in made}) == 1
    assert sum(REPLAYED not in answer.headers for answer in made) == 1
    assert made_of(standing_shop, quote) == (1, 1, 1, 1)
    assert same_answer(made[0], asking.accept(quote["id"], key))


@pytest.mark.parametrize("callers", [2, 8])
def test_at_once_with_a_key_each(
    standing_shop: ShopDoor, asking: Caller, callers: int, key: str
) -> None:
    """Of parallel requests for one quote under keys of their own one makes the order."""
    quote = asking.quote(line())
    answers = together(
        [partial(asking.accept, quote["id"], f"{key}-{number}") for number in range(callers)]
    )
    assert Counter(answer.status_code for answer in answers) == {201: 1, 409: callers - 1}
    order = order_of(standing_shop, quote)
    for answer in answers:
        if answer.status_code == 409:
            assert refused(answer, 409, "quote-already-accepted")["order_id"] == order.id
    assert made_of(standing_shop, quote) == (1, 1, 1, 1)


def test_a_key_stands_for_one_request(standing_shop: ShopDoor, asking: Caller, key: str) -> None:
    """The same key with another body, or on another address, is a 422 and does nothing."""
    quote, other = asking.quote(line()), asking.quote(line())
    order = answered(asking.accept(quote["id"], key), 201)
    counts = standing_shop.row_counts()
    refused(asking.accept(other["id"], key), 422, "idempotency-key-reused")
    refused(asking.accept(quote["id"], key, "R-2"), 422, "idempotency-key-reused")
    headers = {"Idempotency-Key": key}
    cancel = asking.post(f"/v1/orders/{order['id']}/cancel", headers=headers)
    refused(cancel, 422, "idempotency-key-reused")
    again = asking.post("/v1/quotes", {"lines": [line()]}, headers)
    refused(again, 422, "idempotency-key-reused")
    assert standing_shop.row_counts() == counts


def test_at_once_with_one_key_and_two_bodies(
    standing_shop: ShopDoor, asking: Caller, key: str
) -> None:
    """Of two different requests with one key at once one is carried out and one is refused."""
    quotes = [asking.quote(line()), asking.quote(line())]
    answers = together([partial(asking.accept, quote["id"], key) for quote in quotes])
    assert sorted(answer.status_code for answer in answers) == [201, 422]
    assert made_of(standing_shop, *quotes) == (1, 1, 1, 1)


def test_keys_of_two_callers_never_meet(standing_shop: ShopDoor, asking: Caller, key: str) -> None:
    """The same key from another caller is another key; it neither replays nor reveals anything."""
    other = standing_shop.other
    quote = asking.quote(line())
    first = answered(asking.accept(quote["id"], key), 201)
    refused(other.accept(quote["id"], key), 404, "quote-not-found")
    artwork = other.upload(picture()).json()["id"]
    theirs = other.quote(line(decoration(artwork_id=artwork, width_mm=60)))
    order = answered(other.accept(theirs["id"], key), 201)
    assert order["id"] != first["id"]
    kept = {row.caller for row in standing_shop.rows(StoredAnswer) if row.key == key}
    assert kept == {asking.holder, other.holder}


def test_a_refusal_is_replayed(storefront: Caller, clock: FakeClock, key: str) -> None:
    """A refusal that the state of things decides is the same again, the very same document."""
    accepted, late = storefront.quote(line()), storefront.quote(line())
    answered(storefront.accept(accepted["id"], key), 201)
    twice = storefront.accept(accepted["id"], f"{key}-again")
    refused(twice, 409, "quote-already-accepted")
    assert same_answer(twice, storefront.accept(accepted["id"], f"{key}-again"))
    clock.advance(hours=24)
    expired = storefront.accept(late["id"], f"{key}-late")
    refused(expired, 410, "quote-expired")
    assert same_answer(expired, storefront.accept(late["id"], f"{key}-late"))


def test_faults_of_shape_do_not_use_a_key_up(asking: Caller, key: str) -> None:
    """After 400, 404, 415 and 422 for its shape a request may be corrected under its key."""
    quote = asking.quote(line())
    headers = {"Idempotency-Key": key}
    typed = {**headers, "Content-Type": "application/json"}
    assert asking.send("POST", "/v1/orders", typed, content=b"{").status_code == 400
    assert asking.send("POST", "/v1/orders", headers, content=b"{}").status_code == 415
    assert asking.post("/v1/orders", {"quote": "x"}, headers).status_code == 422
    assert asking.post("/v1/orders", {"quote_id": "none"}, headers).status_code == 404
    answered(asking.accept(quote["id"], key), 201)


def test_a_key_is_new_after_its_time(
    shop: ShopDoor, storefront: Caller, clock: FakeClock, key: str
) -> None:
    """A key replays for 48 hours; then it is new, and stands for whatever comes with it."""
    assert timedelta(hours=24) <= KEPT_FOR
    first = storefront.accept(storefront.quote(line())["id"], key)
    quote_id = first.json()["quote_id"]
    clock.advance(KEPT_FOR - timedelta(milliseconds=1))
    assert same_answer(first, storefront.accept(quote_id, key))
    clock.advance(milliseconds=1)
    fresh = storefront.quote(line())
    second = storefront.accept(fresh["id"], key)
    assert answered(second, 201)["id"] != first.json()["id"]
    assert same_answer(second, storefront.accept(fresh["id"], key))
    (kept,) = shop.rows(StoredAnswer)
    assert kept.expires_at == clock() + KEPT_FOR


def test_at_once_with_a_key_whose_time_is_over(
    shop: ShopDoor, storefront: Caller, clock: FakeClock, key: str
) -> None:
    """Parallel requests that all find an expired key still make one order."""
    storefront.accept(storefront.quote(line())["id"], key)
    clock.advance(KEPT_FOR)
    quote = storefront.quote(line())
    answers = together([partial(storefront.accept, quote["id"], key)] * 8)
    assert {answer.status_code for answer in answers} <= {201, 409}
    assert len({answer.content for answer in answers if answer.status_code == 201}) == 1
    assert len(shop.rows(Order)) == 2


def _then_raise(work: Callable[..., Any]) -> Callable[..., Any]:
    def run(*args: Any, **kwargs: Any) -> Any:
        work(*args, **kwargs)
        raise RuntimeError("the process dies here")

    return run


def test_a_crash_between_commit_and_answer(
    standing_shop: ShopDoor, asking: Caller, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    """What was committed before the answer was lost is replayed to the retry."""
    quote = asking.quote(line())
    with monkeypatch.context() as patch:
        patch.setattr(orders_module, "do_each_once", _then_raise(do_each_once))
        refused(asking.accept(quote["id"], key), 500, "internal-fault")
    assert made_of(standing_shop, quote) == (1, 1, 1, 1)
    retry = asking.accept(quote["id"], key)
    order = order_of(standing_shop, quote)
    assert answered(retry, 201)["id"] == order.id
    assert retry.headers[REPLAYED] == "true"
    assert retry.headers["location"] == f"/v1/orders/{order.id}"
    assert made_of(standing_shop, quote) == (1, 1, 1, 1)


@pytest.mark.parametrize(
    ("module", "step"),
    [
        (accepting_module, "end_quote_holds"),
        (accepting_module, "rows_of_events"),
        (idempotency_module, "write_tables"),
    ],
)
def test_a_crash_before_the_commit(
    standing_shop: ShopDoor,
    asking: Caller,
    monkeypatch: pytest.MonkeyPatch,
    module: ModuleType,
    step: str,
    key: str,
) -> None:
    """Whatever step breaks, not a row of the order or of its key stays; the retry makes it."""
    quote = asking.quote(line(), line())
    counts = standing_shop.row_counts()
    with monkeypatch.context() as patch:
        patch.setattr(module, step, _then_raise(getattr(module, step)))
        refused(asking.accept(quote["id"], key), 500, "internal-fault")
    assert standing_shop.row_counts() == counts
    retry = asking.accept(quote["id"], key)
    assert retry.status_code == 201
    assert REPLAYED not in retry.headers


def test_a_key_on_a_quote_is_optional(standing_shop: ShopDoor, asking: Caller, key: str) -> None:
    """With a key a quote is given once; without one each request is another quote."""
    before = len(standing_shop.rows(Quote))
    body = {"lines": [line()]}
    headers = {"Idempotency-Key": key}
    first = asking.post("/v1/quotes", body, headers)
    assert same_answer(first, asking.post("/v1/quotes", body, headers))
    assert len(standing_shop.rows(Quote)) == before + 1
    plain = [asking.post("/v1/quotes", body) for _ in range(2)]
    assert len({answered(answer, 201)["id"] for answer in plain}) == 2
    malformed = asking.post("/v1/quotes", body, {"Idempotency-Key": "short"})
    refused(malformed, 400, "idempotency-key-malformed")


def test_a_key_on_a_move_and_on_a_cancel_is_optional(
    standing_shop: ShopDoor, asking: Caller, bench: Caller, key: str
) -> None:
    """A repeated move or cancel with a key is replayed, where without one it would be illegal."""
    one, other = asking.order(line()), asking.order(line())
    number = one["tickets"][0]["number"]
    moved = bench.move(number, "start", idempotency_key=key)
    assert same_answer(moved, bench.move(number, "start", idempotency_key=key))
    refused(bench.move(number, "start"), 409, "move-not-legal")
    path, headers = f"/v1/orders/{other['id']}/cancel", {"Idempotency-Key": key}
    cancelled = asking.post(path, headers=headers)
    assert answered(cancelled, 200)["state"] == "cancelled"
    assert same_answer(cancelled, asking.post(path, headers=headers))
    refused(asking.post(path), 409, "order-already-cancelled")
    assert standing_shop.events(one["id"]) == [(1, "order.accepted"), (2, "ticket.moved")]


def test_a_quote_is_replayed_after_the_catalogue_has_changed(
    shop: ShopDoor, storefront: Caller, less_the_method: Callable[[str], None], key: str
) -> None:
    """A lost answer is given again though the shop could not make the line any more."""
    body = {"lines": [line()]}
    headers = {"Idempotency-Key": key}
    first = storefront.post("/v1/quotes", body, headers)
    less_the_method("printed-film")
    refused(storefront.post("/v1/quotes", body), 422, "fields-refused")
    assert same_answer(first, storefront.post("/v1/quotes", body, headers))
    assert len(shop.rows(Quote)) == 1


def test_a_quote_that_was_refused_may_be_corrected_under_its_key(asking: Caller, key: str) -> None:
    """Unknown names do not use a key up; that a thing cannot be made is kept and replayed."""
    headers = {"Idempotency-Key": key}
    unknown = asking.post("/v1/quotes", {"lines": [line(colour="blak")]}, headers)
    refused(unknown, 422, "fields-refused")
    impossible = {"lines": [line(decoration(method="dye-transfer"))]}
    first = asking.post("/v1/quotes", impossible, headers)
    refused(first, 422, "cannot-be-made")
    assert same_answer(first, asking.post("/v1/quotes", impossible, headers))
