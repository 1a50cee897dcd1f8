"""Running the application under uvicorn."""

from __future__ import annotations

import gc
import signal

import uvicorn
from fastapi import FastAPI

GRACE_S = 20
"""How long open requests may take once the service was told to stop."""

NEW_OBJECTS = 5_000
"""Objects made and not gone at which the collector looks through the new ones."""


def server_for(app: FastAPI, host: str, port: int) -> uvicorn.Server:
    """A server that is not yet running; port 0 takes any free one when it starts."""
    return uvicorn.Server(
        uvicorn.Config(
            app,
            host=host,
            port=port,
            access_log=False,
            log_level="warning",
            server_header=False,
            timeout_graceful_shutdown=GRACE_S,
        )
    )


def settle_memory() -> None:
    """Tell the collector of unused objects that what has been made by now stays until the end.

    Otherwise it looks through all of it again and again while requests wait. What is new it looks
    through less often than by itself, for most of that is gone with its request.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(NEW_OBJECTS)


def run_server(app: FastAPI, host: str, port: int) -> None:
    """Serve until told to stop; open requests are then finished and the process ends well."""
    for told in (signal.SIGINT, signal.SIGTERM):
        # The server stops gracefully by handlers of its own and raises the signal once more when
        # it is done. Without a handler here that would end a good stop as a kill.
        signal.signal(told, lambda *_: None)
    settle_memory()
    server_for(app, host, port).run()
