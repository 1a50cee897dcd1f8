"""Numbers, lengths, boxes and matrices of an SVG.

Lengths are in user units (SVG 1.1, chapter 7, from memory); a box is (left, top, right, bottom).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import NoReturn

from service.intake.picture_refusals import refuse

Box = tuple[float, float, float, float]
Matrix = tuple[float, float, float, float, float, float]
"""a, b, c, d, e, f of SVG's ``matrix()``."""

UPRIGHT: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_NUMBERS = re.compile(NUMBER)
_LENGTH = re.compile(rf"({NUMBER})\s*(px|pt|pc|mm|cm|in|%)?")
_PX_PER_UNIT = {"": 1.0, "px": 1.0, "pt": 96 / 72, "pc": 16.0, "mm": 96 / 25.4, "cm": 96 / 2.54}
_PX_PER_UNIT["in"] = 96.0


def length(value: str | None, whole: float, otherwise: float = 0.0) -> float:
    """A length in user units; ``whole`` is what 100 % means. Raises ``BadInput``."""
    if value is None or value in {"", "auto"}:
        return otherwise
    told = _LENGTH.fullmatch(value.strip())
    if told is None:
        _refuse_number(value)
    number, unit = float(told.group(1)), told.group(2) or ""
    return finite(number * whole / 100 if unit == "%" else number * _PX_PER_UNIT[unit])


def numbers(text: str) -> list[float]:
    """All numbers of a list."""
    told = list(map(float, _NUMBERS.findall(text)))
    if told:
        finite(max(told, key=abs))
    return told


def finite(number: float) -> float:
    """The number, unless it is too large to be drawn. Raises ``BadInput``."""
    if not abs(number) < 1e9:
        _refuse_number(str(number))
    return number


def _refuse_number(value: str) -> NoReturn:
    refuse(
        "picture-unreadable",
        f"The drawing gives {value[:40]!r} as a number or length, which cannot be read. "
        "Open it in a drawing program and export it again.",
    )


def transform(text: str | None) -> Matrix:
    """The matrix of a ``transform`` attribute (SVG 1.1, 7.6, from memory).

    Raises ``BadInput``.
    """
    matrix = UPRIGHT
    at = 0
    for step in re.finditer(r"\s*,?\s*(\w+)\s*\(([^()]*)\)\s*", text or ""):
        if step.start() != at:
            break
        matrix = times(matrix, _single(step.group(1), numbers(step.group(2))))
        at = step.end()
    if at != len(text or ""):
        _refuse_number(text or "")
    return matrix


def _single(name: str, told: Sequence[float]) -> Matrix:
    count = len(told)
    if name == "matrix" and count == 6:
        return (told[0], told[1], told[2], told[3], told[4], told[5])
    if name == "translate" and count in {1, 2}:
        return (1, 0, 0, 1, told[0], told[1] if count == 2 else 0)
    if name == "scale" and count in {1, 2}:
        return (told[0], 0, 0, told[-1], 0, 0)
    if name == "rotate" and count in {1, 3}:
        sine, cosine = math.sin(math.radians(told[0])), math.cos(math.radians(told[0]))
        x, y = (told[1], told[2]) if count == 3 else (0.0, 0.0)
        turned = (cosine, sine, -sine, cosine, x, y)
        return times(turned, (1, 0, 0, 1, -x, -y))
    if name == "skewX" and count == 1:
        return (1, 0, math.tan(math.radians(told[0])), 1, 0, 0)
    if name == "skewY" and count == 1:
        return (1, math.tan(math.radians(told[0])), 0, 1, 0, 0)
    _refuse_number(name)


def times(outer: Matrix, inner: Matrix) -> Matrix:
    """What ``inner`` and then ``outer`` does."""
    a, b, c, d, e, f = outer
    p, q, r, s, t, u = inner
    return (
        a * p + c * q,
        b * p + d * q,
        a * r + c * s,
        b * r + d * s,
        a * t + c * u + e,
        b * t + d * u + f,
    )


def moved(box: Box, matrix: Matrix) -> Box:
    """The box around a box that was transformed."""
    a, b, c, d, e, f = matrix
    left, top, right, bottom = box
    corners = [(x, y) for x in (left, right) for y in (top, bottom)]
    across = [a * x + c * y + e for x, y in corners]
    down = [b * x + d * y + f for x, y in corners]
    return (min(across), min(down), max(across), max(down))
