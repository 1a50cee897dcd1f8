"""``garment-intake catalogue matrix``, called as a person would call it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
import yaml

from service.catalogue.loading import demo_shop_path
from service.cli import main

TEE = "Classic cotton tee"


@pytest.fixture
def small_shop(tmp_path: Path) -> Path:
    """The demo shop with its first blank alone."""
    folder = tmp_path / "shop"
    shutil.copytree(demo_shop_path(), folder)
    file = folder / "blanks.yaml"
    blanks = yaml.safe_load(file.read_text(encoding="utf-8"))["blanks"]
    file.write_text(yaml.safe_dump({"blanks": blanks[:1]}), encoding="utf-8")
    return folder


def _marks(out: str, group: str) -> list[str]:
    """The cells of the blank in cloth of that group."""
    found = re.search(rf"^(?:{TEE}|) *{group} +\d+ +(.*)$", out, re.MULTILINE)
    assert found is not None
    return found.group(1).split()


def test_the_demo_shop_is_shown_without_a_path(capsys: pytest.CaptureFixture[str]) -> None:
    """A table with every method in its key, and cotton in its light and dark colours."""
    assert main(["catalogue", "matrix"]) == 0
    out = capsys.readouterr().out
    assert "(invented): what works on what" in out
    assert "Dye transfer (dye-transfer)" in out
    assert _marks(out, "light")[0] == _marks(out, "dark")[0] == "R"
    assert max(map(len, out.splitlines())) <= 120


def test_one_colour_lets_cut_films_show(
    small_shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A film that is only cut has one colour (common practice, no source)."""
    tables = []
    for words in ([], ["--artwork", "several-colours"], ["--artwork", "one-colour"]):
        assert main(["catalogue", "matrix", str(small_shop), *words]) == 0
        tables.append(capsys.readouterr().out)
    assert tables[0] == tables[1]
    key = re.findall(r"^ *(\d+)  .*\(([a-z-]+)\)$", tables[0], re.MULTILINE)
    column = next(int(number) - 1 for number, method in key if method == "cut-film")
    assert [_marks(out, "dark")[column] == "R" for out in tables[1:]] == [True, False]


def test_the_page_holds_the_same_table(
    small_shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The file is a page by itself, with the marks that are printed."""
    file = tmp_path / "matrix.html"
    assert main(["catalogue", "matrix", str(small_shop), "--html", str(file)]) == 0
    told = capsys.readouterr()
    assert str(file) in told.err
    page = file.read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    rows = re.findall(r"<tr>(.*?)</tr>", page)[1:]
    shown = [re.findall(r"<td[^>]*>([AWR/]+)</td>", one) for one in rows]
    assert shown == [_marks(told.out, "light"), _marks(told.out, "dark")]


def test_a_faulty_catalogue_is_told_and_not_judged(
    small_shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The fault stands with file and line, and the exit code is 1."""
    file = small_shop / "blanks.yaml"
    file.write_text(file.read_text().replace("percent: 100", "percent: 99", 1))
    assert main(["catalogue", "matrix", str(small_shop)]) == 1
    told = capsys.readouterr()
    assert re.search(r"blanks\.yaml:\d+: .*sum to 99", told.err)
    assert told.out == ""


def test_a_page_that_cannot_be_written_is_said(
    small_shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A missing folder is named, without a traceback."""
    file = tmp_path / "nowhere" / "matrix.html"
    assert main(["catalogue", "matrix", str(small_shop), "--html", str(file)]) == 1
    assert str(file) in capsys.readouterr().err


def test_an_artwork_that_is_not_known_exits_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    """The usage names those that are."""
    with pytest.raises(SystemExit) as left:
        main(["catalogue", "matrix", "--artwork", "none"])
    assert left.value.code == 2
    assert "one-colour" in capsys.readouterr().err
