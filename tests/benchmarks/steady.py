"""A steady stream of calls, in its own process: each is sent at its time, whatever the others do.

Unlike the closed loop, a late answer holds nothing back: the next call goes over another connection
or waits for one, and its time counts from when it was due.
"""

from __future__ import annotations

import asyncio
import signal
import time
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Self, cast

import httptools
import uvloop

from tests.benchmarks.load import LOOPBACK

CONNECTIONS = 16
GRACE_S = 20.0


@dataclass(frozen=True, slots=True)
class Stream:
    """One whole HTTP/1.1 request, sent ``per_second`` times a second for ``seconds``."""

    port: int
    request: bytes
    per_second: float
    seconds: float


@dataclass(slots=True)
class Heard:
    """Seconds that each good answer took, and how many calls had none."""

    latencies_s: list[float] = field(default_factory=list)
    failed: int = 0


class StreamProcess:
    """The sender's process, for as long as this context."""

    def __enter__(self) -> Self:
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_work, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()
        return self

    def __exit__(self, *_: object) -> None:
        self._pipe.close()
        self._process.join(GRACE_S)
        self._process.kill()
        self._process.join()

    def send(self, stream: Stream) -> Heard:
        """Send it all and wait for what came of it; ``OSError`` when it does not come back."""
        self._pipe.send(stream)
        if not self._pipe.poll(stream.seconds + 2 * GRACE_S):
            raise OSError("the sender does not answer")
        heard: Heard = self._pipe.recv()
        return heard


def _work(pipe: Connection) -> None:
    """Send streams as they are asked for, until the other end closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    while True:
        try:
            stream: Stream = pipe.recv()
        except EOFError:
            return
        pipe.send(uvloop.run(_send(stream)))


class _Line(asyncio.Protocol):
    """One connection, with one call at a time."""

    def __init__(self) -> None:
        self.transport: asyncio.Transport | None = None
        self._parser = httptools.HttpResponseParser(self)
        self._answer: asyncio.Future[bool] | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.transport = cast("asyncio.Transport", transport)

    async def ask(self, request: bytes) -> bool:
        """Whether the answer was a good one."""
        self._answer = asyncio.get_running_loop().create_future()
        if self.transport is None or self.transport.is_closing():
            return False
        self.transport.write(request)
        return await self._answer

    def data_received(self, data: bytes) -> None:
        self._parser.feed_data(data)

    def on_message_complete(self) -> None:
        """Called by the parser."""
        self._end(good=200 <= self._parser.get_status_code() < 300)

    def connection_lost(self, _: Exception | None) -> None:
        self._end(good=False)

    def _end(self, *, good: bool) -> None:
        if self._answer is not None and not self._answer.done():
            self._answer.set_result(good)


async def _send(stream: Stream) -> Heard:
    loop = asyncio.get_running_loop()
    free: asyncio.Queue[_Line] = asyncio.Queue()
    for _ in range(CONNECTIONS):
        free.put_nowait((await loop.create_connection(_Line, LOOPBACK, stream.port))[1])
    heard = Heard()
    calls = []
    started = time.perf_counter()
    for number in range(int(stream.per_second * stream.seconds)):
        await asyncio.sleep(started + number / stream.per_second - time.perf_counter())
        calls.append(asyncio.create_task(_call(free, stream.request, heard)))
    _, late = await asyncio.wait(calls, timeout=GRACE_S)
    heard.failed += len(late)
    while not free.empty():
        transport = free.get_nowait().transport
        if transport is not None:
            transport.close()
    return heard


async def _call(free: asyncio.Queue[_Line], request: bytes, heard: Heard) -> None:
    due = time.perf_counter()
    line = await free.get()
    if await line.ask(request):
        heard.latencies_s.append(time.perf_counter() - due)
    else:
        heard.failed += 1
    free.put_nowait(line)
