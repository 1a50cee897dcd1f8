"""What a holder may do with endpoints and deliveries, and that nobody else may."""

from __future__ import annotations

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from threading import Barrier

import pytest
from sqlalchemy import select
from sqlmodel import col

from service.domain.errors import BadInput, Conflict, NotFound
from service.domain.events import EVENT_MEANINGS, EVENT_TYPES
from service.notify.claims import claim_due
from service.notify.deliveries import list_deliveries, replay_delivery
from service.notify.endpoints import (
    ENDPOINTS_MAX,
    Endpoint,
    disable_endpoint,
    enable_endpoint,
    get_endpoint,
    list_endpoints,
    register_endpoint,
    remove_endpoint,
)
from service.notify.outbox import spread_events
from service.notify.signing import secret_to_bytes
from service.store.tables import WebhookEndpoint
from tests.notify.conftest import HOLDER, SECRET_BYTES, Books

LEASE = timedelta(seconds=60)
OTHER = "south-shop"


def registering(books: Books, url: str, *kinds: str, allow_private: bool = False) -> Endpoint:
    """Register an endpoint under the strict rules."""
    return register_endpoint(
        database=books.database,
        sealer=books.sealer,
        holder=HOLDER,
        url=url,
        event_types=kinds,
        now=books.clock(),
        endpoint_id=books.new_id("whe"),
        secret_bytes=SECRET_BYTES,
        allow_private=allow_private,
    ).endpoint


def deliveries_of(books: Books, endpoint_id: str, events: int) -> list[int]:
    """Ids of the deliveries of as many events, newest first."""
    books.happen_all(books.orders(events))
    books.database.write(partial(spread_events, now=books.clock()))
    page = list_deliveries(books.database, HOLDER, endpoint_id, 100)
    return [each.id for each in page.items]


def hold(books: Books) -> None:
    """A sender takes everything that is due."""
    work = partial(
        claim_due,
        now=books.clock(),
        token=books.new_id("claim"),
        limit=100,
        lease=LEASE,
        per_host=100,
        in_flight={},
    )
    books.database.write(work)


def test_event_types_are_dotted_words_with_meanings() -> None:
    """Every type has the form of Standard Webhooks 1.0.0 (rule W1) and a line saying what it is."""
    assert EVENT_TYPES == (
        "order.accepted",
        "order.cancelled",
        "order.ready",
        "order.sent",
        "order.late",
        "order.on_time_again",
        "ticket.moved",
        "ticket.halted",
        "ticket.short",
        "ticket.remade",
    )
    assert all(re.fullmatch(r"[a-zA-Z0-9_]+(\.[a-zA-Z0-9_]+)+", kind) for kind in EVENT_TYPES)
    assert all(EVENT_MEANINGS[kind].endswith(".") for kind in EVENT_TYPES)


def test_secret_is_shown_once_and_sealed_at_rest(books: Books) -> None:
    """Registering gives ``whsec_`` and base64; the store holds only its sealed form."""
    registered = books.endpoint("http://127.0.0.1:9/", HOLDER, "order.sent")
    assert secret_to_bytes(registered.secret) == SECRET_BYTES
    assert registered.secret not in repr(registered)
    query = select(col(WebhookEndpoint.secret_sealed))
    sealed = books.database.read(lambda s: s.connection().execute(query).scalar_one())
    assert registered.secret.encode() not in sealed
    assert SECRET_BYTES not in sealed
    assert books.sealer.open(sealed, registered.endpoint.id) == registered.secret


def test_endpoint_is_read_back_as_registered(books: Books) -> None:
    """What was registered is what is shown; repeated types are kept once, in order."""
    url = "https://hooks.shop.example:8443/in?key=%20"
    made = registering(books, url, "order.sent", "order.accepted", "order.sent")
    assert made == Endpoint(
        id=made.id,
        url=url,
        event_types=("order.sent", "order.accepted"),
        created_at=books.clock(),
        disabled_at=None,
        disabled_reason="",
    )
    assert get_endpoint(books.database, HOLDER, made.id) == made
    assert list_endpoints(books.database, HOLDER) == [made]


