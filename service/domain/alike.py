"""What of the table of choices is alike, so that one is worked out in place of all its like.

A shop has far fewer kinds of makings and garments than makings and garments: film colours of one
film, and blanks of one cut in colours that the rules do not tell apart.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from math import prod
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Indexes = NDArray[np.intp]
Item = TypeVar("Item", bound=np.generic)


@dataclass(frozen=True, slots=True, eq=False)
class Kinds:
    """The kind of each thing, ``of``, and one thing of each kind, ``first``, as indexes."""

    of: Indexes
    first: Indexes


@dataclass(frozen=True, slots=True, eq=False)
class Named:
    """The different ids that things have, in order, and the index of each one's; -1 for none."""

    ids: tuple[str, ...]
    of: Indexes

    def equal(self, wanted: str | None) -> NDArray[np.bool_]:
        """Which things have this id; all of them where None is wanted."""
        if wanted is None:
            return np.ones(len(self.of), np.bool_)
        if wanted not in self.ids:
            return np.zeros(len(self.of), np.bool_)
        equal: NDArray[np.bool_] = self.of == self.ids.index(wanted)
        return equal


@dataclass(frozen=True, slots=True, eq=False)
class Condensed:
    """Bits of the rules that block, by kind; what is alike in all of them is put together.

    ``makings`` and ``garments`` are alike in every way that the table tells, ``blocked`` is by
    their kinds, (makings, garments, placements). ``wide_makings`` and ``wide_garments`` are alike
    in widths and sizes: there ``of`` is by those kinds, ``first`` by the table's makings and
    garments. Width and sizes are fitted to these, in the shape ``fit_shape``; ``place`` is where
    each combination is in that, flattened, ``pattern`` which of the different ``patterns`` of bits
    it has.
    """

    makings: Kinds
    garments: Kinds
    blocked: NDArray[np.uint64]
    wide_makings: Kinds
    wide_garments: Kinds
    fit_shape: tuple[int, int, int]
    place: NDArray[np.int32]
    pattern: NDArray[np.int32]
    patterns: NDArray[np.uint64]

    def spread(self, by_width: NDArray[Item]) -> NDArray[Item]:
        """What is fitted, (makings or 1, garments, placements), spread as ``blocked`` is."""
        by_garment = by_width[:, self.wide_garments.of]
        return by_garment if len(by_garment) == 1 else by_garment[self.wide_makings.of]


def cut(
    values: NDArray[Item], makings: Indexes, garments: Indexes, places: Indexes
) -> NDArray[Item]:
    """These rows of each axis; an axis that is kept whole is not copied."""
    for axis, kept in enumerate((makings, garments, places)):
        if len(kept) < values.shape[axis]:
            values = values.take(kept, axis)
    return values


def kinds_of(*parts: NDArray[Any]) -> Kinds:
    """Kinds of the rows of the first axis: rows are alike if they are equal in every part."""
    rows = [np.ascontiguousarray(part).reshape(len(part), -1).view(np.uint8) for part in parts]
    return kinds_by(row.tobytes() for row in np.concatenate(rows, axis=1))


def kinds_by(keys: Iterable[Hashable]) -> Kinds:
    """Kinds of the things that have these keys: things are alike if their keys are equal."""
    places: dict[Hashable, int] = {}
    kinds = np.array([places.setdefault(key, len(places)) for key in keys], np.intp)
    return Kinds(kinds, np.unique(kinds, return_index=True)[1])


def named(ids: Iterable[str | None]) -> Named:
    """The things of these ids, in their order."""
    places: dict[str, int] = {}
    of = [-1 if id_ is None else places.setdefault(id_, len(places)) for id_ in ids]
    return Named(tuple(places), np.array(of, np.intp))


def condense(
    blocked: NDArray[np.uint64],
    by_making: Sequence[NDArray[Any]],
    by_garment: Sequence[NDArray[Any]],
) -> Condensed:
    """Put together what is alike in ``blocked`` and in what else tells makings or garments apart.

    ``blocked`` is (makings, garments, placements); the others have one row for each making and for
    each garment.
    """
    wide_makings = kinds_of(np.zeros(len(blocked)), *by_making)
    wide_garments = kinds_of(*by_garment)
    garments = kinds_of(wide_garments.of, blocked.transpose(1, 0, 2))
    fewer = blocked[:, garments.first]
    makings = kinds_of(wide_makings.of, fewer)
    fewest = fewer[makings.first]
    shape = (len(wide_makings.first), len(wide_garments.first), blocked.shape[2])
    places = np.arange(prod(shape), dtype=np.int32).reshape(shape)
    patterns, pattern = np.unique(fewest, return_inverse=True)
    wide = Kinds(wide_makings.of[makings.first], wide_makings.first)
    wide_of_garments = Kinds(wide_garments.of[garments.first], wide_garments.first)
    return Condensed(
        makings,
        garments,
        fewest,
        wide,
        wide_of_garments,
        shape,
        places[wide.of][:, wide_of_garments.of],
        pattern.reshape(fewest.shape).astype(np.int32),
        patterns,
    )
