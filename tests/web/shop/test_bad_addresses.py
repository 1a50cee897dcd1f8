"""Addresses, queries and headers of any text: a problem document on both stores, never a 500."""

from __future__ import annotations

import pytest

from service.intake.cursors import MomentCursor, write_moment_cursor
from tests.web.shop.door import (
    ON_ONE_STORE,
    PROBLEM,
    Caller,
    ShopDoor,
    answered,
    line,
    only_error,
    refused,
)


@ON_ONE_STORE
@pytest.mark.parametrize(
    "cursor",
    [
        "x",
        "!!!!",
        "WyIyMDI2LTAzLTAyIiwgMSwgIm5vIl0",
        "W10",
        "bnVsbA",
        "WyIyMDI2LTAzLTAyIiwgSW5maW5pdHksICIiXQ",
        "WyIyMDI2LTAzLTAyIiwgMWU5OTksICIiXQ",
        "a" * 200,
        "é",
    ],
)
def test_a_garbled_cursor(standing_shop: ShopDoor, cursor: str) -> None:
    """A cursor that was not given out is a 400 that says to start without one."""
    response = standing_shop.staff.get("/v1/tickets", params={"cursor": cursor})
    problem = refused(response, 400, "cursor-refused")
    assert only_error(problem)["parameter"] == "cursor"


@ON_ONE_STORE
@pytest.mark.parametrize("at_s", [-(2**62), 0, 2**62])
@pytest.mark.parametrize("number", [0, 2**31 - 1, 2**31, 2**63, 10**30])
def test_a_cursor_made_up_by_a_caller(standing_shop: ShopDoor, at_s: int, number: int) -> None:
    """A cursor of the right form names any row: it starts there, or is refused on both stores."""
    cursor = write_moment_cursor(MomentCursor(at_s, number), "tickets:::urgency")
    answer = standing_shop.staff.get("/v1/tickets", params={"cursor": cursor})
    if number < 2**31:
        assert answer.status_code == 200
    else:
        refused(answer, 400, "cursor-refused")


@ON_ONE_STORE
@pytest.mark.parametrize("number", [0, 1, 2**31 - 1, 2**31, 2**53 - 1, 2**63, 10**30])
def test_numbers_that_name_deliveries(standing_shop: ShopDoor, number: int) -> None:
    """Numbers of any size are a page, a 404 or a 422, the same on both stores."""
    caller = standing_shop.caller("number-tester", "storefront")
    endpoint = caller.post("/v1/webhook-endpoints", {"url": "http://127.0.0.1:9/told"})
    address = f"/v1/webhook-endpoints/{answered(endpoint, 201)['id']}/deliveries"
    usable = 1 <= number < 2**31
    page = caller.get(address, params={"before": number})
    assert page.status_code == (200 if usable else 422)
    replay = caller.post(f"/v1/webhook-deliveries/{number}/replay")
    assert replay.status_code == (404 if usable else 422)


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("reference", "status"),
    [
        ("\N{GRINNING FACE}" * 64, 201),
        ("\N{GRINNING FACE}" * 65, 422),
        ("a\nb", 422),
        ("\x7f", 422),
        ("  R-1  ", 201),
    ],
)
def test_references_of_any_text(standing_shop: ShopDoor, reference: str, status: int) -> None:
    """A reference is counted in characters on both stores, and comes back as it was sent."""
    storefront = standing_shop.storefront
    quote = storefront.quote(line(sizes={"S": 1}))
    answer = storefront.accept(quote["id"], f"key-of-{quote['id']}", reference)
    assert answer.status_code == status
    if status == 201:
        shown = storefront.get(answer.headers["location"])
        assert shown.json()["reference"] == reference.strip()


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("path", "status"),
    [
        # RFC 7493 section 2.1 leaves out what cannot be kept; a path is looked up as text.
        ("/v1/tickets/%00", 400),
        ("/v1/tickets?state=%00", 400),
        ("/v1/tickets?cursor=%ff", 400),
        ("/v1/quotes/%ff%fe", 422),
        ("/v1/quotes/..%2f..", 404),
        ("/v1/quotes/" + "q" * 65, 422),
        ("/v1/tickets/" + "T" * 17, 422),
        ("/v1//quotes", 404),
        ("/v1/quotes/", 404),
        ("/v1", 404),
    ],
)
def test_addresses_of_any_text(standing_shop: ShopDoor, path: str, status: int) -> None:
    """An address that names nothing is a problem document too."""
    answer = standing_shop.staff.get(path)
    assert answer.status_code == status
    assert answer.headers["content-type"] == PROBLEM


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("limit=0", "limit"),
        ("limit=101", "limit"),
        ("limit=ten", "limit"),
        ("state=lost", "state.0"),
        (f"cursor={'a' * 201}", "cursor"),
    ],
)
def test_query_values_outside_their_limits(
    standing_shop: ShopDoor, query: str, parameter: str
) -> None:
    """A query parameter that cannot be used is named."""
    problem = refused(standing_shop.staff.get(f"/v1/tickets?{query}"), 422, "fields-refused")
    assert only_error(problem)["parameter"] == parameter


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("headers", "status", "code"),
    [
        ({}, 400, "idempotency-key-missing"),
        ({"Idempotency-Key": "short"}, 400, "idempotency-key-malformed"),
        ({"Idempotency-Key": "x" * 129}, 400, "idempotency-key-malformed"),
        ({"Idempotency-Key": "a blank in the middle"}, 400, "idempotency-key-malformed"),
        ({"Idempotency-Key": "a-key-that-is-good"}, 404, "quote-not-found"),
    ],
)
def test_the_key_of_an_order(
    asking: Caller, headers: dict[str, str], status: int, code: str
) -> None:
    """An order without a usable Idempotency-Key is a 400, before the quote is looked at."""
    refused(asking.post("/v1/orders", {"quote_id": "quote_none"}, headers), status, code)


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("tag", "status", "code"),
    [
        ("no-quotes", 400, "precondition-malformed"),
        ('"1', 400, "precondition-malformed"),
        ('W/"1"', 412, "ticket-changed"),
        ('"99999999999999999999"', 412, "ticket-changed"),
        ('"other", "7"', 412, "ticket-changed"),
    ],
)
def test_a_precondition_that_does_not_hold(
    standing_shop: ShopDoor, tag: str, status: int, code: str
) -> None:
    """If-Match is compared strongly, and a weak or unknown tag never matches (RFC 9110 13.1.1)."""
    order = standing_shop.storefront.order(line(sizes={"S": 1}))
    number = order["tickets"][0]["number"]
    refused(standing_shop.staff.move(number, "start", if_match=tag), status, code)
    assert standing_shop.staff.get(f"/v1/tickets/{number}").json()["state"] == "waiting"
