"""The table of methods and blanks, as text and as a page."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.matrix import SAMPLES, Cell, ClothGroup, Mark, Matrix, MatrixRow
from service.domain.methods import Method
from service.render.matrix_html import matrix_html
from service.render.matrix_text import WIDTH, matrix_text
from tests.domain.garments_and_lines import demo_shop

GOOD = Cell(Mark.WORKS, Mark.WORKS)
WARNED = Cell(Mark.WARNS, Mark.WARNS, "Red", "It will be paler.")
MIXED = Cell(Mark.WORKS, Mark.REFUSED, "Navy <b>", "It does not hold & peels.")
MARKS = {"A", "W", "R", "A/R", "A/W", "W/R"}


def methods(count: int, name: str = "Method") -> tuple[Method, ...]:
    """So many methods, named alike."""
    known = demo_shop().catalogue.methods[0]
    return tuple(
        known.model_copy(update={"id": f"method-{number}", "name": f"{name} {number}"})
        for number in range(1, count + 1)
    )


def row(blank_id: str, group: ClothGroup, *cells: Cell, name: str = "") -> MatrixRow:
    """A row of those cells."""
    return MatrixRow(blank_id, name or blank_id, group, ("Red", "Navy <b>"), "Front", 180.4, cells)


def table(rows: tuple[MatrixRow, ...], columns: tuple[Method, ...]) -> Matrix:
    """A table of an invented shop."""
    return Matrix("An invented shop", True, "0" * 64, SAMPLES["one-colour"], columns, rows)  # noqa: FBT003 - a field


SMALL = table(
    (
        row("tee", ClothGroup.LIGHT, GOOD, WARNED),
        row("tee", ClothGroup.DARK, WARNED, MIXED),
        row("tote", ClothGroup.LIGHT, GOOD, GOOD),
    ),
    methods(2),
)


class Tables(HTMLParser):
    """Reads a page's table into rows of (tag, attributes, text), and notes other tags."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.rows: list[list[tuple[str, dict[str, Any], str]]] = []
        self.tags: list[tuple[str, dict[str, Any]]] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a row or a cell."""
        self.tags.append((tag, dict(attrs)))
        if tag == "tr":
            self.rows.append([])
        if tag in {"th", "td"}:
            self.rows[-1].append((tag, dict(attrs), ""))

    def handle_data(self, data: str) -> None:
        """Add text to the cell begun last."""
        self.text += data
        if self.rows and self.rows[-1]:
            tag, attributes, text = self.rows[-1][-1]
            self.rows[-1][-1] = (tag, attributes, text + data)


def test_the_text_is_read_by_number() -> None:
    """The key names each method by its column's number; a blank is named once for its rows."""
    lines = matrix_text(SMALL).splitlines()
    assert lines[0] == "An invented shop (invented): what works on what"
    assert " 1  Method 1 (method-1)" in lines
    assert [line.split() for line in lines if re.search(r" (light|dark) +\d", line)] == [
        ["tee", "light", "180", "A", "W"],
        ["dark", "180", "W", "A/R"],
        ["tote", "light", "180", "A", "A"],
    ]
    assert any(line.split() == ["blank", "cloth", "mm", "1", "2"] for line in lines)
    text = " ".join(lines)
    for words in ("A works", "W works, with a warning", "R refused", "data sheets", "local codes"):
        assert words in text


@given(count=st.integers(1, 60), name=st.text("abc ", min_size=1, max_size=150))
def test_the_text_is_never_wider_than_a_terminal(count: int, name: str) -> None:
    """Whatever the names and however many methods; every method has one cell in every row."""
    rows = tuple(
        row(f"blank-{number}", ClothGroup.LIGHT, *[MIXED] * count, name=f"{name} {number}")
        for number in range(2)
    )
    lines = matrix_text(table(rows, methods(count, name))).splitlines()
    assert max(map(len, lines)) <= WIDTH == 120
    cells = [word for line in lines if " light " in line for word in line.split() if word in MARKS]
    assert len(cells) == 2 * count


def test_the_page_is_a_table_with_scopes() -> None:
    """Headings say what they head, every row has a cell for each column, reasons can be had.

    HTML Living Standard, section 4.9 (``scope`` and ``rowspan``), from memory.
    """
    page = Tables(matrix_html(SMALL))
    head, *body = page.rows
    assert [(tag, attrs.get("scope")) for tag, attrs, _ in head] == [("th", "col")] * 5
    assert len(body) == 3
    widths = [sum(int(attrs.get("rowspan", 1)) for _, attrs, _ in one) for one in body]
    assert widths == [6, 4, 5]
    scopes = [[attrs.get("scope") for tag, attrs, _ in one if tag == "th"] for one in body]
    assert scopes == [["rowgroup", "row"], ["row"], ["rowgroup", "row"]]
    assert [text for _, _, text in body[1][-2:]] == ["W", "A/R"]
    assert body[1][-1][1]["title"] == "Navy <b>: It does not hold & peels."
    assert "title" not in body[0][-2][1]
    assert "180 mm, Front" in page.text


def test_reasons_stand_below_for_whoever_cannot_point() -> None:
    """A title alone is not reached by keyboard or touch, so every reason is also plain text."""
    page = Tables(matrix_html(SMALL))
    assert page.text.count("It will be paler.") == 2
    assert "Method 2: refused. Navy <b>: It does not hold & peels." in page.text
    assert sum(tag == "details" for tag, _ in page.tags) == 2


def test_methods_of_one_reason_are_told_together() -> None:
    """What is said of many methods alike is said once."""
    alike = table((row("tee", ClothGroup.DARK, WARNED, GOOD, WARNED, MIXED),), methods(4))
    text = Tables(matrix_html(alike)).text
    assert text.count("Method 1; Method 3: works, with a warning. It will be paler.") == 1


def test_the_page_loads_nothing_and_shows_names_as_text() -> None:
    """One file: no script, sheet, picture or address; what the catalogue says is never markup."""
    page = Tables(matrix_html(SMALL))
    tags = {tag for tag, _ in page.tags}
    assert not {"script", "link", "img", "iframe", "a", "b"} & tags
    assert not any({"href", "src"} & attrs.keys() for _, attrs in page.tags)
    assert ("html", {"lang": "en"}) in page.tags
    assert "no statement on what any law asks" in page.text


@pytest.mark.parametrize("made_of", [matrix_text, matrix_html])
def test_a_real_shop_is_not_called_invented(made_of: Any) -> None:
    """Only demonstration data is marked as such."""
    real = Matrix("A shop", False, "0" * 64, SAMPLES["one-colour"], SMALL.methods, SMALL.rows)  # noqa: FBT003 - a field
    assert "A shop: what works on what" in made_of(real)
