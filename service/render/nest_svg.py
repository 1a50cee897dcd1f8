"""A layout on a roll as an SVG 1.1 drawing in true size: the strip, the pieces and their numbers.

A user unit is a millimetre; the corner where the strip begins is at 0, 0. Outlines and numbers are
told apart by the ids of their groups: ``strip``, ``pieces`` and ``numbers``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

import numpy as np
import shapely

from service.domain.nesting.outlines import PlacedOutline, Ring

LINE_MM = 0.1
MOST_LETTER_MM = 8.0

_UM_PER_MM = 1_000
_LETTER = 0.62
"""Width of a letter as a share of its size, taken large: the reader's own font is used."""

_FILLED = 1.6
"""Share of the radius of the largest circle within a piece that its number may be wide and high."""

_CIRCLE_UM = 100
"""How near to the largest circle is near enough."""


def nest_svg(placed: Sequence[PlacedOutline], width_um: int, length_um: int) -> str:
    """The drawing as XML text; lengths in mm, exact to the micrometre. Keys are the numbers."""
    width, length = _mm(width_um), _mm(length_um)
    strip = f'<rect x="0" y="0" width="{width}" height="{length}"/>\n'
    lines = f'fill="none" stroke-width="{LINE_MM}"'
    letters = 'font-family="sans-serif" text-anchor="middle" fill="#0b6b3a" stroke="none"'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" version="1.1" '
        f'width="{width}mm" height="{length}mm" viewBox="0 0 {width} {length}">\n'
        + _layer("strip", f'{lines} stroke="#5a5f66"', [strip])
        + _layer("pieces", f'{lines} stroke="#000000"', (_path(one.ring_um) for one in placed))
        + _layer("numbers", letters, _numbers(placed))
        + "</svg>\n"
    )


def _layer(name: str, look: str, drawn: Iterator[str] | Sequence[str]) -> str:
    return f'<g id="{name}" {look}>\n{"".join(drawn)}</g>\n'


def _path(ring_um: Ring) -> str:
    points = " L".join(f"{_mm(x)} {_mm(y)}" for x, y in ring_um)
    return f'<path d="M{points} Z"/>\n'


def _numbers(placed: Sequence[PlacedOutline]) -> Iterator[str]:
    """Each in the middle of the largest circle that fits its piece."""
    if not placed:
        return
    polygons = np.array([shapely.polygons(one.ring_um) for one in placed])
    circles = shapely.maximum_inscribed_circle(polygons, _CIRCLE_UM)
    middles = shapely.get_coordinates(circles).reshape(-1, 2, 2)[:, 0] / _UM_PER_MM
    radii_mm = (shapely.length(circles) / _UM_PER_MM).tolist()
    for one, (x, y), radius_mm in zip(placed, middles.tolist(), radii_mm, strict=True):
        size_mm = min(MOST_LETTER_MM, _FILLED * radius_mm / max(1, _LETTER * len(one.key)))
        yield (
            f'<text x="{x:.3f}" y="{y + 0.36 * size_mm:.3f}" font-size="{size_mm:.3f}">'
            f"{escape(one.key)}</text>\n"
        )


def _mm(length_um: int) -> str:
    return f"{length_um / _UM_PER_MM:.3f}".rstrip("0").rstrip(".")
