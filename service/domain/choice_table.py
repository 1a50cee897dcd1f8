"""Every combination of the shop's choices, and the rules that block each, as arrays of bits.

A rule depends only on the choices it reads, so it is run once for each combination of those and
spread over the rest. What does not depend on the artwork is worked out once for each catalogue
version, what does once for each artwork. Axes are always in this order: consents (as given, all),
makings (a method with a film colour), garments, placements, and sizes where they are told apart.

A print width is one number of a continuous range, so it is not enumerated: rules that read it give
the range they leave, and the ranges are intersected.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from service.domain.alike import Condensed, Kinds, condense, kinds_by, named
from service.domain.artwork import ArtworkMeasures, InkBox, PaletteColour
from service.domain.chain import Chain
from service.domain.compiled import CompiledCatalogue
from service.domain.facts import Beside, facts_for
from service.domain.garments import Garment
from service.domain.look import predict_many, surface_of
from service.domain.memo import Memo
from service.domain.rules import RULES, Facts, Rule, Severity
from service.domain.rules.contract import WidthLimits
from service.domain.rules.groups import OfColour, RuleGroup, group_rules
from service.domain.rules.look import holding_all
from service.domain.wishes import Choice, Consent, Decoration, Line

Bits = NDArray[np.uint64]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

BLOCKERS: Final[tuple[Rule, ...]] = tuple(rule for rule in RULES if rule.may_block)
"""Rules that can block; the place of each is its bit."""

NOT_OFFERED: Final = np.uint64(1 << 63)
"""The bit of combinations that do not exist, such as a placement the garment does not have."""

EVERY_RULE: Final = (1 << len(BLOCKERS)) - 1
"""The bits of all rules that can block."""

ALL_CONSENTS: Final = frozenset(Consent)
_BIT: Final = {rule.id: np.uint64(1 << index) for index, rule in enumerate(BLOCKERS)}
_FOR_ALL_WIDTHS: Final = tuple(
    rule for rule in BLOCKERS if not {Choice.WIDTH, Choice.SIZES} & rule.reads
)
_ANY_WIDTH_MM: Final = 100.0
_ONE_GIVEN: Final = 10_000
_RANGE: Final = np.dtype([("least", np.float64), ("greatest", np.float64)])
_NO_RANGE: Final = np.zeros((), _RANGE)
_NO_DIFFERENCE: Final = np.float64(0)
_NO_ARTWORK: Final = ArtworkMeasures(
    width_px=1_000,
    height_px=1_000,
    ink_box=InkBox(left=0, top=0, width=1_000, height=1_000),
    has_alpha=True,
    opaque_share=1,
    soft_alpha_share=0,
    near_white_share=0,
    palette=(PaletteColour(srgb="#000000", share=1),),
)
"""Stands in where no rule that is run reads the artwork."""


@dataclass(frozen=True, slots=True)
class Making:
    """A method with a film colour; None for the one the shop would choose."""

    method_id: str
    film_colour_id: str | None


@dataclass(frozen=True, slots=True)
class Given:
    """What is fixed while choices vary: the artwork and the garment's other decorations.

    ``artwork`` is None where there is none yet: then rules that read it are left out. ``beside``
    are the other decorations of the line.
    """

    artwork: ArtworkMeasures | None
    rights_declared: bool = True
    consents: frozenset[Consent] = frozenset()
    film_colour_id: str | None = None
    beside: tuple[Beside, ...] = ()


@dataclass(frozen=True, slots=True)
class WidthRange:
    """The widths one rule leaves, in mm: arrays of the least and greatest, that broadcast."""

    bit: np.uint64
    least_mm: Floats
    greatest_mm: Floats

    @property
    def ends(self) -> tuple[Floats, Floats]:
        """The least and the greatest."""
        return self.least_mm, self.greatest_mm


class ChoiceTable:
    """The table of one catalogue version, or of one garment the customer brings.

    ``has_placement`` is (garments, placements), ``has_size`` (garments, placements, sizes),
    ``half_chest_mm`` (garments, sizes) with infinity where a garment lacks the size. ``blanks`` and
    ``colours`` are those of the garments.
    """

    def __init__(self, compiled: CompiledCatalogue, garments: Sequence[Garment]) -> None:
        """Lay out the axes; nothing is judged yet."""
        self.compiled = compiled
        self.garments = tuple(garments)
        self.placements = _in_order(id_ for garment in garments for id_ in garment.placements)
        self.sizes = _in_order(size for garment in garments for size in garment.half_chest_mm)
        self.size_index = {size: index for index, size in enumerate(self.sizes)}
        self.has_placement: Flags = np.array(
            [[place in g.placements for place in self.placements] for g in garments]
        )
        self.has_size: Flags = np.array(
            [
                [
                    [size in g.half_chest_mm and _has_area(g, place, size) for size in self.sizes]
                    for place in self.placements
                ]
                for g in garments
            ]
        )
        self.half_chest_mm: Floats = np.array(
            [[g.half_chest_mm.get(size, np.inf) for size in self.sizes] for g in garments]
        )
        self.blanks = named(garment.blank_id for garment in garments)
        self.colours = named(garment.colour_id for garment in garments)
        self._lasting = Memo(1_000_000)
        self._by_artwork = Memo(64)

    def makings(self, film_colour_id: str | None = None) -> tuple[Making, ...]:
        """Every method with every film colour it has, and with the one asked for."""

        def listed() -> tuple[Making, ...]:
            return tuple(
                Making(id_, colour)
                for id_, chain in self.compiled.chains.items()
                for colour in _colours_of(chain, film_colour_id)
            )

        return self._lasting.get(("makings", film_colour_id), listed)

    def blocked(self, given: Given) -> Bits:
        """Bits of the rules that block, (2, makings, garments, placements).

        Rules that read width or sizes are not among them.
        """
        if given.beside:
            return self._stacked(given)
        return self._by_artwork.get(("blocked", *_key_of(given)), lambda: self._stacked(given))

    def condensed(self, given: Given) -> Condensed:
        """The table with the consents as given, what is alike put together."""

        def put_together() -> Condensed:
            by_making = [end for one in self.method_ranges(given) for end in one.ends]
            by_garment: list[NDArray[Any]] = [self.has_size, self.half_chest_mm]
            by_garment += [end for one in self.size_ranges(given) for end in one.ends]
            by_garment += [end.swapaxes(0, 1) for end in by_making if end.shape[1] > 1]
            by_garment += [gone for _, gone in self.unobtainable()]
            return condense(self.blocked(given)[0], by_making, by_garment)

        if given.beside:
            return put_together()
        return self._by_artwork.get(("condensed", *_key_of(given)), put_together)

    def warm_up(self) -> None:
        """Work out all that depends on the catalogue alone."""
        self.condensed(Given(None))

    def delta_e(self, given: Given) -> Floats:
        """Mean predicted colour difference, (makings, garments); needs an artwork."""
        if given.artwork is None:
            raise ValueError("without an artwork there is no colour difference")
        key = ("delta_e", given.artwork.key, given.film_colour_id)
        return self._by_artwork.get(key, lambda: self._delta_e(given))

    def size_ranges(self, given: Given) -> tuple[WidthRange, ...]:
        """Ranges of those rules on width that do not read the method.

        Arrays are (garments, placements, sizes).
        """

        def ranges() -> tuple[WidthRange, ...]:
            rules = [rule for rule in _width_rules(given) if Choice.METHOD not in rule.reads]
            return tuple(self._size_range(rule, given) for rule in rules)

        return self._by_artwork.get(("size_ranges", given.artwork and given.artwork.key), ranges)

    def method_ranges(self, given: Given) -> tuple[WidthRange, ...]:
        """Ranges of those rules on width that read the method.

        Arrays are (makings, garments, placements), with 1 in place of the last two where a rule
        does not tell them apart.
        """

        def ranges() -> tuple[WidthRange, ...]:
            rules = [rule for rule in _width_rules(given) if Choice.METHOD in rule.reads]
            return tuple(self._method_range(rule, given) for rule in rules)

        key = ("method_ranges", given.artwork and given.artwork.key, given.film_colour_id)
        return self._by_artwork.get(key, ranges)

    def unobtainable(self) -> tuple[tuple[np.uint64, Flags], ...]:
        """For each rule on sizes that reads no width, what it blocks, (garments, sizes)."""

        def listed() -> tuple[tuple[np.uint64, Flags], ...]:
            rules = [
                rule
                for rule in BLOCKERS
                if Choice.SIZES in rule.reads and Choice.WIDTH not in rule.reads
            ]
            return tuple((_BIT[rule.id], self._blocked_sizes(rule)) for rule in rules)

        return self._lasting.get("unobtainable", listed)

    def size_costs(self) -> Floats:
        """What a piece costs the shop, (garments, sizes); the garment's mean in sizes it lacks."""

        def listed() -> Floats:
            costs = np.zeros((len(self.garments), len(self.sizes)))
            for at, garment in enumerate(self.garments):
                blank = self.compiled.catalogue.blank_by_id.get(garment.blank_id or "")
                if blank is not None:
                    known = {size.size: float(size.cost) for size in blank.sizes}
                    mean = sum(known.values()) / len(known)
                    costs[at] = [known.get(size, mean) for size in self.sizes]
            return costs

        return self._lasting.get("size_costs", listed)

    def _stacked(self, given: Given) -> Bits:
        both, fresh = [], Memo(_ONE_GIVEN)
        for consents in (given.consents, ALL_CONSENTS):
            agreed = replace(given, consents=consents)
            makings = self.makings(given.film_colour_id)
            both.append(np.stack([self._making(m, agreed, fresh) for m in makings]))
        stacked = np.stack(both)
        stacked[:, :, ~self.has_placement] |= NOT_OFFERED
        return stacked

    def _making(self, making: Making, given: Given, fresh: Memo) -> Bits:
        """Bits of one making, (garments, placements); ``fresh`` remembers what is for once."""
        chain = self.compiled.chains[making.method_id]
        bits = np.zeros(self.has_placement.shape, np.uint64)
        made = _Made(self, making, given)
        chosen = made.facts_on(0).film_colours.values()
        films = (making.film_colour_id, *[colour.id for colour in chosen])
        for group in self._groups(chain):
            reads = group.reads
            if Choice.ARTWORK in reads and given.artwork is None:
                continue
            film = films if Choice.FILM_COLOUR in reads else None
            consents = given.consents if Choice.CONSENTS in reads else None
            key = ("group", *group.key, film, consents)
            fixed = Choice.ARTWORK in reads or (
                Choice.OTHER_DECORATIONS in reads and bool(given.beside)
            )
            memo = fresh if fixed else self._lasting
            blocking = partial(_bits, group.rules)
            grid = partial(self._grid, reads, blocking, made, NOT_OFFERED, group.of_colour)
            bits |= memo.get(key, grid)
        return bits

    def _groups(self, chain: Chain) -> tuple[RuleGroup, ...]:
        """Rules that read neither width nor sizes, by what they read on this chain."""
        key = ("groups", chain.method.id)
        return self._lasting.get(key, lambda: group_rules(_FOR_ALL_WIDTHS, chain))

    def _grid(
        self,
        reads: frozenset[Choice],
        value: Callable[[Facts], Any],
        made: _Made,
        fill: np.generic | NDArray[Any],
        of_colour: OfColour | None = None,
    ) -> NDArray[Any]:
        """``value`` of the facts of each cell it depends on, spread over (garments, placements)."""
        self._foresee(reads, made.making, made.given)
        picked = self._picked(reads, of_colour)
        places = self.placements if Choice.PLACEMENT in reads else (None,)
        grid = np.full((len(picked.first), len(places)), fill, fill.dtype)
        for row, at in enumerate(picked.first.tolist()):
            garment, facts = self.garments[at], made.facts_on(at)
            for column, place in enumerate(places):
                if place is None:
                    grid[row, column] = value(facts)
                elif place in garment.placements:
                    there = replace(facts.decoration, placement_id=place)
                    grid[row, column] = value(replace(facts, decoration=there))
        return np.broadcast_to(grid[picked.of], self.has_placement.shape)

    def _picked(self, reads: frozenset[Choice], of_colour: OfColour | None = None) -> Kinds:
        """Which garments stand for all, as far as these choices tell."""

        def kinds() -> Kinds:
            garments, policy = self.garments, self.compiled.catalogue.policy
            if Choice.COLOUR in reads:
                if of_colour is None:
                    return kinds_by(range(len(garments)))
                return kinds_by((one.cloth_key, of_colour(one, policy)) for one in garments)
            if Choice.BLANK in reads:
                return kinds_by(one.cloth_key for one in garments)
            return kinds_by(None for _ in garments)

        told = frozenset({Choice.BLANK, Choice.COLOUR} & reads)
        return self._lasting.get(("picked", told, of_colour), kinds)

    def facts(self, garment: Garment, making: Making, given: Given) -> Facts:
        """What rules read of one making on that garment, at its first placement and size."""
        decoration = Decoration(
            placement_id=next(iter(garment.placements)),
            artwork_id="",
            artwork=given.artwork or _NO_ARTWORK,
            width_mm=_ANY_WIDTH_MM,
            method_id=making.method_id,
            film_colour_id=making.film_colour_id,
            consents=given.consents,
            rights_declared=given.rights_declared,
        )
        line = Line(garment, {next(iter(garment.half_chest_mm)): 1}, (decoration,))
        return facts_for(self.compiled, line, decoration, making.method_id, given.beside)

    def _foresee(self, reads: frozenset[Choice], making: Making, given: Given) -> None:
        """Predict the looks on many garments together, which the rules would ask for one by one."""
        art = given.artwork
        if art is None or not {Choice.ARTWORK, Choice.COLOUR} <= reads:
            return

        def foreseen() -> bool:
            labs = self.facts(self.garments[0], making, given).film_labs
            chain = self.compiled.chains[making.method_id]
            own = [surface_of(chain, garment, labs) for garment in self.garments]
            surfaces = list(dict.fromkeys([*own, *map(holding_all, own)]))
            policy = self.compiled.catalogue.policy
            for surface, look in zip(
                surfaces, predict_many(art.palette, surfaces, policy), strict=True
            ):
                self.compiled.memo.put(("look", art.key, surface), look)
            return True

        self._by_artwork.get(("foreseen", art.key, making), foreseen)

    def _delta_e(self, given: Given) -> Floats:
        rows = []
        for making in self.makings(given.film_colour_id):
            chain = self.compiled.chains[making.method_id]
            on_cloth = any(transfer.target is None for transfer in chain.dye)
            reads = frozenset({Choice.ARTWORK, Choice.COLOUR} if on_cloth else {Choice.ARTWORK})
            grid = self._grid(reads, _mean_delta_e, _Made(self, making, given), _NO_DIFFERENCE)
            rows.append(grid[:, 0])
        return np.stack(rows)

    def _size_range(self, rule: Rule, given: Given) -> WidthRange:
        shape = self.has_size.shape
        least, greatest = np.zeros(shape), np.full(shape, np.inf)
        making = self.makings()[0]
        picked = self._picked(rule.reads | {Choice.BLANK})
        for at in picked.first.tolist():
            garment = self.garments[at]
            facts = self.facts(garment, making, given)
            for column, place in enumerate(self.placements):
                if place not in garment.placements:
                    continue
                there = replace(facts.decoration, placement_id=place)
                for size, index in self.size_index.items():
                    if self.has_size[at, column, index]:
                        line = replace(facts.line, pieces_by_size={size: 1})
                        limits = _limits(rule, replace(facts, line=line, decoration=there))
                        least[at, column, index], greatest[at, column, index] = limits
        rows = picked.first[picked.of]
        return WidthRange(_BIT[rule.id], least[rows], greatest[rows])

    def _method_range(self, rule: Rule, given: Given) -> WidthRange:
        grids, fresh = [], Memo(_ONE_GIVEN)
        for making in self.makings(given.film_colour_id):
            reads = rule.reads_for(self.compiled.chains[making.method_id])
            film = making.film_colour_id if Choice.FILM_COLOUR in reads else None

            def ranges(making: Making = making, reads: frozenset[Choice] = reads) -> NDArray[Any]:
                made = _Made(self, making, given)
                return self._grid(reads, partial(_limits, rule), made, _NO_RANGE)

            grids.append(fresh.get((making.method_id, film), ranges))
        stacked = np.stack(grids)
        if not {Choice.BLANK, Choice.COLOUR, Choice.PLACEMENT} & rule.reads:
            # The same for every garment and placement.
            stacked = stacked[:, :1, :1]
        return WidthRange(_BIT[rule.id], stacked["least"].copy(), stacked["greatest"].copy())

    def _blocked_sizes(self, rule: Rule) -> Flags:
        blocked = np.zeros((len(self.garments), len(self.sizes)), np.bool_)
        making = self.makings()[0]
        for at, garment in enumerate(self.garments):
            facts = self.facts(garment, making, Given(None))
            for size in garment.half_chest_mm:
                line = replace(facts.line, pieces_by_size={size: 1})
                blocked[at, self.size_index[size]] = _blocks(rule, replace(facts, line=line))
        return blocked


