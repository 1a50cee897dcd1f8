"""Why a decoration is refused, as the customer's own choices, and the nearest that works.

All the shop's combinations are at hand as the rules that block each (:mod:`choice_table`). Seen
beside the wish, each combination that works grants some of the customer's choices; from these the
smallest conflicts and the smallest repairs follow exactly.

The width is as asked or, where the rules leave a range, the nearest within it. The sizes are as
asked or those of them that work; if none does, the nearest that does.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from service.domain.causes import smallest_cause
from service.domain.choice_table import (
    ALL_CONSENTS,
    EVERY_RULE,
    NOT_OFFERED,
    Bits,
    ChoiceTable,
    Flags,
    Floats,
    Given,
    table_of,
)
from service.domain.compiled import CompiledCatalogue
from service.domain.conflicts import explain_granted
from service.domain.facts import Beside
from service.domain.fit import Fit
from service.domain.garments import Garment
from service.domain.indication import indicative_piece_cost, rates_of
from service.domain.verdict import MethodVerdict, judge, judge_line
from service.domain.wishes import Choice, Consent, Decoration, Line

ORDER = (
    Choice.METHOD,
    Choice.FILM_COLOUR,
    Choice.COLOUR,
    Choice.BLANK,
    Choice.WIDTH,
    Choice.PLACEMENT,
    Choice.SIZES,
    Choice.CONSENTS,
)
"""Which change is offered first: another method on the same blank, then another colour, and so on.
A consent comes last, since it asks the customer to accept a loss."""

_TRIES = 40
"""How many combinations of one kind are tried for one that leaves the other decorations whole."""


@dataclass(frozen=True, slots=True)
class Combination:
    """A full choice. ``film_colour_id`` None leaves the film's colour to the shop."""

    method_id: str
    film_colour_id: str | None
    garment: Garment
    placement_id: str
    width_mm: float
    pieces_by_size: Mapping[str, int]
    consents: frozenset[Consent]


@dataclass(frozen=True, slots=True)
class Alternative:
    """A combination that works, what of the wish it changes, and its verdict."""

    combination: Combination
    changes: tuple[Choice, ...]
    verdict: MethodVerdict


@dataclass(frozen=True, slots=True)
class ChoiceConflict:
    """A smallest set of choices that cannot all hold, and rules that forbid it, none needless."""

    choices: tuple[Choice, ...]
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class WaysOut:
    """Why not, and what instead.

    ``conflicts`` are all the smallest sets of choices that cannot all hold, ``repairs`` all the
    smallest sets of choices to give up, ``alternatives`` the nearest that work, nearest first.
    When nothing in the shop works, ``ruled_out_by`` names a smallest set of rules that leaves
    nothing, and the rest is empty.
    """

    conflicts: tuple[ChoiceConflict, ...]
    repairs: tuple[tuple[Choice, ...], ...]
    alternatives: tuple[Alternative, ...]
    ruled_out_by: tuple[str, ...] = ()

    @property
    def nothing_works(self) -> bool:
        """True when no combination in the shop works for this artwork."""
        return bool(self.ruled_out_by)


def find_ways_out(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    beside: tuple[Beside, ...] = (),
) -> WaysOut:
    """Explain a refusal; of what is not refused there is nothing to say.

    The decoration's method may be None, for "any"; then it is no wish. ``beside`` are the
    line's other decorations, in its order.
    """
    garment = line.garment
    if compiled.garments.get(garment.key) is not garment:
        table = (
            compiled.supplied_tables.get(garment.key, lambda: ChoiceTable(compiled, (garment,)))
            if garment.description
            else ChoiceTable(compiled, (garment,))
        )
        return Search(table, line, decoration, beside).ways_out()

    def found() -> WaysOut:
        return Search(table_of(compiled), line, decoration, beside).ways_out()

    if len(line.decorations) > 1 or beside:
        return found()
    return compiled.asked.get(wish_key(line, decoration), found)


def wish_key(line: Line, decoration: Decoration, beside: tuple[Beside, ...] = ()) -> Hashable:
    """All that the ways out of one of the line's decorations depend on, for one catalogue.

    None for a garment that is not described in full, which no other can be told to be alike.
    """
    garment = line.garment
    if garment.supplied and not garment.description:
        return None
    return (
        "ways out",
        garment.key,
        tuple(line.pieces_by_size.items()),
        tuple(map(_decoration_key, line.decorations)),
        next((at for at, one in enumerate(line.decorations) if one is decoration), None),
        _decoration_key(decoration),
        tuple(
            (_decoration_key(one.decoration), one.chain.method.id, one.listed_before)
            for one in beside
        ),
    )


