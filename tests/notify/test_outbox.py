"""Deliveries in the store: made once, held by one, in order, on SQLite and PostgreSQL alike."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from threading import Barrier

from sqlalchemy import select, update
from sqlmodel import col

from service.notify.claims import Claimed, Waiting, claim_due, look
from service.notify.deliveries import list_deliveries
from service.notify.endpoints import disable_endpoint
from service.notify.outbox import Result, Spread, record_results, spread_events
from service.notify.retry import ATTEMPTS_MAX
from service.store.tables import Delivery, Event
from tests.notify.conftest import HOLDER, Books

LEASE = timedelta(seconds=60)


def spread(books: Books) -> int:
    """Spread new events; gives how many."""
    return books.database.write(partial(spread_events, now=books.clock())).events


def claim(
    books: Books, limit: int = 100, per_host: int = 100, in_flight: dict[str, int] | None = None
) -> list[Claimed]:
    """Claim what is due under a new token."""
    work = partial(
        claim_due,
        now=books.clock(),
        token=books.new_id("claim"),
        limit=limit,
        lease=LEASE,
        per_host=per_host,
        in_flight=in_flight or {},
    )
    return books.database.write(work)


def result(books: Books, claimed: Claimed, state: str = "delivered") -> Result:
    """What came of a claim: delivered, failed, or to be tried again in 5 s."""
    now = books.clock()
    return Result(
        claimed=claimed,
        began_at=now,
        ended_at=now,
        duration_ms=7,
        status=200 if state == "delivered" else 500,
        outcome="delivered" if state == "delivered" else "refused",
        state=state,
        next_at=now + timedelta(seconds=5) if state == "pending" else None,
    )


def record(books: Books, results: Iterable[Result]) -> list[Result]:
    """Record results; gives the dropped ones."""
    return books.database.write(partial(record_results, results=list(results)))


def told(books: Books) -> set[tuple[str, str]]:
    """Which event goes to which endpoint, for everything now due."""
    return {(each.event_id, each.endpoint_id) for each in claim(books)}


def test_event_goes_to_its_holders_endpoints_that_want_its_type(books: Books) -> None:
    """Live endpoints of the holder that asked for the type, or for all; nobody else."""
    every = books.endpoint().endpoint.id
    picky = books.endpoint("http://127.0.0.1:9/", HOLDER, "order.sent", "order.ready").endpoint.id
    books.endpoint("http://127.0.0.1:9/", HOLDER, "ticket.halted")
    books.endpoint("http://127.0.0.1:9/", "south-shop")
    disable_endpoint(books.database, HOLDER, books.endpoint().endpoint.id, books.clock())
    event = books.happen(books.order(), "order.sent")
    assert spread(books) == 1
    assert told(books) == {(event, every), (event, picky)}


def test_endpoint_hears_nothing_from_before_its_time(books: Books) -> None:
    """An endpoint is told of what happened once it was there, not of the past."""
    order = books.order()
    books.happen(order)
    books.clock.advance(seconds=1)
    late = books.endpoint().endpoint.id
    event = books.happen(order)
    assert spread(books) == 2
    assert told(books) == {(event, late)}


def test_spreading_again_makes_nothing_twice(books: Books) -> None:
    """An event is spread once, whoever listens later."""
    books.endpoint()
    books.happen(books.order())
    assert [spread(books), spread(books)] == [1, 0]
    assert len(claim(books)) == 1


def test_spreading_tells_what_it_made(books: Books) -> None:
    """Events that nobody listens for are spread, and make no delivery."""
    work = partial(spread_events, now=books.clock())
    books.happen(books.order())
    assert books.database.write(work) == Spread(events=1, deliveries=0)
    books.endpoint()
    books.endpoint()
    books.happen_all(books.orders(3))
    assert books.database.write(work) == Spread(events=3, deliveries=6)
    assert books.database.write(work) == Spread()


def test_spreading_keeps_to_its_bound(books: Books) -> None:
    """No more events than asked for in one transaction, oldest first."""
    books.endpoint()
    events = books.happen_all([books.order()] * 5)
    work = partial(spread_events, now=books.clock(), limit=2)
    assert [books.database.write(work).events for _ in range(4)] == [2, 2, 1, 0]
    assert [each.event_id for each in claim(books)] == events[:1]


def test_senders_spreading_at_once_make_each_delivery_once(books: Books) -> None:
    """Four senders spread the same events together: each event once, none lost."""
    books.endpoint()
    books.happen_all(books.orders(20))
    start = Barrier(4)

    def work(_: int) -> int:
        start.wait(10)
        return spread(books)

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(work, range(4))) == 20
    assert len(told(books)) == 20


def test_claim_carries_all_that_sending_needs(books: Books) -> None:
    """A claim has the payload as it was written, and shows nothing private when printed."""
    endpoint = books.endpoint("http://127.0.0.1:9/private?token=x")
    event = books.happen(books.order(), "order.accepted", "0af7651916cd43dd8448eb211c80319c")
    spread(books)
    (one,) = claim(books)
    assert (one.event_id, one.event_type, one.attempt) == (event, "order.accepted", 1)
    assert one.trace_id == "0af7651916cd43dd8448eb211c80319c"
    assert books.sealer.open(one.secret_sealed, one.endpoint_id) == endpoint.secret
    query = select(col(Event.payload_json))
    written = books.database.read(lambda session: session.connection().execute(query).scalar_one())
    assert one.payload_json == written
    assert "private" in written
    assert "private" not in repr(one)
    assert repr(one.secret_sealed) not in repr(one)


def test_what_is_held_is_not_due(books: Books) -> None:
    """A claimed delivery is nobody else's until its lease is over; then it counts as tried."""
    books.endpoint()
    books.happen(books.order())
    spread(books)
    (first,) = claim(books)
    assert books.database.read(partial(look, now=books.clock())) == Waiting(
        events=False, deliveries=False
    )
    books.clock.advance(LEASE - timedelta(microseconds=1))
    assert claim(books) == []
    books.clock.advance(microseconds=1)
    assert books.database.read(partial(look, now=books.clock())) == Waiting(
        events=False, deliveries=True
    )
    (second,) = claim(books)
    assert (second.delivery_id, second.attempt) == (first.delivery_id, 2)
    assert second.token != first.token


