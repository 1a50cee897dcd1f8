"""Invented tickets as papers, and independent readers of what is drawn of them."""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

import html5lib
import pypdfium2  # type: ignore[import-untyped] # it has no types
import zxingcpp
from PIL import Image

from service.domain.ticket import TicketDocument
from service.domain.ticket_paper import PaperNote, PaperPicture, TicketPaper
from service.domain.ticket_states import Move, TicketState
from tests.domain.tickets import at, stocked, ticket_of

BENCH = "http://127.0.0.1:8000/bench/tickets/T000042"


@cache
def red_square() -> bytes:
    """A picture that stands for a proof."""
    kept = io.BytesIO()
    Image.new("RGB", (200, 150), (200, 0, 0)).save(kept, "PNG")
    return kept.getvalue()


@cache
def usual_document() -> TicketDocument:
    """Dye on glitter film in front and cut film on the chest, in three sizes."""
    return ticket_of(
        stocked("classic-cotton-tee", "black"),
        at("front", "dye-on-glitter-film"),
        at("left-chest", "cut-film"),
        sizes={"S": 3, "M": 5, "XL": 60},
    )


def paper_of(
    document: TicketDocument, *, notes: tuple[str, ...] = (), pictures: bool = True, **more: Any
) -> TicketPaper:
    """The document as ticket T000042, due on Monday 9 March 2026."""
    picture = PaperPicture(red_square()) if pictures else PaperPicture(reason="it is gone")
    known: dict[str, Any] = {
        "number": "T000042",
        "promised_day": date(2026, 3, 9),
        "state": TicketState.ON_BENCH,
        "order_id": "order_1",
        "reference": "for the fair",
        "line": 1,
        "document": document,
        "bench_url": BENCH,
        "notes": tuple(
            PaperNote(datetime(2026, 3, 2, 9, tzinfo=UTC), "Ada", Move.HALT, words)
            for words in notes
        ),
        "pictures": (picture,) * len(document.decorations),
    }
    return TicketPaper(**{**known, **more})


def usual_paper(**more: Any) -> TicketPaper:
    """The usual document on paper."""
    return paper_of(usual_document(), **more)


def pages_of(pdf: bytes) -> int:
    """How many pages an independent reader counts."""
    with pypdfium2.PdfDocument(pdf) as document:
        return len(document)


def pdf_text(pdf: bytes) -> str:
    """All text that an independent reader takes out, white space made one blank."""
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [page.get_textpage().get_text_range() for page in document]
    return squeezed("\n".join(pages))


def squeezed(text: str) -> str:
    """Text with all white space as one blank."""
    return " ".join(text.split())


def page_picture(pdf: bytes, page: int = 0, scale: float = 2.0) -> Image.Image:
    """A page as a picture, drawn by an independent reader."""
    with pypdfium2.PdfDocument(pdf) as document:
        picture: Image.Image = document[page].render(scale=scale).to_pil()
    return picture.convert("RGB")


def codes_on(picture: Image.Image) -> list[str]:
    """What the square codes on a picture say, read by an independent reader."""
    return [found.text for found in zxingcpp.read_barcodes(picture)]


def html_text(html: str) -> str:
    """The text of a page that must be without any fault of HTML (WHATWG, by html5lib)."""
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(html)
    body = tree.find("body")
    return squeezed("".join(body.itertext()))


def elements(html: str, name: str) -> list[Mapping[str, str]]:
    """The attributes of every element of that name."""
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(html)
    return [one.attrib for one in tree.iter(name)]
