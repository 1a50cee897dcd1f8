"""The ticket as a PDF, read back by others: pypdfium2 for text and picture, zxing-cpp for codes."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.domain.setting_rows import setting_rows
from service.domain.ticket_steps import TicketStep
from service.render.pdf_fonts import BOLD
from service.render.pdf_kit import Letters, folded, text_width
from service.render.ticket_pdf import PaperSize, ticket_pdf
from tests.domain.tickets import CLOTH_FOR, ticket_by
from tests.render.papers import (
    BENCH,
    codes_on,
    page_picture,
    pages_of,
    paper_of,
    pdf_text,
    squeezed,
    usual_document,
    usual_paper,
)

LONG = "Fold it by hand, and never in the machine; the customer wants it flat. " * 60


_DARK = bytes(ord("x") if grey < 90 else ord(" ") for grey in range(256))


def in_text(words: str, text: str) -> bool:
    """Whether the words stand there, wherever a line ended: hyphens may take a line's end."""
    return words.replace(" ", "") in text.replace(" ", "")


def missing(wanted: Iterable[str], text: str) -> list[str]:
    """What is not in the text."""
    return [words for words in wanted if not in_text(squeezed(words), text)]


def words_of_step(step: TicketStep, pieces: int) -> list[str]:
    """All that a step of the JSON says and sets, for so many pieces."""
    values = [value for _, value in setting_rows(step, pieces)]
    return [step.words, step.why, step.caution, str(step.number), step.station_name, *values]


@pytest.mark.parametrize("size", PaperSize)
def test_the_pdf_says_all_that_the_json_says(size: PaperSize) -> None:
    """Number, day, sizes, materials, every step's words and settings, care and cautions."""
    document = usual_document()
    text = pdf_text(ticket_pdf(usual_paper(), size))
    wanted = ["T000042", "2026-03-09", "Monday 9 March 2026", "on bench", "for the fair, line 1"]
    wanted += [document.garment, document.colour, document.fibre_content, document.pick_location]
    wanted += [
        part for step in document.steps for part in words_of_step(step, document.pieces_to_start)
    ]
    wanted += [one.words() for one in document.materials]
    wanted += [f"{one.width_mm:g} mm" for one in document.materials if one.width_mm]
    wanted += [one.placed for one in document.decorations]
    wanted += [warning for one in document.decorations for warning in one.warnings]
    wanted += [*document.cautions, "Spoiled pieces", "scorched, glazed or melted"]
    for name, pieces in document.pieces_by_size.items():
        wanted.append(f"{name} {pieces} {document.starts_by_size[name]}")
    assert document.care is not None
    wanted.append(document.care.words())
    assert missing(wanted, text) == []


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_every_method_has_its_sheet(method: str) -> None:
    """Steps of all twelve methods stand there with their settings."""
    document = ticket_by(method)
    text = pdf_text(ticket_pdf(paper_of(document, pictures=False)))
    assert (
        missing(
            (
                part
                for step in document.steps
                for part in words_of_step(step, document.pieces_to_start)
            ),
            text,
        )
        == []
    )
    assert in_text("no picture: it is gone", text)


def test_the_code_opens_the_bench_page() -> None:
    """The square code is read from the drawn page (ISO/IEC 18004, from memory; by zxing-cpp)."""
    assert codes_on(page_picture(ticket_pdf(usual_paper()))) == [BENCH]


def test_the_same_ticket_gives_the_same_bytes() -> None:
    """Nothing in the file hangs on when or how often it is made."""
    assert ticket_pdf(usual_paper()) == ticket_pdf(usual_paper())


def test_two_at_once_are_as_one_after_the_other() -> None:
    """Threads share the fonts, which hold a document's letters while it is made."""
    papers = [usual_paper(notes=(words,)) for words in ("שלום", "Ω", "مرحبا", "plain")]
    alone = [ticket_pdf(one) for one in papers]
    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(ticket_pdf, papers)) == alone


def test_settings_are_exact_in_both_scales() -> None:
    """F = C x 9/5 + 32, by definition of the Fahrenheit scale; 199 °C is 390.2 °F."""
    text = pdf_text(ticket_pdf(usual_paper()))
    assert in_text("199 °C (390.2 °F)", text)
    for step in usual_document().steps:
        if step.settings is not None:
            exact = Fraction(str(step.settings.set_c)) * 9 / 5 + 32
            assert in_text(f"{step.settings.set_c:g} °C ({float(exact):g} °F)", text)