def _decoration_key(decoration: Decoration) -> Hashable:
    return (
        decoration.placement_id,
        decoration.artwork.key,
        decoration.rights_declared,
        decoration.width_mm,
        decoration.method_id,
        decoration.film_colour_id,
        decoration.consents,
    )


class Search:
    """One refusal beside the table; :func:`find_ways_out` makes one where none is remembered.

    Axes: sizes, width, consents, makings, garments, placements.
    """

    def __init__(
        self,
        table: ChoiceTable,
        line: Line,
        decoration: Decoration,
        beside: tuple[Beside, ...],
    ) -> None:
        """Fit width and sizes; the search itself is :meth:`ways_out`."""
        self._table = table
        self._compiled = table.compiled
        self._line = line
        self._decoration = decoration
        self._wish = Given(
            decoration.artwork,
            decoration.rights_declared,
            decoration.consents,
            decoration.film_colour_id,
            beside,
        )
        self._makings = table.makings(decoration.film_colour_id)
        self._fit = Fit(table, self._wish, decoration.width_mm, line.pieces_by_size)
        self._blocked: Bits = table.blocked(self._wish)
        self._shape = (*self._fit.blocked.shape[:2], *self._blocked.shape)
        self._wishes = [choice for choice in ORDER if self._is_wish(choice)]

    def _is_wish(self, choice: Choice) -> bool:
        if choice is Choice.METHOD:
            return self._decoration.method_id is not None
        return choice not in (Choice.BLANK, Choice.COLOUR) or not self._line.garment.supplied

    def ways_out(self) -> WaysOut:
        """All smallest conflicts and repairs, and the nearest alternatives, each judged in full."""
        feasible = (self._blocked | self._fit.blocked) == 0
        granted = self._granted()
        working = granted[feasible]
        if not working.size:
            return WaysOut((), (), (), self._cause(()))
        if working.max() == (1 << len(self._wishes)) - 1:
            return WaysOut((), (), ())
        counts = np.bincount(working, minlength=1 << len(self._wishes))
        report = explain_granted(np.flatnonzero(counts).tolist(), len(self._wishes))
        return WaysOut(
            conflicts=tuple(
                ChoiceConflict(choices, self._cause(choices))
                for choices in map(self._choices, report.conflicts)
            ),
            repairs=tuple(self._choices(repair) for repair in report.repairs),
            alternatives=self._alternatives(feasible, working, report.repairs),
        )

    def _choices(self, indexes: frozenset[int]) -> tuple[Choice, ...]:
        return tuple(self._wishes[index] for index in sorted(indexes))

    def _granted(self) -> NDArray[np.uint16]:
        """Which wishes each combination grants, as bits in the order of ``_wishes``."""
        granted = np.zeros((1, 1, 1, 1, 1, 1), np.uint16)
        for index, choice in enumerate(self._wishes):
            granted = granted | (self._agrees(choice).astype(np.uint16) << np.uint16(index))
        return np.broadcast_to(granted, self._shape)

    def _agrees(self, choice: Choice) -> Flags:
        wished, garment, table = self._decoration, self._line.garment, self._table
        axis = _AXIS[choice]
        if choice is Choice.METHOD:
            flags = [making.method_id == wished.method_id for making in self._makings]
        elif choice is Choice.FILM_COLOUR:
            flags = [making.film_colour_id == wished.film_colour_id for making in self._makings]
        elif choice is Choice.COLOUR:
            flags = [one.colour_id == garment.colour_id for one in table.garments]
        elif choice is Choice.BLANK:
            flags = [one.blank_id == garment.blank_id for one in table.garments]
        elif choice is Choice.PLACEMENT:
            flags = [place == wished.placement_id for place in table.placements]
        else:
            flags = [True, False]
        shape = [1] * 6
        shape[axis] = len(flags)
        return np.array(flags).reshape(shape)

    def _cause(self, choices: tuple[Choice, ...]) -> tuple[str, ...]:
        """Rules, none needless, that block every combination that grants these choices."""
        axes = [np.ones(size, np.bool_) for size in self._shape]
        for choice in choices:
            axes[_AXIS[choice]] &= self._agrees(choice).reshape(-1)
        sizes, widths, consents, makings, garments, places = map(np.flatnonzero, axes)
        by_table = self._blocked[np.ix_(consents, makings, garments, places)]
        if by_table.all():
            # Whatever the sizes and the width, so that those need no look.
            kinds = np.unique(by_table)
            return smallest_cause(
                kinds, lambda rules: bool((kinds & np.uint64(rules | int(NOT_OFFERED))).all())
            )

        def blocked(rules: int) -> Bits:
            fit = self._fit.under(rules).blocked
            wide = np.broadcast_to(fit, (*fit.shape[:3], *self._shape[3:]))
            by_fit = wide[np.ix_(sizes, widths, _ONE, makings, garments, places)]
            bits: Bits = (by_table & np.uint64(rules | int(NOT_OFFERED))) | by_fit
            return bits

        return smallest_cause(blocked(EVERY_RULE), lambda rules: bool(blocked(rules).all()))

    def _alternatives(
        self,
        feasible: Flags,
        working: NDArray[np.uint16],
        repairs: tuple[frozenset[int], ...],
    ) -> tuple[Alternative, ...]:
        """One best combination of each smallest repair, then the next best by fewest changes."""
        limit = self._compiled.catalogue.policy.nearest_alternatives
        at = np.flatnonzero(feasible)
        every = (1 << len(self._wishes)) - 1
        first = [every & ~sum(1 << index for index in repair) for repair in repairs]
        fewest = min((every & ~pattern).bit_count() for pattern in first)
        offers: list[Alternative] = []
        more: list[Iterator[Alternative]] = []
        for pattern in sorted(first, key=self._rank_of):
            best_first = self._offers(pattern, at[working == pattern], feasible.shape)
            offers.extend(_take(best_first, 1))
            if (every & ~pattern).bit_count() == fewest:
                more.append(best_first)
        for rest in more:
            offers.extend(_take(rest, limit - len(offers)))
        if not offers:
            offers.extend(self._larger(at, working, feasible.shape, limit))
        return tuple(
            sorted(offers[:limit], key=lambda offer: (len(offer.changes), _places(offer.changes)))
        )

    def _larger(
        self, at: NDArray[np.intp], working: NDArray[np.uint16], shape: tuple[int, ...], limit: int
    ) -> Iterator[Alternative]:
        """Offers beside other decorations, where the smallest repairs all fail and larger ones do.

        One of each kind, fewest changes first, none that changes more than another.
        """
        kept: list[int] = []
        for pattern in sorted(np.unique(working).tolist(), key=self._rank_of):
            if len(kept) < limit and not any(pattern & ~larger == 0 for larger in kept):
                for offer in _take(self._offers(pattern, at[working == pattern], shape), 1):
                    kept.append(pattern)
                    yield offer

    def _rank_of(self, pattern: int) -> tuple[int, list[int]]:
        changed = [at for at in range(len(self._wishes)) if not pattern >> at & 1]
        return len(changed), changed

    def _offers(
        self, pattern: int, rows: NDArray[np.intp], shape: tuple[int, ...]
    ) -> Iterator[Alternative]:
        """Combinations that grant exactly this, best first, each checked in full."""
        changes = tuple(c for at, c in enumerate(self._wishes) if not pattern >> at & 1)
        sizes, widths, consents, makings, garments, places = np.unravel_index(rows, shape)
        delta_e = self._table.delta_e(self._wish)[makings, garments]
        dropped = self._fit.dropped(sizes, widths, makings, garments, places)
        cost = self._making_cost[makings] + self._garment_cost[garments]
        order = np.lexsort((rows, cost, np.round(delta_e, 1), self._unlikeness[garments], dropped))
        for number, pick in enumerate(order):
            if number >= _TRIES:
                return
            index = (sizes[pick], widths[pick], consents[pick], makings[pick], garments[pick],
                     places[pick])  # fmt: skip
            alternative = self._checked(tuple(int(one) for one in index), changes)
            if alternative is not None:
                yield alternative

    @cached_property
    def _unlikeness(self) -> NDArray[np.intp]:
        """0 for garments of the same cut for the same people, more for others."""
        blanks = self._compiled.catalogue.blank_by_id
        wished = self._line.garment

        def unlike(garment: Garment) -> int:
            one, other = blanks.get(garment.blank_id or ""), blanks.get(wished.blank_id or "")
            cut = one is not None and other is not None and one.style is not other.style
            return 2 * (garment.wearer is not wished.wearer) + cut

        return np.array([unlike(garment) for garment in self._table.garments])

    @cached_property
    def _making_cost(self) -> Floats:
        """Indicative cost of one piece by each making at the size asked for."""
        costs = {
            method_id: indicative_piece_cost(
                rates_of(self._compiled, method_id), self._decoration, self._line.pieces
            )
            for method_id in self._compiled.chains
        }
        return np.array([float(costs[making.method_id]) for making in self._makings])

    @cached_property
    def _garment_cost(self) -> Floats:
        """Mean cost of each garment in the sizes asked for."""
        asked = [
            at for size, at in self._table.size_index.items() if size in self._line.pieces_by_size
        ]
        mean: Floats = self._table.size_costs()[:, asked].mean(axis=1)
        return mean

    def _checked(self, index: tuple[int, ...], changes: tuple[Choice, ...]) -> Alternative | None:
        """The combination as an offer, if it passes its own check and leaves the others whole."""
        size, width, consent, making, garment, place = index
        made = self._makings[making]
        found = Combination(
            made.method_id,
            made.film_colour_id,
            self._table.garments[garment],
            self._table.placements[place],
            self._fit.width_mm(size, width, making, garment, place),
            self._fit.pieces(size, width, making, garment, place),
            self._decoration.consents,
        )
        for consents in _consents(self._decoration.consents, more=consent == 1):
            tried = replace(found, consents=consents)
            line, decoration = applied(self._line, self._decoration, tried)
            verdict = judge(
                self._compiled, line, decoration, tried.method_id, beside=self._wish.beside
            )
            if verdict.works:
                whole = self._others_work(line, decoration, tried.method_id, changes)
                return Alternative(tried, changes, verdict) if whole else None
        return None

    def _others_work(
        self, line: Line, decoration: Decoration, method_id: str, changes: tuple[Choice, ...]
    ) -> bool:
        """Whether the other decorations that worked work still, if what they share is changed."""
        if len(self._line.decorations) == 1 or not set(changes) & _SHARED:
            return True
        settled = replace(decoration, method_id=method_id)
        changed = replace(
            line, decorations=tuple(settled if d is decoration else d for d in line.decorations)
        )
        if len({one.placement_id for one in changed.decorations}) < len(changed.decorations):
            return False
        if any(one.placement_id not in line.garment.placements for one in changed.decorations):
            return False
        before = judge_line(self._compiled, self._line)
        after = judge_line(self._compiled, changed)
        return all(
            now.chosen is not None
            for was, now in zip(before, after, strict=True)
            if was.chosen is not None or now.decoration is settled
        )


