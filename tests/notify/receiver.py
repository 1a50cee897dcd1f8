"""A receiver of webhooks on 127.0.0.1 that records what comes and answers as told."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Self

Writer = asyncio.StreamWriter
Answer = Callable[[Writer], Awaitable[None]]


@dataclass(frozen=True)
class Received:
    """One request as it came over the wire; header names in lower case."""

    method: str
    target: str
    headers: dict[str, str]
    body: bytes


def answer(status: int, *headers: str, body: bytes = b"") -> Answer:
    """Answer with ``status``, further header lines and a body, keeping the connection."""
    lines = [f"HTTP/1.1 {status} Word", f"content-length: {len(body)}", *headers]

    async def write(writer: Writer) -> None:
        writer.write("\r\n".join(lines).encode() + b"\r\n\r\n" + body)

    return write


async def hang(_writer: Writer) -> None:
    """Never answer."""
    await asyncio.Event().wait()


async def close(writer: Writer) -> None:
    """Close without an answer."""
    writer.close()


class Receiver:
    """Answers each request with the next of ``answers``, and with ``otherwise`` after them."""

    def __init__(
        self, *answers: Answer, otherwise: Answer | None = None, tls: ssl.SSLContext | None = None
    ) -> None:
        self.received: list[Received] = []
        self.connections = 0
        self._answers = list(answers)
        self._otherwise = otherwise or answer(200)
        self._tls = tls
        self._running: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0, ssl=self._tls)
        self.port: int = self._server.sockets[0].getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}/hooks"
        return self

    def stop_listening(self) -> None:
        """Close the port."""
        self._server.close()

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.close()
        for task in self._running:
            task.cancel()
        await asyncio.gather(*self._running, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: Writer) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._running.add(task)
        self.connections += 1
        try:
            while not writer.is_closing():
                self.received.append(await _read(reader))
                await (self._answers.pop(0) if self._answers else self._otherwise)(writer)
                await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        except asyncio.CancelledError:
            writer.transport.abort()
        finally:
            writer.close()
            self._running.discard(task)


async def _read(reader: asyncio.StreamReader) -> Received:
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    first, *lines = head.rstrip().split("\r\n")
    method, target, _ = first.split(" ")
    headers = {name.lower(): value.strip() for name, _, value in (x.partition(":") for x in lines)}
    body = await reader.readexactly(int(headers.get("content-length", "0")))
    return Received(method, target, headers, body)
