"""``garment-intake quote``, called as a person would call it."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from pathlib import Path

import pytest

from service import assembly
from service.cli import main
from service.demo_artwork import DEMO_ARTWORK_ID
from tests.conftest import FakeClock
from tests.web.shop.conftest import counting_ids, opened_shop
from tests.web.shop.door import decoration, line


@pytest.fixture(scope="module")
def closed_shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a shop that is closed again, with the demonstration artwork in it."""
    folder = tmp_path_factory.mktemp("closed-shop")
    url = f"sqlite:///{folder / 'intake.sqlite3'}"
    with opened_shop(folder, url, FakeClock(), counting_ids()):
        return folder


@pytest.fixture
def file(closed_shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where an order may be written, with the closed shop's folder set.

    Its one artwork is there already; the command would draw and measure the shop's others as well.
    """
    monkeypatch.setattr(assembly, "seed_demo_artwork", lambda _: DEMO_ARTWORK_ID)
    monkeypatch.setenv("GARMENT_DATA_DIR", str(closed_shop))
    monkeypatch.setenv("GARMENT_PICTURE_WORKERS", "0")
    monkeypatch.delenv("GARMENT_DATABASE_URL", raising=False)
    return tmp_path / "order.json"


def amount(text: str) -> Decimal:
    """The one amount of money in a line of the table."""
    (number,) = re.findall(r"[0-9]+\.[0-9]{2}", text)
    return Decimal(number)


def test_what_hangs_on_days_is_said_to_be_left_out(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No day is promised by the command, so rush is neither priced nor passed over in silence."""
    prices = []
    for more in ({}, {"rush": True}):
        file.write_text(json.dumps({"lines": [line()], **more}), encoding="utf-8")
        assert main(["quote", str(file)]) == 0
        prices.append(capsys.readouterr())
    assert prices[0].out == prices[1].out
    assert prices[0].err == ""
    assert "No day is promised here, so 'rush'" in prices[1].err


def test_every_row_is_printed_and_they_sum_to_the_total(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Amounts are told to four decimals, so a row may be off by half of the last one."""
    wish = [line(sizes={"M": 3, "2XL": 9}), line(decoration(method="dye-on-white-film"))]
    order = {"lines": wish, "offer": "club", "tax_region": "across-the-border"}
    file.write_text(json.dumps(order), encoding="utf-8")
    assert main(["quote", str(file)]) == 0
    printed = capsys.readouterr().out
    tables = re.split(r"(?m)^-{50,}\n", printed)
    lines = []
    for rows, after in zip(tables[1::2], tables[2::2], strict=True):
        amounts = [Decimal(row.split()[-1]) for row in rows.splitlines()]
        told = amount(after.splitlines()[0])
        assert abs(sum(amounts) - told) <= Decimal("0.00005") * len(amounts)
        lines.append(told)
    assert len(lines) == 2
    (tax,) = re.findall(r"(?m)^Tax .*, added .*$", printed)
    (paid,) = re.findall(r"(?m)^to be paid .*$", printed)
    assert sum(lines) + amount(tax) == amount(paid)
    for part in ("blank", "medium", "labour", "overhead", "margin", "discount"):
        assert re.search(rf"(?m)^{part} ", printed)


def test_what_cannot_be_made_says_why_and_what_can(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Dye on black cotton: both reasons at its place, and a method that works."""
    wish = [line(), line(decoration(method="dye-transfer"))]
    file.write_text(json.dumps({"lines": wish}), encoding="utf-8")
    assert main(["quote", str(file)]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "lines.1.decorations.0: Dye holds only in polyester" in told.err
    assert "lines.1.decorations.0: Printed film works" in told.err
    assert "lines.0" not in told.err
    assert "'check'" not in told.err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "Invalid JSON"),
        ('{"lines": []}', "lines: "),
        (json.dumps({"lines": [line(sizes={"M": 0})]}), "lines.0.sizes.M: "),
        (json.dumps({"lines": [line(sizes={"M": 10**9})]}), "lines.0.sizes.M: "),
        (json.dumps({"lines": [line(decoration(width_mm=1e308))]}), "decorations.0.width_mm: "),
        (json.dumps({"lines": [line(decoration(width_mm=float("nan")))]}), "0.width_mm: "),
        (json.dumps({"lines": [line()], "offer": "no-such"}), "offer: "),
        (json.dumps({"lines": [line()], "ofer": "club"}), "ofer: "),
        ('{"lines": [], "lines": ' + json.dumps([line()]) + "}", "lines: This name stands twice"),
        (json.dumps({"lines": [line(decoration(artwork_id="art_none"))]}), "0.artwork_id: "),
    ],
)
def test_what_is_wrong_with_the_file_is_said(
    file: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    """The field and the limit, once; the exit code is 1 and nothing is printed."""
    file.write_text(text, encoding="utf-8")
    assert main(["quote", str(file)]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert said in told.err
    assert len(told.err.splitlines()) == 2


def test_a_file_that_is_missing_is_said(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With its name."""
    assert main(["quote", str(file)]) == 1
    assert str(file) in capsys.readouterr().err
