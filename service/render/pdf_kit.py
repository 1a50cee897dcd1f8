"""Paper in PDF: wrapped text, stacks that break over pages, boxes, drawings, pictures and codes.

Lengths are points (1/72 inch) unless their name says mm, and run downwards from the upper left
corner of what is drawn into. The same content always gives the same bytes.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

from reportlab import rl_config  # type: ignore[import-untyped] # it has no types
from reportlab.pdfgen.canvas import Canvas  # type: ignore[import-untyped] # it has no types

from service.render.pdf_fonts import (
    BOLD,
    REGULAR,
    font,
    is_upright,
    reads_from_right,
    shown_on_paper,
    stretches,
    unit_width,
)
from service.render.pdf_pictures import put_png
from service.render.qr import SquareCode

MM: Final = 72 / 25.4
INK, SOFT, WHITE = (0.08, 0.08, 0.09), (0.36, 0.37, 0.40), (1.0, 1.0, 1.0)
LEADING: Final = 1.24
"""Height of a line as a share of the letters' size."""

Colour = tuple[float, float, float]

rl_config.useA85 = 0  # files are sent as bytes; writing them as letters doubles the time

_UNIT = re.compile(r"(?<=\d) (?=(?:mm|in|m|s|g|min|°C|°F)\b)")
"""Between a number and its unit no line ends."""

_STEP = re.compile(r"([MLCZ])|(-?[0-9.]+)")


@dataclass(frozen=True, slots=True)
class Letters:
    """How text is set: size in points, weight and colour."""

    size: float
    bold: bool = False
    colour: Colour = INK

    @property
    def font_name(self) -> str:
        """The font's name."""
        return BOLD if self.bold else REGULAR

    @property
    def line(self) -> float:
        """Height of a line."""
        return self.size * LEADING


def text_width(text: str, letters: Letters) -> float:
    """Width of text on one line."""
    return unit_width(text, letters.font_name) * letters.size


@lru_cache(maxsize=4_096)
def folded(text: str, letters: Letters, width: float) -> tuple[tuple[str, bool], ...]:
    """The text's lines, none wider than ``width``, and whether each is read from the right.

    A word that is wider than that is broken anywhere.
    """
    return tuple(
        (line, from_right)
        for paragraph in _UNIT.sub("\u00a0", shown_on_paper(text)).split("\n")
        for from_right in (reads_from_right(paragraph),)
        for line in _lines(paragraph, letters, width)
    )


def _lines(paragraph: str, letters: Letters, width: float) -> Iterator[str]:
    room, space = width / letters.size, unit_width(" ", letters.font_name)
    line, taken = "", 0.0
    for word in _words(paragraph, letters, room):
        wide = unit_width(word, letters.font_name)
        if line and taken + space + wide > room:
            yield line
            line, taken = word, wide
        else:
            taken += wide + (space if line else 0.0)
            line = f"{line} {word}" if line else word
    yield line


def _words(paragraph: str, letters: Letters, room: float) -> Iterator[str]:
    for word in paragraph.split(" "):
        if not word:
            continue
        if unit_width(word, letters.font_name) <= room:
            yield word
        else:
            yield from _broken(word, letters, room)


def _broken(word: str, letters: Letters, room: float) -> Iterator[str]:
    part, taken = "", 0.0
    for letter in word:
        wide = unit_width(letter, letters.font_name)
        if part and taken + wide > room:
            yield part
            part, taken = "", 0.0
        part += letter
        taken += wide
    yield part


