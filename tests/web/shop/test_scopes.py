"""Who may do what: every operation with every scope, and every id with another caller's key.

Source of the checks: OWASP API Security Top 10 2023, API1, API2, API3, API5 and API9; statuses by
RFC 9110 sections 15.5.2 and 15.5.4, challenges by RFC 6750 section 3, from memory.
"""

from __future__ import annotations

import re
from datetime import timedelta
from typing import cast

import pytest
from fastapi import FastAPI
from httpx2 import Response

from service.notify.outbox import spread_events
from service.store.keys import format_key, new_key, revoke_key
from service.store.tables import Delivery, Order, Quote
from service.web.routes import documented_routes
from tests.conftest import FakeClock
from tests.web.shop.door import (
    ON_ONE_STORE,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    refused,
    without_instance,
)

EVERYONE = {"storefront", "staff", "owner"}
BUYS = {"storefront", "owner"}
BENCH = {"staff", "owner"}
OWNER = {"owner"}

ACCESS = {
    "GET /v1/catalogue": EVERYONE,
    "GET /v1/rules": EVERYONE,
    "GET /v1/rules/{rule_id}": EVERYONE,
    "POST /v1/artworks": BUYS,
    "GET /v1/artworks/{artwork_id}": EVERYONE,
    "GET /v1/artworks/{artwork_id}/proof": EVERYONE,
    "GET /v1/artworks/{artwork_id}/outline.svg": EVERYONE,
    "GET /v1/choices": EVERYONE,
    "POST /v1/checks": EVERYONE,
    "POST /v1/quotes": BUYS,
    "GET /v1/quotes/{quote_id}": EVERYONE,
    "GET /v1/quotes/{quote_id}/audit": BENCH,
    "POST /v1/price-curves": EVERYONE,
    "POST /v1/orders": BUYS,
    "GET /v1/orders/{order_id}": EVERYONE,
    "POST /v1/orders/{order_id}/cancel": EVERYONE,
    "GET /v1/tickets": BENCH,
    "GET /v1/tickets/{number}.pdf": BENCH,
    "GET /v1/tickets/{number}.html": BENCH,
    "GET /v1/tickets/{number}/label.pdf": BENCH,
    "GET /v1/tickets/{number}/care-card.pdf": BENCH,
    "GET /v1/tickets/{number}/care-card.html": BENCH,
    "GET /v1/tickets/{number}": BENCH,
    "POST /v1/tickets/{number}/moves": BENCH,
    "POST /v1/tickets/{number}/pieces": BENCH,
    "POST /v1/tickets/{number}/ticks": BENCH,
    "POST /v1/tickets/{number}/notes": BENCH,
    "POST /v1/tickets/{number}/remakes": BENCH,
    "GET /v1/picking-list": BENCH,
    "POST /v1/runs": BENCH,
    "GET /v1/runs": BENCH,
    "GET /v1/runs/{run_id}": BENCH,
    "POST /v1/runs/{run_id}/accept": BENCH,
    "POST /v1/runs/{run_id}/dissolve": BENCH,
    "POST /v1/runs/{run_id}/reprints": BENCH,
    "GET /v1/runs/{run_id}/layout.svg": BENCH,
    "GET /v1/runs/{run_id}/print.pdf": BENCH,
    "GET /v1/stock": BENCH,
    "POST /v1/stock/moves": BENCH,
    "GET /v1/stock/moves": BENCH,
    "POST /v1/stock/incoming": BENCH,
    "GET /v1/stock/incoming": BENCH,
    "POST /v1/stock/incoming/{incoming_id}/call-off": BENCH,
    "GET /v1/schedule": BENCH,
    "GET /v1/schedule.svg": BENCH,
    "GET /v1/schedule/reliability": BENCH,
    "GET /v1/standard-minutes": BENCH,
    "POST /v1/standard-minutes/accept": OWNER,
    "GET /v1/tickets/{number}/minutes": BENCH,
    "POST /v1/tickets/{number}/minutes": BENCH,
    "POST /v1/webhook-endpoints": BUYS,
    "GET /v1/webhook-endpoints": BUYS,
    "GET /v1/webhook-endpoints/{endpoint_id}": BUYS,
    "DELETE /v1/webhook-endpoints/{endpoint_id}": BUYS,
    "GET /v1/webhook-endpoints/{endpoint_id}/deliveries": BUYS,
    "POST /v1/webhook-deliveries/{delivery_id}/replay": BUYS,
}
"""The scopes each operation admits. An operation that is not listed here fails the tests."""

