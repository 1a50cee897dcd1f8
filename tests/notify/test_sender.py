"""The sender against a real receiver: signed, in order, retried on plan, failures visible."""

from __future__ import annotations

import os
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime, timedelta
from email.utils import format_datetime
from itertools import pairwise
from time import monotonic

import pytest
from sqlalchemy import select
from sqlmodel import col
from structlog.testing import capture_logs

from service.domain.errors import Conflict
from service.notify.deliveries import DeliveryView, list_deliveries, replay_delivery
from service.notify.endpoints import disable_endpoint, enable_endpoint, get_endpoint
from service.notify.retry import ATTEMPTS_MAX, WAITS_S
from service.notify.sealing import Sealer
from service.notify.sender import OUTCOMES, Pace, Sender
from service.notify.signing import verify
from service.notify.transport import GuardedTransport
from service.store.tables import Event
from tests.notify.conftest import HOLDER, Books, local_transport
from tests.notify.receiver import Answer, Receiver, answer, close, hang

# What differs by store is tested in test_outbox and test_sender_running, on both.
pytestmark = [pytest.mark.anyio, pytest.mark.parametrize("store", ["sqlite"])]

QUICK = Pace(deadline_s=0.2, lease_s=1.0)
TRACE = "0af7651916cd43dd8448eb211c80319c"


class Post:
    """A listening receiver, one endpoint at it, and a sender over the real transport."""

    def __init__(self, books: Books, receiver: Receiver, sender: Sender) -> None:
        self.books = books
        self.receiver = receiver
        self.sender = sender
        self.registered = books.endpoint(receiver.url)

    def deliveries(self) -> list[DeliveryView]:
        """Every delivery to the endpoint, oldest first."""
        endpoint_id = self.registered.endpoint.id
        page = list_deliveries(self.books.database, HOLDER, endpoint_id, 100)
        return list(reversed(page.items))

    def only(self) -> DeliveryView:
        """The one delivery there is."""
        (one,) = self.deliveries()
        return one

    def ids_received(self) -> list[str]:
        """The event ids in the order they came."""
        return [each.headers["webhook-id"] for each in self.receiver.received]


@asynccontextmanager
async def posting(
    books: Books, *answers: Answer, otherwise: Answer | None = None, pace: Pace | None = None
) -> AsyncIterator[Post]:
    """Everything in place, with a receiver that gives ``answers`` and then ``otherwise``."""
    async with (
        Receiver(*answers, otherwise=otherwise) as receiver,
        local_transport() as transport,
    ):
        yield Post(books, receiver, books.sender(transport, pace))


def payload_of(books: Books, event_id: str) -> bytes:
    """The bytes the event was written with."""
    query = select(col(Event.payload_json)).where(col(Event.id) == event_id)
    text: str = books.database.read(lambda s: s.connection().execute(query).scalar_one())
    return text.encode()


async def test_event_arrives_signed_over_its_very_bytes(books: Books) -> None:
    """One POST with the stored bytes and exactly the headers of rule W2, believed by a receiver."""
    async with posting(books) as post:
        event = books.happen(books.order(), "order.accepted")
        assert await post.sender.run_once() == 1
        (got,) = post.receiver.received
    assert got.body == payload_of(books, event)
    found = verify([post.registered.secret], got.headers, got.body, books.clock())
    assert found == (event, books.clock())
    assert got.headers["content-type"] == "application/json"
    assert got.headers["user-agent"] == "garment-intake"
    assert set(got.headers) == {
        *("host", "user-agent", "accept", "content-type", "content-length"),
        *("webhook-id", "webhook-timestamp", "webhook-signature"),
    }
    seen = post.only()
    assert (seen.state, seen.attempts, seen.next_at, seen.done_at) == (
        *("delivered", 1, None),
        books.clock(),
    )
    (attempt,) = seen.attempt_list
    assert (attempt.attempt, attempt.status_code, attempt.outcome) == (1, 200, "delivered")


async def test_trace_goes_on_with_a_parent_of_its_own(books: Books) -> None:
    """W3C trace context: the event's trace id and a new parent id each time; none if unknown."""
    async with posting(books, answer(500)) as post:
        books.happen(books.order(), trace_id=TRACE)
        await post.sender.run_once()
        books.clock.advance(seconds=5)
        await post.sender.run_once()
        books.happen(books.order(), trace_id="0" * 32)
        await post.sender.run_once()
        first, second, third = (each.headers for each in post.receiver.received)
    for headers in (first, second):
        assert re.fullmatch(f"00-{TRACE}-(?!0{{16}})[0-9a-f]{{16}}-00", headers["traceparent"])
    assert first["traceparent"] != second["traceparent"]
    assert "traceparent" not in third


async def test_orders_events_arrive_in_order_whatever_the_receiver_does(books: Books) -> None:
    """Events of one order come one by one, each once the one before is through."""
    async with posting(books, answer(500)) as post:
        order = books.order()
        first, second, third = books.happen_all([order] * 3)
        await post.sender.run_until_idle()
        assert post.ids_received() == [first]
        other = books.happen(books.order())
        await post.sender.run_until_idle()
        assert post.ids_received() == [first, other]
        books.clock.advance(seconds=5)
        await post.sender.run_until_idle()
        assert post.ids_received() == [first, other, first, second, third]


