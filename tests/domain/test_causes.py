"""Why combinations are blocked, beside the slow definition and beside every set of rules tried."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import reduce
from operator import and_, or_

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from service.domain.blanks import Blank, Placement
from service.domain.causes import (
    Refusals,
    cause_by_range,
    cause_by_size,
    cause_of,
    smallest_cause,
)
from service.domain.choice_table import (
    BLOCKERS,
    EVERY_RULE,
    NOT_OFFERED,
    Bits,
    ChoiceTable,
    Given,
    Making,
    table_of,
)
from service.domain.choices import Selection, Value, find_choices
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.fit import Fit
from tests.domain.brute_force import ARTWORKS, GIVEN_OR_ALL, measured, small_shop

ABSENT = int(NOT_OFFERED)
Forbids = Callable[[int], bool]


def _ids(bits: int) -> tuple[str, ...]:
    return tuple(rule.id for at, rule in enumerate(BLOCKERS) if bits >> at & 1)


def _bits(ids: Iterable[str]) -> int:
    return sum(1 << at for at, rule in enumerate(BLOCKERS) if rule.id in set(ids))


def _any_of(*clauses: int) -> Bits:
    return np.array(clauses, np.uint64)


def _needs_all(kept: int, forbids: Forbids) -> bool:
    """Whether these rules suffice, and without any one of them they do not."""
    one_less = [kept & ~(1 << at) for at in range(len(BLOCKERS)) if kept >> at & 1]
    return forbids(kept) and not any(map(forbids, one_less))


# The fewest rules that leave nothing.


def test_the_rule_that_blocks_most_is_named_and_none_needless() -> None:
    """Three rows that one rule blocks need no other, though others block some of them."""
    rows = _any_of(0b0011, 0b0110, 0b1010)
    assert smallest_cause(rows, lambda kept: all(int(row) & kept for row in rows)) == (
        BLOCKERS[1].id,
    )


def test_rules_that_block_only_together_are_named_together() -> None:
    """Where one rule asks for a wide print and one for a narrow, both are named."""
    rows = _any_of(0b0101, 0b0101)
    assert smallest_cause(rows, lambda kept: kept & 0b0101 == 0b0101) == (
        BLOCKERS[0].id,
        BLOCKERS[2].id,
    )


ROWS = st.lists(st.sets(st.integers(0, 8), min_size=1, max_size=4), min_size=1, max_size=8).map(
    lambda rows: [sum(1 << index for index in row) for row in rows]
)


@given(ROWS)
def test_a_cause_suffices_and_holds_nothing_needless(rows: list[int]) -> None:
    """On any rows: the rules named block all of them, and without any one of them some is free."""

    def forbids(kept: int) -> bool:
        return all(row & kept for row in rows)

    assert _needs_all(_bits(smallest_cause(_any_of(*rows), forbids)), forbids)


def test_what_does_not_exist_needs_no_rule() -> None:
    """Combinations that are not offered are left out of the reasons."""
    rows = _any_of(ABSENT, 0b10)
    assert smallest_cause(rows, lambda kept: bool(kept & 0b10)) == (BLOCKERS[1].id,)
    assert cause_of((ABSENT, ABSENT | 0b01, 0b10)) == (BLOCKERS[1].id,)
    assert cause_of((ABSENT,)) == ()
    assert cause_by_size(((ABSENT, (0b1,)), (0b1, ()))) == ()
    assert cause_by_range(_any_of(ABSENT), lambda _: _any_of(0b1)) == ()


@given(ROWS)
def test_rules_that_block_each_are_all_named(rows: list[int]) -> None:
    """Those that block every combination by themselves, where there are any; else the fewest."""
    always = reduce(and_, rows)
    named = cause_of(tuple(rows))
    if always:
        assert named == _ids(always)
    else:
        assert _needs_all(_bits(named), lambda kept: all(row & kept for row in rows))


REFUSALS = st.tuples(
    st.sampled_from([0, 0, 0, 0b1, 0b100]),
    st.lists(st.integers(1, 63), min_size=1, max_size=3).map(tuple),
)


@given(st.lists(REFUSALS, min_size=1, max_size=5).map(tuple))
def test_a_combination_is_blocked_once_each_of_its_sizes_is_refused(
    refusals: tuple[Refusals, ...],
) -> None:
    """Named are the rules that refuse all sizes of all of them, else the fewest that do so."""

    def forbids(kept: int) -> bool:
        return all(rest & kept or all(bits & kept for bits in sizes) for rest, sizes in refusals)

    named = _bits(cause_by_size(refusals))
    alone = sum(1 << at for at in range(6) if forbids(1 << at))
    if alone:
        assert named == alone
    else:
        assert _needs_all(named, forbids)


# Beside the slow definition.

SHOP = small_shop()
ARTS = [
    *ARTWORKS.values(),
    measured("#c01020", feature=1 / 290),
    measured("#c01020", feature=1 / 300, width_px=700),
]


@st.composite
def _placements(draw: st.DrawFn, placement: Placement) -> Placement:
    """The placement, wider or narrower in each size, and perhaps not there in some."""
    gone = draw(st.none() | st.sampled_from(sorted(placement.areas)))
    areas = {
        size: area.model_copy(update={"width_mm": draw(st.sampled_from([60, 180, 290, 500]))})
        for size, area in placement.areas.items()
        if size != gone
    }
    return placement.model_copy(update={"areas": areas})


@st.composite
def _blanks(draw: st.DrawFn, blank: Blank) -> Blank:
    """The blank in one or two of its colours, some sizes of which cannot be had."""
    sizes = [size.size for size in blank.sizes]
    gone = st.lists(st.sampled_from(sizes), max_size=2, unique=True).map(tuple)
    count = draw(st.integers(1, len(blank.colours)))
    colours = [
        colour.model_copy(update={"unobtainable_sizes": draw(gone)})
        for colour in blank.colours[:count]
    ]
    placements = [draw(_placements(placement)) for placement in blank.placements]
    return blank.model_copy(update={"colours": tuple(colours), "placements": tuple(placements)})


@st.composite
def shops(draw: st.DrawFn) -> CompiledCatalogue:
    """A shop of one to three blanks and of two to four methods."""
    catalogue = SHOP.catalogue
    blanks = draw(st.permutations(catalogue.blanks))[: draw(st.integers(1, 3))]
    methods = draw(st.permutations(catalogue.methods))[: draw(st.integers(2, 4))]
    changed = {
        "blanks": tuple(draw(_blanks(blank)) for blank in blanks),
        "methods": tuple(methods),
    }
    return compile_catalogue(catalogue.model_copy(update=changed), "random")


@st.composite
def selections(draw: st.DrawFn, shop: CompiledCatalogue, table: ChoiceTable) -> Selection:
    """Some of what the shop has."""

    def maybe(ids: Iterable[str]) -> str | None:
        return draw(st.none() | st.none() | st.sampled_from(list(ids)))

    return Selection(
        blank_id=maybe(table.blanks.ids),
        colour_id=maybe(table.colours.ids),
        placement_id=maybe(table.placements),
        method_id=maybe(shop.chains),
        film_colour_id=maybe(["white", "brick", "cherry"]),
        width_mm=draw(st.none() | st.sampled_from([5.0, 85.5, 200.0, 289.8, 310.0, 600.0])),
        sizes=draw(st.lists(st.sampled_from(table.sizes), max_size=2, unique=True).map(tuple)),
        consents=draw(st.sampled_from(GIVEN_OR_ALL)),
        artwork=draw(st.none() | st.sampled_from(ARTS)),
        rights_declared=draw(st.sampled_from([True, True, True, False])),
    )


Cells = tuple[NDArray[np.intp], ...]


class Slow:
    """The causes of a selection: each combination by itself, fitted anew for every set of rules."""

    def __init__(self, table: ChoiceTable, selection: Selection) -> None:
        self._table = table
        self._selection = selection
        self._given = Given(
            selection.artwork,
            selection.rights_declared,
            selection.consents,
            selection.film_colour_id,
        )
        self._makings = table.makings(selection.film_colour_id)
        self._width = int(selection.width_mm is None)

    def cause(self, attribute: str, id_: str) -> tuple[str, ...]:
        """Why nothing that has this value works."""
        by_table, cells = self._cells({**self._selected(), attribute: id_}, attribute)
        if by_table.all():
            return cause_of(tuple(by_table.tolist()))
        if self._width == 0 and not self._selection.sizes:
            return self._by_size(by_table, cells)
        return self._by_range(by_table, cells, self._selection.sizes)

    def of_size(self, size: str) -> tuple[str, ...]:
        """Why nothing selected works in this size alone."""
        return self._by_range(*self._cells(self._selected(), ""), (size,))

    def _selected(self) -> dict[str, str | None]:
        return {name: getattr(self._selection, name) for name in ATTRIBUTES.values()}

    def _cells(self, wanted: dict[str, str | None], attribute: str) -> tuple[Bits, Cells]:
        table = self._table
        cells = [
            (at, garment, place)
            for at, making in enumerate(self._makings)
            for garment, own in enumerate(table.garments)
            for place, place_id in enumerate(table.placements)
            if wanted["method_id"] in {None, making.method_id}
            and wanted["blank_id"] in {None, own.blank_id}
            and wanted["colour_id"] in {None, own.colour_id}
            and wanted["placement_id"] in {None, place_id}
            and (
                wanted["film_colour_id"] in {None, making.film_colour_id}
                or (attribute == "film_colour_id" and self._needs_no_film(making))
            )
        ]
        index = tuple(np.array(cells, np.intp).reshape(-1, 3).T)
        return table.blocked(self._given)[0][index], index

    def _needs_no_film(self, making: Making) -> bool:
        layers = self._table.compiled.chains[making.method_id].layers
        return making.film_colour_id is None and not layers

    def _by_size(self, by_table: Bits, cells: Cells) -> tuple[str, ...]:
        """A width as asked and any size: each size by itself."""
        alone = [self._fitted((size,), cells)(EVERY_RULE).tolist() for size in self._table.sizes]
        sizes = [[bits for bits in row if not bits & ABSENT] for row in zip(*alone, strict=True)]
        rows = [
            (rest, own)
            for rest, own in zip(by_table.tolist(), sizes, strict=True)
            if own and not rest & ABSENT
        ]
        always = reduce(and_, [rest | reduce(and_, own) for rest, own in rows], EVERY_RULE)
        if always or not rows:
            return _ids(always if rows else 0)
        return smallest_cause(
            _any_of(*[rest | reduce(or_, own) for rest, own in rows]),
            lambda kept: all(rest & kept or all(one & kept for one in own) for rest, own in rows),
        )

    def _by_range(self, by_table: Bits, cells: Cells, sizes: tuple[str, ...]) -> tuple[str, ...]:
        """What is open is what the rules that count leave."""
        fitted = self._fitted(sizes, cells)
        blocked = by_table | fitted(EVERY_RULE)
        offered = (blocked & NOT_OFFERED) == 0

        def forbids(kept: int) -> bool:
            return bool(((by_table & np.uint64(kept | ABSENT)) | fitted(kept)).all())

        always = int(np.bitwise_and.reduce(blocked[offered])) if offered.any() else 0
        if not offered.any() or np.bitwise_and.reduce(by_table[offered]) or forbids(always):
            return _ids(always)
        return smallest_cause(blocked, forbids)

    def _fitted(self, sizes: tuple[str, ...], cells: Cells) -> Callable[[int], Bits]:
        pieces = dict.fromkeys(sizes, 1)

        def bits(rules: int) -> Bits:
            fit = Fit(self._table, self._given, self._selection.width_mm, pieces, rules=rules).bits(
                int(not sizes), self._width
            )
            every: Bits = np.broadcast_to(fit, (len(self._makings), *fit.shape[1:]))
            return every[cells]

        return bits


ATTRIBUTES = {
    "blanks": "blank_id",
    "colours": "colour_id",
    "placements": "placement_id",
    "methods": "method_id",
    "film_colours": "film_colour_id",
}


def _agree(table: ChoiceTable, selection: Selection) -> None:
    found, slow = find_choices(table, selection), Slow(table, selection)
    for attribute, name in ATTRIBUTES.items():
        values: tuple[Value, ...] = getattr(found, attribute)
        for value in values:
            named = () if value.possible else slow.cause(name, value.id)
            assert value.blocked_by == named, (attribute, value)
    for value in found.sizes:
        named = () if value.possible else slow.of_size(value.id)
        assert value.blocked_by == named, value


@settings(max_examples=20)
@given(shops(), st.data())
def test_causes_are_those_of_the_slow_definition(
    shop: CompiledCatalogue, data: st.DataObject
) -> None:
    """On random shops each blocked value is blamed on the very rules the definition gives."""
    table = ChoiceTable(shop, tuple(shop.garments.values()))
    _agree(table, data.draw(selections(shop, table)))


@settings(max_examples=40)
@given(st.data())
def test_causes_are_those_of_the_slow_definition_in_one_shop(data: st.DataObject) -> None:
    """And on one shop beside many selections."""
    table = table_of(SHOP)
    _agree(table, data.draw(selections(SHOP, table)))
