"""The ticket as a PDF of A4 or A5, to hang beside the press: the same bytes for the same ticket."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import partial

from service.domain.ticket_paper import TicketPaper
from service.render.pdf_fonts import DRAWING
from service.render.pdf_kit import (
    INK,
    MM,
    SOFT,
    WHITE,
    Block,
    Letters,
    PaperPen,
    Placed,
    paginated,
)
from service.render.pdf_placement import FAINT, draw_scene
from service.render.qr import square_code
from service.render.ticket_view import (
    SPOIL_ROWS,
    DecorationView,
    SizeRow,
    StepView,
    TicketView,
    view_of_ticket,
)

_PAIR_GAP = 6.0
_SEEN_FROM_AFAR = frozenset({"temperature", "time", "pressure", "peel"})
"""Settings that are read while both hands hold something."""


class PaperSize(StrEnum):
    """Sizes of ISO 216, upright; from memory."""

    A4 = "a4"
    A5 = "a5"


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """A sheet of a size, in points: page, margin, and the letters' size of running text."""

    page: tuple[float, float]
    margin: float
    base: float

    @property
    def width(self) -> float:
        """What may be printed on, across."""
        return self.page[0] - 2 * self.margin

    @property
    def height(self) -> float:
        """What may be printed on, down, above the foot of the page."""
        return self.page[1] - 2 * self.margin - self.base * 1.6

    @property
    def plain(self) -> Letters:
        """Running text."""
        return Letters(self.base)

    @property
    def strong(self) -> Letters:
        """Running text that must be seen."""
        return Letters(self.base, bold=True)

    @property
    def small(self) -> Letters:
        """Names of things, and why."""
        return Letters(self.base * 0.86, colour=SOFT)

    @property
    def large(self) -> Letters:
        """Settings and headings."""
        return Letters(self.base * 1.15, bold=True)


_LAYOUTS = {
    PaperSize.A4: SheetLayout((210 * MM, 297 * MM), 12 * MM, 9.2),
    PaperSize.A5: SheetLayout((148 * MM, 210 * MM), 9 * MM, 7.6),
}


def ticket_pdf(paper: TicketPaper, size: PaperSize = PaperSize.A4) -> bytes:
    """The ticket's sheet, of as many pages as it needs. Takes tens of milliseconds."""
    view, layout = view_of_ticket(paper), _LAYOUTS[size]
    with DRAWING:
        blocks = list(_Sheet(view, layout).blocks())
        pages = paginated(blocks, layout.height)
        pen = PaperPen(*layout.page, title=f"Ticket {view.number}")
        for index, page in enumerate(pages, start=1):
            _draw_page(pen, layout, page)
            _foot(pen, layout, view, f"page {index} of {len(pages)}")
            pen.next_page()
        return pen.finished()


def _draw_page(pen: PaperPen, layout: SheetLayout, page: list[Placed]) -> None:
    for placed in page:
        placed.item.draw(pen, layout.margin + placed.item.left, layout.margin + placed.y)


def _foot(pen: PaperPen, layout: SheetLayout, view: TicketView, place: str) -> None:
    y = layout.page[1] - layout.margin - layout.base
    pen.word(layout.margin, y, f"Ticket {view.number}, leaves on {view.day}", layout.small)
    pen.word(layout.page[0] - layout.margin, y, place, layout.small, align=1.0)


