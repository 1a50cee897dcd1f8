"""Worker processes for pictures: bounded in time and memory, and replaced when one ends."""

from __future__ import annotations

import multiprocessing
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError, Future
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, ParamSpec, TypeVar
from uuid import uuid4

import structlog
from pebble import ProcessExpired, ProcessPool

from service.domain.errors import ServiceError, Unavailable
from service.intake.picture_jobs import Ending, Raised, do_job, read_outcome, settle, write_job
from service.intake.picture_room import (
    RETRY_AFTER_S,
    PictureWorkCrashed,
    PictureWorkKilled,
    PictureWorkTooLarge,
    PictureWorkTooLong,
)

P = ParamSpec("P")
T = TypeVar("T")

JOBS_OF_A_WORKER = 200
"""After so many a worker is replaced by a fresh one, so that nothing a library loses piles up."""

START_S = 30.0
"""How long a worker may take to start or to end, on top of the time a job may take."""

_TICK_S = 1.0

_FROM_OUTSIDE = frozenset({-signal.Signals.SIGTERM, signal.Signals.SIGTERM}) | (
    frozenset() if sys.platform == "win32" else frozenset({-signal.Signals.SIGKILL})
)
"""Exit codes of a process ended by the kernel, by a supervisor or by hand, never by a decoder. A
worker leaves with the number of SIGTERM when it is asked to."""

_log = structlog.get_logger("service.intake")


