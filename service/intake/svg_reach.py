"""How far the shapes of an SVG reach and how many pieces they have, without drawing them.

Everything is an upper bound: boxes hold all control points, lengths follow the control polygon.
Lengths are in user units (SVG 1.1, chapter 7, from memory). A drawing may hold hundreds of
thousands of path steps, so all its paths are walked together, as arrays.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from service.intake.svg_paths import NUMBER, Box, finite, length

_TAKES = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7}
"""Numbers of a step (SVG 1.1, section 8.3, from memory)."""
_CURVE_PIECES = 4
"""Straight pieces that a curve counts as. Design choice."""
_BREAK = "|"
"""Stands between two paths; it is no letter of path data."""
_LETTERS = frozenset("MmZzLlHhVvCcSsQqTtAa" + _BREAK)
_TOKEN = re.compile(rf"[{''.join(_LETTERS)}]|{NUMBER}")

_NO_NUMBER = re.compile(r"[A-DF-Za-df-z]")

_ARC = re.compile(r"[Aa][^A-Za-z]*(?:[eE][^A-Za-z]*)*")
_ARC_STEP = re.compile(
    rf"({NUMBER})[\s,]*({NUMBER})[\s,]*({NUMBER})[\s,]*([01])[\s,]*([01])[\s,]*({NUMBER})[\s,]*({NUMBER})"
)

_Numbers = NDArray[np.float64]
_Holds = NDArray[np.bool_]
_Indexes = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Reach:
    """A shape's box, its straight pieces, and the length of its outline in user units."""

    box: Box
    pieces: int
    length: float


def reach(shape: Element, width: float, height: float) -> Reach | None:
    """How far a shape reaches in a viewport of that size; None if nothing is drawn."""
    text = path_text(shape)
    if text is not None:
        return path_reaches([text])[0]

    def across(name: str) -> float:
        return length(shape.get(name), width)

    def down(name: str) -> float:
        return length(shape.get(name), height)

    if shape.tag == "line":
        return _line_reach((across("x1"), down("y1")), (across("x2"), down("y2")))
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


def _line_reach(one: tuple[float, float], other: tuple[float, float]) -> Reach:
    (left, right), (top, bottom) = map(sorted, zip(one, other, strict=True))
    return Reach((left, top, right, bottom), 2, 2 * math.dist(one, other))


def path_text(shape: Element) -> str | None:
    """Path data of a path, polyline or polygon that reaches as far; None of another shape."""
    if shape.tag == "path":
        return shape.get("d", "")
    if shape.tag in {"polyline", "polygon"}:
        return "M" + _NO_NUMBER.sub(" ", shape.get("points", ""))
    return None


@dataclass(frozen=True, slots=True, eq=False)
class _Steps:
    """The steps of all paths in order, a break before those of each path.

    ``kind`` (n,) is the code of the lower-case letter, ``relative`` whether it was one, ``told``
    the numbers of all steps one after another, ``at`` where those of each step begin in them.
    """

    kind: NDArray[np.uint8]
    relative: _Holds
    at: _Indexes
    told: _Numbers

    def are(self, letters: str) -> _Holds:
        """Which steps are of one of these kinds."""
        held = np.zeros(128, np.bool_)
        held[[ord(letter) for letter in letters]] = True
        return held[self.kind]

    def points(self, which: _Holds, offset: int) -> _Numbers:
        """Two numbers of each of those steps, (n, 2); ``offset`` numbers behind its first."""
        at = self.at[which] + offset
        return np.stack([self.told[at], self.told[at + 1]], axis=1)


def path_reaches(texts: Sequence[str]) -> list[Reach | None]:
    """How far paths reach, each given by its ``d``; None for one that draws nothing.

    Implicit repeats count, as do the lines that close a path. What is no number or letter is passed
    over. Raises ``BadInput`` for a number that is too large.
    """
    if not texts:
        return []
    steps = _steps(texts)
    ends = _ends(steps)
    here = np.concatenate([np.zeros((1, 2)), ends[:-1]])
    first, second = _controls(steps, here, ends)
    way = np.hypot(*(second - first).T) + np.hypot(*(ends - second).T)
    jump = np.hypot(*(first - here).T)
    jump[1:][steps.kind[:-1] == ord(_BREAK)] = 0.0
    return _gathered(steps, (first, second, ends), way + jump)


