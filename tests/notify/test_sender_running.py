"""The sender as it runs in service: woken, stopped, beside others, and when the store fails."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from threading import Lock
from typing import TypeVar

import httpx
import pytest
from sqlmodel import Session
from structlog.testing import capture_logs

from service.domain.errors import Unavailable
from service.notify.deliveries import list_deliveries
from service.notify.sender import Pace, Sender
from service.notify.signing import verify
from service.store.database import Database
from tests.notify.conftest import HOLDER, Books, local_transport
from tests.notify.receiver import Receiver, answer

pytestmark = pytest.mark.anyio

T = TypeVar("T")
PATIENCE_S = 20.0


class Counting(httpx.AsyncBaseTransport):
    """Answers 200 and counts what comes, from any number of threads."""

    def __init__(self) -> None:
        self.ids: list[str] = []
        self._lock = Lock()

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Note the event and give the loop a chance to mix things up."""
        await asyncio.sleep(0)
        with self._lock:
            self.ids.append(request.headers["webhook-id"])
        return httpx.Response(200)


class Failing(Database):
    """A store of which the next calls of a kind fail, and which counts its writes."""

    failing_reads = 0
    failing_writes = 0
    writes = 0

    def read(self, work: Callable[[Session], T]) -> T:
        """Fail while told to."""
        if self.failing_reads > 0:
            self.failing_reads -= 1
            raise Unavailable("store-unavailable", "away", retry_after_s=1)
        return super().read(work)

    def write(self, work: Callable[[Session], T]) -> T:
        """Fail while told to."""
        self.writes += 1
        if self.failing_writes > 0:
            self.failing_writes -= 1
            raise Unavailable("store-unavailable", "away", retry_after_s=1)
        return super().write(work)


@pytest.fixture
def failing(store_url: str) -> Iterator[Failing]:
    """A second door to the same store, which can be made to fail."""
    opened = Failing.open(store_url)
    assert isinstance(opened, Failing)
    yield opened
    opened.close()


async def until(holds: Callable[[], bool]) -> None:
    """Wait, within bounds, for something another task brings about."""
    async with asyncio.timeout(PATIENCE_S):
        while not holds():  # noqa: ASYNC110 -- what is waited for is in the store
            await asyncio.sleep(0.005)


def states(books: Books, endpoint_id: str) -> Counter[str]:
    """How many deliveries are in which state."""
    page = list_deliveries(books.database, HOLDER, endpoint_id, 100)
    return Counter(each.state for each in page.items)


def outcomes(books: Books, endpoint_id: str) -> list[str]:
    """What came of the attempts so far at the newest delivery, if there is one."""
    page = list_deliveries(books.database, HOLDER, endpoint_id, 1)
    return [each.outcome for item in page.items for each in item.attempt_list]


@pytest.mark.parametrize("senders", [2, 4])
def test_senders_side_by_side_send_each_event_once_and_in_order(books: Books, senders: int) -> None:
    """Several senders in threads of their own: nothing twice, nothing lost, orders in order."""
    endpoint_id = books.endpoint().endpoint.id
    orders = books.orders(8)
    events = books.happen_all(orders * 4)
    transport = Counting()

    def run(_: int) -> int:
        return asyncio.run(books.sender(transport).run_until_idle())

    with ThreadPoolExecutor(senders) as pool:
        sent = sum(pool.map(run, range(senders)))
    sent += asyncio.run(books.sender(transport).run_until_idle())
    assert sent == 32
    assert Counter(transport.ids) == Counter(events)
    assert states(books, endpoint_id) == {"delivered": 32}
    for place in range(8):
        mine = events[place::8]
        assert [event for event in transport.ids if event in mine] == mine