class WorkerProcesses:
    """A ``PictureRoom`` of worker processes, made when first needed. Safe for threads.

    As many jobs run at once as there are workers; further callers wait in ``run`` for their turn,
    so that who bounds the callers bounds what waits. A worker that takes too long or ends of itself
    is replaced.
    """

    def __init__(
        self, workers: int, *, limit_s: float, memory_mb: int, preload: Sequence[str] = ()
    ) -> None:
        """``workers`` processes; a job may take ``limit_s`` seconds and ``memory_mb`` megabytes.

        ``preload`` names modules that workers are to have at hand.
        """
        self._workers = workers
        self._limit_s = limit_s
        self._memory_mb = memory_mb
        self._preload = preload
        self._turns = threading.BoundedSemaphore(workers)
        self._lock = threading.Lock()
        self._pool: ProcessPool | None = None
        self._folder: Path | None = None
        self._running: set[Future[Ending]] = set()
        self._closed = False

    def warm_up(self) -> None:
        """Start the workers beside what else goes on."""
        threading.Thread(target=self._start, name="picture workers", daemon=True).start()

    def run(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """What the work returns; raises what it raises. Waits its turn and for the worker.

        Raises ``PictureWorkTooLong`` after the time limit, ``PictureWorkTooLarge`` when the worker
        ran out of memory, ``PictureWorkCrashed`` when it ended, ``PictureWorkKilled`` when it was
        ended from outside, ``Unavailable`` when no turn came within the time limit, when the
        workers cannot be started or when the room is closed.
        """
        with self._turn(), self._job_files() as (job, outcome):
            write_job(job, work, args, kwargs)
            if self._ending(job, outcome) != "told":
                _log.warning("picture work ran out of memory", megabytes=self._memory_mb)
                raise PictureWorkTooLarge
            told = read_outcome(outcome)
        if isinstance(told, Raised):
            raise _logged(told)
        value: T = told.value
        return value

    def close(self) -> None:
        """End the workers and whatever they do; those who wait for it get ``Unavailable``."""
        with self._lock:
            self._closed = True
            pool, self._pool = self._pool, None
            folder, self._folder = self._folder, None
            running = tuple(self._running)
        for future in running:
            future.cancel()
        if pool is not None:
            _end(pool)
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)

    def _start(self) -> None:
        with suppress(Unavailable), self._lock:
            self._living_pool()

    @contextmanager
    def _turn(self) -> Iterator[None]:
        if not self._turns.acquire(timeout=self._limit_s):
            detail = "Other pictures are being worked on; this one found no turn in time."
            raise Unavailable("pictures-waiting", detail, retry_after_s=RETRY_AFTER_S)
        try:
            yield
        finally:
            self._turns.release()

    @contextmanager
    def _job_files(self) -> Iterator[tuple[Path, Path]]:
        with self._lock:
            folder = self._own_folder()
        name = uuid4().hex
        job, outcome = folder / f"{name}.job", folder / f"{name}.outcome"
        try:
            yield job, outcome
        except OSError as error:
            # The disk is full, or the room was closed and its folder is gone.
            raise _away() from error
        finally:
            job.unlink(missing_ok=True)
            outcome.unlink(missing_ok=True)

    def _own_folder(self) -> Path:
        if self._closed:
            raise _away()
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="garment-pictures-"))
        return self._folder

    def _ending(self, job: Path, outcome: Path) -> Ending:
        pool, future = self._scheduled(job, outcome)
        try:
            self._wait(pool, future)
            return future.result(0)
        except TimeoutError:
            _log.warning("picture work took too long", limit_s=self._limit_s)
            raise PictureWorkTooLong(self._limit_s) from None
        except ProcessExpired as error:
            _log.warning("picture worker ended", exit_code=error.exitcode)
            killed = error.exitcode in _FROM_OUTSIDE
            raise (PictureWorkKilled() if killed else PictureWorkCrashed()) from None
        except (CancelledError, RuntimeError) as error:
            raise _away() from error
        finally:
            self._running.discard(future)

    def _scheduled(self, job: Path, outcome: Path) -> tuple[ProcessPool, Future[Ending]]:
        with self._lock:
            pool = self._living_pool()
            names = (str(job), str(outcome))
            try:
                future = pool.schedule(do_job, args=names, timeout=self._limit_s)
            except RuntimeError as error:
                raise _away() from error
            self._running.add(future)
        return pool, future

    def _wait(self, pool: ProcessPool, future: Future[Ending]) -> None:
        """Wait until the job has ended, but not for one that was lost with its pool."""
        give_up_at = time.monotonic() + self._limit_s + START_S
        while not future.done():
            with suppress(TimeoutError, CancelledError):
                future.exception(_TICK_S)
            if time.monotonic() > give_up_at or not pool.active:
                future.cancel()

    def _living_pool(self) -> ProcessPool:
        """The pool, made anew if it is broken; its workers are being started."""
        if self._closed:
            raise _away()
        if self._pool is not None and not self._pool.active:
            _log.warning("picture workers lost, starting others")
            threading.Thread(target=_end, args=(self._pool,), daemon=True).start()
            self._pool = None
        if self._pool is None:
            self._pool = self._new_pool()
        return self._pool

    def _new_pool(self) -> ProcessPool:
        pool = ProcessPool(
            self._workers,
            max_tasks=JOBS_OF_A_WORKER,
            initializer=settle,
            initargs=(self._memory_mb,),
            context=_context(self._preload),
        )
        try:
            if not pool.active:  # asking starts it
                raise _away()
        except (OSError, RuntimeError) as error:
            raise _away() from error
        return pool


def _context(preload: Sequence[str]) -> Any:  # noqa: ANN401 - a context is of a class by platform
    """Processes that begin without the threads, connections and files of this one.

    Where there is a server to fork them from, it has the modules loaded, and a new worker is there
    at once.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["__main__", __name__, *preload])
    return context


def _end(pool: ProcessPool) -> None:
    pool.stop()  # type: ignore[no-untyped-call]  # the library leaves it so
    pool.join()


def _away() -> Unavailable:
    detail = "Pictures cannot be worked on just now."
    return Unavailable("picture-room-away", detail, retry_after_s=RETRY_AFTER_S)


def _logged(raised: Raised) -> Exception:
    error = raised.error()
    if not isinstance(error, ServiceError):
        _log.error("picture work failed", kind=type(error).__qualname__, lines=raised.lines)
    return error
