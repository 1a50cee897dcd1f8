"""Whether checks stay quick while large pictures are uploaded, against the running service."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from types import TracebackType

import httpx

from service.store.database import Database
from service.store.migrate import upgrade
from tests.benchmarks.back_room import make_keys
from tests.benchmarks.figures import Burst, Ratio, Summary, percentile, summarise
from tests.benchmarks.large_pictures import artwork_png, photograph_jpeg, told_apart
from tests.benchmarks.load import LOOPBACK
from tests.benchmarks.servers import Server, serve_real, serving, settings_for
from tests.benchmarks.shop_calls import Call, lines_body
from tests.benchmarks.steady import Stream, StreamProcess
from tests.benchmarks.table import Row, time_text

PER_SECOND = 150.0
"""Checks a second: a busy shop's, and well within what one processor answers."""

WAIT_S = 60.0
WORKERS = (1, 0)


def measure_uploading(folder: Path, rounds: int, seconds: float, only: str) -> Iterator[Row]:
    """Two rows for each number of picture workers whose name holds ``only``, on SQLite.

    They are the checks beside uploads, and these uploads. Idle rounds and rounds with uploads
    alternate, each of ``seconds``; what is compared is the slowest hundredth of the checks.
    """
    for workers in WORKERS:
        what = f"POST /v1/checks beside artwork uploads, {_picture_workers(workers)}"
        if only in what:
            own = folder / f"uploading-{workers}"
            url = f"sqlite:///{own / 'intake.sqlite3'}"
            upgrade(url)
            with ExitStack() as stack:
                yield from _rows(stack, url, own, workers, rounds, seconds, what)


def _picture_workers(count: int) -> str:
    return f"{count} picture worker{'' if count == 1 else 's'}"


def _rows(
    stack: ExitStack, url: str, folder: Path, workers: int, rounds: int, seconds: float, what: str
) -> Iterator[Row]:
    settings = settings_for(folder, url, workers)
    server = stack.enter_context(serving(serve_real, settings))
    database = Database.open(url)
    stack.callback(database.close)
    keys = make_keys(database)
    sender = stack.enter_context(StreamProcess())
    check = Call("POST", "/v1/checks", "storefront", lines_body("printed-film")).wire(keys)
    stream = Stream(server.port, check, PER_SECOND, seconds)
    uploads = _Uploads(server, keys["storefront"])
    uploads.once()
    sender.send(stream)
    idle, busy = [], []
    for _ in range(rounds):
        idle.append(_burst(sender, stream))
        with uploads:
            busy.append(_burst(sender, stream))
    yield Row(
        what=what,
        ours=summarise(busy),
        beside=f"p99 with none uploaded, {time_text(summarise(idle).p99_s)}",
        baseline=summarise(idle),
        ratio=_p99_ratio(busy, idle),
    )
    yield Row(
        what=f"artwork uploads meanwhile, {_picture_workers(workers)}", ours=uploads.summary()
    )


def _burst(sender: StreamProcess, stream: Stream) -> Burst:
    started = time.perf_counter()
    heard = sender.send(stream)
    return Burst(tuple(heard.latencies_s), time.perf_counter() - started, heard.failed)


def _p99_ratio(busy: Sequence[Burst], idle: Sequence[Burst]) -> Ratio:
    """How many times as long the slowest hundredth takes, round by round."""
    ratios = [
        percentile(loud.latencies_s, 99) / percentile(quiet.latencies_s, 99)
        for loud, quiet in zip(busy, idle, strict=True)
    ]
    return Ratio(median(ratios), min(ratios), max(ratios))


class _Uploads:
    """Large pictures uploaded one after another for as long as the context lasts."""

    def __init__(self, server: Server, key: str) -> None:
        self._address = f"http://{LOOPBACK}:{server.port}/v1/artworks"
        self._headers = {"Authorization": f"Bearer {key}"}
        self._pictures = (artwork_png(), photograph_jpeg())
        self._number = 0
        self._failed = 0
        self._taken_s: list[float] = []
        self._stop = threading.Event()

    def once(self) -> None:
        """Upload the next picture, of bytes that were never uploaded before."""
        self._number += 1
        picture = told_apart(self._pictures[self._number % 2], self._number)
        started = time.perf_counter()
        answer = httpx.post(
            self._address,
            headers=self._headers,
            files={"file": ("large", picture)},
            data={"rights_declared": "true"},
            trust_env=False,
            timeout=WAIT_S,
        )
        self._taken_s.append(time.perf_counter() - started)
        self._failed += answer.status_code != 201

    def __enter__(self) -> None:
        self._stop.clear()
        self._thread = threading.Thread(target=self._go_on)
        self._thread.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        self._thread.join()

    def _go_on(self) -> None:
        while not self._stop.is_set():
            self.once()

    def summary(self) -> Summary:
        """All that was uploaded."""
        return summarise([Burst(tuple(self._taken_s), sum(self._taken_s), self._failed)])
