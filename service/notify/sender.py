"""The sender: turns new events into deliveries, sends what is due, records what came of it.

Any number of senders may run, in one process or many: the store decides who holds a delivery. A
claim is committed before anything is sent and outlives the request's deadline, so no delivery is
sent twice unless its sender died, and none is lost if it did.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import math
import re
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TypeVar

import anyio.to_thread
import httpx
import structlog
from sqlalchemy.orm import Session

from service.notify import claims, outbox
from service.notify.claims import Claimed
from service.notify.outbox import Result, Spread
from service.notify.retry import Verdict, next_attempt_at, verdict_of
from service.notify.sealing import KeyFault, Sealer
from service.notify.signing import sign
from service.notify.transport import Reply, post
from service.store.database import Database

T = TypeVar("T")

DELIVERED = "delivered"
REFUSED = "refused"
NO_ANSWER = "no_answer"
NOT_SENT = "not_sent"
OUTCOMES: dict[str, str] = {
    DELIVERED: "The receiver answered 2xx.",
    REFUSED: "The receiver answered something else than 2xx.",
    NO_ANSWER: "No answer came within the deadline, or no connection was made.",
    NOT_SENT: "The shop could not sign or send it; the shop's log says why.",
}
"""Words for an attempt. A caller is not told one kind of missing answer from another (rule S6)."""

_TRACE_ID = re.compile(r"(?!0{32})[0-9a-f]{32}")
_BACK_OFF_MAX_S = 60.0
_GATHER_S = 0.05
_GATHER_IDLE_S = 0.5
_DOUBLINGS_MAX = 10
_LAST_RECORD_TRIES = 3

log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class Pace:
    """Bounds of a sender. Times in seconds; ``lease_s`` must outlive ``deadline_s``."""

    concurrency: int = 16
    per_host: int = 4
    deadline_s: float = 15.0
    lease_s: float = 60.0

    def __post_init__(self) -> None:
        """Refuse a lease that ends while its request may still run."""
        if self.lease_s < 2 * self.deadline_s:
            raise ValueError("The lease must last at least twice the request's deadline.")


class Sender:
    """Sends webhooks from one event loop; store work runs in threads.

    ``new_id`` makes an unguessable identifier with a prefix; ``random_fraction`` gives a number
    from 0 up to 1, which spreads retries.
    """

    def __init__(
        self,
        database: Database,
        transport: httpx.AsyncBaseTransport,
        sealer: Sealer,
        clock: Callable[[], datetime],
        new_id: Callable[[str], str],
        random_fraction: Callable[[], float],
        pace: Pace | None = None,
    ) -> None:
        self._database = database
        self._transport = transport
        self._sealer = sealer
        self._clock = clock
        self._new_id = new_id
        self._random_fraction = random_fraction
        self._pace = pace or Pace()
        self._in_flight: dict[asyncio.Task[Result], str] = {}
        self._unrecorded: list[Result] = []
        self._gathered_at = -math.inf
        self.last_turn_at: datetime | None = None
        """When the store was last reached, for a readiness check; None before the first turn."""

    async def spread(self) -> Spread:
        """Make the deliveries of new events, in one transaction."""
        now = self._clock()
        return await self._write(partial(outbox.spread_events, now=now))

    async def claim(self, limit: int) -> list[Claimed]:
        """Hold up to ``limit`` due deliveries, counting their attempt, committed on return."""
        work = partial(
            claims.claim_due,
            now=self._clock(),
            token=self._new_id("claim"),
            limit=limit,
            lease=timedelta(seconds=self._pace.lease_s),
            per_host=self._pace.per_host,
            in_flight=Counter(self._in_flight.values()),
        )
        return await self._write(work)

    async def deliver(self, claimed: Claimed) -> Result:
        """Send one claimed delivery and judge the answer; raises nothing a receiver can cause."""
        loop, began_at = asyncio.get_running_loop(), self._clock()
        began = loop.time()
        answer = await self._send(claimed, began_at)
        duration_ms = round(1_000 * (loop.time() - began))
        result = self._judge(claimed, answer, began_at, duration_ms)
        log.info(
            "webhook_attempted",
            outcome=result.outcome,
            status=result.status,
            fault=answer.fault,
            duration_ms=duration_ms,
            **_names(claimed),
        )
        return result

    async def record(self, results: Iterable[Result]) -> int:
        """Write results whose claim still holds; gives how many. Late ones are dropped."""
        kept = list(results)
        dropped = await self._write(partial(outbox.record_results, results=kept))
        for result in dropped:
            log.warning("webhook_result_dropped", **_names(result.claimed))
        return len(kept) - len(dropped)

    async def run_once(self) -> int:
        """Spread, claim what there is room for, send it and record it; gives how many were sent."""
        await self._turn()
        started = len(self._in_flight)
        await self._land()
        return started

    async def run_until_idle(self) -> int:
        """``run_once`` again and again until nothing is due now; gives how many were sent."""
        total = 0
        while True:
            more = await self._turn()
            started = len(self._in_flight)
            await self._land()
            total += started
            if not (more or started):
                return total

    async def run_forever(
        self, stop: asyncio.Event, poll_s: float = 1.0, wake: asyncio.Event | None = None
    ) -> None:
        """Send until ``stop`` is set, then finish what is in the air and return.

        Looks every ``poll_s`` seconds and whenever ``wake`` is set (it is cleared here). When the
        store fails it waits longer each time, up to a minute, and goes on. Cancelling leaves claims
        to their leases.
        """
        failures = 0
        try:
            while not stop.is_set():
                wait_s = poll_s
                try:
                    if await self._turn():
                        wait_s = 0.0
                    failures = 0
                except Exception as error:  # noqa: BLE001 -- logged; the sender must outlive it
                    failures += 1
                    wait_s = min(_BACK_OFF_MAX_S, poll_s * 2 ** min(failures, _DOUBLINGS_MAX))
                    _log_failure("webhook_turn_failed", error, retry_in_s=wait_s)
                await self._pause(wait_s, stop, wake)
            await self._land_surely(poll_s)
        finally:
            while self._in_flight:
                self._in_flight.popitem()[0].cancel()

    async def aclose(self) -> None:
        """Close the connections kept to receivers, once no run is under way."""
        await self._transport.aclose()

    async def _turn(self) -> bool:
        """Record, spread, claim and launch once; True if there may be more to do at once."""
        await self._record_landed()
        now = self._clock()
        waiting = await self._read(partial(claims.look, now=now))
        self.last_turn_at = now
        spread = await self.spread() if waiting.events else Spread()
        free = self._pace.concurrency - len(self._in_flight)
        if free > 0 and (waiting.deliveries or spread.deliveries):
            for each in await self.claim(free):
                self._in_flight[asyncio.create_task(self.deliver(each))] = each.host
        return spread.events == outbox.SPREAD_EVENTS_MAX

    async def _land(self) -> None:
        """Wait for every request in the air and record it."""
        if self._in_flight:
            await asyncio.wait(self._in_flight)
        await self._record_landed()

    async def _land_surely(self, poll_s: float) -> None:
        for attempt in range(1, _LAST_RECORD_TRIES + 1):
            try:
                await self._land()
            except Exception as error:  # noqa: BLE001 -- logged; the leases see to what is left
                _log_failure("webhook_record_failed", error, attempt=attempt)
                await asyncio.sleep(poll_s)
            else:
                return

    async def _record_landed(self) -> None:
        """Record finished attempts; what the store refuses is kept for the next time."""
        for task in [task for task in self._in_flight if task.done()]:
            del self._in_flight[task]
            self._unrecorded.append(task.result())
        if self._unrecorded:
            await self.record(self._unrecorded)
            self._unrecorded = []

    async def _pause(self, wait_s: float, stop: asyncio.Event, wake: asyncio.Event | None) -> None:
        """Until a request lands, a signal is set, or ``wait_s`` is over."""
        events = [stop] if wake is None else [stop, wake]
        signals = [asyncio.create_task(event.wait()) for event in events]
        try:
            await asyncio.wait(
                [*signals, *self._in_flight],
                timeout=wait_s,
                return_when=asyncio.FIRST_COMPLETED,
            )
        finally:
            for signal in signals:
                signal.cancel()
        if wake is not None and wake.is_set():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stop.wait(), self._gather_s())
            self._gathered_at = asyncio.get_running_loop().time()
            wake.clear()

    def _gather_s(self) -> float:
        """How long to wait for more, once woken.

        What comes in a burst is told together, for each turn costs transactions of its own. Where
        nothing is in the air, and so no receiver waits for the turn, there is time for more.
        """
        if self._in_flight:
            return _GATHER_S
        since_s = asyncio.get_running_loop().time() - self._gathered_at
        return max(_GATHER_S, _GATHER_IDLE_S - since_s)

    async def _send(self, claimed: Claimed, at: datetime) -> Reply:
        """The receiver's answer; a fault of the shop's own is logged and given as ``NOT_SENT``."""
        try:
            body = claimed.payload_json.encode()
            secret = self._sealer.open(claimed.secret_sealed, claimed.endpoint_id)
            headers = _headers(claimed, int(at.timestamp()), secret, body)
            return await post(self._transport, claimed.url, body, headers, self._pace.deadline_s)
        except Exception as error:  # noqa: BLE001 -- logged; one bad row must not stop the others
            _log_failure("webhook_not_sent", error, **_names(claimed))
            return Reply(None, fault=NOT_SENT)

    def _judge(
        self, claimed: Claimed, answer: Reply, began_at: datetime, duration_ms: int
    ) -> Result:
        now, verdict = self._clock(), verdict_of(answer.status)
        next_at = None
        if verdict is Verdict.RETRY:
            next_at = next_attempt_at(
                claimed.attempt,
                now,
                self._random_fraction(),
                answer.status,
                answer.retry_after,
            )
        final = "delivered" if verdict is Verdict.DELIVERED else "failed"
        return Result(
            claimed=claimed,
            began_at=began_at,
            ended_at=now,
            duration_ms=duration_ms if answer.status else 0,
            status=answer.status,
            outcome=_outcome(answer, verdict),
            state="pending" if next_at else final,
            next_at=next_at,
            endpoint_gone=verdict is Verdict.ENDPOINT_GONE,
        )

    async def _write(self, work: Callable[[Session], T]) -> T:
        return await anyio.to_thread.run_sync(self._database.write, work)

    async def _read(self, work: Callable[[Session], T]) -> T:
        return await anyio.to_thread.run_sync(self._database.read, work)


def _headers(claimed: Claimed, timestamp_s: int, secret: str, body: bytes) -> dict[str, str]:
    """Headers of one attempt (rule W2): the id stays the event's, time and signature are new."""
    headers = {
        "content-type": "application/json",
        "webhook-id": claimed.event_id,
        "webhook-timestamp": str(timestamp_s),
        "webhook-signature": sign(secret, claimed.event_id, timestamp_s, body),
    }
    if _TRACE_ID.fullmatch(claimed.trace_id):
        headers["traceparent"] = _traceparent(claimed)
    return headers