def test_late_result_of_a_lost_claim_is_dropped(books: Books) -> None:
    """Once the claim has passed on, the first holder's result changes nothing."""
    endpoint = books.endpoint().endpoint
    books.happen(books.order())
    spread(books)
    (first,) = claim(books)
    books.clock.advance(LEASE)
    (second,) = claim(books)
    late = result(books, first, "failed")
    assert record(books, [late]) == [late]
    assert record(books, [result(books, second)]) == []
    again = result(books, second, "failed")
    assert record(books, [again]) == [again]
    (seen,) = list_deliveries(books.database, HOLDER, endpoint.id, 10).items
    assert seen.state == "delivered"
    assert [each.attempt for each in seen.attempt_list] == [2]


def test_result_after_the_lease_counts_if_nobody_took_over(books: Books) -> None:
    """A slow result is better than none: it holds as long as the claim is the last one."""
    books.endpoint()
    books.happen(books.order())
    spread(books)
    (only,) = claim(books)
    books.clock.advance(2 * LEASE)
    assert record(books, [result(books, only)]) == []
    assert claim(books) == []


def test_orders_events_come_one_after_another(books: Books) -> None:
    """The next event of an order waits for the one before, even while that waits for a retry."""
    books.endpoint()
    order, other = books.order(), books.order()
    events = books.happen_all([order] * 3)
    aside = books.happen(other)
    spread(books)
    first = claim(books)
    assert [each.event_id for each in first] == [events[0], aside]
    assert claim(books) == []
    record(books, [result(books, first[0], "pending"), result(books, first[1])])
    assert claim(books) == []
    books.clock.advance(seconds=5)
    for event in events:
        (one,) = claim(books)
        assert one.event_id == event
        record(books, [result(books, one)])


def test_failed_event_no_longer_holds_up_its_order(books: Books) -> None:
    """After its last attempt an event steps aside; the order's later events go out."""
    books.endpoint()
    events = books.happen_all([books.order()] * 2)
    spread(books)
    (first,) = claim(books)
    record(books, [result(books, first, "failed")])
    assert [each.event_id for each in claim(books)] == [events[1]]


