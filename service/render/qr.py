"""Square codes, as rows of dark stretches that any renderer can fill.

QR by ISO/IEC 18004, of which what is said here is from memory.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import segno

QUIET_MODULES = 4
"""The clear margin that the standard asks for around a code, in modules."""


@dataclass(frozen=True, slots=True)
class SquareCode:
    """A code ``side`` modules wide, quiet margin included.

    ``stretches`` are dark runs: column and row of the first module from the upper left, and how
    many modules follow to the right.
    """

    side: int
    stretches: tuple[tuple[int, int, int], ...]

    def svg_path(self) -> str:
        """The dark modules as an SVG path in units of a module."""
        return "".join(f"M{x} {y}h{length}v1h-{length}z" for x, y, length in self.stretches)


@lru_cache(maxsize=64)
def square_code(text: str) -> SquareCode:
    """The code of a text, of which a seventh may be lost (level M). ValueError when too long."""
    rows = segno.make(text, error="m", micro=False, boost_error=False).matrix
    stretches = tuple(_stretches(rows))
    return SquareCode(len(rows) + 2 * QUIET_MODULES, stretches)


def _stretches(rows: tuple[bytearray, ...]) -> Iterator[tuple[int, int, int]]:
    for y, row in enumerate(rows):
        x = 0
        for dark, run in itertools.groupby(row):
            length = sum(1 for _ in run)
            if dark:
                yield x + QUIET_MODULES, y + QUIET_MODULES, length
            x += length
