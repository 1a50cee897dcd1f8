"""Widths and sizes that are kept or fitted, against trying every millimetre."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.artwork import ArtworkMeasures
from service.domain.choice_table import (
    BLOCKERS,
    EVERY_RULE,
    NOT_OFFERED,
    ChoiceTable,
    Given,
    table_of,
)
from service.domain.fit import Fit
from service.domain.wishes import Consent
from tests.domain.brute_force import (
    ARTWORKS,
    BruteForce,
    Combination,
    measured,
    new_small_shop,
    small_shop,
)
from tests.domain.garments_and_lines import demo_shop

NONE = frozenset[Consent]()
BIT = {rule.id: 1 << index for index, rule in enumerate(BLOCKERS)}


def _place(table: ChoiceTable, combination: Combination) -> tuple[int, int, int]:
    """Indexes of its making, garment and placement."""
    makings = [(one.method_id, one.film_colour_id) for one in table.makings()]
    garments = [garment.key for garment in table.garments]
    return (
        makings.index((combination.method_id, combination.film_colour_id)),
        garments.index(combination.garment),
        table.placements.index(combination.placement_id),
    )


COMBINATIONS = list(BruteForce(small_shop(), None, None, ()).combinations(None))
WIDTHS = st.one_of(
    st.integers(1, 700).map(float),
    st.floats(1, 700, allow_nan=False).map(lambda mm: round(mm, 2)),
    st.sampled_from([269.96, 270.04, 270.06, 305.05, 305.06, 274.2, 289.8, 289.9]),
)


@settings(max_examples=40)
@given(
    st.sampled_from(COMBINATIONS),
    WIDTHS,
    st.sampled_from(list(ARTWORKS.values())),
    st.data(),
)
def test_the_fitted_width_is_the_nearest_whole_one_that_works(
    combination: Combination, width_mm: float, art: ArtworkMeasures, data: st.DataObject
) -> None:
    """The width asked for if it works; else of every whole mm that does, the nearest."""
    shop = small_shop()
    own = sorted(shop.garments[combination.garment].half_chest_mm)
    sizes = data.draw(st.lists(st.sampled_from(own), min_size=1, max_size=3, unique=True))
    tried = BruteForce(shop, art, width_mm, sizes)
    works = tried.widths_that_work(combination, sizes, NONE)
    table = table_of(shop)
    fit = Fit(table, Given(art), width_mm, dict.fromkeys(sizes, 1))
    making, garment, place = _place(table, combination)
    apart = int(table.blocked(Given(art))[0, making, garment, place])
    as_asked, fitted = (
        apart | int(fit.blocked[0, width, 0, making, garment, place]) for width in (0, 1)
    )
    asked_works = tried.nearest_width(combination, sizes, NONE, kept=True) is not None
    assert (as_asked == 0) == asked_works
    assert (fitted == 0) == (asked_works or bool(works))
    if fitted == 0:
        found = fit.width_mm(0, 1, making, garment, place)
        nearest = min(works, key=lambda mm: abs(mm - width_mm), default=width_mm)
        assert found == (width_mm if asked_works else nearest)


def _fit(
    art: ArtworkMeasures, width_mm: float | None, pieces: Mapping[str, int]
) -> tuple[ChoiceTable, Fit]:
    table = table_of(demo_shop())
    return table, Fit(table, Given(art), width_mm, pieces)


def _on(table: ChoiceTable, blank: str, colour: str, method: str) -> tuple[int, int, int]:
    return _place(table, Combination((blank, colour), "front", method, None))


RED = measured("#c01020")


def test_sizes_that_bear_the_width_are_kept_with_their_pieces() -> None:
    """At 300 mm size S is left out, and the others stay in the order and number asked for."""
    table, fit = _fit(RED, 300.0, {"XL": 1, "S": 4, "L": 2})
    at = _on(table, "classic-cotton-tee", "white", "cut-film")
    assert fit.pieces(0, 0, *at) == {"XL": 1, "S": 4, "L": 2}
    assert list(fit.pieces(1, 0, *at).items()) == [("XL", 1), ("L", 2)]
    assert fit.pieces(1, 1, *at) == {"XL": 1, "S": 4, "L": 2}


def test_all_pieces_go_to_the_nearest_size_that_bears_the_width() -> None:
    """At 300 mm four pieces of size S become four of M, the next that is wide enough.

    60 % of the half chest of S, 457 mm, is 274.2 mm; of M, 508 mm, it is 304.8 mm.
    """
    table, fit = _fit(RED, 300.0, {"S": 4})
    at = _on(table, "classic-cotton-tee", "white", "cut-film")
    assert fit.pieces(1, 0, *at) == {"M": 4}


@pytest.mark.parametrize(("asked", "nearest"), [("2XL", "XL"), ("3XL", "XL"), ("XS", "S")])
def test_a_garment_that_lacks_the_size_takes_its_nearest(asked: str, nearest: str) -> None:
    """A tee from S to XL is taken in XL for who wears 3XL, and in S for who wears XS."""
    table, fit = _fit(RED, 100.0, {asked: 2})
    at = _on(table, "stretch-sport-tee", "black", "stretch-cut-film")
    assert fit.pieces(1, 0, *at) == {nearest: 2}


def test_pieces_not_made_in_their_size_are_counted() -> None:
    """Of seven pieces the four in size S are dropped at 300 mm, none at a width that fits."""
    table, fit = _fit(RED, 300.0, {"XL": 1, "S": 4, "L": 2})
    at = _on(table, "classic-cotton-tee", "white", "cut-film")
    rows = [(0, 0), (1, 0), (1, 1)]
    sizes, widths = np.array(rows).T
    making, garment, place = (np.full(len(rows), index) for index in at)
    assert fit.dropped(sizes, widths, making, garment, place).tolist() == [0, 4, 0]


def test_sizes_may_depend_on_the_making() -> None:
    """A part that needs 290 mm of cut film leaves out size S there, and not where it is printed.

    The front of size S is 270 mm wide, that of L 305 mm.
    """
    art = measured("#c01020", feature=1 / 290)
    table = table_of(new_small_shop())
    fit = Fit(table, Given(art), 600.0, {"S": 3, "L": 1})
    cut = _place(table, Combination(("classic-cotton-tee", "white"), "front", "cut-film", None))
    dye = _place(table, Combination(("classic-cotton-tee", "white"), "front", "dye-transfer", None))
    assert fit.pieces(1, 1, *cut) == {"L": 1}
    assert fit.pieces(1, 1, *dye) == {"S": 3, "L": 1}
    assert fit.width_mm(1, 1, *cut) == 305
    assert fit.blocked[0, 1, 0][cut] != 0
    assert fit.blocked[1, 1, 0][cut] == 0


def test_a_width_that_is_let_pass_by_a_hair_is_found() -> None:
    """Rules let pass what is less than 0.05 mm off, and so does the fitted width.

    The front takes 356 mm of height: 299.99 mm of width at this shape. The film asks for 290.03.
    """
    wide = measured("#c01020", aspect=1.1867, width_px=10_000)
    fine = measured("#c01020", feature=1 / 290.03)
    for art, asked, found in ((wide, 600.0, 300), (fine, 100.0, 290)):
        table, fit = _fit(art, asked, {"L": 1})
        at = _on(table, "classic-cotton-tee", "white", "cut-film")
        assert fit.blocked[0, 1, 0][at] == 0
        assert fit.width_mm(0, 1, *at) == found
        least, greatest = (
            float(np.broadcast_to(e, fit.blocked.shape[3:])[at]) for e in fit.range_mm(0)
        )
        assert found in {least, greatest}


@given(
    st.sampled_from([None, 40.0, 200.0, 300.03, 600.0]),
    st.lists(st.sampled_from(["S", "L", "3XL"]), max_size=2, unique=True),
    st.sampled_from(list(ARTWORKS.values())),
    st.sets(st.sampled_from([rule.id for rule in BLOCKERS if rule.widths is not None])),
)
@settings(max_examples=20)
def test_fewer_rules_never_block_more(
    width_mm: float | None, sizes: list[str], art: ArtworkMeasures, kept: set[str]
) -> None:
    """What some of the rules block, all of them block; none of them blocks nothing that exists."""
    table = table_of(small_shop())
    fit = Fit(table, Given(art), width_mm, dict.fromkeys(sizes, 1))
    some = fit.under(sum(BIT[rule] for rule in kept))
    assert not ((some.blocked != 0) & (fit.blocked == 0)).any()
    allowed = sum(BIT[rule] for rule in kept) | (1 << 63)
    assert not (some.blocked & ~np.uint64(allowed)).any()
    assert fit.under(EVERY_RULE) is fit


def test_a_size_that_the_shop_does_not_know_is_not_offered() -> None:
    """No combination has it, and what is known of the sizes asked for is kept instead."""
    table, fit = _fit(RED, 100.0, {"9XL": 1, "M": 2})
    at = _on(table, "classic-cotton-tee", "white", "cut-film")
    assert (fit.blocked[0] != 0).all()
    assert fit.blocked[1, 0, 0][(0, *at[1:])] == 0
    assert fit.pieces(1, 0, *at) == {"M": 2}


def test_a_subset_of_garments_gives_the_same_as_all() -> None:
    """Looking at some garments only changes nothing for them."""
    table = table_of(demo_shop())
    at = np.array([3, 17, 40])
    every = Fit(table, Given(RED), 250.0, {"S": 1, "M": 1})
    some = Fit(table, Given(RED), 250.0, {"S": 1, "M": 1}, at)
    assert (some.blocked == every.blocked[..., at, :]).all()
    assert some.pieces(1, 0, 0, 1, 0) == every.pieces(1, 0, 0, 17, 0)


@given(
    st.sampled_from([None, 40.0, 200.0, 300.03, 600.0]),
    st.sampled_from([*ARTWORKS.values(), measured("#c01020", feature=1 / 290)]),
)
@settings(max_examples=15)
def test_each_size_alone_is_as_if_it_alone_were_asked_for(
    width_mm: float | None, art: ArtworkMeasures
) -> None:
    """All sizes at once give the bits that asking for each one by itself gives, where it exists."""
    table = table_of(small_shop())
    every = Fit(table, Given(art), width_mm, {})
    for width in (0, 1) if width_mm is not None else (1,):
        alone = every.alone(width)
        for size, at in table.size_index.items():
            one = Fit(table, Given(art), width_mm, {size: 1}).bits(0, width)
            offered = np.broadcast_to(table.has_size[..., at], one.shape)
            both = np.broadcast_to(alone[..., at], one.shape)
            assert (both[offered] == one[offered]).all()
            assert ((both & NOT_OFFERED) != 0)[~offered].all()


@given(
    st.sampled_from([None, 40.0, 300.03, 600.0]),
    st.lists(st.sampled_from(["S", "L", "3XL"]), max_size=2, unique=True),
    st.sampled_from([*ARTWORKS.values(), measured("#c01020", feature=1 / 290)]),
)
@settings(max_examples=15)
def test_a_width_is_left_exactly_where_no_rule_on_widths_and_sizes_blocks(
    width_mm: float | None, sizes: list[str], art: ArtworkMeasures
) -> None:
    """That there is a fitted width is the same as that nothing blocks it."""
    fit = Fit(table_of(small_shop()), Given(art), width_mm, dict.fromkeys(sizes, 1))
    for size in (0, 1):
        assert (fit.leaves_a_width(size) == (fit.bits(size, 1) == 0)).all()
