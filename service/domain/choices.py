"""What may still be chosen: for a partial selection, which values lead somewhere and which do not.

A value is possible exactly if some combination that the rules allow has it together with all that
is selected for the other attributes. What is not selected is free.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import ArtworkMeasures
from service.domain.causes import rules_of, smallest_cause
from service.domain.choice_table import (
    EVERY_RULE,
    NOT_OFFERED,
    Bits,
    ChoiceTable,
    Flags,
    Given,
)
from service.domain.fit import Fit
from service.domain.wishes import Choice, Consent

_Axes = tuple[NDArray[np.intp], ...]


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
        self._wish = Given(
            selection.artwork,
            selection.rights_declared,
            selection.consents,
            selection.film_colour_id,
        )
        self._makings = table.makings(selection.film_colour_id)
        fit = self._fit_of(selection.sizes)
        self._size = 0 if selection.sizes else 1
        self._width = 0 if selection.width_mm is not None else 1
        self._fit = fit
        self._by_table: Bits = table.blocked(self._wish)[0]
        self._blocked: Bits = self._by_table | fit.bits(self._size, self._width)
        self._works: Flags = self._blocked == 0
        methods = [making.method_id for making in self._makings]
        self._filmless = [not table.compiled.chains[method].layers for method in methods]
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
            possible=bool(self._works[self._cut(self._axes())].any()),
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

    def _cut(self, axes: tuple[NDArray[np.intp], ...]) -> tuple[NDArray[np.intp] | slice, ...]:
        """An index that takes those rows of each axis; all of it without a copy."""
        sizes = self._blocked.shape
        if all(len(kept) == size for kept, size in zip(axes, sizes, strict=True)):
            return (slice(None),) * 3
        return np.ix_(*axes)

    def _values(self, choice: Choice) -> tuple[Value, ...]:
        """Every value of one attribute, in the catalogue's order."""
        axis = _AXIS[choice]
        axes = self._axes(choice)
        rows: dict[str, list[int]] = {n: [] for n in self._names[choice] if n is not None}
        for row, at in enumerate(axes[axis].tolist()):
            name = self._names[choice][at]
            if name is not None:
                rows[name].append(row)
            elif choice is Choice.FILM_COLOUR and self._filmless[at]:
                # Where no film stays on the cloth, any film colour is let pass.
                for every in rows.values():
                    every.append(row)
        others = tuple(other for other in range(3) if other != axis)
        possible: Flags = np.any(self._works[self._cut(axes)], axis=others)
        return tuple(
            Value(name, possible=True, blocked_by=())
            if possible[mine].any()
            else Value(name, possible=False, blocked_by=self._why(_narrowed(axes, axis, mine)))
            for name, mine in rows.items()
        )

    def _why(self, axes: _Axes) -> tuple[str, ...]:
        """Rules that between them block every combination on these rows of each axis."""
        by_table = self._by_table[np.ix_(*axes)]
        if by_table.all():
            # Whatever the sizes and the width, so that those need no look.
            return _cause(by_table, lambda _: _NOTHING)
        if self._size == 0 and self._width == 0:
            # As asked, each rule on width and sizes refuses by itself.
            return _cause(self._blocked[np.ix_(*axes)], lambda _: _NOTHING)
        makings, garments, places = axes
        if self._width == 0:
            by_method = np.broadcast_to(self._fit.by_method, self._by_table.shape)
            by_size = self._fit.by_each_size[np.ix_(garments, places)]
            return _cause_by_size(by_table | by_method[np.ix_(*axes)], by_size)
        fit = self._fit_of(self._selection.sizes, garments)

        def by_fit(rules: int) -> Bits:
            bits = fit.under(rules).bits(self._size, self._width)
            whole = np.broadcast_to(bits, (len(self._makings), *bits.shape[1:]))
            here: Bits = whole[makings][:, :, places]
            return here

        return _cause(by_table, by_fit)

    def _fit_of(self, sizes: Iterable[str], garments: NDArray[np.intp] | None = None) -> Fit:
        pieces = dict.fromkeys(sizes, 1)
        return Fit(self._table, self._wish, self._selection.width_mm, pieces, garments)

    def _sizes(self) -> tuple[Value, ...]:
        """Sizes of the selected blank, each judged as if it alone were ordered."""
        if self._selection.blank_id is None:
            return ()
        own = [
            garment.half_chest_mm
            for garment in self._table.garments
            if garment.blank_id == self._selection.blank_id
        ]
        names = tuple(own[0]) if own else ()
        makings, garments, places = self._axes()
        if not garments.size:
            return tuple(Value(name, possible=False, blocked_by=()) for name in names)
        by_table = self._by_table[np.ix_(makings, garments, places)]
        values = []
        for name in names:
            fit = self._fit_of((name,), garments)

            def by_fit(rules: int, fit: Fit = fit) -> Bits:
                bits = fit.under(rules).bits(0, self._width)
                whole = np.broadcast_to(bits, (len(self._makings), *bits.shape[1:]))
                alone: Bits = whole[makings][:, :, places]
                return alone

            possible = bool(((by_table | by_fit(EVERY_RULE)) == 0).any())
            rules = () if possible else _cause(by_table, by_fit)
            values.append(Value(name, possible, rules))
        return tuple(values)

    def _widths(self) -> tuple[WidthSpan, ...]:
        """Print widths that some combination of the selection allows, as separate ranges."""
        least, greatest = self._fit.range_mm(self._size)
        works = (self._by_table | self._fit.bits(self._size, 1)) == 0
        cut = self._cut(self._axes())
        ends = (
            np.clip(np.broadcast_to(least, works.shape)[cut][works[cut]], 0, _TOP_MM),
            np.clip(np.broadcast_to(greatest, works.shape)[cut][works[cut]], 0, _TOP_MM),
        )
        # One whole number for each pair, as sorting numbers is much quicker than sorting pairs.
        pairs = np.unique(ends[0].astype(np.int32) * (_TOP_MM + 1) + ends[1].astype(np.int32))
        return _merged([divmod(pair, _TOP_MM + 1) for pair in pairs.tolist()])


