"""A garment in pixels: its drawing in a cloth colour, at the scale and place of a frame."""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import lru_cache
from typing import Final

import numpy as np
import resvg_py
from numpy.typing import NDArray
from PIL import Image

from service.domain.colour import lab_from_srgb_hex
from service.domain.proof_geometry import FlatGarment, Frame
from service.render.silhouette_pen import Drawing, Shade
from service.render.silhouettes import drawing_of

GROUND: Final = (226, 229, 233)
"""What the garment lies on: neither white nor black cloth is lost on it."""

DARK_CLOTH_LIGHTNESS: Final = 32.0
"""Below this L* lines and shade are drawn lighter than the cloth, for darker ones were not seen."""

BESIDE_CLOTH_ALPHA: Final = 40
"""What is fainter is shade that runs over the edge of the cloth, and is left out: cutting it off
with a path takes longer than all the rest of the drawing."""

LIGHT_SHADE: Final = 0.45
"""How much weaker shade is where it is lighter than the cloth, so that dark cloth stays dark."""


def garment_svg(
    garment: FlatGarment, frame: Frame, width_px: int, height_px: int, cloth_srgb: str
) -> str:
    """The drawing as an SVG of that many pixels, on a clear ground. It holds no text."""
    scale = frame.px_per_mm
    drawing = drawing_of(garment)
    tone = "#fff" if lab_from_srgb_hex(cloth_srgb).lightness < DARK_CLOTH_LIGHTNESS else "#000"
    shown = f"{-frame.origin_x_px / scale:.4f} {-frame.origin_y_px / scale:.4f}"
    size = f"{width_px / scale:.4f} {height_px / scale:.4f}"
    line_mm = max(0.9, 0.0019 * max(width_px, height_px)) / scale
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_px}" height="{height_px}" '
        f'viewBox="{shown} {size}" fill="none" stroke-linejoin="round" stroke-linecap="round" '
        f'stroke-width="{line_mm:.3f}">{"".join(_parts(drawing, cloth_srgb, tone, line_mm))}</svg>'
    )


def _parts(drawing: Drawing, cloth_srgb: str, tone: str, line_mm: float) -> Iterator[str]:
    outline = 0.6 if tone == "#000" else 0.3
    for piece in drawing.cloth:
        yield f'<path d="{piece.path}" fill="{cloth_srgb}"/>'
        if piece.strength:
            yield from _shade(piece, tone, "")
        yield f'<path d="{piece.path}" stroke="{tone}" stroke-opacity="{outline}"/>'
    for index, shade in enumerate(drawing.shades):
        yield from _shade(shade, tone, f"s{index}")
    for path, strength in drawing.lines:
        yield f'<path d="{path}" stroke="{tone}" stroke-opacity="{strength}"/>'
    dashes = f'stroke-dasharray="{line_mm * 3:.3f} {line_mm * 2.5:.3f}" stroke-linecap="butt"'
    fine = f'stroke="{tone}" stroke-opacity="0.4" stroke-width="{line_mm * 0.7:.3f}"'
    for path in drawing.stitches:
        yield f'<path d="{path}" {fine} {dashes}/>'


def _shade(shade: Shade, tone: str, name: str) -> Iterator[str]:
    strength = shade.strength if tone == "#000" else shade.strength * LIGHT_SHADE
    if shade.fades is None:
        yield f'<path d="{shade.path}" fill="{tone}" fill-opacity="{strength:.3f}"/>'
        return
    (x1, y1), (x2, y2) = shade.fades
    yield (
        f'<linearGradient id="{name}" gradientUnits="userSpaceOnUse" x1="{x1:.2f}" y1="{y1:.2f}" '
        f'x2="{x2:.2f}" y2="{y2:.2f}"><stop stop-color="{tone}" stop-opacity="{strength:.3f}"/>'
        f'<stop offset="1" stop-color="{tone}" stop-opacity="0"/></linearGradient>'
        f'<path d="{shade.path}" fill="url(#{name})"/>'
    )


@lru_cache(maxsize=8)
def laid_garment(
    garment: FlatGarment, frame: Frame, width_px: int, height_px: int, cloth_srgb: str
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """The drawing on its ground (height, width, 3), and where the cloth is, 255 of 255; read-only.

    The last few are kept, 8 MB each at most.
    """
    pixels = garment_pixels(garment, frame, width_px, height_px, cloth_srgb)
    cloth = np.ascontiguousarray(pixels[..., 3])
    with Image.fromarray(pixels) as drawn, Image.new("RGB", drawn.size, GROUND) as ground:
        ground.paste(drawn, (0, 0), drawn)
        laid = np.array(ground)
    for array in (laid, cloth):
        array.setflags(write=False)
    return laid, cloth


def garment_pixels(
    garment: FlatGarment, frame: Frame, width_px: int, height_px: int, cloth_srgb: str
) -> NDArray[np.uint8]:
    """The drawing as (height, width, 4) sRGB with straight alpha; tens of milliseconds."""
    svg = garment_svg(garment, frame, width_px, height_px, cloth_srgb)
    png = resvg_py.svg_to_bytes(svg_string=svg, skip_system_fonts=True)
    with Image.open(io.BytesIO(png), formats=("PNG",)) as image:
        pixels = np.array(image.convert("RGBA"))
    pixels[pixels[..., 3] < BESIDE_CLOTH_ALPHA] = 0
    return pixels
