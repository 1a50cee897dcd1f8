"""What a line needs: pieces to start, minutes, roll length, ink and strokes."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.artwork import InkShares, ShapeMeasures
from service.domain.methods import Method, Operation, OperationKind
from service.domain.nesting.columns import Pattern
from service.domain.roll import DoesNotFit, Strip, lay_out
from service.domain.shop import Catalogue
from service.domain.spoilage import SpoilageSeen
from service.domain.work import OutlineUnknown, inked_share, line_work, misfits
from tests.domain.shops import (
    tiny_artwork,
    tiny_decoration,
    tiny_line,
    tiny_media,
    tiny_methods,
    tiny_prices,
    tiny_shop,
    tiny_supplied_line,
)

BOTH = (
    tiny_decoration(),
    tiny_decoration("dye-on-glitter", width_mm=250, artwork_id="moon"),
)
"""Two decorations by two methods with two artworks."""

SHAPED = tiny_artwork().model_copy(
    update={
        "shapes": ShapeMeasures(
            pieces=3, holes=1, outline_length=3.0, smallest_feature=0.05, smallest_gap=1.0
        )
    }
)
"""Three parts and a hole, with outlines three times as long as the picture is wide."""


def test_minutes_are_set_up_once_and_run_for_every_start() -> None:
    """Cut: 5 min set-up and 1 min for each of 5 + 1 starts."""
    shop = tiny_shop(prices=tiny_prices(spoilage_share=Decimal("0.03")))
    work = line_work(shop, tiny_line(shop, {"S": 3, "M": 2}))
    cut = work.operations[0]
    assert (work.pieces, work.starts) == (5, 6)
    assert {step.starts for step in work.operations} == {6}
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
    """200 x 100 on 490 clear mm: 5 pieces are four turned, one upright, a gap and two margins."""
    shop = tiny_shop()
    (use,) = line_work(shop, tiny_line(shop, {"S": 5})).media
    layout = use.layout
    assert (layout.pattern.turned_rows, layout.pattern.upright_columns, layout.sheets) == (
        1,
        1,
        None,
    )
    assert layout.taken == layout.length_mm == 200 + 10 + 100 + 2 * 5


def test_pieces_are_turned_where_that_is_shorter() -> None:
    """3 pieces are one row of 200 turned, 210 mm with margins, and two rows, 220 mm, upright."""
    shop = tiny_shop()
    (use,) = line_work(shop, tiny_line(shop, {"S": 3})).media
    assert use.layout.pattern == Pattern(0, 0, 0, 4)
    assert use.layout.length_mm == 210


def test_a_piece_that_fits_only_turned_is_turned() -> None:
    """550 x 275 on 490 clear mm lies with its long side along the roll."""
    shop = tiny_shop()
    (use,) = line_work(shop, tiny_line(shop, {"S": 1}, tiny_decoration(width_mm=550))).media
    assert use.layout.pattern == Pattern(0, 0, 0, 1)
    assert use.layout.length_mm == 560


def test_nap_forbids_turning_and_sheets_come_whole() -> None:
    """250 x 125, not turned, on sheets of 490 x 290 clear: one abreast, two a sheet, 5 in 3."""
    shop = tiny_shop()
    work = line_work(shop, tiny_line(shop, {"S": 5}, BOTH[1]))
    glitter = next(use for use in work.media if use.medium == "glitter-film").layout
    assert (glitter.pattern, glitter.sheets) == (Pattern(0, 0, 1, 0), 3)
    assert glitter.taken == 3
    assert work.lengths_mm["glitter-film"] == 900


def test_lengths_add_up_over_decorations() -> None:
    """The same film used twice is taken twice: 2 x (100 + 10) for a single piece each."""
    shop = tiny_shop()
    line = tiny_line(shop, {"S": 1}, BOTH[0], BOTH[0])
    assert line_work(shop, line).lengths_mm == {"plain-film": 220.0}


def test_ink_is_area_times_share_times_cover() -> None:
    """0.25 x 0.125 m, half inked, 10 ml to a square metre: 0.15625 ml, up to 0.1563, 4 times."""
    shop = tiny_shop()
    (ink,) = line_work(shop, tiny_line(shop, {"S": 4}, BOTH[1])).ink
    assert (ink.printer, ink.medium, ink.ml) == ("dye-printer", "dye-paper", Decimal("0.6252"))


def test_ink_is_counted_by_its_colours_where_they_were_measured() -> None:
    """A quarter of full cover: 0.078125 ml a piece, counted up to 0.0782."""
    shop = tiny_shop()
    light = tiny_artwork().model_copy(update={"ink": InkShares(cover=0.5, colour=0.25)})
    wished = tiny_decoration("dye-on-glitter", width_mm=250, artwork=light)
    (ink,) = line_work(shop, tiny_line(shop, {"S": 2}, wished)).ink
    assert ink.ml == Decimal("0.1564")


def test_minutes_hang_on_what_was_measured() -> None:
    """At 200 mm a cut line of 3 widths is 0.6 m, and three parts with a hole are 3 picks.

    Weeding is estimated at 0.5 + 0.02 x 60 + 0.05 x 3 = 1.85 min: half of that is 0.925 on top of
    the 2. Cutting at 2.5 min a metre is 1.5 min of the machine alone beside the minute attended.
    """
    weed, cut = {"weed_share": Decimal("0.5")}, {"cut_m_min": Decimal("2.5")}
    shop = _measuring_shop(0, weed=weed, cut=cut)
    work = line_work(shop, tiny_line(shop, {"S": 4}, tiny_decoration(artwork=SHAPED)))
    by_kind = {step.kind: step for step in work.operations}
    assert by_kind[OperationKind.WEED].each_min == Decimal("2.9250")
    assert by_kind[OperationKind.WEED].machine_each_min == 0
    cutting = by_kind[OperationKind.CUT]
    assert [cutting.each_min, cutting.machine_each_min] == [1, Decimal("1.5")]
    assert [cutting.run_min, cutting.machine_min, cutting.minutes] == [4, 6, 5 + 4 + 6]


def test_printing_takes_the_machine_by_the_area() -> None:
    """0.25 x 0.125 m at 33 min a square metre: 1.03125, counted up to 1.0313 min of the machine."""
    shop = _measuring_shop(1, print={"print_m2_min": Decimal(33)})
    work = line_work(shop, tiny_line(shop, {"S": 1}, BOTH[1]))
    printing = work.operations[0]
    assert [printing.each_min, printing.machine_each_min] == [1, Decimal("1.0313")]


@pytest.mark.parametrize(
    "step", [{"weed": {"weed_share": Decimal(1)}}, {"cut": {"cut_m_min": Decimal(1)}}]
)
def test_minutes_of_an_outline_never_measured_are_a_fault(
    step: Mapping[str, Mapping[str, object]],
) -> None:
    """The artwork is named; a method without such minutes does not ask."""
    shop = _measuring_shop(0, **step)
    with pytest.raises(OutlineUnknown, match="'star'") as caught:
        line_work(shop, tiny_line(shop, {"S": 1}))
    assert caught.value.artwork_id == "star"
    assert line_work(tiny_shop(), tiny_line(shop, {"S": 1})).starts == 1


def test_of_a_set_up_that_is_shared_the_longest_counts() -> None:
    """Of the job and of the run each by itself, on the first of the operations that share it."""
    short, long = tiny_methods()[0], tiny_methods()[0]
    cut = short.operations[0]
    short = _with_first(short, cut.model_copy(update={"run_setup_min": Decimal(9)}))
    long = _with_first(
        long.model_copy(update={"id": "other"}),
        cut.model_copy(update={"setup_min": Decimal(7), "run_setup_min": Decimal(2)}),
    )
    shop = tiny_shop(methods=(short, long))
    line = tiny_line(shop, {"S": 1}, tiny_decoration("cut-film"), tiny_decoration("other"))
    cuts = [step for step in line_work(shop, line).operations if step.kind is OperationKind.CUT]
    assert [step.setup_min for step in cuts] == [7, 0]
    assert [step.run_setup_min for step in cuts] == [9, 0]
    assert cuts[0].minutes == 7 + 9 + 1


def test_what_was_seen_of_spoilage_decides_the_starts() -> None:
    """Of a method that spoiled half of a thousand pieces far more are started."""
    shop = tiny_shop(prices=tiny_prices(spoilage_share=Decimal("0.03")))
    line = tiny_line(shop, {"S": 20})
    fresh = line_work(shop, line)
    bad = line_work(shop, line, {"cut-film": SpoilageSeen(500, 1_000)})
    assert bad.starts > 1.5 * fresh.starts > 1.5 * 20
    assert bad.media[0].pieces == bad.strikes == bad.starts


def _with_first(method: Method, step: Operation) -> Method:
    return method.model_copy(update={"operations": (step, *method.operations[1:])})


def _measuring_shop(index: int, **by_kind: Mapping[str, object]) -> Catalogue:
    """The tiny shop with one method, whose operations of some kinds are so changed."""
    method = tiny_methods()[index]
    steps = tuple(
        step.model_copy(update=by_kind.get(step.kind.value, {})) for step in method.operations
    )
    return tiny_shop(methods=(method.model_copy(update={"operations": steps}),))


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


def test_many_small_copies_are_laid_in_columns() -> None:
    """100 of 75 x 50 on 600 mm with 4 mm gaps, lengths with one gap at the end.

    Source: algorithms topic 2: area bound 707 mm, every heuristic 810, best mix of columns 756. By
    hand 740 will do: two rows of 7 upright are 108 mm, 11 turned columns of 8 are 632 mm more.
    """
    strip = Strip("film", 600_000, None, 4_000, 0, may_turn=True)
    layout = lay_out(strip, 75, 50, 100)
    assert 706 <= layout.bound_mm + 4 <= layout.length_mm + 4
    assert layout.length_mm + 4 == 740


sides = st.floats(5, 285)


@settings(max_examples=60, deadline=None)
@given(width=sides, height=sides, pieces=st.integers(1, 500), index=st.integers(0, 2))
def test_no_layout_beats_its_bound_or_shrinks(
    width: float, height: float, pieces: int, index: int
) -> None:
    """Never beats its bound, which is not below the pieces' area, and never shrinks."""
    strip = Strip.of(tiny_media()[index])
    layout = lay_out(strip, width, height, pieces)
    across_mm = strip.width_um / 1_000
    assert pieces * width * height <= float(layout.length_mm) * across_mm * (1 + 1e-3)
    assert 0 < layout.bound_mm <= layout.length_mm
    assert lay_out(strip, width, height, pieces + 1).length_mm >= layout.length_mm


def test_nothing_cannot_be_laid_out() -> None:
    """A layout of no pieces is a fault of the caller."""
    with pytest.raises(ValueError, match="at least 1"):
        lay_out(Strip.of(tiny_media()[0]), 10, 10, 0)