def _traceparent(claimed: Claimed) -> str:
    """The event's trace with a parent id of this attempt's own (rules T1 and T2)."""
    attempt = f"{claimed.delivery_id}.{claimed.attempt}.{claimed.token}"
    return f"00-{claimed.trace_id}-{hashlib.sha256(attempt.encode()).hexdigest()[:16]}-00"


def _outcome(answer: Reply, verdict: Verdict) -> str:
    if verdict is Verdict.DELIVERED:
        return DELIVERED
    if answer.status is not None:
        return REFUSED
    return NOT_SENT if answer.fault == NOT_SENT else NO_ANSWER


def _names(claimed: Claimed) -> dict[str, str | int]:
    """What a log line may say of a delivery: no address, no secret, no payload."""
    return {
        "delivery_id": claimed.delivery_id,
        "endpoint_id": claimed.endpoint_id,
        "event_id": claimed.event_id,
        "event_type": claimed.event_type,
        "attempt": claimed.attempt,
        "trace_id": claimed.trace_id,
    }


def _log_failure(event: str, error: Exception, **more: object) -> None:
    """Log what failed and where; of its text only that of our own faults, which hold no secret."""
    frame = error.__traceback__
    while frame is not None and frame.tb_next is not None:
        frame = frame.tb_next
    where = f"{frame.tb_frame.f_code.co_qualname}:{frame.tb_lineno}" if frame else ""
    detail = str(error) if isinstance(error, KeyFault) else ""
    log.error(event, fault=type(error).__name__, where=where, detail=detail, **more)
