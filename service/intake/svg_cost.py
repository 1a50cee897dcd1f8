"""What drawing an SVG takes, told beforehand from how far its shapes reach.

A renderer cannot be stopped, and a few lines of SVG can ask it for hours of work. So everything
that would be drawn is walked first, copies (``use``) included, and counted by area, by pieces and
by the layers that blending, clipping and masking need. Figures are upper bounds in nanoseconds,
measured with the renderer on one core and rounded up; they need to be right to a factor of two.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import NoReturn
from xml.etree.ElementTree import Element

from service.intake.picture_refusals import refuse
from service.intake.svg_paths import (
    Box,
    Matrix,
    length,
    moved,
    numbers,
    times,
    transform,
)
from service.intake.svg_reach import Reach, path_reaches, path_text, reach
from service.intake.svg_reading import GRADIENTS, MOST_DEPTH, SHAPES

MOST_DRAWN = 20_000
"""Elements that are drawn, every copy counted. Design choice."""
MOST_DASHES = 50_000
"""Dashes of all strokes. Design choice."""
FURTHEST = 1_000.0
"""How many times the drawing's sides a shape may reach beyond it: the renderer's numbers end."""

_SHEET_NS = 100.0
"""Of every pixel: set aside, written, read again."""
_OPAQUE_NS, _SHEER_NS, _GRADIENT_NS = 4.0, 28.0, 110.0
"""Of every pixel painted: in one opaque colour, in a see-through one, in a gradient."""
_LAYER_NS, _CLIP_NS, _MASK_NS = 70.0, 70.0, 140.0
"""Of every pixel of a layer, and what a clip and a mask add to it."""
_PIECE_NS, _PIECE_ROW_NS = 1_000.0, 100.0
"""Of every straight piece of an outline, and of every pixel row that it crosses."""
_SHAPE_NS, _DASH_NS = 20_000.0, 15_000.0
_INHERITED = frozenset(
    {
        *("fill", "fill-opacity", "stroke", "stroke-opacity", "stroke-width", "stroke-linejoin"),
        *("stroke-miterlimit", "stroke-dasharray"),
    }
)
_OPAQUE = re.compile(r"#[0-9a-fA-F]{3}|#[0-9a-fA-F]{6}|[A-Za-z]+|rgb\([^a/]*\)")
_TARGET = re.compile(r"url\(#([\w.:-]+)\)")


@dataclass(slots=True)
class Cost:
    """``area_ns`` for each pixel of the picture, ``row_ns`` for each of its height, and a rest."""

    area_ns: float = _SHEET_NS
    row_ns: float = 0.0
    fixed_ns: float = 0.0
    drawn: int = 0
    dashes: float = 0.0

    def ns(self, width: int, height: int) -> float:
        """Of drawing it with those sides in px."""
        return width * height * self.area_ns + height * self.row_ns + self.fixed_ns


class _TooMuch(Exception):
    """So much was counted already that there is no need to go on."""


@dataclass(frozen=True, slots=True)
class _Walk:
    """What the whole walk shares; all boxes are shares of the shown box, (0, 0, 1, 1).

    ``reaches`` holds those of the shapes walked so far: a copy is not walked again.
    """

    by_id: Mapping[str, Element]
    width: float
    height: float
    too_much: Callable[[Cost], bool]
    reaches: dict[Element, Reach | None]
    cost: Cost = field(default_factory=Cost)

    def reach(self, shape: Element) -> Reach | None:
        """How far a shape reaches."""
        if shape not in self.reaches:
            self.reaches[shape] = reach(shape, self.width, self.height)
        return self.reaches[shape]


def cost_of(root: Element, view: Box, too_much: Callable[[Cost], bool] = lambda _: False) -> Cost:
    """What it takes to draw the checked tree. Raises ``BadInput`` for what is beyond counting.

    Counts as if the view filled the picture: with another aspect it fills less of it or shows less.
    Where the cost of a part is ``too_much`` already, that is what is given.
    """
    # Of elements of the same name the first counts.
    by_id = {element.get("id", ""): element for element in reversed(list(root.iter()))}
    by_id.pop("", None)
    width, height = view[2] - view[0], view[3] - view[1]
    _drawn_in(root, by_id, {}, 0)
    texts = {shape: text for shape in root.iter() if (text := path_text(shape)) is not None}
    reaches = dict(zip(texts, path_reaches(list(texts.values())), strict=True))
    walk = _Walk(by_id, width, height, too_much, reaches)
    _check_gradients(walk)
    with suppress(_TooMuch):
        _add_root(walk, root, view)
    return walk.cost


def _add_root(walk: _Walk, root: Element, view: Box) -> None:
    width, height = walk.width, walk.height
    matrix = (1 / width, 0.0, 0.0, 1 / height, -view[0] / width, -view[1] / height)
    for child in root:
        _add(walk, child, matrix, _painted(root, {}), 1)
    _add_layers(walk, root, (0.0, 0.0, 1.0, 1.0), matrix, 1)


def _drawn_in(
    element: Element, by_id: Mapping[str, Element], known: dict[Element, int], depth: int
) -> int:
    """How many elements are drawn of this one, without walking a copy twice."""
    if element in known:
        return known[element]
    if depth > MOST_DEPTH:
        _refuse_complex(f"nests copies more than {MOST_DEPTH} deep, or in a circle")
    inside = list(element)
    target = by_id.get(element.get("href", "#").removeprefix("#"))
    if element.tag == "use" and target is not None:
        inside.append(target)
    count = 1 + sum(_drawn_in(each, by_id, known, depth + 1) for each in inside)
    if count > MOST_DRAWN:
        _refuse_complex(f"draws more than {MOST_DRAWN:,} elements, each copy counted")
    known[element] = count
    return count


def _painted(element: Element, inherited: Mapping[str, str]) -> dict[str, str]:
    own = {key: value for key, value in element.items() if key in _INHERITED}
    return {**inherited, **{key: value for key, value in own.items() if value != "inherit"}}


def _add(
    walk: _Walk, element: Element, matrix: Matrix, inherited: Mapping[str, str], depth: int
) -> Box | None:
    """Count an element that is drawn, and give the box that it covers."""
    if element.tag in {"defs", "symbol", "clipPath", "mask", "stop"} or element.tag in GRADIENTS:
        return None
    _count(walk, depth)
    matrix = times(matrix, transform(element.get("transform")))
    painted = _painted(element, inherited)
    if element.tag in SHAPES:
        box = _add_shape(walk, element, matrix, painted)
    elif element.tag == "use":
        box = _add_copy(walk, element, matrix, painted, depth)
    else:
        box = _add_all(walk, element, matrix, painted, depth)
    if box is not None:
        _add_layers(walk, element, box, matrix, depth)
    return box


def _count(walk: _Walk, depth: int) -> None:
    walk.cost.drawn += 1
    walk.cost.fixed_ns += _SHAPE_NS
    if walk.cost.drawn > MOST_DRAWN:
        _refuse_complex(f"draws more than {MOST_DRAWN:,} elements, each copy counted")
    if depth > MOST_DEPTH:
        _refuse_complex(f"nests copies more than {MOST_DEPTH} deep, or in a circle")
    if walk.too_much(walk.cost):
        raise _TooMuch


def _add_all(
    walk: _Walk, group: Element, matrix: Matrix, painted: Mapping[str, str], depth: int
) -> Box | None:
    boxes = [_add(walk, child, matrix, painted, depth + 1) for child in group]
    found = [box for box in boxes if box is not None]
    if not found:
        return None
    left, top, right, bottom = zip(*found, strict=True)
    return (min(left), min(top), max(right), max(bottom))


def _add_copy(
    walk: _Walk, use: Element, matrix: Matrix, painted: Mapping[str, str], depth: int
) -> Box | None:
    target = walk.by_id.get(use.get("href", "#").removeprefix("#"))
    if target is None:
        return None
    x, y = length(use.get("x"), walk.width), length(use.get("y"), walk.height)
    matrix = times(matrix, (1, 0, 0, 1, x, y))
    if target.tag == "svg" or (target.tag == "symbol" and target.get("viewBox") is not None):
        refuse(
            "picture-svg-element",
            "The drawing copies a symbol with a viewBox of its own, or itself, which is not read. "
            "Expand symbols into shapes.",
        )
    if target.tag == "symbol":
        return _add_all(walk, target, matrix, _painted(target, painted), depth + 1)
    return _add(walk, target, matrix, painted, depth + 1)


def _add_shape(
    walk: _Walk, shape: Element, matrix: Matrix, painted: Mapping[str, str]
) -> Box | None:
    found = walk.reach(shape)
    if found is None:
        return None
    box = moved(found.box, matrix)
    _check_reach(box)
    _add_pieces(walk.cost, found, matrix, box, 1)
    walk.cost.area_ns += _area(box) * _paint_ns(painted, "fill", "black")
    if painted.get("stroke", "none") == "none":
        return box
    return _add_stroke(walk, found, matrix, painted)


def _check_reach(box: Box) -> None:
    # Asked this way round because nothing can be said of what is not a number.
    if not all(abs(side) <= FURTHEST for side in box):
        _refuse_complex(f"has a shape that reaches more than {FURTHEST:,.0f} times beyond it")


def _add_stroke(walk: _Walk, found: Reach, matrix: Matrix, painted: Mapping[str, str]) -> Box:
    whole = math.hypot(walk.width, walk.height)
    width = length(painted.get("stroke-width"), whole, 1.0)
    mitre = length(painted.get("stroke-miterlimit"), 1.0, 4.0)
    edge = width / 2 * min(1_000.0, max(1.5, mitre))
    left, top, right, bottom = found.box
    box = moved((left - edge, top - edge, right + edge, bottom + edge), matrix)
    _check_reach(box)
    _add_pieces(walk.cost, found, matrix, box, 3)
    walk.cost.area_ns += _area(box) * _paint_ns(painted, "stroke", "none")
    dashes = numbers(painted.get("stroke-dasharray", ""))
    if sum(dashes) > 0:
        count = found.length / sum(dashes) * len(dashes)
        walk.cost.dashes += count
        walk.cost.fixed_ns += count * _DASH_NS
        if walk.cost.dashes > MOST_DASHES:
            _refuse_complex(f"has more than {MOST_DASHES:,} dashes")
    return box


def _add_pieces(cost: Cost, found: Reach, matrix: Matrix, box: Box, outlines: int) -> None:
    """Count an outline so many times: a stroke has two sides, joins and ends."""
    cost.fixed_ns += outlines * found.pieces * _PIECE_NS
    high = max(0.0, min(1.0, box[3]) - max(0.0, box[1]))
    climbed = found.length * math.hypot(matrix[1], matrix[3])
    cost.row_ns += outlines * min(found.pieces * high, climbed) * _PIECE_ROW_NS


def _area(box: Box) -> float:
    """Which share of the picture the box covers."""
    left, top, right, bottom = box
    across = max(0.0, min(1.0, right) - max(0.0, left))
    return across * max(0.0, min(1.0, bottom) - max(0.0, top))


def _paint_ns(painted: Mapping[str, str], what: str, otherwise: str) -> float:
    paint = painted.get(what, otherwise)
    if paint == "none":
        return 0.0
    if paint.startswith("url("):
        return _GRADIENT_NS
    sheer = painted.get(f"{what}-opacity", "1") not in {"1", "1.0", "100%"}
    return _SHEER_NS if sheer or _OPAQUE.fullmatch(paint) is None else _OPAQUE_NS


def _add_layers(walk: _Walk, element: Element, box: Box, matrix: Matrix, depth: int) -> None:
    """Count what blending, clipping and masking the element takes."""
    clip, mask = (_named(walk, element.get(name)) for name in ("clip-path", "mask"))
    sheer = element.get("opacity", "1") not in {"1", "1.0", "100%"}
    if not sheer and clip is None and mask is None:
        return
    share = _area(box)
    walk.cost.area_ns += share * _LAYER_NS
    for cut, ns in ((clip, _CLIP_NS), (mask, _MASK_NS)):
        if cut is None:
            continue
        if "objectBoundingBox" in {cut.get("clipPathUnits"), cut.get("maskContentUnits")}:
            refuse(
                "picture-svg-element",
                "The drawing holds a clip or mask in shares of a box (objectBoundingBox), which is "
                "not read. Expand clips and masks into shapes.",
            )
        walk.cost.area_ns += share * ns
        _count(walk, depth + 1)
        inner = times(matrix, transform(cut.get("transform")))
        _add_all(walk, cut, inner, _painted(cut, {}), depth + 1)
        _add_layers(walk, cut, box, inner, depth + 1)


def _named(walk: _Walk, reference: str | None) -> Element | None:
    told = _TARGET.match(reference or "")
    return walk.by_id.get(told.group(1)) if told else None


def _check_gradients(walk: _Walk) -> None:
    """Gradients may take their stops from one another, not in a circle."""
    for gradient in walk.by_id.values():
        at: Element | None = gradient if gradient.tag in GRADIENTS else None
        for _ in range(MOST_DEPTH):
            if at is None:
                break
            at = walk.by_id.get(at.get("href", "#").removeprefix("#"))
        else:
            _refuse_complex(f"has gradients that refer to one another more than {MOST_DEPTH} deep")


def _refuse_complex(what: str) -> NoReturn:
    refuse(
        "picture-svg-too-complex",
        f"The drawing {what}. Simplify it, or export the artwork as PNG.",
    )
