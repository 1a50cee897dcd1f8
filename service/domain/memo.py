"""Remembering what was worked out once, within a bound."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Value = TypeVar("Value")
Kept = TypeVar("Kept")


class Memo:
    """A bounded memory of pure results, shared by threads.

    When it is full it forgets everything and starts anew, which costs nothing on each look-up.
    Two threads may work out the same result at once; either is kept.
    """

    __slots__ = ("_capacity", "_kept")

    def __init__(self, capacity: int) -> None:
        """Keep at most ``capacity`` results."""
        self._capacity = capacity
        self._kept: dict[Hashable, object] = {}

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """What ``make`` gave for this key, called only if it is not remembered.

        A key must name everything the result depends on, and its kind.
        """
        found = self._kept.get(key)
        if found is None:
            found = make()
            self.put(key, found)
        return found  # type: ignore[return-value]  # the key names the kind of result

    def put(self, key: Hashable, result: object) -> None:
        """Remember a result that was worked out elsewhere."""
        if len(self._kept) >= self._capacity:
            self._kept = {}
        self._kept[key] = result


class Same(Generic[Kept]):
    """Stands in a key for one very object, told from others by identity and kept alive by it.

    For what costs more to hash than to work out again.
    """

    __slots__ = ("it",)

    def __init__(self, it: Kept) -> None:
        """Stand for ``it``."""
        self.it = it

    def __hash__(self) -> int:
        return id(self.it)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and other.it is self.it
