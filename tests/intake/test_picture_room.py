"""Rooms for pictures: work comes back whole, and what exceeds its bounds ends without harm."""

from __future__ import annotations

import os
import select
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from service.domain.errors import BadInput, Conflict, FieldFault, Unavailable
from service.intake.picture_jobs import PictureWorkFailedError
from service.intake.picture_room import (
    PictureRoom,
    PictureWorkCrashed,
    PictureWorkKilled,
    PictureWorkTooLarge,
    PictureWorkTooLong,
    SameProcess,
)
from service.intake.picture_workers import WorkerProcesses

SHORT_S = 1.0
MEMORY_MB = 256
WAIT_S = 30.0
FAULT = FieldFault("too large, send it smaller", parameter="file", code="picture-too-large")


@pytest.fixture(scope="module")
def workers() -> Iterator[WorkerProcesses]:
    """One worker process for all tests here that leave it well."""
    room = WorkerProcesses(1, limit_s=WAIT_S, memory_mb=MEMORY_MB)
    room.warm_up()
    yield room
    room.close()


def turned(data: bytes, *, times: int) -> bytes:
    """The bytes backwards, as often as told."""
    return data if times % 2 == 0 else data[::-1]


def raising(error: Exception) -> None:
    """Raise it."""
    raise error


def refusing() -> None:
    """Refuse a picture, as reading one does."""
    raise BadInput("picture-refused", FAULT.detail, faults=[FAULT], extra={"limit": 3})


def busy_elsewhere() -> None:
    """An error whose making takes a named argument."""
    raise Unavailable("away", "Not now.", retry_after_s=7)


def holding_a_lock() -> None:
    """Raise what no other process can be given."""
    raise Conflict("locked", "See the lock.", extra={"lock": threading.Lock()})


def going_on() -> None:
    """Never end."""
    threading.Event().wait()


def ending(how: int) -> None:
    """End the process, as broken bytes may make a decoder do."""
    os.kill(os.getpid(), how)


def leaving(code: int) -> None:
    """End the process with an exit code."""
    os._exit(code)


def filling(count: int) -> int:
    """Take that many bytes of memory."""
    return len(bytearray(count))


def standing() -> tuple[int, int]:
    """The number of the process and how far it yields to others."""
    return os.getpid(), os.nice(0)


def meeting(pipe: str, how: str) -> bool:
    """Open an end of a named pipe, which waits until another job has opened the other end."""
    with Path(pipe).open(how):
        return True


def telling_and_going_on(pipe: str) -> None:
    """Say through a named pipe that this runs, and never end."""
    with Path(pipe).open("wb") as mouth:
        mouth.write(b".")
    going_on()


@pytest.mark.parametrize("size", [0, 5_000_000])
def test_work_comes_back_whole(workers: WorkerProcesses, size: int) -> None:
    """Arguments and results of any size are those of a call in the same process."""
    data = os.urandom(size)
    rooms: list[PictureRoom] = [workers, SameProcess()]
    assert [room.run(turned, data, times=1) for room in rooms] == [data[::-1]] * 2


def test_a_refusal_comes_back_with_its_faults(workers: WorkerProcesses) -> None:
    """Code, detail, faults and further members are those that the work raised."""
    for room in (workers, SameProcess()):
        with pytest.raises(BadInput) as caught:
            room.run(refusing)
        error = caught.value
        assert (error.code, error.detail, str(error)) == ("picture-refused", *[FAULT.detail] * 2)
        assert (error.faults, error.extra) == ((FAULT,), {"limit": 3})


def test_errors_that_pickling_alone_would_lose(workers: WorkerProcesses) -> None:
    """An error with a required named argument comes through; one that holds a lock is named."""
    with pytest.raises(Unavailable) as caught:
        workers.run(busy_elsewhere)
    assert (caught.value.code, caught.value.retry_after_s) == ("away", 7)
    with pytest.raises(ValueError, match=r"^3 is odd$"):
        workers.run(raising, ValueError("3 is odd"))
    with pytest.raises(PictureWorkFailedError, match=r"^Conflict$"):
        workers.run(holding_a_lock)


