"""The placement's drawing on paper: the scene of :mod:`service.render.placement_svg` by pen."""

from __future__ import annotations

from service.render.pdf_kit import INK, SOFT, WHITE, Letters, PaperPen, text_width
from service.render.placement_svg import PlacementScene, strokes

FAINT = (0.60, 0.62, 0.65)
_MEASURE = (0.04, 0.24, 0.57)
_CLOTH, _PRINT = (0.957, 0.961, 0.965), (0.86, 0.89, 0.965)


def draw_scene(
    scene: PlacementScene,
    small: Letters,
    width: float,
    height: float,
    pen: PaperPen,
    x: float,
    y: float,
) -> None:
    """Draw the scene as large as it fits into a box, lengths in letters of that size."""
    letters = Letters(small.size, colour=_MEASURE)
    frame = scene.frame(width, height - letters.line, letters.size)
    at = (x + frame.origin_x_px, y + frame.down_px(-scene.rise_mm))
    for path in scene.outline:
        pen.path(path, at, frame.px_per_mm, fill=_CLOTH, stroke=SOFT, thick=0.6)
    for path in scene.seams:
        pen.path(path, at, frame.px_per_mm, stroke=FAINT, thick=0.5)
    middle, seam = x + frame.across_px(0.0), y + frame.down_px(0.0)
    foot = y + frame.down_px(scene.extent.bottom_mm)
    pen.line(middle, seam, middle, foot, 0.6, FAINT, (4, 3))
    for box, fill, stroke, thick in (
        (scene.area, None, FAINT, 0.5),
        (scene.print, _PRINT, INK, 1.0),
    ):
        pen.box(
            x + frame.across_px(box.left_mm),
            y + frame.down_px(box.top_mm),
            box.width_mm * frame.px_per_mm,
            box.height_mm * frame.px_per_mm,
            fill=fill,
            stroke=stroke,
            thick=thick,
        )
    pen.line(middle - 12, seam, middle + 12, seam, 1.1)
    for one in scene.dimensions:
        for left, top, right, low in strokes(one, frame):
            pen.line(x + left, y + top, x + right, y + low, 0.9, _MEASURE)
    for label in scene.labels(frame, letters.size, width):
        wide = text_width(label.text, letters)
        left, top = x + label.x - label.align * wide, y + label.y - letters.size * 0.55
        pen.box(left - 1, top, wide + 2, letters.size * 1.1, fill=WHITE, stroke=None)
        pen.word(left, top, label.text, letters)
    pen.word(x, y + height - letters.line, scene.caption, small)
