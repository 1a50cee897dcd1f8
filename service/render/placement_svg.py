"""The placement as a picture: garment in outline, print, and the lines a tape measures along.

A scene is worked out once in millimetres; SVG and PDF draw the same. It begins where the middle
line meets the seam measured from, as the placement drawing does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from service.domain.blanks import Style
from service.domain.placement_drawing import Dimension, PlacementDrawing
from service.domain.proof_geometry import (
    Box,
    FlatGarment,
    Frame,
    framed,
    neck_seam_mm,
)
from service.render.silhouettes import drawing_of

SHOULDER = "shoulder"
_BARE_MARGIN_MM = 60.0
_LETTER_WIDE = 0.6
"""Width of a letter or figure as a share of the letters' size, at the most; measured, no source."""


@dataclass(frozen=True, slots=True)
class LengthLabel:
    """A length beside its line: where, in the picture's units, and 0, 0.5 or 1 as its align."""

    x: float
    y: float
    align: float
    text: str


@dataclass(frozen=True, slots=True)
class PlacementScene:
    """What is drawn; boxes and lines in mm from the seam and the middle line.

    ``outline`` are closed paths, ``seams`` open ones, in the garment's own coordinates, whose
    origin lies ``rise_mm`` above the seam. Both are empty for a garment that was not measured.
    """

    size: str
    extent: Box
    outline: tuple[str, ...]
    seams: tuple[str, ...]
    rise_mm: float
    print: Box
    area: Box
    dimensions: tuple[Dimension, ...]
    words: str

    @property
    def caption(self) -> str:
        """What the drawing shows, and why it has no outline where it has none."""
        bare = "" if self.outline else ", without an outline: the garment was not measured"
        return f"drawn for size {self.size}{bare}"

    def frame(self, width: float, height: float, letters: float) -> Frame:
        """The largest scale for a box of that size, with room for a label above and below."""
        return framed(self.extent, 0.0, letters * 1.3, width, height - letters * 2.6)

    def labels(self, frame: Frame, letters: float, width: float) -> Iterator[LengthLabel]:
        """Each length beside its line, for letters of that size; ``y`` is the text's middle.

        Where the picture's ``width`` leaves no room outside the print, its height stands inside.
        """
        for one in self.dimensions:
            middle_x = frame.across_px((one.from_x_mm + one.to_x_mm) / 2)
            middle_y = frame.down_px((one.from_y_mm + one.to_y_mm) / 2)
            if one.what == "drop":
                short = one.length_mm * frame.px_per_mm < letters * 1.2
                y = frame.down_px(0.0) - letters * 0.8 if short else middle_y
                yield LengthLabel(middle_x + letters * 0.4, y, 0.0, one.label)
            elif one.what == "side":
                ends = frame.across_px(0.0)
                right = one.to_x_mm > one.from_x_mm
                shift = -letters * 0.4 if right else letters * 0.4
                yield LengthLabel(ends + shift, middle_y, 1.0 if right else 0.0, one.label)
            elif one.what == "width":
                yield LengthLabel(middle_x, middle_y + letters * 0.85, 0.5, one.label)
            else:
                inside = middle_x + letters * (0.4 + _LETTER_WIDE * len(one.label)) > width
                shift = -letters * 0.4 if inside else letters * 0.4
                yield LengthLabel(middle_x + shift, middle_y, 1.0 if inside else 0.0, one.label)


def placement_scene(drawing: PlacementDrawing, style: Style | None, size: str) -> PlacementScene:
    """The scene of a placement in that size; KeyError for a size it is not drawn in."""
    measured = drawing.in_size(size)
    where, area = drawing.print_box(size), drawing.area_box(size)
    known = (
        size,
        where,
        area,
        drawing.dimensions(size),
        f"{drawing.name}, size {size}: {drawing.words()}",
    )
    if style is None or measured.body_length_mm is None:
        around = _with(_around(where, measured.half_chest_mm), area)
        return _scene(known, around, (), (), 0.0)
    flat = FlatGarment(
        style,
        drawing.view,
        measured.half_chest_mm,
        measured.body_length_mm,
        right_arm=drawing.right_arm,
    )
    drawn = drawing_of(flat)
    rise_mm = 0.0 if SHOULDER in drawing.from_edge.lower() else neck_seam_mm(flat)
    reach = drawn.extent
    extent = Box(reach.left_mm, reach.top_mm - rise_mm, reach.width_mm, reach.height_mm)
    outline = tuple(piece.path for piece in drawn.cloth)
    seams = tuple(path for path, strength in drawn.lines if strength > 0.5)
    return _scene(known, _with(_with(extent, where), area), outline, seams, rise_mm)


_Known = tuple[str, Box, Box, tuple[Dimension, ...], str]