def test_one_endpoints_trouble_is_not_anothers(books: Books) -> None:
    """Order is kept per endpoint: a second endpoint hears of event 2 while the first waits."""
    slow, quick = books.endpoint().endpoint.id, books.endpoint().endpoint.id
    events = books.happen_all([books.order()] * 2)
    spread(books)
    claims = {each.endpoint_id: each for each in claim(books)}
    record(books, [result(books, claims[slow], "pending"), result(books, claims[quick])])
    assert told(books) == {(events[1], quick)}


def test_senders_claiming_at_once_share_without_overlap(books: Books) -> None:
    """Six senders claim together: every delivery is held by one of them, none by two."""
    books.endpoint()
    books.happen_all(books.orders(30))
    spread(books)
    start = Barrier(6)

    def work(_: int) -> list[int]:
        start.wait(10)
        return [each.delivery_id for _ in range(4) for each in claim(books, limit=3)]

    with ThreadPoolExecutor(6) as pool:
        held = [one for part in pool.map(work, range(6)) for one in part]
    held += [each.delivery_id for each in claim(books)]
    assert len(held) == len(set(held)) == 30


def test_receiver_gets_no_more_at_once_than_its_share(books: Books) -> None:
    """At most so many attempts per host, those in the air counted; other hosts go on."""
    books.endpoint("http://127.0.0.1:7001/a")
    books.endpoint("http://127.0.0.1:7001/b")
    books.endpoint("http://127.0.0.1:7002/")
    books.happen_all(books.orders(4))
    spread(books)
    hosts = [each.host for each in claim(books, per_host=3, in_flight={"127.0.0.1:7001": 1})]
    assert sorted(hosts) == ["127.0.0.1:7001"] * 2 + ["127.0.0.1:7002"] * 3


def test_long_queue_of_one_receiver_hides_nobody(books: Books) -> None:
    """A receiver with hundreds waiting does not keep a later one from being served."""
    for path in ("a", "b", "c"):
        books.endpoint(f"http://127.0.0.1:7001/{path}", HOLDER, "order.accepted")
    books.happen_all(books.orders(80), "order.accepted")
    spread(books)
    books.clock.advance(seconds=1)
    books.endpoint("http://127.0.0.1:7002/", HOLDER, "order.sent")
    books.happen(books.order(), "order.sent")
    spread(books)
    hosts = [each.host for each in claim(books, limit=16, per_host=4)]
    assert hosts == ["127.0.0.1:7001"] * 4 + ["127.0.0.1:7002"]


def test_disabling_fails_what_is_pending(books: Books) -> None:
    """Nothing stays pending for an endpoint that hears no more; what is in the air may land."""
    endpoint = books.endpoint().endpoint
    books.happen(books.order())
    spread(books)
    (held,) = claim(books)
    books.happen(books.order())
    spread(books)
    disable_endpoint(books.database, HOLDER, endpoint.id, books.clock())
    assert claim(books) == []
    assert record(books, [result(books, held)]) == []
    states = [each.state for each in list_deliveries(books.database, HOLDER, endpoint.id, 9).items]
    assert states == ["failed", "delivered"]


def test_sender_that_dies_on_the_last_attempt_leaves_a_visible_failure(books: Books) -> None:
    """A claim counts as an attempt: after ten of them there is no eleventh."""
    endpoint = books.endpoint().endpoint
    books.happen(books.order())
    spread(books)
    last = update(Delivery).values(attempts=ATTEMPTS_MAX - 1)
    books.database.write(lambda session: session.connection().execute(last).close())
    (one,) = claim(books)
    assert one.attempt == ATTEMPTS_MAX
    books.clock.advance(LEASE)
    assert claim(books) == []
    (seen,) = list_deliveries(books.database, HOLDER, endpoint.id, 10).items
    assert (seen.state, seen.done_at, seen.next_at) == ("failed", books.clock(), None)


def test_claim_is_written_when_it_is_given(books: Books) -> None:
    """Before anything is sent the attempt, token and lease are in the store."""
    books.endpoint()
    books.happen(books.order())
    spread(books)
    (one,) = claim(books)
    query = select(col(Delivery.attempts), col(Delivery.claim_token), col(Delivery.lease_until))
    row = books.database.read(lambda session: session.connection().execute(query).one())
    assert tuple(row) == (1, one.token, books.clock() + LEASE)