OPEN = {
    "GET /livez",
    "GET /readyz",
    "GET /openapi.json",
    "GET /problems",
    "GET /problems/{code}",
    "GET /rules",
    "GET /rules/{rule_id}",
    "GET /docs",
    "GET /docs/start.js",
    "GET /try",
    "GET /try/{name}",
    "GET /bench",
    "GET /bench/assets/{name}",
    "GET /bench/sign-in",
    "POST /bench/sign-in",
    "POST /bench/sign-out",
    "GET /bench/scan",
    "GET /bench/picking",
    "GET /bench/stock",
    "GET /bench/stock/item",
    "GET /bench/stock/moves",
    "GET /bench/stock/incoming",
    "GET /bench/stock/call-off",
    "POST /bench/stock/moves",
    "POST /bench/stock/incoming",
    "POST /bench/stock/call-off",
    "GET /bench/schedule",
    "GET /bench/schedule/load.svg",
    "GET /bench/deliveries",
    "GET /bench/runs",
    "POST /bench/runs",
    "GET /bench/runs/{run_id}",
    "GET /bench/runs/{run_id}/layout.svg",
    "GET /bench/runs/{run_id}/print.pdf",
    "GET /bench/runs/{run_id}/accept",
    "GET /bench/runs/{run_id}/dissolve",
    "GET /bench/runs/{run_id}/reprints",
    "POST /bench/runs/{run_id}/accept",
    "POST /bench/runs/{run_id}/dissolve",
    "POST /bench/runs/{run_id}/reprints",
    "GET /bench/tickets/{number}",
    "GET /bench/tickets/{number}/sheet.pdf",
    "GET /bench/tickets/{number}/sheet.html",
    "GET /bench/tickets/{number}/moves",
    "GET /bench/tickets/{number}/pieces",
    "GET /bench/tickets/{number}/ticks",
    "GET /bench/tickets/{number}/notes",
    "GET /bench/tickets/{number}/remakes",
    "GET /bench/tickets/{number}/minutes",
    "GET /bench/tickets/{number}/labels.pdf",
    "GET /bench/tickets/{number}/care-card.pdf",
    "GET /bench/tickets/{number}/proofs/{index}",
    "POST /bench/tickets/{number}/moves",
    "POST /bench/tickets/{number}/pieces",
    "POST /bench/tickets/{number}/ticks",
    "POST /bench/tickets/{number}/notes",
    "POST /bench/tickets/{number}/remakes",
    "POST /bench/tickets/{number}/minutes",
}
"""What strangers may see: probes, documentation and the try page. Mounted files of the viewer
besides, and the bench pages, which ask for a session of their own
(tests/web/bench/test_sign_in.py)."""

ASKED = {
    "GET /v1/artworks/{artwork_id}/proof": (
        "?blank=classic-cotton-tee&colour=black&placement=front&width_mm=50&px=200"
    ),
    "GET /v1/artworks/{artwork_id}/outline.svg": "?width_mm=50",
}
"""What must be asked besides the id."""

SHARED = {"number", "rule_id", "run_id"}
"""Path parameters that name nothing of a single caller's: the bench serves all storefronts, and
the rules hold for all."""

OPERATIONS = pytest.mark.parametrize("operation", ACCESS)


def call(caller: Caller, operation: str, headers: dict[str, str] | None = None) -> Response:
    """Send the operation with ids that do not exist and without a body."""
    method, template = operation.split(" ")
    path = re.sub(r"\{\w+\}", "987654321", template)
    return caller.send(method, path, headers)


@ON_ONE_STORE
def test_every_route_has_an_entry(standing_shop: ShopDoor) -> None:
    """A new operation must say here whom it admits; one that is gone must be taken out."""
    app = cast("FastAPI", standing_shop.client.app)
    routes = {
        f"{method} {route.path}"
        for route in documented_routes(app)
        for method in set(route.methods or ()) - {"HEAD"}
    }
    assert routes == ACCESS.keys() | OPEN


@ON_ONE_STORE
def test_every_operation_is_described_with_its_scopes(standing_shop: ShopDoor) -> None:
    """The description lists the same operations, and with each the scopes that it admits."""
    document = answered(standing_shop.nobody.get("/openapi.json"), 200)
    described = {
        f"{method.upper()} {path}": {
            scope for need in operation.get("security", []) for scope in need["key"]
        }
        for path, item in document["paths"].items()
        for method, operation in item.items()
    }
    probes = {"GET /livez": set[str](), "GET /readyz": set[str]()}
    assert described == ACCESS | probes