def test_mirrored_is_black_and_not_mirrored_is_white() -> None:
    """Words and sign, and so much ink that they differ from afar (common practice, no source)."""
    mirrored = ticket_pdf(paper_of(ticket_by("dye-transfer"), pictures=False))
    plain = ticket_pdf(paper_of(ticket_by("printed-film"), pictures=False))
    assert in_text("MIRRORED Я", pdf_text(mirrored))
    assert in_text("NOT MIRRORED R", pdf_text(plain))
    assert not in_text("NOT MIRRORED", pdf_text(mirrored))
    assert widest_ink(mirrored) > 150
    assert widest_ink(plain) < 20


def widest_ink(pdf: bytes) -> int:
    """The longest dark stretch of pixels well within a bar, over all pages."""
    longest = 0
    for index in range(pages_of(pdf)):
        grey = page_picture(pdf, index, 1.0).convert("L")
        width, height = grey.size
        for top in range(0, height - 8, 4):
            rows = [grey.crop((0, top + down, width, top + down + 1)).tobytes() for down in (0, 4)]
            longest = max(longest, min(map(dark_run, rows)))
    return longest


def dark_run(row: bytes) -> int:
    """The longest run of dark pixels in a row."""
    return max(map(len, row.translate(_DARK).split()), default=0)


def test_long_notes_run_over_pages_and_lose_nothing() -> None:
    """A note of 4,000 characters is there word by word."""
    notes = (LONG[:4_000], LONG[1:4_001])
    pdf = ticket_pdf(usual_paper(notes=notes))
    assert pages_of(pdf) > pages_of(ticket_pdf(usual_paper()))
    assert missing(notes, without_feet(pdf_text(pdf))) == []


def without_feet(text: str) -> str:
    """The text without what stands at the foot of every page."""
    parts = text.split("Ticket T000042, leaves on 2026-03-09")
    return " ".join(part.split(" of ", 1)[1][2:] if "page " in part[:8] else part for part in parts)


@pytest.mark.parametrize("words", ["x" * 4_000, "<script>alert(1)</script> & \"'", "\x00\x07\x1b"])
def test_awkward_notes_are_shown(words: str) -> None:
    """One endless word is broken, markup is text, and control characters are spelled out."""
    text = pdf_text(ticket_pdf(usual_paper(notes=(words,))))
    shown = {"\x00\x07\x1b": "[U+0000][U+0007][U+001B]"}.get(words, words)
    assert in_text(shown, without_feet(text)) or shown.count("x") <= text.count("x")


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        ("Ωμέγα и ещё", "Ωμέγα и ещё"),
        ("שלום עולם", "שלום עולם"),
        ("مرحبا بالعالم", "مرحبا بالعالم"),
        ("smile 😀 漢字", "smile [U+1F600] [U+6F22][U+5B57]"),
        ("turned \u202eround", "turned [U+202E]round"),
        ("می\u200cخواهم \u200c", "می\u200cخواهم"),
        ("\u200dfamily 👩\u200d👧 end", "end"),
        ("क्\u200dष", "क्\u200d"),
    ],
)
def test_other_scripts_are_there(words: str, shown: str) -> None:
    """Greek, Cyrillic, Hebrew and Arabic can be taken out again; the rest is spelled out."""
    assert in_text(shown, pdf_text(ticket_pdf(usual_paper(notes=(words,)))))


@given(text=st.text(max_size=200), width=st.floats(8, 300), bold=st.booleans())
@example(text="\u200cمی\u200cخواهم 👩\u200d👧", width=30.0, bold=False)
@settings(max_examples=60, deadline=None)
def test_no_line_is_wider_than_its_column(text: str, width: float, bold: bool) -> None:  # noqa: FBT001
    """Whatever is written, lines fit; a single letter may be all that a line holds."""
    letters = Letters(9.0, bold=bold)
    for line, _ in folded(text, letters, width):
        assert text_width(line, letters) <= width + 0.01 or len(line) <= 3


def test_bold_letters_are_of_the_bold_font() -> None:
    """What must be seen is set in the bold face."""
    assert Letters(9.0, bold=True).font_name == BOLD
