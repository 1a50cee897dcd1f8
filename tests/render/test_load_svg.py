"""The picture of the load, read by others: defusedxml for its form, a renderer for its looks.

Elements and attributes are those of SVG 1.1 (Second Edition), chapters 5, 9, 10, 11 and 13, from
memory: it knows no roles or aria attributes, so title and desc speak.
"""

from __future__ import annotations

import io
from datetime import UTC, date, datetime
from xml.etree.ElementTree import Element

import numpy as np
import resvg_py
from defusedxml.ElementTree import fromstring
from PIL import Image

from service.domain.station_load import DayLoad, StationLoad
from service.render.load_svg import CELL_WIDTH, HEAD_HEIGHT, NAME_WIDTH, load_svg

SPACE = "{http://www.w3.org/2000/svg}"
KNOWN = {
    "svg": {"version", "width", "height", "viewBox"},
    "title": set(),
    "desc": set(),
    "defs": set(),
    "pattern": {"id", "width", "height", "patternUnits"},
    "g": {"font-family", "font-size", "fill"},
    "rect": {"x", "y", "width", "height", "fill", "stroke"},
    "path": {"d", "stroke", "stroke-width"},
    "text": {"x", "y", "font-weight"},
}
MONDAY = date(2026, 6, 1)


def _station(name: str = "Heat press", **changes: object) -> StationLoad:
    known: dict[str, object] = {
        "station": "press",
        "name": name,
        "capacity_min": 420,
        "usual_min": 420,
        "booked_min": 210,
        "free_min": 210,
        "over_capacity_min": 0,
        "why": "",
        "tickets": 3,
        "due": (),
        "at_risk": (),
        "done_at": None,
    }
    return StationLoad(**{**known, **changes})  # type: ignore[arg-type] # as named above


def _day(*stations: StationLoad, day: date = MONDAY, closed: str = "") -> DayLoad:
    return DayLoad(day, closed, datetime(2026, 6, 1, 6, tzinfo=UTC), stations)


OVER = _station(
    capacity_min=120, booked_min=210, free_min=0, over_capacity_min=90, why="fuse & wiring",
    at_risk=("T000002", "T000003"),
)  # fmt: skip


def _tree(text: str) -> Element:
    root: Element = fromstring(text.encode(), forbid_dtd=True)
    return root


def _texts(tree: Element) -> list[str]:
    return [one.text or "" for one in tree.iter(f"{SPACE}text")]


def test_it_is_svg_1_1_with_title_and_description() -> None:
    """Known elements and attributes alone; the first children speak, and say all numbers."""
    tree = _tree(load_svg([_day(OVER), _day(_station(), day=date(2026, 6, 2))]))
    for element in tree.iter():
        name = element.tag.removeprefix(SPACE)
        assert name in KNOWN
        assert set(element.attrib) <= KNOWN[name]
    assert tree.get("version") == "1.1"
    title, desc = list(tree)[:2]
    assert title.text == "Load of stations from 2026-06-01 to 2026-06-02"
    assert desc.tag == f"{SPACE}desc"
    for words in (
        "Mon 1 Jun: Heat press 210 of 120, 90 too many, at risk T000002, T000003, fuse & wiring.",
        "Tue 2 Jun: Heat press 210 of 420.",
    ):
        assert words in (desc.text or "")


def test_everything_is_readable_without_colour() -> None:
    """Numbers stand as text; over capacity and exceptions have words and marks of their own."""
    texts = _texts(_tree(load_svg([_day(OVER), _day(day=date(2026, 6, 6), closed="weekend")])))
    assert {"210/120*", "+90 over", "Sat 6 Jun", "closed"} <= set(texts)
    assert "* Mon 1 Jun, Heat press: 120 instead of 420 min, fuse & wiring" in texts


def test_bars_are_as_long_as_the_day_is_full() -> None:
    """Half booked is half the frame; a day beyond its capacity fills it and no more."""
    for load, share in ((_station(), 0.5), (OVER, 1.0), (_station(booked_min=0), 0.0)):
        bars = [
            one
            for one in _tree(load_svg([_day(load)])).iter(f"{SPACE}rect")
            if one.get("fill") in {"#3b6ea5", "none"}
        ]
        bar, frame = (float(one.get("width", "nan")) for one in bars)
        assert bar / frame == share


def test_a_renderer_draws_it() -> None:
    """A renderer puts the bar where it should be, in grey too: dark bar, light ground."""
    drawn = bytes(resvg_py.svg_to_bytes(svg_string=load_svg([_day(_station(booked_min=420))])))
    grey = np.asarray(Image.open(io.BytesIO(drawn)).convert("L"))
    assert grey[HEAD_HEIGHT + 14, NAME_WIDTH + 20 : NAME_WIDTH + 80].max() < 140
    assert grey[HEAD_HEIGHT + 14, NAME_WIDTH + CELL_WIDTH - 6] > 240


def test_names_cannot_break_out() -> None:
    """Markup, controls and marks of direction in a name are shown as text; long names are cut."""
    name = 'Press <script>alert("1")</script> \u202e&amp; ' + "x" * 100
    text = load_svg([_day(_station(name))])
    tree = _tree(text)
    assert "<script" not in text
    assert "[U+202E]" in text
    assert any(words.startswith("Press <script>") and len(words) == 20 for words in _texts(tree))


def test_no_days_and_no_stations_are_still_a_picture() -> None:
    """Nothing to show is shown as such."""
    assert _tree(load_svg([])).get("version") == "1.1"
    assert "nothing booked" in load_svg([_day()])
