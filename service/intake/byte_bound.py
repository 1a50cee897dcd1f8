"""A memory of large things that is bounded by their bytes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Generic, TypeVar

Kept = TypeVar("Kept")


class ByteBound(Generic[Kept]):
    """Things by key up to so many bytes, shared by threads; the longest unused goes first."""

    def __init__(self, most_bytes: int) -> None:
        """Keep nothing yet."""
        self._most_bytes = most_bytes
        self._bytes = 0
        self._kept: OrderedDict[str, tuple[Kept, int]] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: str) -> Kept | None:
        """What is kept under the key, or None."""
        with self._lock:
            if key not in self._kept:
                return None
            self._kept.move_to_end(key)
            return self._kept[key][0]

    def put(self, key: str, thing: Kept, size_bytes: int) -> None:
        """Keep a thing of that size, unless it alone is more than may be kept."""
        with self._lock:
            if key in self._kept or size_bytes > self._most_bytes:
                return
            self._kept[key] = (thing, size_bytes)
            self._bytes += size_bytes
            while self._bytes > self._most_bytes:
                _, (_, freed) = self._kept.popitem(last=False)
                self._bytes -= freed
