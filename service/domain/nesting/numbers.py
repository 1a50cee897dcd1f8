"""Numbers that look random and are the same on every machine."""

from __future__ import annotations


class Numbers:
    """A linear congruential generator of 64 bits, the upper ones given (Knuth's multiplier)."""

    __slots__ = ("_state",)

    def __init__(self, seed: int) -> None:
        """Begin at ``seed``, of 64 bits."""
        self._state = seed

    def below(self, limit: int) -> int:
        """The next number from 0 up to, not including, ``limit``."""
        self._state = (self._state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (self._state >> 33) % limit

    def shuffle(self, items: list[int]) -> None:
        """Put the items in another order."""
        for last in range(len(items) - 1, 0, -1):
            other = self.below(last + 1)
            items[last], items[other] = items[other], items[last]
