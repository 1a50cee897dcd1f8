"""Keys and scopes."""

from __future__ import annotations

import asyncio
from datetime import datetime, timedelta

import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from service.web.auth import KeyCache, LiveKey, Principal, Scope, scopes_of
from service.web.routes import documented_routes
from tests.web.checks import assert_problem
from tests.web.miniature import (
    NOW,
    OWNER_KEY,
    STAFF_KEY,
    STOREFRONT_KEY,
    make_app,
)

SHOP = LiveKey(Principal("web-shop", Scope.STOREFRONT, "key-1"))


class Store:
    """A store of one key, with a clock that is set by hand."""

    def __init__(self, found: LiveKey | None = SHOP) -> None:
        self.found = found
        self.now = NOW
        self.asked: list[str] = []

    async def lookup(self, presented: str) -> LiveKey | None:
        """Give the key, and remember the question."""
        self.asked.append(presented)
        return self.found

    def clock(self) -> datetime:
        """The time as set."""
        return self.now

    def cache(self, **options: int) -> KeyCache:
        """A cache on this store."""
        return KeyCache(self.lookup, self.clock, **options)


def ask(cache: KeyCache, *presented: str) -> list[Principal | None]:
    """Ask for each key in turn."""

    async def all_of_them() -> list[Principal | None]:
        return [await cache.principal(one) for one in presented]

    return asyncio.run(all_of_them())


@pytest.mark.parametrize("header", [None, "", "Bearer", "Bearer ", f"Basic {STOREFRONT_KEY}"])
def test_missing_key(stranger: TestClient, header: str | None) -> None:
    """No key gives 401 with a challenge (RFC 9110 section 15.5.2)."""
    headers = {} if header is None else {"Authorization": header}
    answer = stranger.get("/v1/samples", headers=headers)
    assert_problem(answer, 401, "key-missing")
    assert answer.headers["www-authenticate"].startswith("Bearer ")


@pytest.mark.parametrize(
    "header",
    ["Bearer unknown", "Bearer two words", f"Bearer {'x' * 5_000}", 'Bearer "quoted"'],
)
def test_refused_key(stranger: TestClient, header: str) -> None:
    """A key not in force gives 401 and says so (RFC 6750 section 3.1, from memory)."""
    answer = stranger.get("/v1/samples", headers={"Authorization": header})
    assert_problem(answer, 401, "key-refused")
    assert 'error="invalid_token"' in answer.headers["www-authenticate"]


def test_two_keys_are_none(stranger: TestClient) -> None:
    """Two Authorization headers leave open who calls, and are refused."""
    headers = [("Authorization", f"Bearer {key}") for key in (STOREFRONT_KEY, STAFF_KEY)]
    assert_problem(stranger.get("/v1/samples", headers=headers), 401, "key-refused")


def test_scheme_is_case_insensitive(stranger: TestClient) -> None:
    """``bearer`` is ``Bearer`` (RFC 9110 section 11.1)."""
    headers = {"Authorization": f"bearer {STOREFRONT_KEY}"}
    assert stranger.get("/v1/samples", headers=headers).status_code == 200


@pytest.mark.parametrize(
    ("key", "status"), [(STOREFRONT_KEY, 200), (STAFF_KEY, 403), (OWNER_KEY, 200)]
)
def test_scopes_are_no_ladder(stranger: TestClient, key: str, status: int) -> None:
    """An operation admits the scopes it names and the owner; staff is not above the storefront."""
    answer = stranger.get("/v1/samples", headers={"Authorization": f"Bearer {key}"})
    assert answer.status_code == status


def test_missing_scope_is_challenged(stranger: TestClient) -> None:
    """403 says which scope would do (RFC 6750 section 3.1, from memory)."""
    answer = stranger.get("/v1/samples", headers={"Authorization": f"Bearer {STAFF_KEY}"})
    assert_problem(answer, 403, "scope-missing")
    assert 'scope="owner storefront"' in answer.headers["www-authenticate"]


def test_scopes_of_every_route_can_be_read() -> None:
    """What an operation admits is known without calling it; open ones are told apart."""
    admitted = {
        (method, route.path): scopes_of(route)
        for route in documented_routes(make_app())
        for method in route.methods or ()
        if route.path is not None and route.path.startswith("/v1")
    }
    assert admitted["POST", "/v1/samples"] == frozenset({Scope.STOREFRONT, Scope.OWNER})
    assert admitted["PATCH", "/v1/samples/{sample_id}"] == frozenset({Scope.STAFF, Scope.OWNER})
    assert admitted["GET", "/v1/faults/{code}"] is None


def test_key_is_looked_up_once_in_its_time() -> None:
    """Within ten seconds the store is asked once; after them again."""
    store = Store()
    cache = store.cache()
    assert ask(cache, "k", "k") == [SHOP.principal] * 2
    store.now += timedelta(seconds=9.9)
    ask(cache, "k")
    assert store.asked == ["k"]
    store.now += timedelta(seconds=0.1)
    ask(cache, "k")
    assert store.asked == ["k", "k"]


def test_withdrawn_key_passes_for_ten_seconds_at_most() -> None:
    """A key withdrawn in the store is refused once its time in the cache is over."""
    store = Store()
    cache = store.cache()
    ask(cache, "k")
    store.found = None
    store.now += timedelta(seconds=10)
    assert ask(cache, "k") == [None]


def test_key_is_not_kept_beyond_its_end() -> None:
    """A key that expires within ten seconds is asked for again from that moment on."""
    store = Store(LiveKey(SHOP.principal, NOW + timedelta(seconds=3)))
    cache = store.cache()
    ask(cache, "k")
    store.now += timedelta(seconds=3)
    store.found = None
    assert ask(cache, "k") == [None]


def test_unknown_keys_are_not_kept() -> None:
    """Guesses fill no memory."""
    cache = Store(None).cache()
    ask(cache, *map(str, range(50)))
    assert len(cache) == 0


@given(st.lists(st.sampled_from("abcdefgh"), max_size=40), st.integers(1, 5))
def test_cache_stays_within_its_bounds(presented: list[str], capacity: int) -> None:
    """However many keys come, no more than the capacity are kept, and each is answered."""
    cache = Store().cache(capacity=capacity)
    assert ask(cache, *presented) == [SHOP.principal] * len(presented)
    assert len(cache) <= capacity


def test_keys_are_not_kept_in_the_clear() -> None:
    """Memory holds digests, not keys."""
    cache = Store().cache()
    ask(cache, "very-secret-key")
    assert "very-secret-key" not in repr(vars(cache))


def test_bearer_scheme_is_described() -> None:
    """The API description declares the scheme, and names the scopes of each operation.

    OpenAPI 3.1.1 section 4.8.30 lets a requirement of an http scheme list role names.
    """
    app: FastAPI = make_app()
    document = app.openapi()
    assert document["components"]["securitySchemes"]["key"]["scheme"] == "bearer"
    assert document["paths"]["/v1/samples"]["post"]["security"] == [
        {"key": ["owner", "storefront"]}
    ]
