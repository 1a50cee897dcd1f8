"""Labels that go with each garment through the workroom: one small page each, as a PDF."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from service.domain.ticket_paper import TicketPaper
from service.render.languages import Language, message
from service.render.pdf_fonts import DRAWING
from service.render.pdf_kit import MM, SOFT, Letters, PaperPen, folded
from service.render.qr import square_code

_WIDTH, _HEIGHT, _MARGIN, _CODE = 70 * MM, 40 * MM, 2.5 * MM, 25 * MM
_LEAST_LETTERS = 4.0
MOST_LABELS = 500
"""Labels of one file; a larger ticket is asked for by size, or in parts."""


class LabelFor(StrEnum):
    """What a label is made for."""

    PIECE = "piece"
    SIZE = "size"


@dataclass(frozen=True, slots=True)
class Label:
    """One label: a size, and which piece of it or how many."""

    size: str
    count: str


def labels_of(
    paper: TicketPaper, each: LabelFor, language: Language, first: int = 1
) -> tuple[Label, ...]:
    """The labels from the ``first`` on, counted from 1 in the order of the sizes, 500 at most.

    There is one for every blank that is taken, spares among them.
    """
    found = list(_labels(paper, each, language))
    return tuple(found[first - 1 : first - 1 + MOST_LABELS])


def _labels(paper: TicketPaper, each: LabelFor, language: Language) -> Iterator[Label]:
    for size, pieces in paper.document.starts_by_size.items():
        if each is LabelFor.SIZE:
            yield Label(size, message(language, "label.pieces", pieces=pieces))
            continue
        for piece in range(1, pieces + 1):
            yield Label(size, message(language, "label.piece", piece=piece, pieces=pieces))


def label_pdf(
    paper: TicketPaper,
    each: LabelFor = LabelFor.PIECE,
    language: Language = Language.ENGLISH,
    first: int = 1,
) -> bytes:
    """The labels, a page each; one page says so where there is none from ``first`` on."""
    with DRAWING:
        pen = PaperPen(_WIDTH, _HEIGHT, f"{paper.number}", language=language.value)
        for label in labels_of(paper, each, language, first) or (Label("-", "-"),):
            _draw(pen, paper, label, language)
            pen.next_page()
        return pen.finished()


def _draw(pen: PaperPen, paper: TicketPaper, label: Label, language: Language) -> None:
    room = _WIDTH - _CODE - 2 * _MARGIN
    pen.code(_WIDTH - _CODE - 1 * MM, _MARGIN, _CODE, square_code(paper.bench_url))
    number = Letters(17, bold=True)
    pen.word(_MARGIN, _MARGIN, paper.number, number)
    y = _MARGIN + number.line
    pen.word(_MARGIN, y + 5, message(language, "label.size"), Letters(7.5, colour=SOFT))
    beside = 11 * MM
    _fitted(pen, label.size, Letters(22, bold=True), (_MARGIN + beside, y - 5), (room - beside, 28))
    y += 25
    pen.word(_MARGIN, y, label.count, Letters(9, bold=True))
    document = paper.document
    places = "; ".join(one.placement for one in document.decorations)
    words = f"{places}\n{document.garment}, {document.colour}"
    y += 13
    _fitted(pen, words, Letters(8.5), (_MARGIN, y), (_WIDTH - 2 * _MARGIN, _HEIGHT - y - _MARGIN))


def _fitted(
    pen: PaperPen, text: str, letters: Letters, at: tuple[float, float], room: tuple[float, float]
) -> None:
    """Text in a box, in smaller letters where it is long; what does not fit even so ends in dots.

    The square code leads to all of it.
    """
    width, height = room
    lines = folded(text, letters, width)
    while len(lines) * letters.line > height and letters.size > _LEAST_LETTERS:
        letters = Letters(max(_LEAST_LETTERS, letters.size * 0.85), letters.bold, letters.colour)
        lines = folded(text, letters, width)
    fitting = max(1, int(height // letters.line))
    for index, (line, from_right) in enumerate(lines[:fitting]):
        cut = index == fitting - 1 and len(lines) > fitting
        pen.line_of_text(
            at[0], at[1] + index * letters.line, f"{line[:-1]}…" if cut else line, letters,
            from_right=from_right,
        )  # fmt: skip