@dataclass(frozen=True, slots=True)
class _Sheet:
    view: TicketView
    layout: SheetLayout

    def blocks(self) -> Iterator[Block]:
        """The sheet from above."""
        yield self._head()
        yield self._blank_and_sizes()
        for decoration in self.view.decorations:
            yield self._decoration(decoration)
        if self.view.materials:
            yield self._materials()
        yield from self._cautions()
        first, *others = [self._step(step) for step in self.view.steps] or [Block()]
        yield self._under_heading("Steps, in the order the hands move", first)
        yield from others
        yield self._spoilage()
        if self.view.care:
            yield self._care()
        yield from self._notes()

    def _head(self) -> Block:
        view, layout = self.view, self.layout
        block = Block(after=layout.base * 0.5)
        side = layout.base * 8.2
        left = layout.width - side
        block.text(f"Ticket {view.number}", Letters(layout.base * 2.7, bold=True), left, top=0)
        day = f"leaves on {view.day_words} ({view.day})"
        block.text(day, Letters(layout.base * 1.35, bold=True), left)
        block.text(f"{view.order}; {view.state} when printed", layout.plain, left)
        code = square_code(view.bench_url)

        def draw(pen: PaperPen, x: float, y: float) -> None:
            pen.code(x, y, side, code)

        block.put(draw, side, 0.0, left)
        low = block.height
        block.text(f"The square code opens {view.bench_url}", layout.small, layout.width, top=low)
        self._rule(block)
        return block

    def _rule(self, block: Block, thick: float = 1.1) -> None:
        width = self.layout.width

        def draw(pen: PaperPen, x: float, y: float) -> None:
            pen.line(x, y + 2, x + width, y + 2, thick)

        block.put(draw, 4.0)

    def _under_heading(self, heading: str, block: Block) -> Block:
        """The block with a heading above it, so that no heading is left alone on a page."""
        headed = Block(after=block.after)
        headed.text(heading, self.layout.large, self.layout.width)
        low = headed.height + 2.0
        for item in block.items:
            headed.put(item.draw, item.height, item.top + low, item.left)
        return headed

    def _pairs(
        self, block: Block, rows: tuple[tuple[str, str], ...], left: float, width: float,
        named: float, usual: Letters, top: float = 0.0,
    ) -> float:  # fmt: skip
        """Rows of name and value; gives where they end."""
        layout = self.layout
        for name, words in rows:
            value = layout.large if name in _SEEN_FROM_AFAR else usual
            drop = (value.line - layout.small.line) * 0.7
            ends = block.text(name, layout.small, named - _PAIR_GAP, top=top + drop, left=left)
            low = block.text(words, value, width - named, top=top, left=left + named)
            top = max(ends, low)
        return top

    def _blank_and_sizes(self) -> Block:
        block, layout = Block(), self.layout
        left = layout.width * 0.47
        named = layout.base * 6.6
        self._pairs(block, self.view.blank, 0.0, left - 8, named, layout.strong)
        for item in self._sizes(layout.width - left).items:
            block.put(item.draw, item.height, item.top, item.left + left)
        return block

    def _sizes(self, width: float) -> Block:
        block, layout = Block(), self.layout
        columns = (0.0, layout.base * 4.2, layout.base * 8.2, layout.base * 11)
        heads = ("size", "wanted", "take", "tick each good piece")
        for left, head in zip(columns, heads, strict=True):
            block.text(head, layout.small, width - left, top=0.0, left=left)
        for row in self.view.sizes:
            top = block.height + 2.0
            cells = (row.size, str(row.wanted), str(row.take))
            for index, (left, words) in enumerate(zip(columns, cells, strict=False)):
                room = columns[index + 1] - left - 3
                block.text(words, layout.large, room, top=top, left=left)
            self._boxes(block, row, top, columns[3], width - columns[3])
        return block

    def _boxes(self, block: Block, row: SizeRow, top: float, left: float, width: float) -> None:
        side = self.layout.base * 1.15
        step = side + 3.4
        if not row.boxes:
            tally = f"good: __________ of {row.wanted}"
            block.text(tally, self.layout.plain, width, top=top, left=left)
            return
        across = max(1, int(width // step))
        for first in range(0, row.boxes, across):
            count = min(across, row.boxes - first)

            def draw(pen: PaperPen, x: float, y: float, count: int = count) -> None:
                for place in range(count):
                    pen.box(x + place * step, y + 1.2, side, side)

            block.put(draw, step, top + first // across * step, left)

    def _decoration(self, one: DecorationView) -> Block:
        block, layout = Block(), self.layout
        half = layout.width / 2 - 4
        high = min(half * 0.74, layout.height * 0.21)
        self._rule(block, 0.5)
        block.text(one.title, layout.large, layout.width)
        top = block.height + 2.0
        self._picture(block, one, top, half, high)
        if one.scene is not None:
            block.put(partial(draw_scene, one.scene, layout.small, half, high), high, top, half + 8)
        else:
            block.text("no drawing", layout.small, half, top=top, left=half + 8)
        low = max(block.height, top + high) + 3.0
        self._pairs(block, one.rows, 0.0, layout.width, layout.base * 5.5, layout.strong, low)
        for warning in one.warnings:
            block.text(f"! {warning}", layout.plain, layout.width)
        return block

    def _picture(
        self, block: Block, one: DecorationView, top: float, width: float, high: float
    ) -> None:
        png = one.picture.png
        if png is None:
            reason = f": {one.picture.reason}" if one.picture.reason else ""
            block.text(f"no picture{reason}", self.layout.strong, width, top=top)
            return

        def draw(pen: PaperPen, x: float, y: float) -> None:
            pen.picture(x, y, width, high, png)

        block.put(draw, high, top)

    def _materials(self) -> Block:
        block, layout = Block(), self.layout
        columns = (0.0, layout.width * 0.4, layout.width * 0.62, layout.width)
        heads = "take", "roll or sheet", "run and place in its order of cutting"
        rows = (heads, *self.view.materials)
        for index, row in enumerate(rows):
            letters = layout.strong if index else layout.small
            top = block.height + (1.5 if index else 0.0)
            for at, words in enumerate(row):
                room = columns[at + 1] - columns[at] - 4
                block.text(words, letters, room, top=top, left=columns[at])
        return self._under_heading("Materials", block)

    def _cautions(self) -> Iterator[Block]:
        block, layout = Block(), self.layout
        pad = layout.base * 0.7
        block.put(_nothing, pad)
        for caution in self.view.cautions:
            block.text(f"! {caution}", layout.strong, layout.width - 2 * pad, left=pad)
        high = block.height + pad
        if high <= layout.height:

            def draw(pen: PaperPen, x: float, y: float) -> None:
                pen.box(x, y, layout.width, high, thick=1.6)

            block.put(draw, high, 0.0)
        yield block

    def _step(self, step: StepView) -> Block:
        layout = self.layout
        block = Block(after=layout.base * 0.45)
        box, gutter = layout.base * 1.3, layout.base * 4.2
        right = layout.width * 0.36
        left = layout.width - gutter - right - 8

        def tick(pen: PaperPen, x: float, y: float) -> None:
            pen.line(x, y, x + layout.width, y, 0.4, FAINT)
            pen.box(x, y + 4.5, box, box, thick=1.0)
            pen.word(x + gutter - 5, y + 3.4, str(step.number), layout.large, align=1.0)

        block.put(tick, box + 5.0, 0.0)
        top = 3.6
        title = block.text(step.title.upper(), layout.strong, left, top=top, left=gutter)
        low = block.text(f"at {step.where}", layout.small, left, top=title, left=gutter)
        low = block.text(step.words, layout.plain, left, top=low, left=gutter)
        low = block.text(f"why: {step.why}", layout.small, left, top=low + 1, left=gutter)
        if step.caution:
            block.text(f"! {step.caution}", layout.strong, left, top=low + 1, left=gutter)
        self._settings(block, step, layout.width - right, right)
        return block

    def _settings(self, block: Block, step: StepView, left: float, width: float) -> None:
        top = 3.6
        if step.mirror:
            top = self._mirror(block, step, left, width)
        rows = tuple(row for row in step.rows if row[0] != "side")
        self._pairs(block, rows, left, width, self.layout.base * 6.6, self.layout.strong, top)

    def _mirror(self, block: Block, step: StepView, left: float, width: float) -> float:
        """Black for mirrored, white with a frame for not: to be told apart from afar."""
        letters = Letters(
            self.layout.base * 1.45, bold=True, colour=WHITE if step.mirrored else INK
        )
        high = letters.size * 1.7
        words = f"{step.mirror} {step.sign}"

        def draw(pen: PaperPen, x: float, y: float) -> None:
            fill = INK if step.mirrored else WHITE
            pen.box(x, y, width, high, fill=fill, thick=1.6)
            pen.word(x + width / 2, y + letters.size * 0.32, words, letters, align=0.5)

        block.put(draw, high, 4.5, left)
        return 4.5 + high + 3.0

    def _spoilage(self) -> Block:
        block, layout = Block(), self.layout
        block.text("; ".join(self.view.spoil_reasons), layout.small, layout.width)
        columns = (0.0, 0.14, 0.26, 0.8, 1.0)
        heads = ("size", "how many", "reason", "who")
        high = layout.base * 1.9
        top = block.height + 3.0

        def draw(pen: PaperPen, x: float, y: float) -> None:
            for column in columns:
                at = x + column * layout.width
                pen.line(at, y, at, y + high * (SPOIL_ROWS + 1), 0.7)
            for row in range(SPOIL_ROWS + 2):
                pen.line(x, y + row * high, x + layout.width, y + row * high, 0.7)
            for column, head in zip(columns, heads, strict=False):
                pen.word(x + column * layout.width + 3, y + 3, head, layout.small)

        block.put(draw, high * (SPOIL_ROWS + 1) + 1, top)
        return self._under_heading("Spoiled pieces", block)

    def _care(self) -> Block:
        block = Block()
        block.text(" ".join(self.view.care), self.layout.plain, self.layout.width)
        return self._under_heading("Care card says", block)

    def _notes(self) -> Iterator[Block]:
        for index, (head, words) in enumerate(self.view.notes):
            block = Block()
            block.text(head, self.layout.small, self.layout.width)
            block.text(words, self.layout.plain, self.layout.width)
            yield self._under_heading("Notes", block) if index == 0 else block


def _nothing(_pen: PaperPen, _x: float, _y: float) -> None:
    """Room alone."""