def _gathered(
    steps: _Steps, points: tuple[_Numbers, _Numbers, _Numbers], way: _Numbers
) -> list[Reach | None]:
    """The steps' points, and the ways through them, path by path."""
    breaks = np.flatnonzero(steps.are(_BREAK))
    counts = np.diff(breaks, append=len(way)) - 1
    reaches: list[Reach | None] = [None] * len(breaks)
    some = np.flatnonzero(counts)
    if not len(some):
        return reaches
    kept = ~steps.are(_BREAK)
    starts = (breaks - np.arange(len(breaks)))[some]
    least = np.minimum.reduceat(np.minimum.reduce([one[kept] for one in points]), starts)
    most = np.maximum.reduceat(np.maximum.reduce([one[kept] for one in points]), starts)
    pieces = np.where(steps.are("csqta"), _CURVE_PIECES, 1) * ~steps.are("z")
    pieces = np.add.reduceat(pieces[kept], starts)
    closing = points[2][breaks[some] + counts[some]] - points[0][breaks[some] + 1]
    ways = np.add.reduceat(way[kept], starts) + np.hypot(*closing.T)
    boxes = np.concatenate([least, most], axis=1)
    for path, box, count, far in zip(some, boxes.tolist(), pieces, ways, strict=True):
        if count:
            reaches[path] = Reach((box[0], box[1], box[2], box[3]), int(count), float(far))
    return reaches


