"""What a line needs: pieces to start, minutes, roll length, ink and strokes."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.methods import OperationKind
from service.domain.roll import DoesNotFit, Strip, lay_out
from service.domain.work import inked_share, line_work, misfits, starts_for
from tests.domain.shops import (
    tiny_artwork,
    tiny_decoration,
    tiny_line,
    tiny_media,
    tiny_prices,
    tiny_shop,
    tiny_supplied_line,
)

BOTH = (
    tiny_decoration(),
    tiny_decoration("dye-on-glitter", width_mm=250, artwork_id="moon"),
)
"""Two decorations by two methods with two artworks."""


def test_more_pieces_are_started_than_wanted() -> None:
    """100 pieces at 3 % are 103 starts (trade-facts row 55, common practice, no source)."""
    assert starts_for(100, Decimal("0.03")) == 103
    assert starts_for(1, Decimal(0)) == 1


@given(pieces=st.integers(1, 10_000), share=st.decimals(0, "0.49", places=3))
def test_starts_grow_with_the_pieces(pieces: int, share: Decimal) -> None:
    """Never fewer starts than pieces, and one more piece never takes fewer starts."""
    starts = starts_for(pieces, share)
    assert pieces <= starts < pieces * (1 + share) + 1
    assert starts_for(pieces + 1, share) > starts


@pytest.mark.parametrize(("pieces", "share"), [(0, "0"), (-1, "0.1"), (5, "1"), (5, "-0.1")])
def test_starts_of_nothing_are_refused(pieces: int, share: str) -> None:
    """No pieces, or a share that spoils everything, is a fault of the caller."""
    with pytest.raises(ValueError, match="make no sense"):
        starts_for(pieces, Decimal(share))


def test_minutes_are_set_up_once_and_run_for_every_start() -> None:
    """Cut: 5 min set-up and 1 min for each of 5 + 1 starts."""
    shop = tiny_shop(prices=tiny_prices(spoilage_share=Decimal("0.03")))
    work = line_work(shop, tiny_line(shop, {"S": 3, "M": 2}))
    cut = work.operations[0]
    assert (work.pieces, work.starts) == (5, 6)
    assert cut.kind is OperationKind.CUT
    assert [cut.setup_min, cut.run_min, cut.minutes] == [Decimal(5), Decimal(6), Decimal(11)]


def test_the_same_set_up_is_made_once_for_a_line() -> None:
    """A second decoration by the same method runs but is not set up again; another film is."""
    shop = tiny_shop()
    twice = line_work(shop, tiny_line(shop, {"S": 1}, BOTH[0], BOTH[0]))
    cuts = [step.setup_min for step in twice.operations if step.kind is OperationKind.CUT]
    assert cuts == [5, 0]
    mixed = line_work(shop, tiny_line(shop, {"S": 1}, *BOTH))
    assert [s.setup_min for s in mixed.operations if s.kind is OperationKind.CUT] == [5, 5]


def test_a_line_is_packed_once_and_last() -> None:
    """Two decorations make one parcel."""
    shop = tiny_shop()
    kinds = [step.kind for step in line_work(shop, tiny_line(shop, {"S": 1}, *BOTH)).operations]
    assert kinds.count(OperationKind.PACK) == 1
    assert kinds[-1] is OperationKind.PACK
    assert kinds.count(OperationKind.CHECK) == 2


def test_strokes_are_counted_for_every_start() -> None:
    """One stroke for the cut film, two for dye on glitter, for four pieces."""
    shop = tiny_shop()
    work = line_work(shop, tiny_line(shop, {"S": 4}, *BOTH))
    assert work.strikes == 4 * (1 + 2)
    assert work.artworks == 2


def test_roll_length_is_rows_gaps_and_margins() -> None:
    """200 x 100, two abreast on 490 clear mm: 5 pieces are 3 rows, 2 gaps and 2 margins."""
    shop = tiny_shop()
    (use,) = line_work(shop, tiny_line(shop, {"S": 5})).media
    layout = use.layout
    assert (layout.turned, layout.across, layout.rows, layout.sheets) == (False, 2, 3, None)
    assert layout.length_mm == 3 * 100 + 2 * 10 + 2 * 5


def test_pieces_are_turned_where_that_is_shorter() -> None:
    """3 pieces are one row of 200 turned, 210 mm with margins, and two rows, 220 mm, upright."""
    shop = tiny_shop()
    (use,) = line_work(shop, tiny_line(shop, {"S": 3})).media
    assert (use.layout.turned, use.layout.across) == (True, 4)
    assert use.layout.length_mm == 210


def test_a_piece_that_fits_only_turned_is_turned() -> None:
    """550 x 275 on 490 clear mm lies with its long side along the roll."""
    shop = tiny_shop()
    (use,) = line_work(shop, tiny_line(shop, {"S": 1}, tiny_decoration(width_mm=550))).media
    assert (use.layout.turned, use.layout.across) == (True, 1)
    assert use.layout.length_mm == 560


def test_nap_forbids_turning_and_sheets_come_whole() -> None:
    """250 x 125, not turned, on sheets of 490 x 290 clear: one abreast, two a sheet, 5 in 3."""
    shop = tiny_shop()
    work = line_work(shop, tiny_line(shop, {"S": 5}, BOTH[1]))
    glitter = next(use for use in work.media if use.medium == "glitter-film").layout
    assert (glitter.turned, glitter.across, glitter.sheets) == (False, 1, 3)
    assert work.lengths_mm["glitter-film"] == 900


def test_lengths_add_up_over_decorations() -> None:
    """The same film used twice is taken twice: 2 x (100 + 10) for a single piece each."""
    shop = tiny_shop()
    line = tiny_line(shop, {"S": 1}, BOTH[0], BOTH[0])
    assert line_work(shop, line).lengths_mm == {"plain-film": 220.0}


def test_ink_is_area_times_share_times_cover() -> None:
    """0.25 x 0.125 m, half inked, 10 ml a square metre, 4 pieces: 0.625 ml."""
    shop = tiny_shop()
    (ink,) = line_work(shop, tiny_line(shop, {"S": 4}, BOTH[1])).ink
    assert (ink.printer, ink.medium, ink.ml) == ("dye-printer", "dye-paper", Decimal("0.625"))


def test_soft_edges_take_ink_but_never_more_than_all() -> None:
    """Opaque and soft shares add up, to 1 at the most."""
    artwork = tiny_artwork(opaque_share=0.7).model_copy(update={"soft_alpha_share": 0.2})
    assert inked_share(artwork) == Decimal("0.9")
    assert inked_share(artwork.model_copy(update={"soft_alpha_share": 0.4})) == 1


def test_a_piece_wider_than_its_medium_names_measure_and_room() -> None:
    """A 500 mm square has 490 mm between the margins of the film."""
    shop = tiny_shop()
    square = tiny_decoration(width_mm=500, artwork=tiny_artwork(height_px=2_000))
    with pytest.raises(DoesNotFit) as caught:
        line_work(shop, tiny_line(shop, {"S": 1}, square))
    assert (caught.value.medium, caught.value.value_mm, caught.value.limit_mm) == (
        "plain-film",
        500,
        490,
    )


def test_misfits_are_told_before_any_work_is_counted() -> None:
    """A long strip fits the film turned, not the glitter film, which may not be turned."""
    shop = tiny_shop()
    assert misfits(shop, shop.method_by_id["cut-film"], 550, 100) == ()
    found = misfits(shop, shop.method_by_id["dye-on-glitter"], 550, 100)
    assert [(fault.medium, fault.value_mm) for fault in found] == [("glitter-film", 550)]
    tall = misfits(shop, shop.method_by_id["dye-on-glitter"], 100, 300)
    assert [(fault.value_mm, fault.limit_mm) for fault in tall] == [(300, 290)]


def test_a_narrow_machine_narrows_the_roll() -> None:
    """A plotter of 150 mm leaves room for 150 mm of a wider film."""
    shop = tiny_shop()
    narrow = shop.plotters[0].model_copy(update={"max_width_mm": 150.0})
    shop = shop.model_copy(update={"plotters": (narrow,)})
    (fault,) = misfits(shop, shop.method_by_id["cut-film"], 160, 160)
    assert (fault.value_mm, fault.limit_mm) == (160, 150)


def test_customers_garments_have_no_blank() -> None:
    """The work is the same; no blank is named."""
    shop = tiny_shop()
    own = line_work(shop, tiny_supplied_line({"S": 5}))
    assert own.blank_id is None
    assert own.operations == line_work(shop, tiny_line(shop, {"S": 5})).operations


def test_an_undecided_method_is_refused() -> None:
    """Work is counted for a choice, not for a wish."""
    shop = tiny_shop()
    with pytest.raises(ValueError, match="no method was chosen"):
        line_work(shop, tiny_line(shop, {"S": 1}, tiny_decoration(None)))


def test_a_size_without_pieces_is_refused() -> None:
    """Nought of a size is no line."""
    shop = tiny_shop()
    with pytest.raises(ValueError, match="size M has 0 pieces"):
        line_work(shop, tiny_line(shop, {"S": 1, "M": 0}))


def test_the_area_bound_of_many_small_copies() -> None:
    """100 of 75 x 50 on 600 mm with 4 mm gaps, lengths with one gap at the end.

    Source: algorithms topic 2: area bound 707 mm, every heuristic 810, best mix of columns 756.
    """
    strip = Strip("film", 600_000, None, 4_000, 0, may_turn=True)
    layout = lay_out(strip, 75, 50, 100)
    assert math.ceil(layout.bound_mm + 4) == 707
    assert 756 <= layout.length_mm + 4 <= 810


sides = st.floats(5, 285)


@given(width=sides, height=sides, pieces=st.integers(1, 500), index=st.integers(0, 2))
def test_no_layout_beats_its_bound_or_shrinks(
    width: float, height: float, pieces: int, index: int
) -> None:
    """Rows hold all pieces, stay in the strip, never beat the area bound, never shrink."""
    strip = Strip.of(tiny_media()[index])
    layout = lay_out(strip, width, height, pieces)
    across_mm = height if layout.turned else width
    used_um = layout.across * across_mm * 1_000 + (layout.across - 1) * strip.gap_um
    assert used_um <= strip.width_um + layout.across
    assert layout.across * layout.rows >= pieces
    assert 0 < layout.bound_mm <= layout.length_mm
    assert lay_out(strip, width, height, pieces + 1).length_mm >= layout.length_mm


def test_nothing_cannot_be_laid_out() -> None:
    """A layout of no pieces is a fault of the caller."""
    with pytest.raises(ValueError, match="at least 1"):
        lay_out(Strip.of(tiny_media()[0]), 10, 10, 0)