_NOTHING: Bits = np.zeros((1, 1, 1), np.uint64)
_TOP_MM = 9_999
"""Above the widest print any rule or request knows; stands for a width without limit."""

_AXIS = {
    Choice.METHOD: 0,
    Choice.FILM_COLOUR: 0,
    Choice.BLANK: 1,
    Choice.COLOUR: 1,
    Choice.PLACEMENT: 2,
}


def _equal(names: Iterable[str | None], wanted: str | None) -> Flags:
    return np.array([wanted is None or name == wanted for name in names], np.bool_)


def _narrowed(axes: _Axes, axis: int, rows: list[int]) -> _Axes:
    """The same rows of each axis, of one only some."""
    kept = list(axes)
    kept[axis] = kept[axis][rows]
    return tuple(kept)


def _cause_by_size(by_rest: Bits, by_size: Bits) -> tuple[str, ...]:
    """The same with the sizes left open and the width as asked.

    ``by_size`` is (garments, placements, sizes), the bits that refuse each size.
    """
    lacking = (by_size & NOT_OFFERED) != 0
    missing = ((by_rest & NOT_OFFERED) != 0) | lacking.all(axis=-1)
    if missing.all():
        return ()
    # A rule that refuses every size there is refuses the combination by itself.
    alone = by_rest | np.bitwise_and.reduce(np.where(lacking, np.uint64(EVERY_RULE), by_size), -1)
    always = int(np.bitwise_and.reduce(alone[~missing]))
    if always:
        return rules_of(always)

    def forbids(rules: int) -> bool:
        refused = lacking | ((by_size & np.uint64(rules)) != 0)
        return bool((missing | ((by_rest & np.uint64(rules)) != 0) | refused.all(axis=-1)).all())

    some = by_rest | np.bitwise_or.reduce(np.where(lacking, np.uint64(0), by_size), -1)
    return smallest_cause(some[~missing], forbids)


def _cause(by_table: Bits, by_fit: Callable[[int], Bits]) -> tuple[str, ...]:
    """Rules that between them block all of some combinations; none where none of them exists.

    ``by_fit`` gives the bits of width and sizes by the rules that count.
    """
    blocked = by_table | by_fit(EVERY_RULE)
    offered = (blocked & NOT_OFFERED) == 0
    if not offered.any():
        return ()

    def forbids(rules: int) -> bool:
        left = by_table & np.uint64(rules | int(NOT_OFFERED))
        return bool((left | by_fit(rules)).all())

    always = int(np.bitwise_and.reduce(blocked[offered]))
    # A rule of the table forbids by itself; those on width and sizes may do so only together.
    if np.bitwise_and.reduce(by_table[offered]) or forbids(always):
        return rules_of(always)
    return smallest_cause(blocked, forbids)


def _merged(spans: list[tuple[int, int]]) -> tuple[WidthSpan, ...]:
    merged: list[list[int]] = []
    for least, greatest in spans:
        if merged and least <= merged[-1][1] + 1:
            merged[-1][1] = max(merged[-1][1], greatest)
        elif least <= greatest:
            merged.append([least, greatest])
    return tuple(
        WidthSpan(float(least), inf if greatest >= _TOP_MM else float(greatest))
        for least, greatest in merged
    )