class PaperPen:
    """Draws on one page after another; y runs downwards from the page's upper edge."""

    def __init__(self, width: float, height: float, title: str, language: str = "en") -> None:
        """A document of pages that size; ``language`` is an ISO 639-1 code, from memory."""
        self._file = io.BytesIO()
        self._height = height
        for name in (REGULAR, BOLD):
            font(name)
        self._canvas: Any = Canvas(
            self._file, pagesize=(width, height), invariant=1, pageCompression=1, lang=language
        )
        self._canvas.setTitle(title)
        self._canvas.setCreator("garment intake")
        self._filled: Colour | None = None

    def next_page(self) -> None:
        """Finish the page."""
        self._canvas.showPage()
        self._filled = None

    def finished(self) -> bytes:
        """The document; the pen is used no more."""
        self._canvas.save()
        return self._file.getvalue()

    def line_of_text(
        self, x: float, y: float, text: str, letters: Letters, *, from_right: bool = False
    ) -> None:
        """One line of text that is shown as it is, its upper edge at ``y``."""
        if not text:
            return
        base = self._height - y - letters.size * 0.93
        self._inks(letters.colour, None, 0)
        if is_upright(text):
            self._write(x, base, text, letters)
            return
        written = self._canvas.beginText(x, base)
        written.setFont(letters.font_name, letters.size)
        for stretch in stretches(text, letters.font_name, from_right=from_right):
            written.setTextOrigin(x, base)
            written.textOut(stretch.text)
            x += stretch.width * letters.size
        self._canvas.drawText(written)

    def _write(self, x: float, base: float, text: str, letters: Letters) -> None:
        """Text of which each letter stands by itself, at once.

        The usual door takes three times as long, most of it on numbers that never change.
        """
        face, document = font(letters.font_name), self._canvas._doc  # noqa: SLF001 (as below)
        parts = " ".join(
            f"{face.getSubsetInternalName(subset, document)} {letters.size:.2f} Tf "
            f"({self._canvas._escape(codes)}) Tj"  # noqa: SLF001 (as below)
            for subset, codes in face.splitString(text, document)
        )
        # The library has no other door for a finished operator (ISO 32000-1, 9.4, from memory).
        self._canvas._code.append(f"BT 1 0 0 1 {x:.2f} {base:.2f} Tm {parts} ET")  # noqa: SLF001

    def word(self, x: float, y: float, text: str, letters: Letters, align: float = 0.0) -> None:
        """One line of any text; ``align`` is 0 to begin, 0.5 to centre and 1 to end at ``x``."""
        shown = shown_on_paper(text).replace("\n", " ")
        left = x - align * text_width(shown, letters)
        self.line_of_text(left, y, shown, letters, from_right=reads_from_right(shown))

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: Colour | None = None,
        stroke: Colour | None = INK,
        thick: float = 0.7,
    ) -> None:
        """A rectangle."""
        self._inks(fill, stroke, thick)
        self._canvas.rect(
            x, self._height - y - height, width, height, stroke=stroke is not None,
            fill=fill is not None,
        )  # fmt: skip

    def line(
        self, x: float, y: float, to_x: float, to_y: float, thick: float = 0.5,
        stroke: Colour = INK, dashes: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """A straight line."""
        self._inks(None, stroke, thick)
        self._canvas.setDash(list(dashes))
        self._canvas.line(x, self._height - y, to_x, self._height - to_y)
        self._canvas.setDash([])

    def path(
        self,
        path: str,
        at: tuple[float, float],
        scale: float,
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        thick: float = 0.7,
    ) -> None:
        """An SVG path of M, L, C and Z steps; its origin lies ``at``, a unit is ``scale``."""
        self._inks(fill, stroke, thick)
        drawn = self._canvas.beginPath()
        steps = {"M": drawn.moveTo, "L": drawn.lineTo, "C": drawn.curveTo}
        for letter, numbers in _path_steps(path):
            if letter == "Z":
                drawn.close()
                continue
            points = [
                at[0] + one * scale if even else self._height - at[1] - one * scale
                for even, one in zip(_EVEN, numbers, strict=False)
            ]
            steps[letter](*points)
        self._canvas.drawPath(drawn, stroke=stroke is not None, fill=fill is not None)

    def code(self, x: float, y: float, side: float, code: SquareCode) -> None:
        """A square code, its quiet margin included in ``side``."""
        self._inks(INK, None, 0)
        self._canvas.saveState()
        self._canvas.translate(x, self._height - y)
        self._canvas.scale(side / code.side, -side / code.side)
        # Written at once: a code has hundreds of stretches, all in whole modules.
        rows = " ".join(f"{column} {row} {run} 1 re" for column, row, run in code.stretches)
        self._canvas._code.append(f"{rows} f")  # noqa: SLF001 (no other door writes it at once)
        self._canvas.restoreState()

    def picture(self, x: float, y: float, width: float, height: float, png: bytes) -> None:
        """A PNG, as large as it fits into the box, at its upper left."""
        put_png(self._canvas, x, self._height - y, width, height, png)

    def _inks(self, fill: Colour | None, stroke: Colour | None, thick: float) -> None:
        if fill is not None and fill != self._filled:
            self._canvas.setFillColorRGB(*fill)
            self._filled = fill
        if stroke is not None:
            self._canvas.setStrokeColorRGB(*stroke)
            self._canvas.setLineWidth(thick)


_EVEN: Final = (True, False) * 3


@lru_cache(maxsize=256)
def _path_steps(path: str) -> tuple[tuple[str, tuple[float, ...]], ...]:
    """The steps of a path with their numbers."""
    steps: list[tuple[str, list[float]]] = []
    for letter, number in _STEP.findall(path):
        if letter:
            steps.append((letter, []))
        else:
            steps[-1][1].append(float(number))
    return tuple((letter, tuple(numbers)) for letter, numbers in steps)


Draw = Callable[[PaperPen, float, float], None]
"""Draws with its upper left corner at an x and a y."""


@dataclass(frozen=True, slots=True)
class Item:
    """Something that is never broken: where it begins in its block, and its height."""

    top: float
    height: float
    left: float
    draw: Draw


@dataclass(slots=True)
class Block:
    """Items that belong together, kept on one page where one page is enough.

    ``after`` is the room below it.
    """

    items: list[Item] = field(default_factory=list)
    after: float = 6.0

    @property
    def height(self) -> float:
        """From the upper edge to the lowest item's lower edge."""
        return max((item.top + item.height for item in self.items), default=0.0)

    def put(self, draw: Draw, height: float, top: float | None = None, left: float = 0.0) -> None:
        """Add an item, at the end unless ``top`` says where."""
        self.items.append(Item(self.height if top is None else top, height, left, draw))

    def text(
        self,
        text: str,
        letters: Letters,
        width: float,
        *,
        top: float | None = None,
        left: float = 0.0,
    ) -> float:
        """Add text folded to ``width``; gives where it ends."""
        at = self.height if top is None else top
        for line, from_right in folded(text, letters, width):
            self.put(
                _line_drawn(line, letters, width, from_right=from_right), letters.line, at, left
            )
            at += letters.line
        return at


def _line_drawn(line: str, letters: Letters, width: float, *, from_right: bool) -> Draw:
    indent = max(0.0, width - text_width(line, letters)) if from_right else 0.0

    def draw(pen: PaperPen, x: float, y: float) -> None:
        pen.line_of_text(x + indent, y, line, letters, from_right=from_right)

    return draw


@dataclass(frozen=True, slots=True)
class Placed:
    """An item on its page: ``x`` and ``y`` from the upper left of what may be printed on."""

    item: Item
    y: float


def paginated(blocks: Iterable[Block], height: float) -> list[list[Placed]]:
    """The blocks on pages of that height; a block that is higher than a page is broken."""
    pages: list[list[Placed]] = [[]]
    y = 0.0
    for block in blocks:
        if y and y + block.height > height:
            pages.append([])
            y = 0.0
        begins = y
        # In the order in which it is read where that is possible, as it is taken out again.
        whole = block.height <= height
        for item in block.items if whole else sorted(block.items, key=lambda item: item.top):
            if not whole and begins + item.top + item.height > height and begins + item.top > 0:
                pages.append([])
                begins = -item.top
            pages[-1].append(Placed(item, begins + item.top))
        y = begins + block.height + block.after
    return pages
