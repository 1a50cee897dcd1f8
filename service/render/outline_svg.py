"""The cut outline as an SVG 1.1 drawing in true size, for a plotter.

One path to a piece, its holes first, so that they are cut before the piece comes loose. The drawing
is as large as the ink box and the margin around it; a user unit is a millimetre.
"""

from __future__ import annotations

import numpy as np

from service.domain.contours import Points
from service.domain.cut_outline import CutOutline, CutWish, Piece

EDITION = "1"
"""Changes whenever the same outline is written otherwise."""

SVG_MEDIA_TYPE = "image/svg+xml"
LINE_MM = 0.1

_CAUTION = (
    "Follow the data sheets of your machine and of the film, and cut a test piece first. "
    "Blades cut and plotters start by themselves: keep hands clear."
)


def outline_svg(outline: CutOutline) -> str:
    """The drawing as XML text. Lengths are in mm, written to 0.001 mm."""
    margin = outline.margin_mm
    width, height = (
        f"{side + 2 * margin:.3f}" for side in (outline.wish.width_mm, outline.height_mm)
    )
    paths = "".join(_path(piece, margin) for piece in outline.pieces)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" version="1.1" '
        f'width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}">\n'
        f"<title>{_title(outline.wish)}</title>\n"
        f"<desc>{_description(outline)}</desc>\n"
        '<g fill="none" fill-rule="evenodd" stroke="#000000" '
        f'stroke-width="{LINE_MM}">\n{paths}</g>\n</svg>\n'
    )


def _title(wish: CutWish) -> str:
    return f"Cut outline, {wish.width_mm:.3f} mm wide, {_turned(wish)}"


def _turned(wish: CutWish) -> str:
    return "MIRRORED" if wish.mirrored else "NOT MIRRORED"


def _description(outline: CutOutline) -> str:
    wish, margin = outline.wish, outline.margin_mm
    pieces, holes = len(outline.pieces), sum(len(piece.holes) for piece in outline.pieces)
    return (
        f"Artwork {wish.width_mm:.3f} x {outline.height_mm:.3f} mm, {_turned(wish)}. "
        f"Offset {_offset(wish.offset_mm)}. "
        f"Tolerance {wish.tolerance_mm:.3f} mm. Pieces {pieces}, holes {holes}. "
        f"One unit is 1 mm; the artwork's upper left corner is at {margin:.3f}, {margin:.3f}. "
        f"Each path is one piece, its holes first and running the other way. {_CAUTION}"
    )


def _offset(offset_mm: float) -> str:
    if not offset_mm:
        return "none"
    return f"{abs(offset_mm):.3f} mm {'outward (bleed)' if offset_mm > 0 else 'inward'}"


def _path(piece: Piece, margin_mm: float) -> str:
    rings = " ".join(_ring(ring + margin_mm) for ring in (*piece.holes, piece.outer))
    return f'<path d="{rings}"/>\n'


def _ring(points: Points) -> str:
    # Adding zero turns a negative zero into zero, which would otherwise be written with its sign.
    numbers = tuple((np.round(points, 3) + 0.0).ravel().tolist())
    return "M" + " L".join(["%.3f %.3f"] * len(points)) % numbers + " Z"
