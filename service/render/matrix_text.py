"""The table of methods and blanks as plain text, for a terminal."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Iterator, Sequence

from service.domain.matrix import Matrix, MatrixRow
from service.render.matrix_words import (
    CAUTION,
    MARK_WORDS,
    heading,
    judged_with,
    mark_text,
)

WIDTH = 120
_NAME_WIDTH, _GROUP_WIDTH, _SIZE_WIDTH, _CELL_WIDTH = 32, 7, 5, 5
_METHODS_ABREAST = (WIDTH - _NAME_WIDTH - _GROUP_WIDTH - _SIZE_WIDTH) // _CELL_WIDTH


def matrix_text(matrix: Matrix) -> str:
    """The whole table, 120 columns wide; more methods than fit are set below in a further block."""
    return "\n".join(_lines(matrix))


def _lines(matrix: Matrix) -> Iterator[str]:
    yield heading(matrix)
    yield from textwrap.wrap(judged_with(matrix), WIDTH)
    yield ""
    yield from _key(matrix)
    for start in range(0, len(matrix.methods), _METHODS_ABREAST):
        yield ""
        yield from _block(matrix.rows, start, min(start + _METHODS_ABREAST, len(matrix.methods)))
    yield ""
    yield from textwrap.wrap(CAUTION, WIDTH)


def _key(matrix: Matrix) -> Iterator[str]:
    marks = "   ".join(f"{mark} {words}" for mark, words in MARK_WORDS.items())
    yield f"{marks}   A/R differs by colour: best/worst"
    for number, method in enumerate(matrix.methods, 1):
        yield _cut(f"{number:2}  {method.name} ({method.id})", WIDTH)


def _block(rows: Sequence[MatrixRow], start: int, end: int) -> Iterator[str]:
    numbers = (str(number + 1) for number in range(start, end))
    yield _line("blank", "cloth", "mm", numbers)
    for _, same_blank in itertools.groupby(rows, key=lambda row: row.blank_id):
        for index, row in enumerate(same_blank):
            named = "" if index else _cut(row.blank, _NAME_WIDTH - 1)
            marks = (mark_text(cell) for cell in row.cells[start:end])
            yield _line(named, row.group, f"{row.width_mm:.0f}", marks)


def _line(blank: str, group: str, width: str, cells: Iterator[str]) -> str:
    marks = "".join(f"{cell:<{_CELL_WIDTH}}" for cell in cells)
    head = f"{blank:<{_NAME_WIDTH}}{group:<{_GROUP_WIDTH}}{width:<{_SIZE_WIDTH}}"
    return f"{head}{marks}".rstrip()


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 3]}..."
