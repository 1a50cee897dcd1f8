"""The table that is printed: one row for everything measured, endpoints and functions alike."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tests.benchmarks.figures import Ratio, Summary

HEADINGS = (
    *("what", "calls", "a second", "p50", "p99", "processor"),
    *("beside", "a second", "processor", "times as long", "times the work"),
)


@dataclass(frozen=True, slots=True)
class Row:
    """What was measured, and what it stands beside; no ``baseline`` where none makes sense."""

    what: str
    ours: Summary
    beside: str = ""
    baseline: Summary | None = None
    ratio: Ratio | None = None


def time_text(seconds: float) -> str:
    """Seconds in three figures with the unit that suits them; ``-`` for NaN."""
    if math.isnan(seconds):
        return "-"
    for factor, unit in ((1e6, "µs"), (1e3, "ms")):
        if seconds * factor < 999.5:
            return f"{_three(seconds * factor)} {unit}"
    return f"{_three(seconds)} s"


def rate_text(per_second: float) -> str:
    """Calls a second: three figures, or whole with commas above a hundred."""
    return f"{per_second:,.0f}" if per_second >= 100 else _three(per_second)


def ratio_text(ratio: Ratio | None) -> str:
    """The middle pair, then the least and the most of the pairs."""
    if ratio is None:
        return ""
    return f"{_three(ratio.middle)} ({_three(ratio.least)} - {_three(ratio.most)})"


def table_lines(sections: Sequence[tuple[str, Sequence[Row]]]) -> Iterator[str]:
    """The lines of one table whose rows stand under the names of their sections."""
    cells = [[_cells(row) for row in rows] for _, rows in sections]
    every = [HEADINGS, *(row for rows in cells for row in rows)]
    widths = [max(len(row[column]) for row in every) for column in range(len(HEADINGS))]
    yield _line(HEADINGS, widths)
    yield _line(["-" * width for width in widths], widths)
    for (name, _), rows in zip(sections, cells, strict=True):
        yield name
        yield from (_line(row, widths) for row in rows)


def _three(value: float) -> str:
    """Three significant figures, never with an exponent; ``-`` for NaN and infinities."""
    if not math.isfinite(value):
        return "-"
    if value == 0:
        return "0"
    rounded = float(f"{value:.2e}")
    decimals = max(0, 2 - math.floor(math.log10(abs(rounded))))
    return f"{rounded:,.{decimals}f}"


def _cells(row: Row) -> tuple[str, ...]:
    ours, bare = row.ours, row.baseline
    left = (
        f"  {row.what}{_failed(ours)}",
        f"{ours.calls:,}",
        rate_text(ours.per_second),
        time_text(ours.p50_s),
        time_text(ours.p99_s),
        time_text(ours.processor_s),
    )
    if bare is None:
        return (*left, row.beside, "", "", "", "")
    return (
        *left,
        row.beside + _failed(bare),
        rate_text(bare.per_second),
        time_text(bare.processor_s),
        ratio_text(row.ratio),
        _three(ours.processor_s / (bare.processor_s or math.nan)),
    )


def _failed(summary: Summary) -> str:
    return f" ({summary.failed} failed)" if summary.failed else ""


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    texts = {0, HEADINGS.index("beside")}
    padded = (
        cell.ljust(width) if column in texts else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(cells, widths, strict=True))
    )
    return "  ".join(padded).rstrip()