@pytest.mark.parametrize(
    ("work", "argument", "raised"),
    [
        (filling, 2 * MEMORY_MB * 10**6, PictureWorkTooLarge),
        (ending, signal.SIGABRT, PictureWorkCrashed),
        (ending, signal.SIGSEGV, PictureWorkCrashed),
        (leaving, 3, PictureWorkCrashed),
        (ending, signal.SIGKILL, PictureWorkKilled),
        (ending, signal.SIGTERM, PictureWorkKilled),
    ],
)
def test_what_uses_up_its_worker(
    workers: WorkerProcesses,
    work: Callable[[int], None],
    argument: int,
    raised: type[Unavailable],
) -> None:
    """Too much memory, a crash and an end from outside are told apart; the next work is done."""
    with pytest.raises(raised):
        workers.run(work, argument)
    assert workers.run(turned, b"ab", times=1) == b"ba"


def test_what_takes_too_long_is_broken_off(
    workers: WorkerProcesses, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It ends at the limit, its process with it, and the next work is done by another."""
    before, _ = workers.run(standing)
    started = time.monotonic()
    with monkeypatch.context() as patch:
        patch.setattr(workers, "_limit_s", SHORT_S)
        with pytest.raises(PictureWorkTooLong, match="more than 1 s"):
            workers.run(going_on)
    assert time.monotonic() - started < WAIT_S
    after, _ = workers.run(standing)
    assert after != before
    with pytest.raises(ProcessLookupError):
        os.kill(before, 0)


def test_a_worker_within_its_memory_yields_to_others(workers: WorkerProcesses) -> None:
    """It is nicer than this process (POSIX: a higher value is less favoured); memory is there."""
    assert workers.run(standing)[1] > os.nice(0)
    assert workers.run(filling, MEMORY_MB * 10**6 // 2) == MEMORY_MB * 10**6 // 2


def test_a_worker_that_ends_while_idle_is_replaced(workers: WorkerProcesses) -> None:
    """The next work neither waits for ever nor fails."""
    before, _ = workers.run(standing)
    os.kill(before, signal.SIGKILL)
    ends_at = time.monotonic() + WAIT_S
    after = before
    while after == before and time.monotonic() < ends_at:
        # Before its end is noticed the work may still be given to it, and is lost with it.
        try:
            after, _ = workers.run(standing)
        except Unavailable:
            continue
    assert after != before


def test_a_worker_killed_while_it_works(workers: WorkerProcesses, tmp_path: Path) -> None:
    """Killed by hand within a job, it is told as what it is: not the picture's fault, for now."""
    victim, _ = workers.run(standing)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    ear = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    with ThreadPoolExecutor(1) as threads:
        running = threads.submit(workers.run, telling_and_going_on, str(pipe))
        assert select.select([ear], [], [], WAIT_S)[0]
        os.kill(victim, signal.SIGKILL)
        with pytest.raises(PictureWorkKilled, match=r"ended from outside.*Send it again") as caught:
            running.result(WAIT_S)
    os.close(ear)
    assert (caught.value.code, caught.value.retry_after_s > 0) == ("picture-room-away", True)
    assert workers.run(standing)[0] != victim


def test_two_workers_work_at_once(tmp_path: Path) -> None:
    """Each of two jobs waits until the other is at work."""
    room = WorkerProcesses(2, limit_s=WAIT_S, memory_mb=MEMORY_MB)
    pipe = str(tmp_path / "pipe")
    os.mkfifo(pipe)
    with ThreadPoolExecutor(2) as threads:
        jobs = [threads.submit(lambda how: room.run(meeting, pipe, how), how) for how in "rw"]
        assert [job.result(2 * WAIT_S) for job in jobs] == [True, True]
    room.close()


def test_a_room_that_is_full_or_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who finds no turn in time, runs when the room closes or comes later may come again."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    room = WorkerProcesses(1, limit_s=WAIT_S, memory_mb=MEMORY_MB)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    ear = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    with ThreadPoolExecutor(1) as threads:
        running = threads.submit(room.run, telling_and_going_on, str(pipe))
        assert select.select([ear], [], [], WAIT_S)[0]
        room._limit_s = 0.01
        with pytest.raises(Unavailable, match="no turn in time"):
            room.run(standing)
        room.close()
        with pytest.raises(Unavailable, match="just now"):
            running.result(WAIT_S)
    os.close(ear)
    with pytest.raises(Unavailable, match="just now"):
        room.run(standing)
    room.close()
    assert list(tmp_path.iterdir()) == [pipe]


def test_workers_never_come_by_a_plain_fork(workers: WorkerProcesses) -> None:
    """A worker's parent is not this process where a server forks them, for this one has threads."""
    if "linux" in sys.platform:
        assert workers.run(os.getppid) != os.getpid()
