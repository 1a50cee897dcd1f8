"""A storefront's side of the webhooks, for the demonstration: receive, verify, keep."""

from __future__ import annotations

import json
import queue
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from service.assembly import utc_now
from service.notify.signing import SignatureRefused, verify

LOOPBACK = "127.0.0.1"
PATH = "/told"
_LARGEST_BODY = 65_536


class Receiver:
    """Events that came with a fitting signature, in the order they came."""

    def __init__(self) -> None:
        """Start with no secret: until one is set, nothing verifies."""
        self.address = ""
        self.secret = ""
        self.told: queue.Queue[tuple[str, dict[str, Any]]] = queue.Queue()


@contextmanager
def receiving() -> Iterator[Receiver]:
    """A receiver on a free port of this machine, for as long as the context lasts."""
    receiver = Receiver()
    server = ThreadingHTTPServer((LOOPBACK, 0), _handler_for(receiver))
    receiver.address = f"http://{LOOPBACK}:{server.server_address[1]}{PATH}"
    thread = threading.Thread(target=server.serve_forever, name="receiver", daemon=True)
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def _handler_for(receiver: Receiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            """Verify over the very bytes that came, then keep the event."""
            length = min(int(self.headers.get("content-length", 0)), _LARGEST_BODY)
            body = self.rfile.read(length)
            try:
                message_id, _ = verify(
                    [receiver.secret], dict(self.headers.items()), body, utc_now()
                )
            except (SignatureRefused, ValueError):
                self.send_response(401)
            else:
                receiver.told.put((message_id, json.loads(body)))
                self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - as inherited
            """Say nothing: the demonstration prints what was received."""

    return Handler