_ONE = np.zeros(1, np.intp)
_SHARED = {
    Choice.METHOD,
    Choice.FILM_COLOUR,
    Choice.BLANK,
    Choice.COLOUR,
    Choice.SIZES,
    Choice.PLACEMENT,
}
_AXIS = {
    Choice.SIZES: 0,
    Choice.WIDTH: 1,
    Choice.CONSENTS: 2,
    Choice.METHOD: 3,
    Choice.FILM_COLOUR: 3,
    Choice.COLOUR: 4,
    Choice.BLANK: 4,
    Choice.PLACEMENT: 5,
}


def applied(line: Line, decoration: Decoration, chosen: Combination) -> tuple[Line, Decoration]:
    """The line and its decoration with the combination's choices in place of the customer's."""
    changed = replace(
        decoration,
        method_id=chosen.method_id,
        film_colour_id=chosen.film_colour_id,
        placement_id=chosen.placement_id,
        width_mm=chosen.width_mm,
        consents=chosen.consents,
    )
    decorations = tuple(changed if one is decoration else one for one in line.decorations)
    new = replace(
        line, garment=chosen.garment, pieces_by_size=chosen.pieces_by_size, decorations=decorations
    )
    return new, changed


def _consents(given: frozenset[Consent], *, more: bool) -> Iterator[frozenset[Consent]]:
    """The consents given; then with as few more as may be."""
    if not more:
        yield given
        return
    missing = sorted(ALL_CONSENTS - given)
    for count in range(1, len(missing) + 1):
        for extra in combinations(missing, count):
            yield given | set(extra)


def _take(offers: Iterator[Alternative], most: int) -> Iterator[Alternative]:
    for _ in range(most):
        offer = next(offers, None)
        if offer is None:
            return
        yield offer


def _places(changes: tuple[Choice, ...]) -> list[int]:
    return [ORDER.index(choice) for choice in changes]
