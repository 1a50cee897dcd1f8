"""A call made straight to the ASGI door, for what no HTTP client would send or show."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any

from starlette.types import ASGIApp, Message


class Call:
    """One request, and what became of it."""

    def __init__(
        self, method: str, path: str, headers: Mapping[str, str] | None = None, query: bytes = b""
    ) -> None:
        self.scope: dict[str, Any] = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": path,
            "raw_path": path.encode(),
            "query_string": query,
            "root_path": "",
            "headers": [(k.lower().encode(), v.encode()) for k, v in (headers or {}).items()],
            "client": ("127.0.0.1", 1),
            "server": ("127.0.0.1", 80),
        }
        self.sent: list[Message] = []
        self.chunks_taken = 0

    @property
    def status(self) -> int:
        """The status that was answered."""
        return int(self.sent[0]["status"])

    @property
    def headers(self) -> dict[str, str]:
        """The headers that were answered."""
        return {name.decode(): value.decode() for name, value in self.sent[0]["headers"]}

    @property
    def body(self) -> bytes:
        """The body that was answered, as far as it got."""
        return b"".join(m.get("body", b"") for m in self.sent[1:])

    def run(self, app: ASGIApp, chunks: Sequence[bytes] = (), *, leaves: bool = False) -> None:
        """Call ``app`` with a body of ``chunks``, after which the caller may leave early."""
        messages: list[Message] = [
            {"type": "http.request", "body": chunk, "more_body": True} for chunk in chunks
        ]
        messages.append(
            {"type": "http.disconnect"} if leaves else {"type": "http.request", "body": b""}
        )

        async def receive() -> Message:
            if self.chunks_taken == len(messages):
                await asyncio.Event().wait()  # a caller who stays, and has no more to say
            self.chunks_taken += 1
            return messages[self.chunks_taken - 1]

        async def send(message: Message) -> None:
            self.sent.append(message)

        async def call() -> None:
            await app(self.scope, receive, send)

        asyncio.run(asyncio.wait_for(call(), timeout=10))