def test_bad_url_and_types_are_named_all_at_once(books: Books) -> None:
    """Each fault names its field, the value and what is allowed; nothing is kept."""
    with pytest.raises(BadInput) as caught:
        registering(books, "http://shop.example/", "order.sent", "order.eaten", "x" * 500)
    assert caught.value.code == "fields-refused"
    faults = {fault.path: fault for fault in caught.value.faults}
    assert set(faults) == {("url",), ("event_types", 1), ("event_types", 2)}
    assert "https://" in faults[("url",)].detail
    assert "'order.eaten'" in faults[("event_types", 1)].detail
    assert all(kind in faults[("event_types", 1)].detail for kind in EVENT_TYPES)
    assert len(faults[("event_types", 2)].detail) < 300
    assert list_endpoints(books.database, HOLDER) == []


def test_private_urls_only_where_allowed(books: Books) -> None:
    """Plain http to this machine is for trying out only."""
    with pytest.raises(BadInput):
        registering(books, "http://127.0.0.1:9/")
    registering(books, "http://127.0.0.1:9/", allow_private=True)


def test_newest_endpoint_is_listed_first(books: Books) -> None:
    """The list runs from newest to oldest, also within one moment."""
    made = [books.endpoint().endpoint.id for _ in range(3)]
    books.clock.advance(seconds=1)
    made.append(books.endpoint().endpoint.id)
    listed = [each.id for each in list_endpoints(books.database, HOLDER)]
    assert listed == list(reversed(made))


def test_twenty_live_endpoints_are_the_most(books: Books) -> None:
    """The twenty-first is refused until one is disabled; other holders are not concerned."""
    made = [books.endpoint().endpoint.id for _ in range(ENDPOINTS_MAX)]
    with pytest.raises(Conflict) as caught:
        books.endpoint()
    assert caught.value.code == "too-many-endpoints"
    assert "20" in caught.value.detail
    books.endpoint("http://127.0.0.1:9/", OTHER)
    disable_endpoint(books.database, HOLDER, made[0], books.clock())
    books.endpoint()
    with pytest.raises(Conflict):
        enable_endpoint(books.database, HOLDER, made[0])


def test_registering_at_once_keeps_to_the_bound(books: Books) -> None:
    """Several registering together at the bound: as many as there is room for succeed."""
    for _ in range(ENDPOINTS_MAX - 2):
        books.endpoint()
    start = Barrier(6)

    def work(_: int) -> bool:
        start.wait(10)
        try:
            books.endpoint()
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(6) as pool:
        assert sum(pool.map(work, range(6))) == 2
    assert len(list_endpoints(books.database, HOLDER)) == ENDPOINTS_MAX


def test_disabling_is_shown_and_undone(books: Books) -> None:
    """A disabled endpoint says when and why; enabling clears both; each may be repeated."""
    endpoint_id = books.endpoint().endpoint.id
    began = books.clock()
    off = disable_endpoint(books.database, HOLDER, endpoint_id, began)
    assert (off.disabled_at, off.disabled_reason) == (began, "Disabled by its owner.")
    assert (
        disable_endpoint(books.database, HOLDER, endpoint_id, books.clock.advance(hours=1)) == off
    )
    on = enable_endpoint(books.database, HOLDER, endpoint_id)
    assert (on.disabled_at, on.disabled_reason) == (None, "")
    assert enable_endpoint(books.database, HOLDER, endpoint_id) == on


def test_removed_endpoint_is_gone_for_its_holder(books: Books) -> None:
    """A removed endpoint is neither listed nor found nor brought back, disabled before or not."""
    kept, first, second = (books.endpoint().endpoint.id for _ in range(3))
    disable_endpoint(books.database, HOLDER, second, books.clock())
    for endpoint_id in (first, second):
        remove_endpoint(books.database, HOLDER, endpoint_id, books.clock())
        for use in uses_of_an_endpoint(books, HOLDER, endpoint_id):
            with pytest.raises(NotFound):
                use()
    assert [each.id for each in list_endpoints(books.database, HOLDER)] == [kept]


def uses_of_an_endpoint(books: Books, holder: str, endpoint_id: str) -> list[Callable[[], object]]:
    """Everything ``holder`` may do with an endpoint."""
    now = books.clock()
    return [
        lambda: get_endpoint(books.database, holder, endpoint_id),
        lambda: list_deliveries(books.database, holder, endpoint_id, 10),
        lambda: disable_endpoint(books.database, holder, endpoint_id, now),
        lambda: enable_endpoint(books.database, holder, endpoint_id),
        lambda: remove_endpoint(books.database, holder, endpoint_id, now),
    ]


