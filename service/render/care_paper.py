"""The care card that goes into the parcel: a page, and a PDF of A6, in the buyer's language."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from service.domain.ticket_paper import TicketPaper
from service.render.care_drawings import SIDE, care_drawing
from service.render.languages import Language, message
from service.render.pages import StyledPage, page_of
from service.render.pdf_fonts import DRAWING
from service.render.pdf_kit import INK, MM, SOFT, Block, Letters, PaperPen, paginated

_PAGE = (105 * MM, 148 * MM)
_MARGIN, _PICTURE = 8 * MM, 11 * MM
_TITLE, _HEAD = Letters(16, bold=True), Letters(9, bold=True)
_TEXT, _SMALL = Letters(9), Letters(7, colour=SOFT)


@dataclass(frozen=True, slots=True)
class CardLine:
    """A line of the card: its category, what to do, and the paths of its drawing."""

    heading: str
    words: str
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CardView:
    """The card's words in one language."""

    title: str
    garment: str
    lines: tuple[CardLine, ...]
    own_label: str
    about_drawings: str
    ticket: str


def card_view(paper: TicketPaper, language: Language) -> CardView:
    """The card of a ticket; where care is not known it sends to the garment's own label.

    Names of garment and colour are the catalogue's and stay in its language.
    """
    document = paper.document
    lines = tuple(
        CardLine(
            message(language, f"card.kind.{line.kind}"),
            message(language, line.message, **line.values),
            care_drawing(line.kind, line.message),
        )
        for line in (document.care.lines if document.care else ())
    )
    brought = document.supplied_by_customer
    garment = message(language, "card.own-garment") if brought else document.garment
    known = "card.own-label" if document.care else "card.unknown"
    return CardView(
        title=message(language, "card.title"),
        garment=f"{garment}, {document.colour}",
        lines=lines,
        own_label=message(language, known),
        about_drawings=message(language, "card.about-drawings"),
        ticket=message(language, "card.ticket", number=paper.number),
    )


def care_page(paper: TicketPaper, language: Language) -> StyledPage:
    """The card as one page that loads nothing."""
    return page_of("care_card", card=card_view(paper, language), language=language.value)


def care_pdf(paper: TicketPaper, language: Language) -> bytes:
    """The card as a PDF, the same bytes for the same ticket."""
    view = card_view(paper, language)
    width = _PAGE[0] - 2 * _MARGIN
    with DRAWING:
        pen = PaperPen(*_PAGE, title=f"{view.title} {paper.number}", language=language.value)
        for page in paginated(_blocks(view, width), _PAGE[1] - 2 * _MARGIN):
            for placed in page:
                placed.item.draw(pen, _MARGIN + placed.item.left, _MARGIN + placed.y)
            pen.next_page()
        return pen.finished()


def _blocks(view: CardView, width: float) -> list[Block]:
    head = Block(after=8)
    head.text(view.title, _TITLE, width)
    head.text(view.garment, _TEXT, width)
    foot = Block()
    foot.text(view.own_label, _HEAD, width)
    foot.text(view.about_drawings, _SMALL, width)
    foot.text(view.ticket, _SMALL, width)
    return [head, *(_line(line, width) for line in view.lines), foot]


def _line(line: CardLine, width: float) -> Block:
    block = Block(after=5)
    left = _PICTURE + 8
    block.put(partial(_draw_paths, line.paths, width), _PICTURE + 4, 0.0)
    block.text(line.heading, _HEAD, width - left, top=4.0, left=left)
    block.text(line.words, _TEXT, width - left, left=left, top=4.0 + _HEAD.line)
    return block


def _draw_paths(paths: tuple[str, ...], width: float, pen: PaperPen, x: float, y: float) -> None:
    pen.line(x, y, x + width, y, 0.4, SOFT)
    for path in paths:
        pen.path(path, (x, y + 4), _PICTURE / SIDE, stroke=INK, thick=1.3)
