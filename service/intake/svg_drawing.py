"""Drawing a checked SVG into pixels, at a size that its shapes can be drawn at in bounded time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NoReturn
from xml.etree.ElementTree import Element, tostring

import cv2
import numpy as np
import resvg_py
from numpy.typing import NDArray

from service.intake.picture_refusals import refuse, refuse_transparent
from service.intake.svg_cost import Cost, cost_of
from service.intake.svg_paths import Box, length, numbers
from service.intake.svg_reading import SHAPES, SVG_NAMESPACE, read_svg

LONGEST_SIDE_PX = 4_000
"""Longer side of the drawn picture: 300 pixels per inch on 339 mm, wider than most prints are."""
MOST_PIXELS = 9_000_000
"""Pixels of the drawn picture: 3000 x 3000, 300 pixels per inch on 254 mm; more takes too long."""
LOOK_SIDE_PX = 500
"""Longer side at which a drawing has to show anything, before it is drawn as large as it may be:
that there is nothing to see takes no long drawing to be found."""
LEAST_SIDE_PX = 1_000
"""A drawing that cannot be drawn with a longer side of this in time is refused."""
MOST_NS = 1.5e9
"""What drawing may take by ``svg_cost``, in nanoseconds of the machine its figures are from."""

_STEPS = 24
_ASPECT = re.compile(r"(none|x(Min|Mid|Max)Y(Min|Mid|Max))(\s+(meet|slice))?")


@dataclass(frozen=True, slots=True)
class Viewport:
    """The sides a drawing asks for in px, and the box of user units it shows."""

    width: float
    height: float
    view: Box

    def at(self, scale: float) -> tuple[int, int]:
        """Whole sides at that scale."""
        return max(1, int(self.width * scale)), max(1, int(self.height * scale))


def draw_svg(data: bytes, max_pixels: int) -> NDArray[np.uint8]:
    """The drawing as (height, width, 4), 8-bit sRGB with straight alpha. Raises ``BadInput``.

    Drawn as large as ``LONGEST_SIDE_PX``, ``MOST_PIXELS``, ``max_pixels`` and its cost allow: the
    same file gives the same pixels on every machine.
    """
    root = read_svg(data)
    viewport = _viewport(root)
    smallest = viewport.at(_scales(viewport, max_pixels)[-1])
    cost = cost_of(root, viewport.view, lambda part: part.ns(*smallest) > MOST_NS)
    if not any(element.tag in SHAPES for element in root.iter()):
        refuse_transparent()
    width, height = _size(viewport, cost, max_pixels)
    left, top, right, bottom = viewport.view
    root.set("viewBox", f"{left!r} {top!r} {right - left!r} {bottom - top!r}")
    root.set("xmlns", SVG_NAMESPACE)
    look = LOOK_SIDE_PX / max(viewport.width, viewport.height)
    if max(width, height) > LOOK_SIDE_PX and not _drawn(root, viewport.at(look))[..., 3].any():
        refuse(
            "picture-transparent",
            f"Nothing of the drawing is to be seen at {LOOK_SIDE_PX:,} px: its shapes are "
            "transparent, outside of what it shows, or tiny beside it. Crop the drawing to its "
            "shapes, and give them a fill or stroke.",
        )
    return _drawn(root, (width, height))


def _drawn(root: Element, size: tuple[int, int]) -> NDArray[np.uint8]:
    """Pixels of a tree that was checked; never given a path, a folder or a font."""
    for name, side in zip(("width", "height"), size, strict=True):
        root.set(name, str(side))
    text = tostring(root, encoding="unicode")
    try:
        png = resvg_py.svg_to_bytes(svg_string=text, skip_system_fonts=True)
    except BaseException as failed:
        # A panic of the renderer is no Exception; all others of that kind have to pass.
        if not isinstance(failed, Exception) and type(failed).__name__ != "PanicException":
            raise
        refuse(
            "picture-unreadable",
            "The drawing cannot be drawn. Open it in a drawing program and export it again.",
        )
    pixels = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels is None:
        raise MemoryError
    rgba = cv2.cvtColor(pixels, cv2.COLOR_BGRA2RGBA).astype(np.uint8, copy=False)
    rgba.flags.writeable = False
    return rgba


def _viewport(root: Element) -> Viewport:
    view = _view(root.get("viewBox"))
    wide, high = (_side(root.get(name)) for name in ("width", "height"))
    aspect = root.get("preserveAspectRatio")
    if aspect is not None and _ASPECT.fullmatch(aspect) is None:
        del root.attrib["preserveAspectRatio"]
    if view is None:
        if wide is None or high is None:
            _refuse_size("gives no size: neither a viewBox nor width and height in px or mm")
        view = (0.0, 0.0, wide, high)
    across, down = view[2] - view[0], view[3] - view[1]
    if wide is None:
        wide = across if high is None else high * across / down
    if high is None:
        high = wide * down / across
    if not (1e-6 < wide < 1e9 and 1e-6 < high < 1e9 and 1e-6 < across < 1e9 and 1e-6 < down < 1e9):
        _refuse_size("has a width or height that is no usable length")
    if max(wide, high) > LONGEST_SIDE_PX * min(wide, high):
        _refuse_size(f"is more than {LONGEST_SIDE_PX:,} times as long as wide")
    return Viewport(wide, high, view)


def _view(text: str | None) -> Box | None:
    if text is None:
        return None
    told = numbers(text)
    if len(told) != 4 or min(told[2:]) <= 0:
        _refuse_size(f"has the viewBox {text[:60]!r}; it needs 4 numbers, the last 2 above 0")
    return (told[0], told[1], told[0] + told[2], told[1] + told[3])


def _side(text: str | None) -> float | None:
    if text is None or text == "auto" or text.endswith("%"):
        return None
    side = length(text, 0.0)
    if side <= 0:
        _refuse_size(f"has a side of {text[:20]!r}; it has to be above 0")
    return side


def _size(viewport: Viewport, cost: Cost, max_pixels: int) -> tuple[int, int]:
    """Whole sides within all limits: the largest of a few sizes whose cost is low enough."""
    sizes = (viewport.at(scale) for scale in _scales(viewport, max_pixels))
    size = next((size for size in sizes if cost.ns(*size) <= MOST_NS), None)
    if size is None:
        _refuse_complex()
    return size


def _scales(viewport: Viewport, max_pixels: int) -> list[float]:
    """Those at which a drawing may be drawn, the largest first."""
    most = min(MOST_PIXELS, max_pixels)
    longer = max(viewport.width, viewport.height)
    scale = min(LONGEST_SIDE_PX / longer, (most / (viewport.width * viewport.height)) ** 0.5)
    least = min(scale, LEAST_SIDE_PX / longer)
    return [scale * (least / scale) ** (step / _STEPS) for step in range(_STEPS + 1)]


def _refuse_complex() -> NoReturn:
    refuse(
        "picture-svg-too-complex",
        "The drawing takes longer to draw than is allowed, even at "
        f"{LEAST_SIDE_PX:,} px: it has too many large see-through, blended, clipped or masked "
        "areas, or too many pieces. Simplify it, or export the artwork as PNG.",
    )


def _refuse_size(what: str) -> NoReturn:
    refuse(
        "picture-svg-size",
        f"The drawing {what}. Export it with a viewBox, or with width and height.",
    )