async def test_wakes_at_once_and_stops_when_told(books: Books) -> None:
    """Woken, it sends without waiting for the next look; stopped, it ends; ``wake`` is reset."""
    stop, wake = asyncio.Event(), asyncio.Event()
    async with Receiver() as receiver, local_transport() as transport:
        books.endpoint(receiver.url)
        sender = books.sender(transport)
        running = asyncio.create_task(sender.run_forever(stop, poll_s=600, wake=wake))
        await until(lambda: sender.last_turn_at is not None)
        books.happen(books.order())
        wake.set()
        await until(lambda: len(receiver.received) == 1)
        books.happen(books.order())
        wake.set()
        await until(lambda: len(receiver.received) == 2)
        await until(lambda: not wake.is_set())
        stop.set()
        await asyncio.wait_for(running, PATIENCE_S)


async def test_looks_by_itself_without_being_woken(books: Books) -> None:
    """Events of another process are found by looking; a retry comes when it is due."""
    stop = asyncio.Event()
    async with (
        Receiver(answer(500)) as receiver,
        local_transport() as transport,
    ):
        endpoint_id = books.endpoint(receiver.url).endpoint.id
        running = asyncio.create_task(books.sender(transport).run_forever(stop, poll_s=0.01))
        books.happen(books.order())
        await until(lambda: outcomes(books, endpoint_id) == ["refused"])
        books.clock.advance(seconds=5)
        await until(lambda: outcomes(books, endpoint_id) == ["refused", "delivered"])
        stop.set()
        await asyncio.wait_for(running, PATIENCE_S)


async def test_events_that_nobody_hears_are_spread_and_nothing_is_claimed(
    books: Books, failing: Failing
) -> None:
    """Without an endpoint a turn writes once: where it spreads."""
    books.happen_all(books.orders(2))
    sender = books.sender(Counting(), database=failing)
    assert await sender.run_until_idle() == 0
    assert failing.writes == 1
    books.endpoint()
    books.happen(books.order())
    assert await sender.run_until_idle() == 1


async def test_stopping_finishes_what_is_in_the_air(books: Books) -> None:
    """A request under way when the stop comes is finished and its result written."""
    stop, released = asyncio.Event(), asyncio.Event()

    async def slow(writer: asyncio.StreamWriter) -> None:
        await released.wait()
        await answer(200)(writer)

    async with Receiver(slow) as receiver, local_transport() as transport:
        endpoint_id = books.endpoint(receiver.url).endpoint.id
        books.happen(books.order())
        running = asyncio.create_task(books.sender(transport).run_forever(stop, poll_s=600))
        await until(lambda: len(receiver.received) == 1)
        books.happen(books.order())
        stop.set()
        assert not running.done()
        released.set()
        await asyncio.wait_for(running, PATIENCE_S)
        assert states(books, endpoint_id)["delivered"] == 1
        assert len(receiver.received) == 1


async def test_cancelled_sender_leaves_its_claims_to_their_leases(books: Books) -> None:
    """A sender that is cut off has used its attempt; another sends once the lease is over."""
    never = asyncio.Event()

    async def slow(writer: asyncio.StreamWriter) -> None:
        await never.wait()
        writer.close()

    async with Receiver(slow) as receiver, local_transport() as transport:
        endpoint_id = books.endpoint(receiver.url).endpoint.id
        books.happen(books.order())
        first = asyncio.create_task(books.sender(transport).run_forever(never, poll_s=0.01))
        await until(lambda: len(receiver.received) == 1)
        first.cancel()
        with pytest.raises(asyncio.CancelledError):
            await first
        other = books.sender(transport)
        assert await other.run_until_idle() == 0
        books.clock.advance(seconds=Pace().lease_s)
        assert await other.run_until_idle() == 1
        page = list_deliveries(books.database, HOLDER, endpoint_id, 10)
        assert [each.attempt for each in page.items[0].attempt_list] == [2]
        assert page.items[0].state == "delivered"