def test_anothers_endpoint_is_like_none(books: Books) -> None:
    """Every use of another holder's endpoint fails exactly as for one that never was (API1)."""
    endpoint_id = books.endpoint().endpoint.id
    (delivery_id,) = deliveries_of(books, endpoint_id, 1)
    others = uses_of_an_endpoint(books, OTHER, endpoint_id)
    nobodys = uses_of_an_endpoint(books, OTHER, "whe_none")
    others.append(lambda: replay_delivery(books.database, OTHER, delivery_id, books.clock()))
    nobodys.append(lambda: replay_delivery(books.database, OTHER, 10**6, books.clock()))
    for other, nobody in zip(others, nobodys, strict=True):
        with pytest.raises(NotFound) as theirs:
            other()
        with pytest.raises(NotFound) as none:
            nobody()
        assert (theirs.value.code, theirs.value.detail) == (none.value.code, none.value.detail)
    assert list_endpoints(books.database, OTHER) == []
    assert get_endpoint(books.database, HOLDER, endpoint_id).disabled_at is None


def test_pages_of_deliveries_give_each_once(books: Books) -> None:
    """Walking the pages gives every old delivery once, newest first, while new ones come (L3)."""
    endpoint_id = books.endpoint().endpoint.id
    expected = deliveries_of(books, endpoint_id, 7)
    seen: list[int] = []
    cursor: int | None = None
    while True:
        page = list_deliveries(books.database, HOLDER, endpoint_id, 3, cursor)
        seen += [each.id for each in page.items]
        deliveries_of(books, endpoint_id, 1)
        cursor = page.next_cursor
        if cursor is None:
            break
    assert seen == expected
    empty = books.endpoint().endpoint.id
    assert list_deliveries(books.database, HOLDER, empty, 3).items == ()


def test_last_page_that_is_just_full_has_no_next(books: Books) -> None:
    """A page that ends with the last delivery points nowhere."""
    endpoint_id = books.endpoint().endpoint.id
    deliveries_of(books, endpoint_id, 3)
    page = list_deliveries(books.database, HOLDER, endpoint_id, 3)
    assert (len(page.items), page.next_cursor) == (3, None)


def test_delivery_says_what_and_when(books: Books) -> None:
    """A delivery shows its event, order, place in the order and when it is due."""
    endpoint_id = books.endpoint().endpoint.id
    order = books.order()
    event = books.happen(order, "order.ready")
    books.database.write(partial(spread_events, now=books.clock()))
    (seen,) = list_deliveries(books.database, HOLDER, endpoint_id, 10).items
    assert (seen.event_id, seen.event_type, seen.order_id) == (event, "order.ready", order)
    assert (seen.sequence, seen.state, seen.attempts) == (1, "pending", 0)
    assert (seen.next_at, seen.done_at, seen.attempt_list) == (books.clock(), None, ())


def test_delivery_in_the_air_is_not_replayed(books: Books) -> None:
    """While a sender holds it a delivery cannot be replayed; once its lease is over, it can."""
    endpoint_id = books.endpoint().endpoint.id
    (delivery_id,) = deliveries_of(books, endpoint_id, 1)
    hold(books)
    with pytest.raises(Conflict) as caught:
        replay_delivery(books.database, HOLDER, delivery_id, books.clock())
    assert caught.value.code == "delivery-in-progress"
    books.clock.advance(LEASE)
    assert replay_delivery(books.database, HOLDER, delivery_id, books.clock()).attempts == 0


def test_delivery_of_a_disabled_endpoint_is_not_replayed(books: Books) -> None:
    """A disabled endpoint hears nothing, by hand either."""
    endpoint_id = books.endpoint().endpoint.id
    (delivery_id,) = deliveries_of(books, endpoint_id, 1)
    disable_endpoint(books.database, HOLDER, endpoint_id, books.clock())
    with pytest.raises(Conflict) as caught:
        replay_delivery(books.database, HOLDER, delivery_id, books.clock())
    assert caught.value.code == "endpoint-disabled"
