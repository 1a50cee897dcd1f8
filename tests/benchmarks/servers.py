"""Servers in processes of their own, each on a free port of this machine."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI

from service.assembly import assemble
from service.logs import configure_logs
from service.settings import Settings
from service.store.database import Database
from service.web.app import create_app
from service.web.serving import server_for, settle_memory
from tests.benchmarks.bare import Twin, bare_app
from tests.benchmarks.load import LOOPBACK

START_S = 60.0
END_S = 30.0
BACKLOG = 128


class Server:
    """A server in its process, as those outside meet it: a port, and the time it has worked."""

    def __init__(self, port: int, pipe: Connection) -> None:
        """Use :func:`serving`."""
        self.port = port
        self._pipe = pipe

    def processor_s(self) -> float:
        """Processor seconds that the process has taken so far; ``OSError`` if it does not say."""
        self._pipe.send(None)
        return float(_received(self._pipe, "the server"))


@contextmanager
def serving(target: Callable[..., None], *arguments: object) -> Iterator[Server]:
    """A server that ``target`` runs in a new process, until this context ends.

    ``target`` is :func:`serve_real` or :func:`serve_bare`. Raises ``OSError`` if it does not start.
    """
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    # No daemon, for those may have no picture workers.
    process = context.Process(target=target, args=(theirs, *arguments))
    process.start()
    theirs.close()
    try:
        yield Server(_received(ours, target.__name__), ours)
    finally:
        ours.close()  # the server ends when this end is gone, however it went
        process.join(END_S)
        process.kill()
        process.join()


def _received(pipe: Connection, name: str) -> Any:
    if pipe.poll(START_S):
        with contextlib.suppress(EOFError):
            return pipe.recv()
    raise OSError(f"{name} does not answer")


def serve_real(pipe: Connection, settings: Settings) -> None:
    """Run the application as ``serve`` does, its log thrown away as it is written."""
    _to_nowhere(sys.stderr)
    configure_logs(json_lines=True)
    assembly = assemble(settings)
    try:
        _run(create_app(assembly), pipe)
    finally:
        assembly.close()


def serve_bare(pipe: Connection, database_url: str, twins: Sequence[Twin]) -> None:
    """Run the bare twins under the same server settings."""
    _to_nowhere(sys.stderr)
    database = Database.open(database_url)
    try:
        _run(bare_app(database, twins), pipe)
    finally:
        database.close()


def settings_for(folder: Path, database_url: str, picture_workers: int = 1) -> Settings:
    """Settings of the real application; what they name asks nothing of the environment."""
    return Settings(
        data_dir=folder,
        database_url=database_url,
        files_url="",
        catalogue_path=None,
        secret_key=None,
        public_url="http://127.0.0.1:8000",
        webhook_sender=True,
        picture_workers=picture_workers,
    )


def _run(app: FastAPI, pipe: Connection) -> None:
    with socket.socket() as listening:
        listening.bind((LOOPBACK, 0))
        listening.listen(BACKLOG)
        port = listening.getsockname()[1]
        server = server_for(app, LOOPBACK, port)
        settle_memory()
        pipe.send(port)
        threading.Thread(target=_answer, args=(pipe, server), daemon=True).start()
        server.run([listening])


def _answer(pipe: Connection, server: uvicorn.Server) -> None:
    """Say how long this process has worked as often as asked; end with the other end."""
    with contextlib.suppress(EOFError, OSError):
        while True:
            pipe.recv()
            pipe.send(time.process_time())
    server.should_exit = True


def _to_nowhere(stream: Any) -> None:
    """Let the stream's writes be made in full and read by nobody."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