async def test_survives_a_store_that_is_away(books: Books, failing: Failing) -> None:
    """While the store is away the sender says so, waits longer each time, and then goes on."""
    stop = asyncio.Event()
    transport = Counting()
    endpoint_id = books.endpoint().endpoint.id
    books.happen(books.order())
    failing.failing_reads = failing.failing_writes = 2
    sender = books.sender(transport, database=failing)
    with capture_logs() as logs:
        running = asyncio.create_task(sender.run_forever(stop, poll_s=0.001))
        await until(lambda: states(books, endpoint_id) == {"delivered": 1})
        stop.set()
        await asyncio.wait_for(running, PATIENCE_S)
    said = [each for each in logs if each["event"] == "webhook_turn_failed"]
    assert [each["fault"] for each in said] == ["Unavailable"] * 4
    waits = [each["retry_in_s"] for each in said]
    assert waits[0] < waits[1]
    assert max(waits) <= 60
    assert len(transport.ids) == 1


@pytest.mark.parametrize("store", ["sqlite"])
async def test_survives_a_store_that_is_away_for_days(books: Books, failing: Failing) -> None:
    """However often the store has failed, the next turn still comes."""
    stop = asyncio.Event()
    failing.failing_reads = 1_100
    sender = books.sender(Counting(), database=failing)
    with capture_logs():
        running = asyncio.create_task(sender.run_forever(stop, poll_s=1e-9))
        await until(lambda: sender.last_turn_at is not None)
        stop.set()
        await asyncio.wait_for(running, PATIENCE_S)


async def test_result_is_kept_until_the_store_takes_it(books: Books, failing: Failing) -> None:
    """A result the store refuses is written later; what was sent is not sent again for it."""
    stop = asyncio.Event()
    endpoint_id = books.endpoint().endpoint.id

    class FailsAfterwards(Counting):
        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            failing.failing_writes = 3
            return await super().handle_async_request(request)

    transport = FailsAfterwards()
    books.happen(books.order())
    with capture_logs():
        sender = books.sender(transport, database=failing)
        running = asyncio.create_task(sender.run_forever(stop, poll_s=0.001))
        await until(lambda: states(books, endpoint_id) == {"delivered": 1})
        stop.set()
        await asyncio.wait_for(running, PATIENCE_S)
    assert len(transport.ids) == 1


async def test_stop_gives_up_on_a_store_that_stays_away(books: Books, failing: Failing) -> None:
    """Stopping ends though the last result cannot be written; the lease sees to it then."""
    stop = asyncio.Event()
    books.endpoint()

    class FailsForGood(Counting):
        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            failing.failing_writes = 1_000
            stop.set()
            return await super().handle_async_request(request)

    books.happen(books.order())
    with capture_logs() as logs:
        sender = books.sender(FailsForGood(), database=failing)
        await asyncio.wait_for(sender.run_forever(stop, poll_s=0.001), PATIENCE_S)
    assert "webhook_record_failed" in {each["event"] for each in logs}


async def test_late_result_is_said_and_dropped(books: Books) -> None:
    """What comes back after another sender took over is not written, and the log says so."""
    books.endpoint()
    books.happen(books.order())
    sender = books.sender(Counting())
    await sender.spread()
    (first,) = await sender.claim(1)
    late = await sender.deliver(first)
    books.clock.advance(seconds=Pace().lease_s)
    (second,) = await sender.claim(1)
    with capture_logs() as logs:
        assert await sender.record([late]) == 0
        assert await sender.record([await sender.deliver(second)]) == 1
    assert [each["event"] for each in logs] == ["webhook_result_dropped", "webhook_attempted"]
    await sender.aclose()


async def test_run_once_passes_store_errors_on(books: Books, failing: Failing) -> None:
    """Called by hand, the sender hides nothing."""
    failing.failing_reads = 1
    sender: Sender = books.sender(Counting(), database=failing)
    with pytest.raises(Unavailable):
        await sender.run_once()


async def test_many_events_pass_in_one_run(books: Books) -> None:
    """More events than there is room for at a time are all told, over few connections."""
    async with Receiver() as receiver, local_transport() as transport:
        secret = books.endpoint(receiver.url).secret
        books.happen_all(books.orders(15) * 2)
        assert await books.sender(transport).run_until_idle() == 30
        for got in receiver.received:
            verify([secret], got.headers, got.body, books.clock())
        assert receiver.connections <= Pace().per_host