async def test_ten_attempts_on_plan_then_a_visible_failure(books: Books) -> None:
    """Each attempt comes when planned, under the same id, with its own time and signature."""
    async with posting(books, otherwise=answer(500)) as post:
        event = books.happen(books.order())
        began = books.clock()
        for wait_s in WAITS_S:
            books.clock.advance(seconds=wait_s - 0.001)
            assert wait_s == 0 or await post.sender.run_once() == 0
            books.clock.advance(seconds=0.001)
            assert await post.sender.run_once() == 1
        books.clock.advance(days=365)
        assert await post.sender.run_once() == 0
        received = post.receiver.received
        seen = post.only()
    assert post.ids_received() == [event] * ATTEMPTS_MAX
    assert len({each.headers["webhook-signature"] for each in received}) == ATTEMPTS_MAX
    times = [int(each.headers["webhook-timestamp"]) for each in received]
    waits = [late - early for early, late in pairwise(times)]
    assert waits == list(WAITS_S[1:])
    last = datetime.fromtimestamp(times[-1], tz=began.tzinfo)
    assert verify([post.registered.secret], received[-1].headers, received[-1].body, last)
    assert (seen.state, seen.attempts, seen.next_at) == ("failed", ATTEMPTS_MAX, None)
    assert [each.attempt for each in seen.attempt_list] == list(range(1, ATTEMPTS_MAX + 1))
    assert {each.outcome for each in seen.attempt_list} == {"refused"}


@pytest.mark.parametrize("asked", ["450", "date"])
async def test_retry_after_is_kept(books: Books, asked: str) -> None:
    """A receiver that asks for a pause within the plan's bounds gets it (RFC 9110, 10.2.3)."""
    after = books.clock() + timedelta(seconds=5 + 450)
    wish = format_datetime(after, usegmt=True) if asked == "date" else asked
    async with posting(books, answer(503), answer(503, f"retry-after: {wish}")) as post:
        books.happen(books.order())
        await post.sender.run_once()
        books.clock.advance(seconds=5)
        await post.sender.run_once()
        next_at = post.only().next_at
        assert next_at is not None
        # The middle of the jitter that only adds: 10 % after the moment asked for.
        assert next_at == books.clock() + timedelta(seconds=450 * 1.1)


@pytest.mark.parametrize("status", [302, 304, 404, 503])
async def test_anything_but_2xx_is_tried_again(books: Books, status: int) -> None:
    """Only 2xx is success; a redirect is a failure and is not followed (rule W7)."""
    async with posting(books, answer(status, "location: /elsewhere"), answer(204)) as post:
        books.happen(books.order())
        await post.sender.run_until_idle()
        assert (post.only().state, len(post.receiver.received)) == ("pending", 1)
        books.clock.advance(seconds=5)
        await post.sender.run_until_idle()
        tried = [(each.status_code, each.outcome) for each in post.only().attempt_list]
    assert tried == [(status, "refused"), (204, "delivered")]


async def test_gone_receiver_is_disabled_and_can_come_back(books: Books) -> None:
    """410 disables the endpoint and fails what waits; enabled again, each can be replayed."""
    async with posting(books, answer(410)) as post:
        first, second = books.happen_all([books.order()] * 2)
        await post.sender.run_until_idle()
        endpoint = get_endpoint(books.database, HOLDER, post.registered.endpoint.id)
        assert endpoint.disabled_at == books.clock()
        assert "410" in endpoint.disabled_reason
        await post.sender.run_until_idle()
        assert [each.state for each in post.deliveries()] == ["failed", "failed"]
        books.happen(books.order())
        await post.sender.run_until_idle()
        assert post.ids_received() == [first]
        waiting = post.deliveries()
        with pytest.raises(Conflict) as caught:
            replay_delivery(books.database, HOLDER, waiting[0].id, books.clock())
        assert caught.value.code == "endpoint-disabled"
        enable_endpoint(books.database, HOLDER, endpoint.id)
        for each in waiting:
            replay_delivery(books.database, HOLDER, each.id, books.clock())
        await post.sender.run_until_idle()
        assert post.ids_received() == [first, first, second]
        assert [each.state for each in post.deliveries()] == ["delivered", "delivered"]


async def test_what_waits_for_a_gone_receiver_fails_at_once(books: Books) -> None:
    """Also what is to be tried much later, with nobody else to be told and nothing due."""
    async with posting(books, answer(500), answer(410)) as post:
        books.happen(books.order())
        await post.sender.run_once()
        assert [each.state for each in post.deliveries()] == ["pending"]
        books.happen(books.order())
        await post.sender.run_once()
        assert [each.state for each in post.deliveries()] == ["failed", "failed"]


async def test_what_waits_fails_when_its_endpoint_is_disabled(books: Books) -> None:
    """At once, not when it is due."""
    async with posting(books, answer(500)) as post:
        books.happen(books.order())
        await post.sender.run_once()
        disable_endpoint(books.database, HOLDER, post.registered.endpoint.id, books.clock())
        assert [each.state for each in post.deliveries()] == ["failed"]


