"""The load of stations by day as an SVG 1.1 picture: bars with their numbers beside them.

Days run across and stations down. A bar fills its frame as the station's day fills; what does not
fit is hatched, stands out of the frame and is written as "+90 over", so nothing hangs on colour.
Title and description say the same in words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from xml.sax.saxutils import escape

from service.domain.station_load import DayLoad, StationLoad
from service.render.plain_text import plain_text

NAME_WIDTH = 150
CELL_WIDTH = 104
CELL_HEIGHT = 52
HEAD_HEIGHT = 40
FOOT_LINE = 18
LEAST_WIDTH = 900
"""The notes below stay readable under a single day too."""

_BAR_WIDTH = 80
_BAR_HEIGHT = 12
_INSET = 8
_OVER_WIDTH = 12
_NAME_LETTERS = 20
_NOTE_LETTERS = 120
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_NOTES_MAX = 20

_DEFS = (
    '<defs><pattern id="over" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" fill="#ffffff"/>'
    '<path d="M0 6 L6 0" stroke="#8f1414" stroke-width="2"/></pattern></defs>\n'
)


def load_svg(days: Sequence[DayLoad]) -> str:
    """The picture as XML text; a user unit is a CSS pixel. Equal loads give equal text."""
    stations = _stations(days)
    notes = tuple(_notes(days))
    width = max(LEAST_WIDTH, NAME_WIDTH + CELL_WIDTH * len(days))
    grid_height = HEAD_HEIGHT + CELL_HEIGHT * len(stations)
    height = grid_height + FOOT_LINE * (len(notes) + 1)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" version="1.1" '
        f'width="{width}" height="{height}" viewBox="0 0 {width} {height}">\n'
        f"<title>{_written(_title(days))}</title>\n"
        f"<desc>{_written(' '.join(_described(days)))}</desc>\n"
        + _DEFS
        + f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n'
        + '<g font-family="sans-serif" font-size="12" fill="#16191d">\n'
        + "".join(_names(stations))
        + "".join(_column(day, index, stations) for index, day in enumerate(days))
        + "".join(_foot(notes, grid_height))
        + "</g>\n</svg>\n"
    )


def _stations(days: Sequence[DayLoad]) -> dict[str, str]:
    """Names of all stations that any day holds, by id, in their order."""
    return {load.station: load.name for day in days for load in day.stations}


def _title(days: Sequence[DayLoad]) -> str:
    if not days:
        return "Load of stations: no days"
    return f"Load of stations from {days[0].day.isoformat()} to {days[-1].day.isoformat()}"


def _described(days: Sequence[DayLoad]) -> Iterator[str]:
    yield "Minutes booked of those each station can do, by day."
    for day in days:
        booked = [load for load in day.stations if load.booked_min or load.excepted]
        told = "; ".join(_said(load) for load in booked) or "nothing booked"
        yield f"{_headed(day)}: {told}."


def _headed(day: DayLoad) -> str:
    closed = f", closed ({day.closed})" if day.closed else ""
    return f"{_day_words(day.day)}{closed}"


def _said(load: StationLoad) -> str:
    over = f", {load.over_capacity_min} too many" if load.over_capacity_min else ""
    at_risk = f", at risk {', '.join(load.at_risk)}" if load.at_risk else ""
    why = f", {load.why}" if load.excepted else ""
    return f"{load.name} {load.booked_min} of {load.capacity_min}{over}{at_risk}{why}"


def _names(stations: dict[str, str]) -> Iterator[str]:
    for row, name in enumerate(stations.values()):
        y = HEAD_HEIGHT + CELL_HEIGHT * row
        yield f'<path d="M0 {y} H{NAME_WIDTH}" stroke="#b6bec8"/>\n'
        yield _text(4, y + 22, _cut(name, _NAME_LETTERS), 'font-weight="bold"')


def _column(day: DayLoad, index: int, stations: dict[str, str]) -> str:
    x = NAME_WIDTH + CELL_WIDTH * index
    height = HEAD_HEIGHT + CELL_HEIGHT * len(stations)
    ground = "#eceff2" if day.closed else "#ffffff"
    loads = {load.station: load for load in day.stations}
    cells = (
        _cell(loads[station], x, HEAD_HEIGHT + CELL_HEIGHT * row, closed=bool(day.closed))
        for row, station in enumerate(stations)
        if station in loads
    )
    lines = "".join(
        f'<path d="M{x} {HEAD_HEIGHT + CELL_HEIGHT * row} h{CELL_WIDTH}" stroke="#b6bec8"/>\n'
        for row in range(len(stations))
    )
    return (
        f"<g>\n<title>{_written(_headed(day))}</title>\n"
        f'<rect x="{x}" y="0" width="{CELL_WIDTH}" height="{height}" fill="{ground}"/>\n'
        f'<path d="M{x} 0 V{height}" stroke="#b6bec8"/>\n'
        + lines
        + _text(x + _INSET, 16, _day_words(day.day), 'font-weight="bold"')
        + (_text(x + _INSET, 32, "closed") if day.closed else "")
        + "".join(cells)
        + "</g>\n"
    )


def _cell(load: StationLoad, x: int, y: int, *, closed: bool) -> str:
    if closed and not load.booked_min:
        return ""
    left, top = x + _INSET, y + 8
    fits_min = min(load.booked_min, load.capacity_min)
    filled = _BAR_WIDTH * fits_min / load.capacity_min if load.capacity_min else 0.0
    over = load.over_capacity_min > 0
    mark = "*" if load.excepted else ""
    return (
        f"<g>\n<title>{_written(_said(load))}</title>\n"
        f'<rect x="{left}" y="{top}" width="{filled:.1f}" height="{_BAR_HEIGHT}" fill="#3b6ea5"/>\n'
        + (
            f'<rect x="{left + _BAR_WIDTH}" y="{top}" width="{_OVER_WIDTH}" '
            f'height="{_BAR_HEIGHT}" fill="url(#over)" stroke="#8f1414"/>\n'
            if over
            else ""
        )
        + f'<rect x="{left}" y="{top}" width="{_BAR_WIDTH}" height="{_BAR_HEIGHT}" fill="none" '
        'stroke="#16191d"/>\n'
        + _text(left, y + 34, f"{load.booked_min}/{load.capacity_min}{mark}")
        + (
            _text(left, y + 47, f"+{load.over_capacity_min} over", 'font-weight="bold"')
            if over
            else ""
        )
        + "</g>\n"
    )


def _notes(days: Sequence[DayLoad]) -> Iterator[str]:
    """What stands below: why stations differ, and by how much."""
    said = [
        f"* {_day_words(day.day)}, {load.name}: {load.capacity_min} instead of "
        f"{load.usual_min} min, {load.why}"
        for day in days
        for load in day.stations
        if load.excepted
    ]
    yield from said[:_NOTES_MAX]
    if len(said) > _NOTES_MAX:
        yield f"and {len(said) - _NOTES_MAX} more"


def _foot(notes: Sequence[str], top: int) -> Iterator[str]:
    legend = "Bars: minutes booked / minutes the station can do. Hatched: over capacity."
    for index, line in enumerate((legend, *notes)):
        yield _text(4, top + FOOT_LINE * index + 13, _cut(line, _NOTE_LETTERS))


def _text(x: float, y: float, words: str, look: str = "") -> str:
    return f'<text x="{x}" y="{y}"{" " + look if look else ""}>{_written(words)}</text>\n'


def _written(words: str) -> str:
    return escape(plain_text(words))


def _day_words(day: date) -> str:
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def _cut(words: str, most: int) -> str:
    return words if len(words) <= most else f"{words[: most - 1]}…"
