"""Why a value leads nowhere beside a selection: the rules that block all that has it."""

from __future__ import annotations

from functools import cached_property
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.domain.alike import Condensed, Indexes, cut, kinds_of
from service.domain.causes import Refusals, cause_by_range, cause_by_size, cause_of
from service.domain.choice_table import NOT_OFFERED, Bits
from service.domain.fit import Fit


class Reasons:
    """Causes by the condensed table and by width and sizes fitted to its kinds.

    ``blocked`` has the bits of all rules, (kinds of makings, kinds of garments, placements).
    """

    def __init__(self, seen: Condensed, fit: Fit, size: int, width: int) -> None:
        """``size`` and ``width`` are 0 where they count as asked for, 1 where they are open."""
        self._seen = seen
        self._fit = fit
        self._size = size
        self._width = width
        self._flat: dict[Fit, Bits] = {}
        self.blocked: Bits = seen.blocked | seen.spread(fit.bits(size, width))

    def why(self, makings: Indexes, garments: Indexes, places: Indexes) -> tuple[str, ...]:
        """Rules that between them block every combination on these rows of each axis."""
        axes = makings, garments, places
        seen = self._seen
        patterns = seen.patterns[_distinct(cut(seen.pattern, *axes), len(seen.patterns))].tolist()
        if all(patterns):
            # Whatever the sizes and the width, so that those need no look.
            return cause_of(tuple(patterns))
        if self._size == 0 and self._width == 0:
            # As asked, each rule on width and sizes refuses by itself.
            return cause_of(tuple(np.unique(cut(self.blocked, *axes)).tolist()))
        if self._width == 0:
            return cause_by_size(self._refusals(*axes))
        pattern, at = np.divmod(np.unique(cut(self._cells, *axes)), prod(seen.fit_shape))
        by_table = seen.patterns[pattern]
        return cause_by_range(by_table, lambda rules: self._by_fit(rules)[at])

    @cached_property
    def _cells(self) -> NDArray[np.int64]:
        """Pattern in the table and place in the fit of each combination, as one number."""
        return self._seen.pattern * np.int64(prod(self._seen.fit_shape)) + self._seen.place

    def _by_fit(self, rules: int) -> Bits:
        """Bits of width and sizes by these rules alone, for each place of the fit."""
        fit = self._fit.under(rules)
        if fit not in self._flat:
            bits = fit.bits(self._size, self._width)
            self._flat[fit] = np.broadcast_to(bits, self._seen.fit_shape).reshape(-1)
        return self._flat[fit]

    def _refusals(self, *axes: Indexes) -> tuple[Refusals, ...]:
        """What refuses each of these combinations and its sizes, at the width as asked."""
        ways, way = self._refused
        count = len(self._seen.patterns) * len(ways)
        pattern, at = np.divmod(_distinct(cut(way, *axes), count), len(ways))
        both = zip(self._seen.patterns[pattern].tolist(), at.tolist(), strict=True)
        return tuple((bits | ways[at][0], ways[at][1]) for bits, at in both)

    @cached_property
    def _refused(self) -> tuple[list[Refusals], Indexes]:
        """The different ways in which width and sizes are refused, and which one is where.

        The latter is for each combination one number with its pattern: pattern times ways, and way.
        """
        seen, by_method = self._seen, self._fit.by_method
        methods, method = np.unique(by_method, return_inverse=True)
        sizes, size = _sets(self._fit.by_each_size)
        both = method.reshape(by_method.shape) * len(sizes) + size
        number = np.zeros(len(methods) * len(sizes), np.intp)
        used = _distinct(both, len(number))
        number[used] = np.arange(len(used))
        spread = seen.spread(np.broadcast_to(number[both], seen.fit_shape))
        pairs = (divmod(one, len(sizes)) for one in used.tolist())
        ways = [(int(methods[method]), sizes[size]) for method, size in pairs]
        return ways, seen.pattern * np.intp(len(ways)) + spread


def _distinct(numbers: NDArray[np.integer[Any]], count: int) -> Indexes:
    """The different ones of numbers below ``count``, in order."""
    there = np.zeros(count, np.bool_)
    there[numbers] = True
    return np.flatnonzero(there)


def _sets(by_size: Bits) -> tuple[list[tuple[int, ...]], Indexes]:
    """The different sets of bits along the last axis, of sizes that exist, and which is where."""
    different = np.unique(by_size)
    rows = np.searchsorted(different, by_size.reshape(-1, by_size.shape[-1]))
    has = np.zeros((len(rows), len(different)), np.bool_)
    has[np.arange(len(rows))[:, None], rows] = True
    kinds = kinds_of(has)
    bits = different.tolist()
    offered = [at for at, bits in enumerate(bits) if not bits & int(NOT_OFFERED)]
    sets = [tuple(bits[at] for at in offered if row[at]) for row in has[kinds.first]]
    return sets, kinds.of.reshape(by_size.shape[:-1])
