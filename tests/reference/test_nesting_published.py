"""Nesting against published instances of known optimum, and beside a packing library."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.domain.nesting.layouts import check_layout, check_pieces
from tests.reference.packing_figures import (
    MOST_MEAN_GAP,
    UNIT_UM,
    Instance,
    all_instances,
    mean_gap,
    smallest_instances,
)

TURNS = pytest.mark.parametrize("turn", [False, True], ids=["upright", "turns"])


def _height(instance: Instance, *, turn: bool) -> int:
    """The height of our layout, which is checked pair by pair, in the instance's units."""
    nest = instance.nest(turn=turn)
    check_layout(nest.placed, instance.width * UNIT_UM, nest.length_um, 0)
    check_pieces(nest.placed, instance.pieces(turn=turn))
    height, over = divmod(nest.length_um, UNIT_UM)
    assert not over
    assert nest.bound_um <= instance.height * UNIT_UM
    return height


@TURNS
def test_the_smallest_are_laid_at_most_one_unit_above_the_optimum(turn: bool) -> None:  # noqa: FBT001 - a table's column
    """C1 and C2: never below the known optimum, never above the library's best of 44."""
    for instance in smallest_instances():
        height = _height(instance, turn=turn)
        assert instance.height <= height <= instance.height + 1
        assert height <= instance.library_height(turn=turn)


@pytest.mark.reference_data
def test_those_written_here_are_the_published_ones(reference_data: Path) -> None:
    """And each is its optimum's rectangle cut up."""
    published = all_instances(reference_data)
    assert published[:6] == smallest_instances()
    for one in published:
        assert sum(w * h for w, h in one.sides) == one.width * one.height


@pytest.mark.reference_data
@TURNS
def test_all_are_laid_near_the_optimum(reference_data: Path, turn: bool) -> None:  # noqa: FBT001 - a table's column
    """C1 to C7: the mean gap, and on each the optimum below and the library's best above."""
    heights = []
    for instance in all_instances(reference_data):
        height = _height(instance, turn=turn)
        assert instance.height <= height <= instance.library_height(turn=turn), instance.name
        heights.append((height, instance.height))
    assert len(heights) == 21
    assert mean_gap(heights) <= MOST_MEAN_GAP[turn]
