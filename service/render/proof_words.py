"""Words in a picture, in the font that comes with the picture library: no system font is used."""

from __future__ import annotations

from functools import lru_cache

from PIL import ImageDraw, ImageFont

INK = (32, 34, 38)
FAINT_INK = (88, 92, 98)
_CUT = "..."


@lru_cache(maxsize=64)
def font_of(size_px: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """The built-in font at that size."""
    return ImageFont.load_default(size_px)


def text_width(text: str, size_px: int) -> float:
    """Width of a line in pixels."""
    return font_of(size_px).getlength(text)


def wrapped(text: str, size_px: int, width_px: float, most_lines: int) -> list[str]:
    """The text in lines that fit; what is too much ends in three points, a word too long is cut."""
    lines: list[str] = []
    left = text.split()
    while left and len(lines) < most_lines:
        count = len(left)
        while count > 1 and text_width(" ".join(left[:count]), size_px) > width_px:
            count -= 1
        line, left = " ".join(left[:count]), left[count:]
        is_last = bool(left) and len(lines) == most_lines - 1
        lines.append(_fitted(line + (f" {_CUT}" if is_last else ""), size_px, width_px))
    return lines


def _fitted(line: str, size_px: int, width_px: float) -> str:
    if text_width(line, size_px) <= width_px:
        return line
    kept = line.removesuffix(_CUT).rstrip()
    while kept and text_width(kept + _CUT, size_px) > width_px:
        kept = kept[:-1].rstrip()
    return kept + _CUT


def write(
    draw: ImageDraw.ImageDraw,
    place: tuple[float, float],
    line: str,
    size_px: int,
    colour: tuple[int, int, int] = INK,
) -> None:
    """Write one line; the place is its upper left corner, that of its tallest letters."""
    draw.text((round(place[0]), round(place[1])), line, fill=colour, font=font_of(size_px))
