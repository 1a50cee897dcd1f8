"""A ticket's PDF beside the library's bare page: the same words, picture and sheet size."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import date

from PIL import Image
from reportlab.lib.utils import ImageReader  # type: ignore[import-untyped] # it has no types
from reportlab.pdfgen.canvas import Canvas  # type: ignore[import-untyped] # it has no types

from service.domain.ticket_paper import PaperPicture, TicketPaper
from service.domain.ticket_states import TicketState
from service.render.pdf_fonts import REGULAR, font, unit_width
from service.render.pdf_kit import MM, Letters, folded
from service.render.ticket_pdf import ticket_pdf
from service.render.ticket_view import TicketView, view_of_ticket
from tests.domain.tickets import at, stocked, ticket_of

LETTERS = Letters(9.2)
A4 = (210 * MM, 297 * MM)
PICTURE_PX = (1_000, 740)
Work = Callable[[], object]


def paper() -> TicketPaper:
    """Dye on glitter film in front, in four sizes, with a picture of a proof's size."""
    document = ticket_of(
        stocked("classic-cotton-tee", "black"),
        at("front", "dye-on-glitter-film", width_mm=240),
        sizes={"S": 3, "M": 5, "L": 12, "XL": 4},
    )
    return TicketPaper(
        number="T000042",
        promised_day=date(2026, 3, 9),
        state=TicketState.WAITING,
        order_id="order_1",
        reference="for the fair",
        line=1,
        document=document,
        bench_url="http://127.0.0.1:8000/bench/tickets/T000042",
        pictures=(PaperPicture(_picture()),),
    )


def _picture() -> bytes:
    kept = io.BytesIO()
    Image.linear_gradient("L").resize(PICTURE_PX).convert("RGB").save(kept, "PNG", compress_level=1)
    return kept.getvalue()


def ticket_works() -> tuple[Work, Work]:
    """Making the ticket's PDF as if no word of it had been seen before, and the bare page."""
    ours = paper()
    view = view_of_ticket(ours)

    def sheet() -> bytes:
        unit_width.cache_clear()
        folded.cache_clear()
        return ticket_pdf(ours)

    return sheet, lambda: bare_page(view)


def bare_page(view: TicketView) -> bytes:
    """All words of the ticket as lines down the page, and its picture, by the library alone.

    Lines end by count of letters: nothing is measured, ruled, drawn or kept together.
    """
    file = io.BytesIO()
    font(REGULAR)
    canvas = Canvas(file, pagesize=A4, invariant=1, pageCompression=1)
    y = A4[1] - 12 * MM
    for picture in (one.picture.png for one in view.decorations):
        if picture is not None:
            canvas.drawImage(ImageReader(io.BytesIO(picture)), 12 * MM, y - 160, 216, 160)
            y -= 170
    canvas.setFont(REGULAR, LETTERS.size)
    for words in _words(view):
        for begin in range(0, len(words), 95):
            if y < 15 * MM:
                canvas.showPage()
                canvas.setFont(REGULAR, LETTERS.size)
                y = A4[1] - 12 * MM
            canvas.drawString(12 * MM, y, words[begin : begin + 95])
            y -= LETTERS.line
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _words(view: TicketView) -> Iterator[str]:
    """Every text of the sheet."""
    yield from (view.number, view.day_words, view.order, view.bench_url)
    for name, value in view.blank:
        yield f"{name} {value}"
    for row in view.sizes:
        yield f"{row.size} {row.wanted} {row.take}"
    for one in view.decorations:
        yield one.title
        yield from (f"{name} {value}" for name, value in one.rows)
        yield from one.warnings
    yield from (" ".join(row) for row in view.materials)
    yield from view.cautions
    for step in view.steps:
        yield f"{step.number} {step.title} at {step.where} {step.mirror} {step.sign}"
        yield from (step.words, f"why: {step.why}", step.caution)
        yield from (f"{name} {value}" for name, value in step.rows)
    yield from view.spoil_reasons
    yield from view.care
