"""A simulated year as an SVG 1.1 picture: how stations were loaded week by week, and what was kept.

Weeks run across. The first row shows the share of each week's promises that were kept, with a line
at the target; below it each station has a row of its load, full at the frame's top. Title and
description say the same in words, and each bar says its week and number.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from service.domain.machines import Station
from service.domain.year_report import YearWeek
from service.render.plain_text import plain_text

NAME_WIDTH = 190
WEEK_WIDTH = 16
ROW_HEIGHT = 76
HEAD_HEIGHT = 64
FOOT_HEIGHT = 30
LEAST_WIDTH = 700

_FULL = 52
_BAR_WIDTH = 12
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LETTERS = 21


@dataclass(frozen=True, slots=True)
class _Row:
    """A name, what is said of it, and a share with words for each week; None draws no bar."""

    name: str
    said: str
    bars: tuple[tuple[float, str] | None, ...]
    line: float | None = None


def year_svg(
    shop: str, weeks: Sequence[YearWeek], stations: Sequence[Station], target: float
) -> str:
    """The picture as XML text; a user unit is a CSS pixel. Equal weeks give equal text.

    Stations that did nothing all year are left out. ``target`` is the share to be kept.
    """
    rows = (_kept(weeks, target), *_loads(weeks, stations))
    width = max(LEAST_WIDTH, NAME_WIDTH + WEEK_WIDTH * len(weeks) + WEEK_WIDTH)
    height = HEAD_HEIGHT + ROW_HEIGHT * len(rows) + FOOT_HEIGHT
    title = f"{shop}: a simulated year of promises and loads, week by week"
    foot = (
        "Bars: share of the week's promises kept, and share of its open time a station worked. "
        "Dashed: the target."
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" version="1.1" '
        f'width="{width}" height="{height}" viewBox="0 0 {width} {height}">\n'
        f"<title>{_written(title)}</title>\n"
        f"<desc>{_written(' '.join(row.said for row in rows))}</desc>\n"
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n'
        '<g font-family="sans-serif" font-size="12" fill="#16191d">\n'
        + _text(8, 20, title, 'font-size="14" font-weight="bold"')
        + "".join(_months(weeks))
        + "".join(_drawn(row, HEAD_HEIGHT + ROW_HEIGHT * index) for index, row in enumerate(rows))
        + _text(8, height - 10, foot)
        + "</g>\n</svg>\n"
    )


def _kept(weeks: Sequence[YearWeek], target: float) -> _Row:
    promised = sum(week.promised for week in weeks)
    kept = sum(week.kept for week in weeks)
    share = f"{kept / promised:.1%}" if promised else "none"
    said = f"Of {promised} promises {kept} were kept, {share}; the target is {target:.0%}."
    bars = tuple(
        (week.kept / week.promised, f"{_week(week)}: {week.kept} of {week.promised} kept")
        if week.promised
        else None
        for week in weeks
    )
    return _Row("Promises kept", said, bars, target)


def _loads(weeks: Sequence[YearWeek], stations: Sequence[Station]) -> Iterator[_Row]:
    for station in stations:
        loads = [week.loads.get(station.id, 0.0) for week in weeks]
        if not any(loads):
            continue
        busiest = max(range(len(loads)), key=loads.__getitem__)
        said = (
            f"{station.name} worked {sum(loads) / len(loads):.0%} of its time on the mean of the "
            f"weeks, at most {loads[busiest]:.0%} in the {_week(weeks[busiest])}."
        )
        bars = tuple(
            (load, f"{_week(week)}: {load:.0%}") for week, load in zip(weeks, loads, strict=True)
        )
        yield _Row(station.name, said, bars)


def _week(week: YearWeek) -> str:
    day = week.first_day
    return f"week from {day.day} {_MONTHS[day.month - 1]} {day.year}"


def _months(weeks: Sequence[YearWeek]) -> Iterator[str]:
    """The month in which a week begins, above the first week of each."""
    before = 0
    for index, week in enumerate(weeks):
        if week.first_day.month != before:
            before = week.first_day.month
            yield _text(NAME_WIDTH + WEEK_WIDTH * index, HEAD_HEIGHT - 10, _MONTHS[before - 1])


def _drawn(row: _Row, top: int) -> str:
    base, width = top + _FULL, WEEK_WIDTH * len(row.bars)
    shares = [bar[0] for bar in row.bars if bar is not None]
    mean = f"mean {sum(shares) / len(shares):.0%}" if shares else "nothing"
    frame = (
        f'<path d="M{NAME_WIDTH} {top} h{width} M{NAME_WIDTH} {base} h{width}" stroke="#b6bec8"/>\n'
    )
    line = (
        ""
        if row.line is None
        else f'<path d="M{NAME_WIDTH} {base - _FULL * row.line:.1f} h{width}" stroke="#16191d" '
        'stroke-dasharray="4 3"/>\n'
    )
    return (
        f"<g>\n<title>{_written(row.said)}</title>\n"
        + _text(8, top + 20, _cut(row.name), 'font-weight="bold"')
        + _text(8, top + 38, mean)
        + _text(NAME_WIDTH - 40, top + 4, "100%")
        + _text(NAME_WIDTH - 40, base, "0%")
        + frame
        + "".join(_bar(bar, index, base) for index, bar in enumerate(row.bars))
        + line
        + "</g>\n"
    )


def _bar(bar: tuple[float, str] | None, index: int, base: int) -> str:
    if bar is None:
        return ""
    share, words = bar
    height = _FULL * min(1.0, share)
    return (
        f'<rect x="{NAME_WIDTH + WEEK_WIDTH * index + 2}" y="{base - height:.1f}" '
        f'width="{_BAR_WIDTH}" height="{height:.1f}" fill="#3b6ea5">'
        f"<title>{_written(words)}</title></rect>\n"
    )


def _text(x: float, y: float, words: str, look: str = "") -> str:
    return f'<text x="{x}" y="{y}"{" " + look if look else ""}>{_written(words)}</text>\n'


def _written(words: str) -> str:
    return escape(plain_text(words))


def _cut(words: str) -> str:
    return words if len(words) <= _LETTERS else f"{words[: _LETTERS - 1]}…"
