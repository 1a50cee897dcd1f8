"""An artwork's answer: what it says without a print width, and what one adds."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from service.domain.artwork import ArtworkMeasures, InkShares
from service.intake.answers import ArtworkAnswer
from service.intake.artwork_views import artwork_answer
from service.store.tables import Artwork
from tests.domain.garments_and_lines import artwork, demo_shop

INKED = InkShares(cover=0.6, colour=0.25)


def answer(measures: ArtworkMeasures, width_mm: float | None = None) -> ArtworkAnswer:
    """The answer on a picture, by the demo shop's catalogue."""
    row = Artwork(
        id="art_test",
        holder="key_test",
        sha256="0" * 64,
        media_type="image/png",
        byte_size=1,
        rights_declared=True,
        measures_json=measures.model_dump_json(),
        created_at=datetime(2026, 1, 1, tzinfo=UTC),
    )
    return artwork_answer(row, measures, demo_shop().catalogue, width_mm=width_mm)


def test_without_a_width_there_is_a_report_and_no_block() -> None:
    """The films the shop cuts are listed, and every one has a least width."""
    told = answer(artwork())
    assert told.at_width is None
    assert {film.medium for film in told.films} >= {"cut-film", "flock-film", "printable-film"}
    assert "dye-paper" not in {film.medium for film in told.films}
    assert all(film.least_width_mm for film in told.films)
    assert "usual full front" in next(r.words for r in told.preflight if r.id == "small-features")


def test_a_width_adds_what_follows() -> None:
    """200 x 100 mm is 0.02 m2: at full cover 12 ml to a square metre are 0.24 ml (arithmetic)."""
    told = answer(artwork().model_copy(update={"ink": INKED}), 200.0)
    assert told.at_width is not None
    assert told.at_width.measures.height_mm == pytest.approx(100)
    assert told.at_width.measures.resolution_ppi == pytest.approx(3_000 / 200 * 25.4)
    by_printer = {ink.printer: ink for ink in told.at_width.ink}
    pigment = by_printer["pigment-printer"]
    assert pigment.ml == pytest.approx(0.24 * INKED.colour)
    assert pigment.most_ml == pytest.approx(0.24 * 0.6)
    assert set(by_printer) == {"pigment-printer", "dye-printer"}


def test_what_was_not_measured_is_not_told() -> None:
    """A picture of before has no estimate of ink by colour, no cut line and no least widths."""
    told = answer(artwork().model_copy(update={"shapes": None, "photo_like": None}), 200.0)
    assert told.at_width is not None
    assert told.at_width.measures.cut_length_mm is None
    assert {ink.ml for ink in told.at_width.ink} == {None}
    assert {film.least_width_mm for film in told.films} == {None}


def test_the_answer_can_be_written() -> None:
    """As strict JSON, and read back the same."""
    told = answer(artwork().model_copy(update={"ink": INKED}), 200.0)
    assert ArtworkAnswer.model_validate_json(told.model_dump_json()) == told
