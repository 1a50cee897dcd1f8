"""The layout of a roll as a drawing in true size, read back by svgelements and defusedxml."""

from __future__ import annotations

from collections import Counter

import pytest
import shapely
from defusedxml.ElementTree import fromstring

from service.domain.nesting.outlines import PlacedOutline, Ring
from service.render.nest_svg import nest_svg
from tests.render.layouts import read_layout

NAME = "{http://www.w3.org/2000/svg}"
BOX: Ring = ((1_000, 2_000), (76_500, 2_000), (76_500, 52_001), (1_000, 52_001))
HOOK: Ring = (
    *((100_000, 0), (103_000, 0), (103_000, 57_000), (160_000, 57_000)),
    *((160_000, 60_000), (100_000, 60_000)),
)
"""The middle of its box lies outside of it."""


def _drawn() -> str:
    placed = [PlacedOutline("1", BOX, 0, 0, 0), PlacedOutline("12", HOOK, 90, 0, 0)]
    return nest_svg(placed, 300_000, 60_125)


def test_real_units() -> None:
    """Width and height are in mm and a user unit is a mm; there is nothing but what was asked for.

    Source: SVG 1.1, 7.2 and 7.7: units on the outermost element, viewBox (from memory).
    """
    root = fromstring(_drawn().encode(), forbid_dtd=True)
    assert (root.get("version"), root.get("width")) == ("1.1", "300mm")
    assert (root.get("height"), root.get("viewBox")) == ("60.125mm", "0 0 300 60.125")
    tags = Counter(element.tag.removeprefix(NAME) for element in root.iter())
    assert tags == {"svg": 1, "g": 3, "rect": 1, "path": 2, "text": 2}


def test_pieces_are_where_and_as_large_as_they_are() -> None:
    """To the micrometre, by an independent reader."""
    read = read_layout(_drawn())
    assert read.strip == (0, 0, 300, 60.125)
    for piece, ring in zip(read.pieces, (BOX, HOOK), strict=True):
        wanted = shapely.Polygon([(x / 1000, y / 1000) for x, y in ring])
        assert shapely.hausdorff_distance(piece, wanted) == pytest.approx(0, abs=1e-6)
        assert piece.area == pytest.approx(wanted.area)


def test_numbers_stand_in_their_pieces() -> None:
    """Also in a piece of which the middle is empty."""
    read = read_layout(_drawn())
    assert [number for number, _ in read.numbers] == ["1", "12"]
    for (_, place), piece in zip(read.numbers, read.pieces, strict=True):
        assert piece.contains(shapely.Point(place))


def test_a_strip_without_pieces_is_drawn_too() -> None:
    """Just the strip."""
    assert read_layout(nest_svg([], 300_000, 1_000)).pieces == []