@ON_ONE_STORE
@OPERATIONS
def test_without_a_key(standing_shop: ShopDoor, operation: str) -> None:
    """No key, a wrong scheme or an unknown key: 401 with a challenge, whatever the body is."""
    nobody = standing_shop.nobody
    presented = ["", "Basic Z2lrOng=", f"Bearer {format_key(bytes(40))}", "Bearer x y", "Bearer"]
    for value in presented:
        headers = {"Authorization": value, "Content-Type": "application/json"} if value else {}
        answer = call(nobody, operation, headers)
        known = "key-refused" if value.startswith("Bearer ") else "key-missing"
        problem = answered(answer, 401)
        assert problem["type"].rsplit("/", 1)[1] in {known, "key-missing"}
        assert answer.headers["www-authenticate"].startswith('Bearer realm="garment-intake"')


@ON_ONE_STORE
@OPERATIONS
@pytest.mark.parametrize("scope", sorted(EVERYONE))
def test_with_each_scope(standing_shop: ShopDoor, operation: str, scope: str) -> None:
    """A scope that is not admitted is a 403; one that is gets past the door."""
    caller = standing_shop.caller("scope-tester", scope)
    answer = call(caller, operation)
    if scope in ACCESS[operation]:
        assert answer.status_code not in {401, 403}
        assert answer.status_code < 500
        return
    problem = refused(answer, 403, "scope-missing")
    assert set(problem["scopes"]) == ACCESS[operation]
    assert 'error="insufficient_scope"' in answer.headers["www-authenticate"]


def test_a_key_that_is_over(shop: ShopDoor, clock: FakeClock) -> None:
    """An expired or withdrawn key opens nothing, at the latest ten seconds after."""
    database = shop.assembly.database
    ends = clock() + timedelta(hours=1)
    for name, expires_at in (("expiring", ends), ("withdrawn", None)):
        database.write(
            lambda session, name=name, expires_at=expires_at: new_key(  # type: ignore[misc] # bound
                session,
                holder="key-tester",
                scope="storefront",
                label="",
                now=clock(),
                secret=format_key(name.encode().ljust(40)),
                key_id=name,
                expires_at=expires_at,
            )
        )
    expiring, withdrawn = (
        Caller(shop.client, "key-tester", format_key(name.ljust(40)))
        for name in (b"expiring", b"withdrawn")
    )
    assert expiring.get("/v1/catalogue").status_code == 200
    assert withdrawn.get("/v1/catalogue").status_code == 200
    database.write(lambda session: revoke_key(session, "withdrawn", clock()))
    clock.advance(seconds=10)
    refused(withdrawn.get("/v1/catalogue"), 401, "key-refused")
    clock.set(ends)
    refused(expiring.get("/v1/catalogue"), 401, "key-refused")


def test_a_key_never_comes_back(standing_shop: ShopDoor) -> None:
    """A key in the query is no key, and a key that was sent is in no answer."""
    caller = standing_shop.storefront
    answer = standing_shop.nobody.get("/v1/catalogue", params={"key": caller.key})
    assert answer.status_code == 401
    for path in ("/v1/catalogue", "/v1/nowhere", "/v1/quotes/none", "/readyz", "/openapi.json"):
        assert str(caller.key) not in caller.get(path).text


class Belongings:
    """One of everything that a storefront owns, by the name of the path parameter."""

    def __init__(self, shop: ShopDoor) -> None:
        owner = shop.storefront
        endpoint = owner.post("/v1/webhook-endpoints", {"url": "http://127.0.0.1:9/told"})
        quote = owner.quote(line())
        order = answered(owner.accept(quote["id"], f"key-of-{quote['id']}"), 201)
        now = shop.assembly.services.clock()
        shop.assembly.database.write(lambda session: spread_events(session, now))
        delivery = max(int(row.id) for row in shop.rows(Delivery))
        self.by_parameter = {
            "artwork_id": decoration()["artwork_id"],
            "quote_id": quote["id"],
            "order_id": order["id"],
            "endpoint_id": answered(endpoint, 201)["id"],
            "delivery_id": str(delivery),
        }


@pytest.fixture(scope="session")
def belongings(standing_shop: ShopDoor) -> Belongings:
    """What the storefront of the standing shop owns."""
    return Belongings(standing_shop)


