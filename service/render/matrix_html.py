"""The table of methods and blanks as a page for staff, with the reason behind every mark."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from html import escape

from service.domain.matrix import Cell, Mark, Matrix, MatrixRow
from service.domain.methods import Method
from service.render.html_page import html_page
from service.render.matrix_words import (
    CAUTION,
    MARK_WORDS,
    heading,
    judged_with,
    mark_text,
    reason_text,
)

_STYLE = (
    "body{font:1rem/1.5 sans-serif;margin:1.5rem;color:#1b1b1b;background:#fff}"
    "table{border-collapse:collapse}caption{text-align:left;padding-bottom:.5em}"
    "th,td{border:1px solid #767676;padding:.2em .5em;vertical-align:bottom}"
    "th{text-align:left;font-weight:normal}thead th{font-weight:bold}td{text-align:center}"
    ".works{background:#d7f0d9}.warns{background:#fff0bd}.refused{background:#f7cfcf}"
    ".wide{overflow-x:auto}@media print{details{display:none}}"
)


def matrix_html(matrix: Matrix) -> str:
    """The table as one page that loads nothing; each cell says its first reason when pointed at.

    The same reasons stand below the table, for whoever does not point.
    """
    legend = ", ".join(f"{mark} {escape(words)}" for mark, words in MARK_WORDS.items())
    return html_page(
        heading(matrix),
        f"<p>{escape(judged_with(matrix))}</p><p>{escape(CAUTION)}</p>"
        f'<div class="wide" role="region" aria-label="Methods by blank" tabindex="0"><table>'
        f"<caption>{legend}. A/R: differs by colour, best and worst.</caption>"
        f"{_head(matrix.methods)}{''.join(_bodies(matrix))}</table></div>"
        f"<h2>Reasons</h2>{''.join(_reasons(matrix))}",
        style=_STYLE,
    )


def _head(methods: Iterable[Method]) -> str:
    names = ("Blank", "Cloth", "Print", *(method.name for method in methods))
    cells = "".join(f'<th scope="col">{escape(name)}</th>' for name in names)
    return f"<thead><tr>{cells}</tr></thead>"


def _bodies(matrix: Matrix) -> Iterator[str]:
    for _, same_blank in itertools.groupby(matrix.rows, key=lambda row: row.blank_id):
        rows = list(same_blank)
        named = f'<th scope="rowgroup" rowspan="{len(rows)}">{escape(rows[0].blank)}</th>'
        yield "<tbody>"
        for row in rows:
            yield f"<tr>{named}{_cells(row)}</tr>"
            named = ""
        yield "</tbody>"


def _cells(row: MatrixRow) -> str:
    colours = escape(", ".join(row.colours))
    printed = f"{row.width_mm:.0f} mm, {escape(row.placement)}"
    return (
        f'<th scope="row">{row.group} ({colours})</th><td>{printed}</td>'
        f"{''.join(map(_cell, row.cells))}"
    )


def _cell(cell: Cell) -> str:
    title = f' title="{escape(reason_text(cell))}"' if cell.worst is not Mark.WORKS else ""
    return f'<td class="{cell.worst.name.lower()}"{title}>{mark_text(cell)}</td>'


def _reasons(matrix: Matrix) -> Iterator[str]:
    for row in matrix.rows:
        entries = "".join(_reason(*one) for one in _methods_by_reason(matrix, row).items())
        if entries:
            what = escape(f"{row.blank}, {row.group} ({', '.join(row.colours)})")
            yield f"<details><summary>{what}</summary><ul>{entries}</ul></details>"


def _methods_by_reason(matrix: Matrix, row: MatrixRow) -> Mapping[tuple[Mark, str], list[str]]:
    """Names of the methods that share a mark and a reason, in the order of the columns."""
    found: dict[tuple[Mark, str], list[str]] = {}
    for method, cell in zip(matrix.methods, row.cells, strict=True):
        if cell.worst is not Mark.WORKS:
            found.setdefault((cell.worst, reason_text(cell)), []).append(method.name)
    return found


def _reason(seen: tuple[Mark, str], methods: Iterable[str]) -> str:
    mark, reason = seen
    return f"<li>{escape('; '.join(methods))}: {MARK_WORDS[mark]}. {escape(reason)}</li>"