class _Made:
    """Facts of one making on each garment, gathered once for all rules that ask for them."""

    def __init__(self, table: ChoiceTable, making: Making, given: Given) -> None:
        self.making = making
        self.given = given
        self._table = table
        self._facts: dict[int, Facts] = {}

    def facts_on(self, at: int) -> Facts:
        """Facts on the garment of that index."""
        facts = self._facts.get(at)
        if facts is None:
            table = self._table
            facts = table.facts(table.garments[at], self.making, self.given)
            self._facts[at] = facts
        return facts


def table_of(compiled: CompiledCatalogue) -> ChoiceTable:
    """The table of all the shop's own garments, made once for each version."""
    return compiled.tables.get(
        "own", lambda: ChoiceTable(compiled, tuple(compiled.garments.values()))
    )


def _key_of(given: Given) -> tuple[object, ...]:
    """All that the table depends on, where there are no other decorations."""
    art = given.artwork
    return art and (art.key, given.rights_declared), given.consents, given.film_colour_id


def _in_order(names: Iterator[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def _has_area(garment: Garment, placement_id: str, size: str) -> bool:
    placement = garment.placements.get(placement_id)
    return placement is not None and size in placement.areas


def _colours_of(chain: Chain, asked: str | None) -> tuple[str | None, ...]:
    """None, every colour of its films, and the one asked for."""
    stocked = [colour.id for layer in chain.layers for colour in layer.colours]
    return tuple(dict.fromkeys([None, *stocked, asked]))


def _bits(rules: Sequence[Rule], facts: Facts) -> np.uint64:
    bits = 0
    for rule in rules:
        if _blocks(rule, facts):
            bits |= int(_BIT[rule.id])
    return np.uint64(bits)


def _blocks(rule: Rule, facts: Facts) -> bool:
    return any(reading.severity is Severity.BLOCKS for reading in rule.evaluate(facts))


def _limits(rule: Rule, facts: Facts) -> WidthLimits:
    if rule.widths is None:
        raise ValueError(f"rule {rule.id} reads the width and may block, but gives no range of it")
    return rule.widths(facts)


def _mean_delta_e(facts: Facts) -> float:
    return facts.look.mean_delta_e


def _width_rules(given: Given) -> list[Rule]:
    """Rules on width; without an artwork only those that do not read it."""
    return [
        rule
        for rule in BLOCKERS
        if Choice.WIDTH in rule.reads
        and (given.artwork is not None or Choice.ARTWORK not in rule.reads)
    ]