@pytest.mark.parametrize(
    "operation",
    [
        one
        for one, scopes in ACCESS.items()
        if "storefront" in scopes and set(re.findall(r"\{(\w+)\}", one)) - SHARED
    ],
)
def test_what_belongs_to_another(
    standing_shop: ShopDoor, belongings: Belongings, operation: str
) -> None:
    """Another storefront's id is a 404, the very answer to an id that does not exist.

    An id parameter without a belonging fails here: a new one needs an entry.
    """
    method, path = operation.split(" ")
    template = path + ASKED.get(operation, "")
    (parameter,) = re.findall(r"\{(\w+)\}", template)
    theirs = template.replace(f"{{{parameter}}}", belongings.by_parameter[parameter])
    none = template.replace(f"{{{parameter}}}", "987654321")
    before = standing_shop.row_counts()
    foreign = standing_shop.other.send(method, theirs)
    missing = standing_shop.other.send(method, none)
    assert foreign.status_code == missing.status_code == 404
    assert without_instance(foreign) == without_instance(missing)
    assert foreign.headers.keys() == missing.headers.keys()
    assert standing_shop.row_counts() == before
    own = "GET" if method == "DELETE" else method
    assert standing_shop.storefront.send(own, theirs).status_code == 200


def test_ids_in_bodies_that_belong_to_another(
    standing_shop: ShopDoor, belongings: Belongings
) -> None:
    """Another's quote cannot be accepted nor its artwork used, told as if they did not exist."""
    other = standing_shop.other
    ids = belongings.by_parameter
    fresh = standing_shop.storefront.quote(line())["id"]
    accepts = [other.accept(quote_id, f"key-{quote_id}-x") for quote_id in (fresh, "quote_none")]
    assert without_instance(accepts[0]) == without_instance(accepts[1])
    refused(accepts[0], 404, "quote-not-found")
    for path in ("/v1/checks", "/v1/quotes"):
        answers = [
            other.post(path, {"lines": [line(decoration(artwork_id=artwork_id))]})
            for artwork_id in (ids["artwork_id"], "art_none")
        ]
        assert answers[0].status_code == 422
        assert without_instance(answers[0]) == without_instance(answers[1])


def test_lists_hold_ones_own_alone(standing_shop: ShopDoor, belongings: Belongings) -> None:
    """An endpoint is listed for its own storefront and for no one else."""

    def listed(caller: Caller) -> set[str]:
        found = answered(caller.get("/v1/webhook-endpoints"), 200)["endpoints"]
        return {endpoint["id"] for endpoint in found}

    assert belongings.by_parameter["endpoint_id"] in listed(standing_shop.storefront)
    assert listed(standing_shop.other) == set()
    assert listed(standing_shop.owner) == set()


def test_the_shop_sees_every_storefronts_things(
    standing_shop: ShopDoor, belongings: Belongings
) -> None:
    """Staff and the owner read artworks, quotes and orders of all storefronts."""
    ids = belongings.by_parameter
    for caller in (standing_shop.staff, standing_shop.owner):
        for name in ("artwork", "quote", "order"):
            answered(caller.get(f"/v1/{name}s/{ids[f'{name}_id']}"), 200)


def test_an_order_stays_its_storefronts_own(shop: ShopDoor) -> None:
    """What the owner accepts for a storefront is the storefront's order."""
    quote = shop.storefront.quote(line())
    order = answered(shop.owner.accept(quote["id"], "key-of-the-owner"), 201)
    assert [row.holder for row in shop.rows(Order)] == [shop.storefront.holder]
    answered(shop.storefront.get(f"/v1/orders/{order['id']}"), 200)
    refused(shop.other.get(f"/v1/orders/{order['id']}"), 404, "order-not-found")


@pytest.mark.parametrize(
    ("path", "extra"),
    [
        ("/v1/quotes", {"total": {"amount": 1, "currency": "EUR"}}),
        ("/v1/quotes", {"promise": {"day": "2026-03-02"}}),
        ("/v1/quotes", {"holder": "other-storefront"}),
        ("/v1/orders", {"state": "sent"}),
        ("/v1/orders", {"holder": "other-storefront"}),
        ("/v1/orders", {"total": {"amount": 0, "currency": "EUR"}}),
    ],
)
def test_what_is_ours_to_say_is_refused(standing_shop: ShopDoor, path: str, extra: Json) -> None:
    """Price, day, state and holder are not the caller's to set (API3)."""
    body = {"lines": [line()]} if path.endswith("quotes") else {"quote_id": "quote_none"}
    before = len(standing_shop.rows(Quote))
    answer = standing_shop.storefront.post(
        path, {**body, **extra}, {"Idempotency-Key": "a-key-that-is-good"}
    )
    problem = refused(answer, 422, "fields-refused")
    (error,) = problem["errors"]
    assert (error["pointer"], error["code"]) == (f"#/{next(iter(extra))}", "unknown-field")
    assert len(standing_shop.rows(Quote)) == before
