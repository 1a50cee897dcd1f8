"""What may still be chosen: for a partial selection, which values lead somewhere and which do not.

A value is possible exactly if some combination that the rules allow has it together with all that
is selected for the other attributes. What is not selected is free.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, isinf

import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import ArtworkMeasures
from service.domain.choice_table import (
    BLOCKERS,
    NOT_OFFERED,
    Bits,
    ChoiceTable,
    Flags,
    Wish,
    smallest_cover,
)
from service.domain.fit import Fit
from service.domain.wishes import Choice, Consent


@dataclass(frozen=True, slots=True)
class Selection:
    """What has been chosen so far; None or nothing where it is still open.

    Without an artwork, rules that read it are left out. A size asked for more than once counts
    once.
    """

    blank_id: str | None = None
    colour_id: str | None = None
    placement_id: str | None = None
    method_id: str | None = None
    film_colour_id: str | None = None
    width_mm: float | None = None
    sizes: tuple[str, ...] = ()
    consents: frozenset[Consent] = frozenset()
    artwork: ArtworkMeasures | None = None
    rights_declared: bool = True


@dataclass(frozen=True, slots=True)
class Value:
    """One value of an attribute. ``blocked_by`` names rules that between them forbid it.

    A value that is not possible and blocked by no rule is not offered with what is selected, such
    as a colour that a selected blank does not come in.
    """

    id: str
    possible: bool
    blocked_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WidthSpan:
    """A range of print widths, in whole mm, that leads somewhere; infinity where none is known."""

    least_mm: float
    greatest_mm: float


@dataclass(frozen=True, slots=True)
class Choices:
    """For each attribute its values; and the widths that are left. ``sizes`` need a blank."""

    possible: bool
    blanks: tuple[Value, ...]
    colours: tuple[Value, ...]
    placements: tuple[Value, ...]
    methods: tuple[Value, ...]
    film_colours: tuple[Value, ...]
    sizes: tuple[Value, ...]
    widths: tuple[WidthSpan, ...]


def find_choices(table: ChoiceTable, selection: Selection) -> Choices:
    """Which values are possible beside the selection, for every attribute."""
    return _Picker(table, selection).choices()


class _Picker:
    """One selection beside the table, whose axes are makings, garments and placements."""

    def __init__(self, table: ChoiceTable, selection: Selection) -> None:
        self._table = table
        self._selection = selection
        self._wish = Wish(
            selection.artwork,
            selection.rights_declared,
            selection.consents,
            selection.film_colour_id,
        )
        self._makings = table.makings(selection.film_colour_id)
        fit = Fit(table, self._wish, selection.width_mm, dict.fromkeys(selection.sizes, 1))
        size = 0 if selection.sizes else 1
        width = 0 if selection.width_mm is not None else -1
        self._fit = fit
        self._blocked: Bits = table.blocked(self._wish)[0] | fit.blocked[size, width, 0]
        methods = [making.method_id for making in self._makings]
        colours = [making.film_colour_id for making in self._makings]
        blanks = [garment.blank_id for garment in table.garments]
        cloths = [garment.colour_id for garment in table.garments]
        self._kept = {
            Choice.METHOD: _equal(methods, selection.method_id),
            Choice.FILM_COLOUR: _equal(colours, selection.film_colour_id),
            Choice.BLANK: _equal(blanks, selection.blank_id),
            Choice.COLOUR: _equal(cloths, selection.colour_id),
            Choice.PLACEMENT: _equal(table.placements, selection.placement_id),
        }
        self._names: dict[Choice, Sequence[str | None]] = {
            Choice.METHOD: methods,
            Choice.FILM_COLOUR: colours,
            Choice.BLANK: blanks,
            Choice.COLOUR: cloths,
            Choice.PLACEMENT: table.placements,
        }

    def choices(self) -> Choices:
        """Everything about the selection."""
        return Choices(
            possible=bool((self._cut() == 0).any()),
            blanks=self._values(Choice.BLANK),
            colours=self._values(Choice.COLOUR),
            placements=self._values(Choice.PLACEMENT),
            methods=self._values(Choice.METHOD),
            film_colours=self._values(Choice.FILM_COLOUR),
            sizes=self._sizes(),
            widths=self._widths(),
        )

    def _axes(self, free: Choice | None = None) -> tuple[NDArray[np.intp], ...]:
        """Indexes kept on each axis, the attribute ``free`` left open."""

        def kept(*choices: Choice) -> NDArray[np.intp]:
            flags = [self._kept[choice] for choice in choices if choice is not free]
            if not flags:
                return np.arange(len(self._kept[choices[0]]))
            return np.flatnonzero(np.logical_and.reduce(flags))

        return (
            kept(Choice.METHOD, Choice.FILM_COLOUR),
            kept(Choice.BLANK, Choice.COLOUR),
            kept(Choice.PLACEMENT),
        )

    def _cut(self, free: Choice | None = None) -> Bits:
        axes = self._axes(free)
        whole = [len(kept) == size for kept, size in zip(axes, self._blocked.shape, strict=True)]
        return self._blocked if all(whole) else self._blocked[np.ix_(*axes)]

    def _values(self, choice: Choice) -> tuple[Value, ...]:
        """Every value of one attribute, in the catalogue's order."""
        axis = _AXIS[choice]
        kept = self._axes(choice)[axis]
        names = self._names[choice]
        cut = np.moveaxis(self._cut(choice), axis, 0).reshape(len(kept), -1)
        rows: dict[str, list[int]] = {name: [] for name in dict.fromkeys(names) if name is not None}
        for row, at in enumerate(kept):
            name = names[at]
            if name is not None:
                rows[name].append(row)
        possible = (cut == 0).any(axis=1)
        return tuple(_value(name, cut, possible, mine) for name, mine in rows.items())

    def _sizes(self) -> tuple[Value, ...]:
        """Sizes of the selected blank, each judged as if it alone were ordered."""
        if self._selection.blank_id is None:
            return ()
        makings, garments, places = self._axes()
        if not garments.size:
            return ()
        table, selection = self._table, self._selection
        names = [s for s in table.sizes if s in table.garments[garments[0]].half_chest_mm]
        values = []
        for name in names:
            fit = Fit(table, self._wish, selection.width_mm, {name: 1}, garments)
            width = 0 if selection.width_mm is not None else -1
            bits = table.blocked(self._wish)[0][np.ix_(makings, garments, places)]
            alone = np.broadcast_to(
                fit.blocked[0, width, 0], (len(self._makings), len(garments), len(table.placements))
            )
            cut = (bits | alone[makings][:, :, places]).reshape(1, -1)
            values.append(_value(name, cut, (cut == 0).any(axis=1), [0]))
        return tuple(values)

    def _widths(self) -> tuple[WidthSpan, ...]:
        """Print widths that some combination of the selection allows, as separate ranges."""
        size = 0 if self._selection.sizes else 1
        least, greatest = self._fit.range_mm(size)
        blocked = self._table.blocked(self._wish)[0] | self._fit.blocked[size, -1, 0]
        axes = np.ix_(*self._axes())
        works = blocked[axes] == 0
        shape = self._blocked.shape
        ends = np.stack(
            [
                np.broadcast_to(least, shape)[axes][works],
                np.broadcast_to(greatest, shape)[axes][works],
            ],
            axis=1,
        )
        return _merged(np.unique(ends, axis=0).tolist())