def _scene(
    known: _Known, extent: Box, outline: tuple[str, ...], seams: tuple[str, ...], rise_mm: float
) -> PlacementScene:
    size, where, area, dimensions, words = known
    return PlacementScene(size, extent, outline, seams, rise_mm, where, area, dimensions, words)


def _around(where: Box, half_chest_mm: float) -> Box:
    """Room around a print on a garment of which no outline is known."""
    around = Box(-half_chest_mm / 2, 0.0, half_chest_mm, where.bottom_mm + _BARE_MARGIN_MM)
    return _with(around, where)


def _with(extent: Box, where: Box) -> Box:
    left, top = min(extent.left_mm, where.left_mm), min(extent.top_mm, 0.0)
    right, bottom = max(extent.right_mm, where.right_mm), max(extent.bottom_mm, where.bottom_mm)
    return Box(left, top, right - left, bottom - top)


def placement_svg(scene: PlacementScene, width: float = 360, height: float = 300) -> str:
    """The scene as an SVG element to stand in a page; all words are in its title and labels."""
    letters = 12.0
    frame = scene.frame(width, height, letters)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" font-size="{letters:g}" fill="none">'
        f"<title>{escape(scene.words)}</title>{_garment(scene, frame)}"
        f"{_boxes(scene, frame)}{_measures(scene, frame, letters, width)}</svg>"
    )


def _garment(scene: PlacementScene, frame: Frame) -> str:
    scale = frame.px_per_mm
    at = (
        f"translate({frame.origin_x_px:.2f} {frame.down_px(-scene.rise_mm):.2f}) scale({scale:.5f})"
    )
    pieces = "".join(f'<path d="{path}" fill="#f4f5f6"/>' for path in scene.outline)
    seams = "".join(f'<path d="{path}" stroke="#9a9ea5"/>' for path in scene.seams)
    thick = 1 / scale
    return f'<g transform="{at}" stroke="#55585e" stroke-width="{thick:.3f}">{pieces}{seams}</g>'


def _boxes(scene: PlacementScene, frame: Frame) -> str:
    area, where = _placed(scene.area, frame), _placed(scene.print, frame)
    foot = frame.down_px(scene.extent.bottom_mm)
    middle, seam = frame.across_px(0.0), frame.down_px(0.0)
    reach = 18
    return (
        f'<path d="M{middle:.2f},{seam:.2f} L{middle:.2f},{foot:.2f}" stroke="#9a9ea5" '
        'stroke-dasharray="6 4"/>'
        f'<rect {area} stroke="#9a9ea5" stroke-dasharray="2 3"/>'
        f'<rect {where} fill="#dbe4f6" stroke="#111" stroke-width="1.6"/>'
        f'<path d="M{middle - reach:.2f},{seam:.2f} L{middle + reach:.2f},{seam:.2f}" '
        'stroke="#111" stroke-width="1.6"/>'
    )


def _placed(box: Box, frame: Frame) -> str:
    scale = frame.px_per_mm
    return (
        f'x="{frame.across_px(box.left_mm):.2f}" y="{frame.down_px(box.top_mm):.2f}" '
        f'width="{box.width_mm * scale:.2f}" height="{box.height_mm * scale:.2f}"'
    )


def _measures(scene: PlacementScene, frame: Frame, letters: float, width: float) -> str:
    lines = "".join(
        f'<path d="M{x:.2f},{y:.2f} L{to_x:.2f},{to_y:.2f}" stroke="#0b3d91" stroke-width="1.4"/>'
        for one in scene.dimensions
        for x, y, to_x, to_y in strokes(one, frame)
    )
    anchors = {0.0: "start", 0.5: "middle", 1.0: "end"}
    labels = "".join(
        f'<text x="{one.x:.2f}" y="{one.y + letters * 0.35:.2f}" '
        f'text-anchor="{anchors[one.align]}" fill="#0b3d91" stroke="#fff" stroke-width="4" '
        f'paint-order="stroke">{escape(one.text)}</text>'
        for one in scene.labels(frame, letters, width)
    )
    return lines + labels


def strokes(one: Dimension, frame: Frame) -> tuple[tuple[float, float, float, float], ...]:
    """A dimension's line and the short strokes across its ends, in the picture's units."""
    x, y = frame.across_px(one.from_x_mm), frame.down_px(one.from_y_mm)
    to_x, to_y = frame.across_px(one.to_x_mm), frame.down_px(one.to_y_mm)
    across, down = (0.0, 3.0) if one.from_y_mm == one.to_y_mm else (3.0, 0.0)
    ends = ((x, y), (to_x, to_y))
    return (
        (x, y, to_x, to_y),
        *((at - across, up - down, at + across, up + down) for at, up in ends),
    )
