"""A lock that serves those who wait in the order in which they came."""

from __future__ import annotations

import threading
from collections import deque


class FairLock:
    """A lock handed from holder to longest waiter.

    ``threading.Lock`` lets a newcomer overtake, so that under load a waiter may starve.
    """

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._waiting: deque[threading.Lock] = deque()
        self._held = False

    def acquire(self, timeout_s: float) -> bool:
        """Wait up to ``timeout_s`` seconds for the lock; False when it did not come."""
        with self._guard:
            if not self._held:
                self._held = True
                return True
            turn = threading.Lock()
            turn.acquire()
            self._waiting.append(turn)
        try:
            came = turn.acquire(timeout=timeout_s)
        except BaseException:
            if not self._give_up(turn):
                self.release()
            raise
        return came or not self._give_up(turn)

    def release(self) -> None:
        """Hand the lock to the longest waiter, or let it go. The holder alone calls this."""
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._held = False

    def _give_up(self, turn: threading.Lock) -> bool:
        """Leave the queue; False when the lock was handed over in the meantime."""
        with self._guard:
            if turn not in self._waiting:
                return False
            self._waiting.remove(turn)
            return True
