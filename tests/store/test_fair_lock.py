"""The lock in front of SQLite's writers."""

from __future__ import annotations

import threading
from collections.abc import Callable
from time import monotonic

import pytest

from service.store.fair_lock import FairLock


def _wait_until_queued(lock: FairLock, count: int) -> None:
    end = monotonic() + 5
    while len(lock._waiting) < count:
        assert monotonic() < end, f"{count} threads never queued"
        threading.Event().wait(0.001)


def test_those_who_wait_are_served_in_the_order_in_which_they_came() -> None:
    """First come, first served, whatever the threads' scheduling."""
    lock, served = FairLock(), list[int]()
    assert lock.acquire(0)

    def wait_for_turn(number: int) -> None:
        assert lock.acquire(5)
        served.append(number)
        lock.release()

    threads = [threading.Thread(target=wait_for_turn, args=(number,)) for number in range(8)]
    for count, thread in enumerate(threads, start=1):
        thread.start()
        _wait_until_queued(lock, count)
    lock.release()
    for thread in threads:
        thread.join(5)
    assert served == list(range(8))


def test_one_who_gives_up_waiting_leaves_the_queue() -> None:
    """A wait is bounded, and does not swallow the lock when it ends."""
    lock = FairLock()
    assert lock.acquire(0)
    assert not lock.acquire(0.001)
    lock.release()
    assert lock.acquire(0)
    lock.release()


def test_only_one_holds_the_lock() -> None:
    """Sixteen threads that read, yield and write a number lose no count."""
    lock, count = FairLock(), [0]

    def add() -> None:
        for _ in range(50):
            assert lock.acquire(5)
            seen = count[0]
            threading.Event().wait(0)
            count[0] = seen + 1
            lock.release()

    threads = [threading.Thread(target=add) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)
    assert count == [800]


class _InterruptedWait:
    """A lock whose wait ends as Ctrl-C ends one; ``meanwhile`` is what others do during it."""

    def __init__(self, meanwhile: Callable[[], None]) -> None:
        self._meanwhile = meanwhile

    def acquire(self, timeout: float | None = None) -> None:
        if timeout is not None:
            self._meanwhile()
            raise KeyboardInterrupt

    def release(self) -> None:
        """Nobody waits any more."""


@pytest.mark.parametrize("handed_over", [False, True], ids=["still waiting", "just handed over"])
def test_one_who_is_interrupted_leaves_the_lock_to_others(
    monkeypatch: pytest.MonkeyPatch, *, handed_over: bool
) -> None:
    """Whether the turn had come or not, nobody waits for one who has gone."""
    lock = FairLock()
    assert lock.acquire(0)
    meanwhile = lock.release if handed_over else (lambda: None)
    with monkeypatch.context() as patch:
        patch.setattr("service.store.fair_lock.threading.Lock", lambda: _InterruptedWait(meanwhile))
        with pytest.raises(KeyboardInterrupt):
            lock.acquire(5)
    if not handed_over:
        lock.release()
    assert lock.acquire(0)
    lock.release()
