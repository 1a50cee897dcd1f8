"""The plotter's drawing, read by others: defusedxml for its form, svgelements for its geometry."""

from __future__ import annotations

import re
from io import StringIO
from xml.etree.ElementTree import Element

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from numpy.typing import NDArray
from svgelements import SVG, Path

from service.domain.cut_outline import CutOutline, CutWish, cut_outline
from service.render.outline_svg import outline_svg

Points = NDArray[np.float64]
NAME = "{http://www.w3.org/2000/svg}"
MM_PER_CSS_PX = 25.4 / 96
"""Source: CSS Values and Units Level 3, 5.2: 1in = 2.54cm = 96px (from memory)."""


def _figure() -> NDArray[np.uint8]:
    """A frame of 60 x 40 pixels with a hole of 40 x 20, and a block of 10 x 40 right of it."""
    cover = np.zeros((40, 80), np.uint8)
    cover[:, :60] = 255
    cover[10:30, 10:50] = 0
    cover[:, 70:] = 255
    return cover


def _outline(**changes: float) -> CutOutline:
    wish = CutWish(160, **changes)  # type: ignore[arg-type] # flags are 0 and 1
    return cut_outline(_figure(), wish)


def _xml(text: str) -> Element:
    root: Element = fromstring(text.encode(), forbid_dtd=True)
    return root


def _paths(text: str) -> list[list[Points]]:
    """The subpaths of each path in mm, as svgelements places them."""
    drawing = SVG.parse(StringIO(text), ppi=96)
    return [
        [
            np.array([(part.end.x, part.end.y) for part in Path(subpath)]) * MM_PER_CSS_PX
            for subpath in path.as_subpaths()
        ]
        for path in drawing.elements(lambda element: isinstance(element, Path))
    ]


def _area(ring: Points) -> float:
    x, y = ring.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


@pytest.mark.parametrize(("offset_mm", "margin"), [(0, 0), (2, 2), (-1, 0)])
def test_real_units(offset_mm: float, margin: float) -> None:
    """Width and height are in mm, a user unit is a mm, and the box grows by the bleed.

    Source: SVG 1.1, 7.2 and 7.7: units on the outermost element, viewBox (from memory).
    """
    root = _xml(outline_svg(_outline(offset_mm=offset_mm)))
    width, height = 160 + 2 * margin, 80 + 2 * margin
    assert root.tag == f"{NAME}svg"
    assert root.get("version") == "1.1"
    assert (root.get("width"), root.get("height")) == (f"{width:.3f}mm", f"{height:.3f}mm")
    assert root.get("viewBox") == f"0 0 {width:.3f} {height:.3f}"


def test_it_is_where_and_as_large_as_it_says() -> None:
    """An independent reader finds the frame, its hole and the block in true mm."""
    (frame, block) = _paths(outline_svg(_outline(tolerance_mm=0.01)))
    hole, outer = frame
    for ring, box in (
        (outer, (0, 0, 120, 80)),
        (hole, (20, 20, 100, 60)),
        (block[0], (140, 0, 160, 80)),
    ):
        assert [*ring.min(axis=0), *ring.max(axis=0)] == pytest.approx(box, abs=0.01)
    # Every second path runs the other way; corners of two-millimetre pixels are cut by half of one.
    assert _area(outer) == pytest.approx(9600, rel=0.001)
    assert _area(hole) == pytest.approx(-3200, rel=0.001)


def test_area_with_bleed() -> None:
    """With 3 mm of bleed the drawing's area is that of the grown rectangles, corners round."""
    rings = [ring for path in _paths(outline_svg(_outline(offset_mm=3))) for ring in path]
    corner = (4 - np.pi) * 9
    expected = 126 * 86 - corner - 74 * 34 + 26 * 86 - corner
    assert sum(map(_area, rings)) == pytest.approx(expected, rel=0.002)
    assert np.vstack(rings).min() == pytest.approx(0, abs=0.05)


def test_mirrored() -> None:
    """Mirrored the block is at the left, and the words say so."""
    plain, mirrored = (outline_svg(_outline(mirrored=flag)) for flag in (0, 1))
    assert _paths(mirrored)[0][0][:, 0].max() == pytest.approx(20, abs=0.05)
    titles = [_xml(text).findtext(f"{NAME}title", "") for text in (plain, mirrored)]
    assert [title.rpartition(", ")[2] for title in titles] == ["NOT MIRRORED", "MIRRORED"]


def test_words() -> None:
    """The description gives size, offset, tolerance, counts, origin and a caution."""
    words = _xml(outline_svg(_outline(offset_mm=-0.5))).findtext(f"{NAME}desc", "")
    for said in (
        "Artwork 160.000 x 80.000 mm, NOT MIRRORED.",
        "Offset 0.500 mm inward.",
        "Tolerance 0.050 mm.",
        "Pieces 2, holes 1.",
        "upper left corner is at 0.000, 0.000",
        "data sheets",
    ):
        assert said in words
    assert "Offset 3.000 mm outward (bleed)." in outline_svg(_outline(offset_mm=3))
    assert "Offset none." in outline_svg(_outline())


def test_nothing_but_closed_hairlines() -> None:
    """Paths alone, each ring closed, numbers to 0.001; no fill, style sheet, script or link."""
    text = outline_svg(_outline(offset_mm=1))
    root = _xml(text)
    assert {one.tag.removeprefix(NAME) for one in root.iter()} == {
        "svg", "title", "desc", "g", "path",
    }  # fmt: skip
    assert {name for one in root.iter() for name in one.keys()} == {  # noqa: SIM118 - no mapping
        "version", "width", "height", "viewBox", "fill", "fill-rule", "stroke", "stroke-width", "d",
    }  # fmt: skip
    group = root.find(f"{NAME}g")
    assert group is not None
    assert group.get("fill") == "none"
    point = r"-?\d+\.\d{3} -?\d+\.\d{3}"
    ring = rf"M{point}(?: L{point}){{2,}} Z"
    for path in root.iter(f"{NAME}path"):
        assert re.fullmatch(rf"{ring}(?: {ring})*", path.get("d", ""))
    assert "-0.000" not in text