@pytest.mark.parametrize("trouble", [hang, close], ids=["hangs", "closes"])
async def test_missing_answers_all_look_alike(books: Books, trouble: Answer) -> None:
    """No answer is one word, without duration: open and closed ports are not told apart (S6)."""
    async with posting(books, trouble, pace=QUICK) as post:
        books.happen(books.order())
        began = monotonic()
        await post.sender.run_until_idle()
        assert monotonic() - began < 5
        (attempt,) = post.only().attempt_list
        assert (attempt.status_code, attempt.outcome, attempt.duration_ms) == (None, "no_answer", 0)
        assert post.only().state == "pending"
        books.clock.advance(seconds=5)
        await post.sender.run_until_idle()
        assert post.only().state == "delivered"


async def test_closed_port_looks_like_any_missing_answer(books: Books) -> None:
    """Nobody listening is the same word again."""
    async with posting(books) as post:
        books.happen(books.order())
        post.receiver.stop_listening()
        await post.sender.run_until_idle()
        (attempt,) = post.only().attempt_list
    assert (attempt.status_code, attempt.outcome, attempt.duration_ms) == (None, "no_answer", 0)


async def test_forbidden_address_is_never_called(books: Books) -> None:
    """Where private addresses are not allowed, an endpoint that points inside gets nothing."""
    async with (
        Receiver() as receiver,
        GuardedTransport(allow_private=False) as transport,
    ):
        post = Post(books, receiver, books.sender(transport))
        books.happen(books.order())
        with capture_logs() as logs:
            assert await post.sender.run_once() == 1
        assert receiver.connections == 0
        (attempt,) = post.only().attempt_list
    assert (attempt.status_code, attempt.outcome, attempt.duration_ms) == (None, "no_answer", 0)
    assert [each["fault"] for each in logs] == ["AddressRefused"]


async def test_replay_sends_again_under_the_same_id(books: Books) -> None:
    """A delivered event can be sent again by hand, and the receiver knows it by its id."""
    async with posting(books) as post:
        event = books.happen(books.order())
        await post.sender.run_until_idle()
        view = replay_delivery(books.database, HOLDER, post.only().id, books.clock())
        assert (view.state, view.attempts, view.next_at) == ("pending", 0, books.clock())
        await post.sender.run_until_idle()
        assert post.ids_received() == [event, event]
        assert post.only().state == "delivered"
        assert [each.attempt for each in post.only().attempt_list] == [1, 1]


async def test_replay_of_a_waiting_delivery_sends_it_now(books: Books) -> None:
    """Whoever has mended a receiver need not wait for the plan."""
    async with posting(books, answer(500), answer(500)) as post:
        books.happen(books.order())
        await post.sender.run_until_idle()
        books.clock.advance(seconds=5)
        await post.sender.run_until_idle()
        assert post.only().next_at == books.clock() + timedelta(minutes=5)
        replay_delivery(books.database, HOLDER, post.only().id, books.clock())
        await post.sender.run_until_idle()
        assert post.only().state == "delivered"


async def test_wrong_sealing_key_sends_nothing_and_says_so(books: Books) -> None:
    """Without the right key nothing leaves unsigned; the delivery waits and the log tells why."""
    async with posting(books) as post:
        books.happen(books.order())
        books.sealer = Sealer(bytes(range(32)), os.urandom)
        async with local_transport() as transport:
            with capture_logs() as logs:
                await books.sender(transport).run_until_idle()
        assert post.receiver.received == []
        (attempt,) = post.only().attempt_list
    assert attempt.outcome == "not_sent"
    said = [each for each in logs if each["event"] == "webhook_not_sent"]
    assert "sealing key" in said[0]["detail"]


async def test_logs_hold_no_secret_body_or_address(books: Books) -> None:
    """What is logged names ids, never the secret, the payload, the signature or the URL."""
    async with posting(books, answer(500), hang, pace=QUICK) as post:
        books.happen_all(books.orders(3))
        with capture_logs() as logs:
            await post.sender.run_until_idle()
        text = repr(logs)
        assert {each["outcome"] for each in logs} == {"refused", "no_answer", "delivered"}
        for private in (post.registered.secret, "kept private", "v1,", post.receiver.url, "whsec"):
            assert private not in text


async def test_every_outcome_has_its_meaning(books: Books) -> None:
    """The words an attempt can end with are a closed list with explanations."""
    assert set(OUTCOMES) == {"delivered", "refused", "no_answer", "not_sent"}
    with pytest.raises(ValueError, match="lease"):
        Pace(deadline_s=15, lease_s=20)
    async with posting(books) as post:
        assert await post.sender.run_once() == 0


async def test_receiver_is_not_crowded(books: Books) -> None:
    """No more than four requests at a time are in the air to one host."""
    async with posting(books, otherwise=hang, pace=QUICK) as post:
        books.happen_all(books.orders(6))
        assert await post.sender.run_once() == 4
        assert await post.sender.run_once() == 2
