"""The load generator: a closed loop of keep-alive connections to this machine, in its own process.

Each connection sends a request, waits for the whole answer, and sends the next, until the time or
the requests run out; what is under way is finished and counted. So many connections mean so many
requests at once: an answer that is late holds back the next request, as in any closed loop.
"""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import cast

import httptools
import uvloop

from tests.benchmarks.figures import Burst

LOOPBACK = "127.0.0.1"
GRACE_S = 20.0
"""How long past its time a burst may last before it is broken off."""


@dataclass(frozen=True, slots=True)
class Job:
    """A burst to send: whole HTTP/1.1 requests in turn, begun anew at the end if ``repeat``.

    Each connection sends one request at least; none is sent ``seconds`` after the first. Answers
    of 200 to 299 are good.
    """

    port: int
    requests: tuple[bytes, ...]
    repeat: bool
    connections: int
    seconds: float


class LoadProcess:
    """The generator's process, as the one who gives it work meets it."""

    def __init__(self, pipe: Connection) -> None:
        """Use :func:`load_process`."""
        self._pipe = pipe

    def burst(self, job: Job) -> Burst:
        """Send a burst and wait for what came of it; ``OSError`` when it does not come back."""
        self._pipe.send(job)
        if not self._pipe.poll(job.seconds + 2 * GRACE_S):
            raise OSError("the load generator does not answer")
        burst: Burst = self._pipe.recv()
        return burst


@contextmanager
def load_process() -> Iterator[LoadProcess]:
    """A load generator that lives as long as this context."""
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_work, args=(theirs,), daemon=True)
    process.start()
    theirs.close()
    try:
        yield LoadProcess(ours)
    finally:
        ours.close()
        process.join(GRACE_S)
        process.kill()
        process.join()


def _work(pipe: Connection) -> None:
    """Send bursts as they are asked for, until the other end closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    while True:
        try:
            job: Job = pipe.recv()
        except EOFError:
            return
        pipe.send(uvloop.run(_send(job)))


@dataclass(slots=True)
class _Burst:
    """A burst under way, shared by its connections."""

    job: Job
    sent: int = 0
    ends_at: float = 0.0
    latencies_s: list[float] = field(default_factory=list)
    failed: int = 0

    def following(self) -> bytes | None:
        """The next request; None when time or requests have run out."""
        requests = self.job.requests
        if self.sent >= self.job.connections and time.perf_counter() >= self.ends_at:
            return None
        if not self.job.repeat and self.sent >= len(requests):
            return None
        self.sent += 1
        return requests[(self.sent - 1) % len(requests)]

    def note(self, status: int, latency_s: float) -> None:
        """Count an answer."""
        if 200 <= status < 300:
            self.latencies_s.append(latency_s)
        else:
            self.failed += 1


class _Caller(asyncio.Protocol):
    """One connection: a request at a time."""

    def __init__(self, burst: _Burst) -> None:
        self._burst = burst
        self._transport: asyncio.Transport | None = None
        self._answer = httptools.HttpResponseParser(self)
        self._sent_at: float | None = None
        self.done = asyncio.get_running_loop().create_future()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)

    def send_next(self) -> None:
        """Send the next request, or end."""
        request = self._burst.following()
        if request is None or self._transport is None:
            self._end()
            return
        self._sent_at = time.perf_counter()
        self._transport.write(request)

    def data_received(self, data: bytes) -> None:
        self._answer.feed_data(data)

    def on_message_complete(self) -> None:
        """Note the answer and send the next request; called by the parser."""
        if self._sent_at is not None:
            self._burst.note(self._answer.get_status_code(), time.perf_counter() - self._sent_at)
        self._sent_at = None
        self.send_next()

    def connection_lost(self, _: Exception | None) -> None:
        if self._sent_at is not None:
            self._burst.failed += 1
        self._end()

    def _end(self) -> None:
        self._sent_at = None
        if not self.done.done():
            self.done.set_result(None)
        if self._transport is not None:
            self._transport.close()


async def _send(job: Job) -> Burst:
    """Open every connection, then send the burst over all of them."""
    loop = asyncio.get_running_loop()
    burst = _Burst(job)
    callers = []
    for _ in range(job.connections):
        opened = await loop.create_connection(lambda: _Caller(burst), LOOPBACK, job.port)
        callers.append(opened[1])
    started = time.perf_counter()
    burst.ends_at = started + job.seconds
    for caller in callers:
        caller.send_next()
    _, late = await asyncio.wait([caller.done for caller in callers], timeout=job.seconds + GRACE_S)
    elapsed_s = time.perf_counter() - started
    return Burst(tuple(burst.latencies_s), elapsed_s, burst.failed + len(late))
