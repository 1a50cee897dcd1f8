"""Labels for garments: one for each piece or size, with a code that can be read."""

from __future__ import annotations

from service.render.label_pdf import MOST_LABELS, LabelFor, label_pdf, labels_of
from service.render.languages import Language
from tests.domain.tickets import at, stocked, ticket_of
from tests.render.papers import (
    BENCH,
    codes_on,
    page_picture,
    pages_of,
    paper_of,
    pdf_text,
    usual_document,
    usual_paper,
)


def test_a_label_for_every_blank_that_is_taken() -> None:
    """Spares have one too, or they are mixed up (common practice, no source)."""
    document = usual_document()
    pdf = label_pdf(usual_paper())
    assert pages_of(pdf) == sum(document.starts_by_size.values())
    text = pdf_text(pdf)
    for size, pieces in document.starts_by_size.items():
        for piece in range(1, pieces + 1):
            assert f"Size {size} {piece} of {pieces} Full front; Left chest" in text
    assert text.count("T000042") == pages_of(pdf)


def test_a_label_for_every_size() -> None:
    """In the language asked for."""
    pdf = label_pdf(usual_paper(), LabelFor.SIZE, Language.GERMAN)
    starts = usual_document().starts_by_size
    assert pages_of(pdf) == len(starts)
    assert all(f"Größe {size} {pieces} Stück" in pdf_text(pdf) for size, pieces in starts.items())


def test_the_code_of_a_label_opens_the_bench_page() -> None:
    """Read by zxing-cpp as a phone would, at 144 dots per inch."""
    pdf = label_pdf(usual_paper(), LabelFor.SIZE)
    for page in range(pages_of(pdf)):
        assert codes_on(page_picture(pdf, page)) == [BENCH]


def test_many_labels_come_in_parts() -> None:
    """A file holds 500; the next begins where it ended, and past the end there is one page."""
    document = ticket_of(
        stocked("classic-cotton-tee", "black"), at("front", "printed-film"), sizes={"M": 600}
    )
    paper, all_of_them = paper_of(document), document.starts_by_size["M"]
    language, each = Language.ENGLISH, LabelFor.PIECE
    assert len(labels_of(paper, each, language)) == MOST_LABELS
    rest = labels_of(paper, each, language, first=MOST_LABELS + 1)
    assert len(rest) == all_of_them - MOST_LABELS
    assert rest[0].count == f"{MOST_LABELS + 1} of {all_of_them}"
    assert pages_of(label_pdf(paper, first=10_000)) == 1


def test_long_names_stay_on_the_label() -> None:
    """Smaller letters first; what does not fit even so ends in dots."""
    document = usual_document().model_copy(update={"garment": "a very long name " * 60})
    pdf = label_pdf(paper_of(document), LabelFor.SIZE)
    assert pages_of(pdf) == len(document.starts_by_size)
    assert "…" in pdf_text(pdf)
    assert codes_on(page_picture(pdf)) == [BENCH]


def test_the_same_ticket_gives_the_same_labels() -> None:
    """Byte by byte."""
    assert label_pdf(usual_paper()) == label_pdf(usual_paper())
