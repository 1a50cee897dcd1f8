"""What may still be chosen: for a partial selection, which values lead somewhere and which do not.

A value is possible exactly if some combination that the rules allow has it together with all that
is selected for the other attributes. What is not selected is free.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from math import inf

import numpy as np

from service.domain.alike import Indexes, Named, cut, named
from service.domain.artwork import ArtworkMeasures
from service.domain.causes import cause_by_range
from service.domain.choice_table import EVERY_RULE, Bits, ChoiceTable, Flags, Given
from service.domain.fit import Fit
from service.domain.reasons import Reasons
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
    """One selection beside the table.

    Axes are the kinds of makings, the kinds of garments, and placements: what is alike by the
    table is looked at once (:mod:`alike`). ``_axes`` has the kinds that the selection leaves.
    """

    def __init__(self, table: ChoiceTable, selection: Selection) -> None:
        self._table = table
        self._selection = selection
        self._given = Given(
            selection.artwork,
            selection.rights_declared,
            selection.consents,
            selection.film_colour_id,
        )
        self._seen = table.condensed(self._given)
        self._size = 0 if selection.sizes else 1
        self._width = 0 if selection.width_mm is not None else 1
        self._fit = self._fit_of(self._seen.wide_makings.first, self._seen.wide_garments.first)
        self._reasons = Reasons(self._seen, self._fit, self._size, self._width)
        self._works: Flags = self._reasons.blocked == 0
        self._makings = table.makings(selection.film_colour_id)
        every_place = np.arange(len(table.placements))
        self._kinds = (self._seen.makings.of, self._seen.garments.of, every_place)
        self._named = {
            Choice.METHOD: named(making.method_id for making in self._makings),
            Choice.FILM_COLOUR: named(making.film_colour_id for making in self._makings),
            Choice.BLANK: table.blanks,
            Choice.COLOUR: table.colours,
            Choice.PLACEMENT: Named(table.placements, every_place),
        }
        self._kept = {
            Choice.METHOD: self._named[Choice.METHOD].equal(selection.method_id),
            Choice.FILM_COLOUR: self._named[Choice.FILM_COLOUR].equal(selection.film_colour_id),
            Choice.BLANK: table.blanks.equal(selection.blank_id),
            Choice.COLOUR: table.colours.equal(selection.colour_id),
            Choice.PLACEMENT: self._named[Choice.PLACEMENT].equal(selection.placement_id),
        }
        self._axes = [np.unique(self._kinds[axis][self._kept_on(axis)]) for axis in range(3)]

    def choices(self) -> Choices:
        """Everything about the selection."""
        return Choices(
            possible=bool(self._open(2)[self._axes[2]].any()),
            blanks=self._values(Choice.BLANK),
            colours=self._values(Choice.COLOUR),
            placements=self._values(Choice.PLACEMENT),
            methods=self._values(Choice.METHOD),
            film_colours=self._values(Choice.FILM_COLOUR),
            sizes=self._sizes(),
            widths=self._widths(),
        )

    def _kept_on(self, axis: int, free: Choice | None = None) -> Flags:
        """What is kept on an axis, of all that is alike each; the attribute ``free`` left open."""
        kept: Flags = np.ones(len(self._kinds[axis]), np.bool_)
        for choice, mine in self._kept.items():
            if _AXIS[choice] == axis and choice is not free:
                kept &= mine
        return kept

    def _open(self, axis: int) -> Flags:
        """Which kinds on this axis lead somewhere, whatever is selected on this axis."""
        axes = list(self._axes)
        axes[axis] = np.arange(self._works.shape[axis])
        works = cut(self._works, *axes)
        opened: Flags = (
            np.any(works, axis=(1, 2)) if axis == 0 else np.any(works.any(axis=0), axis=2 - axis)
        )
        return opened

    def _values(self, choice: Choice) -> tuple[Value, ...]:
        """Every value of one attribute, in the catalogue's order."""
        axis, ids = _AXIS[choice], self._named[choice].ids
        held = self._held(choice)
        possible: Flags = np.any(held & self._open(axis), axis=1)
        causes: dict[bytes, tuple[str, ...]] = {}
        axes = list(self._axes)
        values = []
        for id_, works, mine in zip(ids, possible.tolist(), held, strict=True):
            rules: tuple[str, ...] = ()
            if not works:
                alike = mine.tobytes()
                if alike not in causes:
                    axes[axis] = np.flatnonzero(mine)
                    causes[alike] = self._reasons.why(*axes)
                rules = causes[alike]
            values.append(Value(id_, works, rules))
        return tuple(values)

    def _held(self, choice: Choice) -> Flags:
        """Which kinds on its axis each value of an attribute comes with, (values, kinds)."""
        axis, names = _AXIS[choice], self._named[choice]
        kept = self._kept_on(axis, choice)
        held = np.zeros((len(names.ids), self._works.shape[axis]), np.bool_)
        mine = kept & (names.of >= 0)
        held[names.of[mine], self._kinds[axis][mine]] = True
        if choice is Choice.FILM_COLOUR:
            # Where no film stays on the cloth, any film colour is let pass.
            held[:, self._kinds[axis][kept & (names.of < 0) & self._filmless]] = True
        return held

    @cached_property
    def _filmless(self) -> Flags:
        chains = self._table.compiled.chains
        return np.array([not chains[making.method_id].layers for making in self._makings])

    def _fit_of(self, makings: Indexes, garments: Indexes) -> Fit:
        pieces = dict.fromkeys(self._selection.sizes, 1)
        width_mm = self._selection.width_mm
        return Fit(self._table, self._given, width_mm, pieces, garments, makings)

    def _sizes(self) -> tuple[Value, ...]:
        """Sizes of the selected blank, each judged as if it alone were ordered."""
        blank_id, table = self._selection.blank_id, self._table
        own = np.flatnonzero(table.blanks.equal(blank_id))[:1].tolist() if blank_id else []
        names = [size for at in own for size in table.garments[at].half_chest_mm]
        if not names or not all(kept.size for kept in self._axes):
            return tuple(Value(name, possible=False, blocked_by=()) for name in names)
        by_table, alone = cut(self._seen.blocked, *self._axes), self._alone()
        values = []
        for name in names:

            def by_fit(rules: int, at: int = table.size_index[name]) -> Bits:
                bits: Bits = alone(rules)[..., at]
                return bits

            possible = bool(((by_table | by_fit(EVERY_RULE)) == 0).any())
            rules = () if possible else cause_by_range(by_table, by_fit)
            values.append(Value(name, possible, rules))
        return tuple(values)

    def _alone(self) -> Callable[[int], Bits]:
        """Bits of width and sizes by some rules, were each size ordered alone.

        (makings, garments, placements, sizes) of what the selection leaves.
        """
        seen, (makings, garments, places) = self._seen, self._axes
        wide_makings, making = np.unique(seen.wide_makings.of[makings], return_inverse=True)
        wide_garments, garment = np.unique(seen.wide_garments.of[garments], return_inverse=True)
        fit = self._fit_of(
            seen.wide_makings.first[wide_makings], seen.wide_garments.first[wide_garments]
        )

        @cache
        def spread(fit: Fit) -> Bits:
            bits = fit.alone(self._width)[:, garment][:, :, places]
            return np.broadcast_to(bits, (len(wide_makings), *bits.shape[1:]))[making]

        return lambda rules: spread(fit.under(rules))

    def _widths(self) -> tuple[WidthSpan, ...]:
        """Print widths that some combination of the selection allows, as separate ranges."""
        seen, fit = self._seen, self._fit
        free = cut(seen.blocked, *self._axes) == 0
        works = np.zeros(seen.fit_shape, np.bool_)
        works.reshape(-1)[cut(seen.place, *self._axes)[free]] = True
        works &= fit.leaves_a_width(self._size)
        least, greatest = (
            np.clip(np.broadcast_to(end, works.shape)[works], 0, _TOP_MM).astype(np.int32)
            for end in fit.range_mm(self._size)
        )
        # One whole number for each pair, as sorting numbers is much quicker than sorting pairs.
        pairs = np.unique(least * (_TOP_MM + 1) + greatest)
        return _merged([divmod(pair, _TOP_MM + 1) for pair in pairs.tolist()])


_TOP_MM = 9_999
"""Above the widest print any rule or request knows; stands for a width without limit."""

_AXIS = {
    Choice.METHOD: 0,
    Choice.FILM_COLOUR: 0,
    Choice.BLANK: 1,
    Choice.COLOUR: 1,
    Choice.PLACEMENT: 2,
}


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
