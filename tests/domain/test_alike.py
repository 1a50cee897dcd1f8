"""What is put together because it is alike, beside the table it stands for."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.alike import cut, kinds_of, named
from service.domain.choice_table import ChoiceTable, Given, table_of
from service.domain.fit import Fit
from tests.domain.brute_force import ARTWORKS, GIVEN_OR_ALL, measured, small_shop
from tests.domain.garments_and_lines import demo_shop

GIVEN = st.builds(
    Given,
    st.none() | st.sampled_from([*ARTWORKS.values()][:4]),
    st.booleans(),
    st.sampled_from(GIVEN_OR_ALL),
    st.sampled_from([None, "white", "cherry", "no-such-colour"]),
)
TABLE = table_of(small_shop())


@given(GIVEN)
@settings(max_examples=15)
def test_what_is_put_together_is_equal_cell_by_cell(asked: Given) -> None:
    """Spread over all makings and garments again, the bits are those of the whole table."""
    seen, whole = TABLE.condensed(asked), TABLE.blocked(asked)[0]
    assert (seen.blocked[seen.makings.of][:, seen.garments.of] == whole).all()
    assert (seen.patterns[seen.pattern] == seen.blocked).all()


@given(
    GIVEN,
    st.none() | st.sampled_from([85.5, 289.8, 310.0]),
    st.lists(st.sampled_from(TABLE.sizes), max_size=2, unique=True),
)
@settings(max_examples=15)
def test_width_and_sizes_fitted_to_kinds_are_those_of_all(
    asked: Given, width_mm: float | None, sizes: list[str]
) -> None:
    """Fitted to one of each kind and spread, the bits are those fitted to each combination."""
    seen, pieces = TABLE.condensed(asked), dict.fromkeys(sizes, 1)
    first = seen.wide_garments.first, seen.wide_makings.first
    few, every = Fit(TABLE, asked, width_mm, pieces, *first), Fit(TABLE, asked, width_mm, pieces)
    for size in (0, 1):
        for width in (0, 1) if width_mm is not None else (1,):
            bits = np.broadcast_to(few.bits(size, width), seen.fit_shape)
            by_kind = bits.reshape(-1)[seen.place]
            assert (seen.spread(bits) == by_kind).all()
            spread = by_kind[seen.makings.of][:, seen.garments.of]
            assert (spread == every.bits(size, width)).all()


def test_a_shop_has_fewer_kinds_than_things() -> None:
    """Film colours and cloth colours that no rule tells apart are put together."""
    table = table_of(demo_shop())
    seen = table.condensed(Given(measured("#c01020")))
    assert len(seen.makings.first) < len(table.makings())
    assert len(seen.garments.first) < len(table.garments)
    assert seen.fit_shape[1] < len(seen.garments.first)


def test_garments_are_told_apart_by_what_cannot_be_had() -> None:
    """Olive long sleeves lack two sizes that black ones come in, so they are no kind."""
    table = table_of(demo_shop())
    seen = table.condensed(Given(None))
    at = {garment.key: index for index, garment in enumerate(table.garments)}
    olive, black = (at["cotton-long-sleeve", colour] for colour in ("olive", "black"))
    kinds = seen.wide_garments.of[seen.garments.of[[olive, black]]]
    assert kinds[0] != kinds[1]


@given(st.lists(st.tuples(st.integers(0, 2), st.booleans()), min_size=1, max_size=12))
def test_rows_are_alike_exactly_if_they_are_equal(rows: list[tuple[int, bool]]) -> None:
    """Two things share a kind where all parts are equal; the first of each kind has it."""
    numbers, flags = (np.array(part) for part in zip(*rows, strict=True))
    kinds = kinds_of(numbers, flags)
    for one, row in zip(kinds.of, rows, strict=True):
        assert [one == two for two in kinds.of] == [row == other for other in rows]
    assert kinds.of[kinds.first].tolist() == list(range(len(set(rows))))


def test_names_are_listed_once_in_order() -> None:
    """Each thing has the index of its name; None has none; an unknown name is nobody's."""
    names = named(["tee", None, "cap", "tee"])
    assert (names.ids, names.of.tolist()) == (("tee", "cap"), [0, -1, 1, 0])
    assert names.equal("tee").tolist() == [True, False, False, True]
    assert names.equal(None).all()
    assert not names.equal("sock").any()


def test_cutting_takes_the_rows_of_each_axis() -> None:
    """As taking them one axis after another does; nothing is copied where all is kept."""
    values = np.arange(24).reshape(2, 3, 4)
    every = [np.arange(size) for size in values.shape]
    assert cut(values, *every) is values
    some = np.array([1]), np.array([0, 2]), np.array([3, 0])
    assert (cut(values, *some) == values[np.ix_(*some)]).all()


@pytest.mark.parametrize("count", [1, 3])
def test_many_pictures_leave_a_bounded_number_of_tables(count: int) -> None:
    """What is put together is remembered within the same bound as the table itself."""
    garments = tuple(small_shop().garments.values())[:count]
    table = ChoiceTable(small_shop(), garments)
    for share in range(40):
        table.condensed(Given(measured("#c01020", feature=0.01 + share / 1_000)))
    assert len(table._by_artwork._kept) <= 64