def _steps(texts: Sequence[str]) -> _Steps:
    """Cut the texts into letters and numbers, and each letter's numbers into steps."""
    plain = (_with_arc_flags_apart(text.replace(_BREAK, " ")) for text in texts)
    tokens = _TOKEN.findall(_BREAK + _BREAK.join(plain))
    lettered = [token in _LETTERS for token in tokens]
    places = np.flatnonzero(lettered)
    letters = np.frombuffer("".join(tokens[place] for place in places).encode(), np.uint8)
    held = [float(token) for token, letter in zip(tokens, lettered, strict=True) if not letter]
    told = np.array([*held, *[0.0] * max(_TAKES.values())])
    finite(float(told[np.abs(told).argmax()]))
    lower = letters | np.uint8(32)
    takes_by_code = np.zeros(128, np.intp)
    takes_by_code[[ord(letter) for letter in _TAKES]] = list(_TAKES.values())
    takes = takes_by_code[lower]
    count = np.diff(places, append=len(tokens)) - 1
    repeats = np.where(takes == 0, 1, count // np.maximum(takes, 1))
    run = np.repeat(np.arange(len(letters)), repeats)
    nth = np.arange(len(run)) - (np.cumsum(repeats) - repeats)[run]
    kind = lower[run]
    kind[(kind == ord("m")) & (nth > 0)] = ord("l")
    at = (places - np.arange(len(places)))[run] + nth * takes[run]
    return _Steps(kind, letters[run] >= ord("a"), at, told)


def _ends(steps: _Steps) -> _Numbers:
    """Where each step ends, (n, 2)."""
    ends = np.zeros((len(steps.kind), 2))
    told = np.zeros_like(ends)
    for letters, offset in (("mlt", 0), ("sq", 2), ("c", 4), ("a", 5)):
        which = steps.are(letters)
        told[which] = steps.points(which, offset)
    for axis, (own, other) in enumerate((("h", "v"), ("v", "h"))):
        which = steps.are(own)
        told[which, axis] = steps.told[steps.at[which]]
        relative = (steps.relative | steps.are(other)) & ~steps.are(_BREAK)
        ends[:, axis] = _ends_along(steps, told[:, axis], relative)
    return ends


def _ends_along(steps: _Steps, told: _Numbers, relative: _Holds) -> _Numbers:
    """Ends along one axis: first from where each part of a path starts, then from the origin.

    A part starts with a move, and closing it leads back there, so what follows is counted from
    its start too, until a step names a place of its own.
    """
    moves = steps.are("m" + _BREAK)
    returns = moves | steps.are("z")
    fresh = returns | ~relative
    within = _summed(np.where(returns, 0.0, told), fresh)
    from_start = returns[_latest(fresh)]
    at = np.flatnonzero(moves)
    led = relative[at]
    begun = told[at] + np.where(led, within[at - 1], 0.0)
    starts = _summed(begun, ~(led & from_start[at - 1]))
    of_part = np.cumsum(moves) - 1
    ends: _Numbers = within + np.where(from_start, starts[of_part], 0.0)
    return ends


def _latest(fresh: _Holds) -> _Indexes:
    """The place of the latest one that holds, at or before each; the first has to hold."""
    found: _Indexes = np.maximum.accumulate(np.where(fresh, np.arange(len(fresh)), 0))
    return found


def _summed(values: _Numbers, fresh: _Holds) -> _Numbers:
    """Sums that begin anew wherever ``fresh`` holds; it does at the first."""
    total = np.cumsum(np.where(fresh, 0.0, values))
    latest = _latest(fresh)
    sums: _Numbers = total - total[latest] + values[latest]
    return sums


def _controls(steps: _Steps, here: _Numbers, ends: _Numbers) -> tuple[_Numbers, _Numbers]:
    """Two points of each step between its start and its end; the end itself for straight steps."""
    first, second = ends.copy(), ends.copy()
    base = np.where(steps.relative[:, None], here, 0.0)
    for letters, offsets in (("c", ((first, 0), (second, 2))), ("s", ((second, 0),))):
        which = steps.are(letters)
        for points, offset in offsets:
            points[which] = base[which] + steps.points(which, offset)
    which = steps.are("q")
    first[which] = second[which] = base[which] + steps.points(which, 0)
    # A smooth step mirrors the control point before it; where there was none, that is its start.
    smooth = steps.are("t")
    sign = np.where(np.arange(len(smooth)) % 2, -1.0, 1.0)
    for axis in (0, 1):
        told = sign * np.where(smooth, 2 * here[:, axis], second[:, axis])
        handles = sign * _summed(told, ~smooth)
        first[smooth, axis] = second[smooth, axis] = handles[smooth]
        places = np.flatnonzero(steps.are("s"))
        first[places, axis] = 2 * here[places, axis] - handles[places - 1]
    _bound_arcs(steps, here, ends, first, second)
    return first, second


def _bound_arcs(
    steps: _Steps, here: _Numbers, ends: _Numbers, first: _Numbers, second: _Numbers
) -> None:
    """Set the two points of each arc to corners of a box around it.

    No ellipse through both ends reaches further (SVG 1.1, F.6, from memory).
    """
    arcs = np.flatnonzero(steps.are("a"))
    radii = np.sort(np.abs(steps.points(steps.are("a"), 0)), axis=1)
    short, long = radii[:, 0], radii[:, 1]
    # Without a radius it is a straight line.
    arcs, short, long = arcs[short > 0], short[short > 0], long[short > 0]
    # Radii too small for both ends grow until they reach, keeping their ratio (F.6.6).
    apart = np.hypot(*(ends[arcs] - here[arcs]).T)
    around = (2 * long * np.maximum(1.0, apart / (2 * short)))[:, None]
    first[arcs], second[arcs] = here[arcs] - around, here[arcs] + around


def _with_arc_flags_apart(text: str) -> str:
    """A path whose arc flags, which need no space between them, are set apart."""
    if "a" not in text and "A" not in text:
        return text
    return _ARC.sub(lambda arcs: _ARC_STEP.sub(r"\1 \2 \3 \4 \5 \6 \7 ", arcs.group(0)), text)