_AXIS = {
    Choice.METHOD: 0,
    Choice.FILM_COLOUR: 0,
    Choice.BLANK: 1,
    Choice.COLOUR: 1,
    Choice.PLACEMENT: 2,
}


def _equal(names: Iterable[str | None], wanted: str | None) -> Flags:
    return np.array([wanted is None or name == wanted for name in names], np.bool_)


def _value(name: str, cut: Bits, possible: Flags, rows: list[int]) -> Value:
    if possible[rows].any():
        return Value(name, possible=True, blocked_by=())
    mine = cut[rows].reshape(-1)
    offered = mine[(mine & NOT_OFFERED) == 0]
    if not offered.size:
        return Value(name, possible=False, blocked_by=())
    always = int(np.bitwise_and.reduce(offered))
    if always:
        rules = tuple(rule.id for at, rule in enumerate(BLOCKERS) if always >> at & 1)
    else:
        rules = smallest_cover(offered)
    return Value(name, possible=False, blocked_by=rules)


def _merged(spans: list[list[float]]) -> tuple[WidthSpan, ...]:
    merged: list[list[float]] = []
    for least, greatest in spans:
        if merged and least <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], greatest)
        else:
            merged.append([least, greatest])
    whole = [
        (float(ceil(least)), greatest if isinf(greatest) else float(floor(greatest)))
        for least, greatest in merged
    ]
    return tuple(WidthSpan(*span) for span in whole if span[0] <= span[1])
