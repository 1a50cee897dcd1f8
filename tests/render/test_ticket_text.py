"""The ticket as plain text: everything that is set stands there, in 92 columns."""

from __future__ import annotations

from datetime import date

import pytest

from service.domain.setting_rows import setting_rows
from service.domain.ticket import TicketDocument
from service.render.ticket_text import WIDTH, ticket_text
from tests.domain.test_ticket import WRITTEN_BEFORE
from tests.domain.tickets import CLOTH_FOR, at, stocked, ticket_by, ticket_of


def flat(document: TicketDocument) -> str:
    """The text of the ticket on one line, its folded lines put together again."""
    return " ".join(ticket_text("T000042", date(2026, 3, 9), document).split())


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_the_text_holds_all_of_the_ticket(method: str) -> None:
    """Number, day, every step's words and settings, materials, care and cautions."""
    document = ticket_by(method)
    text = flat(document)
    assert text.startswith("TICKET T000042 leaves on 2026-03-09")
    for step in document.steps:
        assert f"{step.number}. {' '.join(step.words.split())}" in text
        for label, value in setting_rows(step, document.pieces_to_start):
            assert f"{label} {value}" in text
        assert step.caution in text
    for material in document.materials:
        assert f"take {material.words()}" in text
    for caution in document.cautions:
        assert f"! {caution}" in text
    assert document.care is not None
    assert document.care.words() in text


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_no_line_is_wider_than_the_paper(method: str) -> None:
    """Lines fold at 92 columns."""
    text = ticket_text("T000042", date(2026, 3, 9), ticket_by(method))
    assert max(map(len, text.splitlines())) <= WIDTH


def test_settings_stand_in_both_scales() -> None:
    """The glitter base of a dark shirt: 199 °C is 390.2 °F."""
    text = flat(ticket_by("dye-on-glitter-film"))
    assert "temperature 199 °C (390.2 °F), time 60 s, pressure firm" in text
    assert "side MIRRORED Я" in text
    assert "side NOT MIRRORED R" in flat(ticket_by("printed-film"))


def test_distances_stand_in_both_units() -> None:
    """The drop from the seam in mm and inches."""
    document = ticket_of(stocked("classic-cotton-tee", "black"), at("front", "printed-film"))
    assert "65 mm (2.56 in) below the collar seam, centred" in flat(document)


def test_a_ticket_written_before_can_be_shown() -> None:
    """What it never held is left out."""
    text = flat(TicketDocument.model_validate_json(WRITTEN_BEFORE))
    assert "2. Press. temperature 199 °C (390.2 °F), time 60 s" in text
    assert "care:" not in text
