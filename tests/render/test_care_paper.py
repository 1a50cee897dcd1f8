"""The care card in four languages, and the catalogue of its messages."""

from __future__ import annotations

import string

import pytest

from service.domain.care_card import CARE_ENGLISH, CareKind
from service.render.care_drawings import CARE_DRAWINGS, NEVER_BAR, SIDE, care_drawing
from service.render.care_paper import care_page, care_pdf
from service.render.languages import MESSAGES, Language, message
from service.render.pdf_kit import _path_steps
from tests.domain.tickets import ticket_by
from tests.render.papers import html_text, pages_of, paper_of, pdf_text, usual_paper
from tests.render.test_ticket_pdf import missing


def placeholders(text: str) -> set[str]:
    """Names of the values a message takes."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("language", Language)
def test_every_message_is_in_every_language(language: Language) -> None:
    """The same ids with the same values; the domain's care lines among them."""
    english, other = MESSAGES[Language.ENGLISH], MESSAGES[language]
    assert other.keys() == english.keys() >= CARE_ENGLISH.keys()
    for id_, text in english.items():
        assert placeholders(other[id_]) == placeholders(text), id_
        assert other[id_].strip()


@pytest.mark.parametrize("language", [one for one in Language if one is not Language.ENGLISH])
def test_no_message_was_left_in_english(language: Language) -> None:
    """Each differs from the English one."""
    same = [id_ for id_, text in MESSAGES[language].items() if text == MESSAGES["en"][id_]]  # type: ignore[index] # a language is its code
    assert same == []


@pytest.mark.parametrize("language", Language)
@pytest.mark.parametrize("method", ["dye-transfer", "cut-film", "dye-on-glitter-film"])
def test_the_card_says_each_line(method: str, language: Language) -> None:
    """Page and PDF hold every line of the merged care, with its numbers, on one page of A6."""
    paper = paper_of(ticket_by(method))
    assert paper.document.care is not None
    wanted = [message(language, one.message, **one.values) for one in paper.document.care.lines]
    wanted += [MESSAGES[language]["card.about-drawings"], MESSAGES[language]["card.own-label"]]
    assert missing(wanted, html_text(care_page(paper, language).html)) == []
    pdf = care_pdf(paper, language)
    assert missing([*wanted, "T000042"], pdf_text(pdf)) == []
    assert pages_of(pdf) == 1


def test_the_page_names_its_language() -> None:
    """BCP 47 tag on the root element (WHATWG HTML, 3.2.6.1, from memory)."""
    assert '<html lang="fr">' in care_page(usual_paper(), Language.FRENCH).html


def test_the_same_ticket_gives_the_same_card() -> None:
    """Byte by byte."""
    assert care_pdf(usual_paper(), Language.GERMAN) == care_pdf(usual_paper(), Language.GERMAN)


def test_a_ticket_without_care_sends_to_the_label() -> None:
    """A ticket from before there were cards says that care is not known."""
    document = ticket_by("cut-film").model_copy(update={"care": None})
    text = html_text(care_page(paper_of(document), Language.SPANISH).html)
    assert "No se sabe cómo se cuida" in text


@pytest.mark.parametrize("kind", CareKind)
def test_drawings_stay_in_their_box(kind: CareKind) -> None:
    """All points lie within 24 by 24 units, and a bar means never."""
    for path in CARE_DRAWINGS[kind]:
        for _, numbers in _path_steps(path):
            assert all(0 <= one <= SIDE for one in numbers)
    assert NEVER_BAR[0] in care_drawing(kind, "care.bleach.never")
    assert NEVER_BAR[0] not in care_drawing(kind, "care.dry.never-tumble")
