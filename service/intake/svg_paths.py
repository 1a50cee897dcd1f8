"""How far the shapes of an SVG reach and how many pieces they have, without drawing them.

Everything is an upper bound: boxes hold all control points, lengths follow the control polygon.
Lengths are in user units (SVG 1.1, chapter 7); a box is (left, top, right, bottom).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn
from xml.etree.ElementTree import Element

from service.intake.picture_refusals import refuse

Box = tuple[float, float, float, float]
Matrix = tuple[float, float, float, float, float, float]
"""a, b, c, d, e, f of SVG's ``matrix()``."""

UPRIGHT: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_NUMBERS = re.compile(_NUMBER)
_LENGTH = re.compile(rf"({_NUMBER})\s*(px|pt|pc|mm|cm|in|%)?")
_PX_PER_UNIT = {"": 1.0, "px": 1.0, "pt": 96 / 72, "pc": 16.0, "mm": 96 / 25.4, "cm": 96 / 2.54}
_PX_PER_UNIT["in"] = 96.0
_STEP = re.compile(rf"([MmZzLlHhVvCcSsQqTtAa])|({_NUMBER})")
_TAKES = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7, "z": 0}
_CURVE_PIECES = 4
"""Straight pieces that a curve counts as. Design choice."""


@dataclass(frozen=True, slots=True)
class Reach:
    """A shape's box, its straight pieces, and the length of its outline in user units."""

    box: Box
    pieces: int
    length: float


def length(value: str | None, whole: float, otherwise: float = 0.0) -> float:
    """A length in user units; ``whole`` is what 100 % means. Raises ``BadInput``."""
    if value is None or value in {"", "auto"}:
        return otherwise
    told = _LENGTH.fullmatch(value.strip())
    if told is None:
        _refuse_number(value)
    number, unit = float(told.group(1)), told.group(2) or ""
    return _finite(number * whole / 100 if unit == "%" else number * _PX_PER_UNIT[unit])


def numbers(text: str) -> list[float]:
    """All numbers of a list."""
    return [_finite(float(number)) for number in _NUMBERS.findall(text)]


def _finite(number: float) -> float:
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
    """The matrix of a ``transform`` attribute (SVG 1.1, 7.6). Raises ``BadInput``."""
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


def reach(shape: Element, width: float, height: float) -> Reach | None:
    """How far a shape reaches in a viewport of that size; None if nothing is drawn."""
    if shape.tag == "path":
        return _path_reach(shape.get("d", ""))
    if shape.tag in {"polyline", "polygon"}:
        told = numbers(shape.get("points", ""))
        return _points_reach(list(zip(told[::2], told[1::2], strict=False)))

    def across(name: str) -> float:
        return length(shape.get(name), width)

    def down(name: str) -> float:
        return length(shape.get(name), height)

    if shape.tag == "line":
        return _points_reach([(across("x1"), down("y1")), (across("x2"), down("y2"))])
    if shape.tag == "rect":
        x, y = across("x"), down("y")
        return _round_reach((x, y, x + across("width"), y + down("height")))
    if shape.tag == "circle":
        rx = ry = length(shape.get("r"), math.hypot(width, height) / math.sqrt(2))
    else:
        rx, ry = across("rx"), down("ry")
    x, y = across("cx"), down("cy")
    return _round_reach((x - rx, y - ry, x + rx, y + ry))


def _round_reach(box: Box) -> Reach:
    around = 2 * (abs(box[2] - box[0]) + abs(box[3] - box[1]))
    return Reach(box, 4 * _CURVE_PIECES, around)


def _points_reach(points: list[tuple[float, float]], pieces: int | None = None) -> Reach | None:
    if not points:
        return None
    across, down = zip(*points, strict=True)
    way = sum(map(math.dist, points, points[1:])) + math.dist(points[0], points[-1])
    box = (min(across), min(down), max(across), max(down))
    return Reach(box, pieces or len(points), way)


def _path_reach(text: str) -> Reach | None:
    """The control points of a path, walked until the first step that cannot be read."""
    points: list[tuple[float, float]] = []
    start = here = handle = (0.0, 0.0)
    pieces = 0
    for kind, told in _steps(text):
        lower = kind.lower()
        if lower == "z":
            here = handle = start
            continue
        if lower in "st":
            # The first control point mirrors the one before; where there was none, it is here.
            handle = (2 * here[0] - handle[0], 2 * here[1] - handle[1])
            points.append(handle)
        new = _step_points(lower, told, here, here if kind.islower() else (0.0, 0.0))
        points += new
        handle = handle if lower == "t" else new[-2] if lower in "csq" else new[-1]
        here = new[-1]
        start = here if lower == "m" else start
        pieces += 1 if lower in "mlhv" else _CURVE_PIECES
    return _points_reach(points, pieces)


def _step_points(
    lower: str, told: Sequence[float], here: tuple[float, float], base: tuple[float, float]
) -> list[tuple[float, float]]:
    """The points that a step names, the last one where it ends."""
    x, y = base
    if lower == "h":
        return [(x + told[0], here[1])]
    if lower == "v":
        return [(here[0], y + told[0])]
    if lower == "a":
        return _arc_points(here, told, (x + told[5], y + told[6]))
    return [(x + told[at], y + told[at + 1]) for at in range(0, len(told), 2)]


def _steps(text: str) -> list[tuple[str, list[float]]]:
    """Each step of a path's ``d`` with its numbers, implicit repeats written out."""
    steps: list[tuple[str, list[float]]] = []
    kind, told = "", list[float]()
    for token in _STEP.finditer(_with_arc_flags_apart(text)):
        letter, number = token.groups()
        if letter:
            kind, told = letter, []
            if letter in "Zz":
                steps.append((letter, []))
            continue
        told.append(_finite(float(number)))
        if len(told) == _TAKES.get(kind.lower(), 0):
            steps.append((kind, told))
            told = []
            kind = {"M": "L", "m": "l"}.get(kind, kind)
    return steps


_ARC = re.compile(r"[Aa][^A-Za-z]*(?:[eE][^A-Za-z]*)*")
_ARC_STEP = re.compile(
    rf"({_NUMBER})[\s,]*({_NUMBER})[\s,]*({_NUMBER})[\s,]*([01])[\s,]*([01])[\s,]*({_NUMBER})[\s,]*({_NUMBER})"
)


def _with_arc_flags_apart(text: str) -> str:
    """A path whose arc flags, which need no space between them, are set apart."""
    if "a" not in text and "A" not in text:
        return text
    return _ARC.sub(lambda arcs: _ARC_STEP.sub(r"\1 \2 \3 \4 \5 \6 \7 ", arcs.group(0)), text)


def _arc_points(
    here: tuple[float, float], told: Sequence[float], there: tuple[float, float]
) -> list[tuple[float, float]]:
    """Points around an arc: no ellipse through both ends reaches further (SVG 1.1, F.6)."""
    short, long = sorted((abs(told[0]), abs(told[1])))
    if short == 0:
        return [there]
    # Radii too small for both ends grow until they reach, keeping their ratio (F.6.6).
    wide = 2 * long * max(1.0, math.dist(here, there) / (2 * short))
    x, y = here
    return [(x - wide, y - wide), (x + wide, y + wide), there]
