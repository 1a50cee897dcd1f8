"""``garment-intake ticket``, called as a person would call it."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.cli import main
from tests.conftest import FakeClock
from tests.render.papers import codes_on, elements, html_text, page_picture, pdf_text
from tests.web.shop.conftest import counting_ids, opened_shop
from tests.web.shop.door import line

Made = tuple[str, Path]


@pytest.fixture(scope="module")
def closed_shop(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The number of a ticket in a shop that is closed again, and the shop's folder."""
    folder = tmp_path_factory.mktemp("closed-shop")
    url = f"sqlite:///{folder / 'intake.sqlite3'}"
    with opened_shop(folder, url, FakeClock(), counting_ids()) as shop:
        number: str = shop.storefront.order(line())["tickets"][0]["number"]
    return number, folder


@pytest.fixture
def ticket(closed_shop: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Made:
    """The number of the ticket, and where files may be written."""
    number, folder = closed_shop
    monkeypatch.setenv("GARMENT_DATA_DIR", str(folder))
    monkeypatch.setenv("GARMENT_PICTURE_WORKERS", "0")
    monkeypatch.setenv("GARMENT_PUBLIC_URL", "https://bench.example/")
    monkeypatch.delenv("GARMENT_DATABASE_URL", raising=False)
    return number, tmp_path


def test_the_sheet_is_written_as_pdf_and_page(
    ticket: Made, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both at once, with the proof in them and the code of the public address."""
    number, folder = ticket
    pdf, page = folder / "sheet.pdf", folder / "sheet.html"
    assert main(["ticket", number, "--pdf", str(pdf), "--html", str(page)]) == 0
    data, html = pdf.read_bytes(), page.read_text(encoding="utf-8")
    assert codes_on(page_picture(data)) == [f"https://bench.example/bench/tickets/{number}"]
    assert f"Ticket {number}" in pdf_text(data)
    assert f"Ticket {number}" in html_text(html)
    assert len(elements(html, "img")) == 1
    assert capsys.readouterr().out == ""


def test_without_a_file_it_is_printed(ticket: Made, capsys: pytest.CaptureFixture[str]) -> None:
    """As plain text."""
    assert main(["ticket", ticket[0]]) == 0
    assert capsys.readouterr().out.startswith(f"TICKET {ticket[0]}    leaves on ")


def test_an_unknown_number_is_said(ticket: Made, capsys: pytest.CaptureFixture[str]) -> None:
    """No traceback and no file; the exit code is 1."""
    file = ticket[1] / "sheet.pdf"
    assert main(["ticket", "T999999", "--pdf", str(file)]) == 1
    assert "T999999" in capsys.readouterr().err
    assert not file.exists()


def test_a_folder_that_is_missing_is_said(ticket: Made, capsys: pytest.CaptureFixture[str]) -> None:
    """With its path."""
    file = ticket[1] / "nowhere" / "sheet.pdf"
    assert main(["ticket", ticket[0], "--pdf", str(file)]) == 1
    assert str(file) in capsys.readouterr().err
