"""``garment-intake nest``, called as a person would call it; svgelements reads its layouts."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from service.cli import main
from tests.render.layouts import ReadLayout, length_taken_mm, read_layout

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" '
PLAIN = f'{HEAD}width="200mm" height="20cm" viewBox="0 0 100 100">'
"""A user unit is 2 mm."""

Told = tuple[str, ReadLayout]
Nest = Callable[..., Told]


@pytest.fixture
def nest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Nest:
    """Lay out a file of that text: what was told, and the layout."""

    def run(text: str, *options: str) -> Told:
        file = tmp_path / "pieces.txt"
        file.write_text(text, encoding="utf-8")
        code = main(["nest", str(file), *options])
        out, err = capsys.readouterr()
        assert (code, err) == (0, "")
        drawn = (tmp_path / "pieces-layout.svg").read_text(encoding="utf-8")
        return out, read_layout(drawn)

    return run


def _checked(told: Told, count: int, gap_mm: float = 4.0) -> ReadLayout:
    """Every piece is there, within the strip, and none nearer to another than the gap."""
    out, layout = told
    assert len(layout.pieces) == count
    assert f"pieces         {count}," in out
    assert [number for number, _ in layout.numbers] == [str(n) for n in range(1, count + 1)]
    assert layout.strip[3] == length_taken_mm(out)
    ends = np.array([piece.bounds for piece in layout.pieces])
    assert ends.min() > -1e-6
    assert (ends[:, 2:] < np.array(layout.strip[2:]) + 1e-6).all()
    assert layout.nearest_mm > gap_mm - 1e-6
    return layout


def test_many_copies_of_one_size(nest: Nest) -> None:
    """100 of 75 x 50 mm on 600 mm take no more than the best columns.

    By hand: rows of 7 take 15 x 54 - 4 = 806 mm; 4 columns of 14 upright and 5 columns of 9 turned
    hold 101 in 14 x 54 - 4 = 752 mm, and 4 x 79 + 5 x 54 = 586 is within 604. By area no layout
    takes less than 100 x 79 x 54 / 604 - 4 = 702.291 mm.
    """
    out, layout = nest("75x50 100\n", "--width", "600")
    _checked((out, layout), 100)
    assert set(layout.boxes) <= {(75, 50), (50, 75)}
    assert 702.292 <= length_taken_mm(out) <= 752
    assert "lower bound    702.292 mm, proved for boxes" in out
    assert "one by one     806 mm in rows as listed; saved " in out


def test_a_list_with_notes_decimals_and_kinds_that_stay_upright(nest: Nest) -> None:
    """Blank lines and notes count for nothing, and a kind that is upright is never turned."""
    text = "\ufeff# invented\n\n90.5x20.25 6 upright # grain\r\n  30 x 140 3\n"
    layout = _checked(nest(text, "--width", "150", "--gap", "2.5"), 9, 2.5)
    assert layout.boxes[:6] == [(90.5, 20.25)] * 6
    assert set(layout.boxes[6:]) <= {(30, 140), (140, 30)}


def test_all_upright(nest: Nest) -> None:
    """No piece is turned, of however much use it would be: one above another, by hand 320 mm."""
    out, layout = nest("60x50 6\n", "--width", "100", "--upright")
    assert _checked((out, layout), 6).boxes == [(60, 50)] * 6
    assert length_taken_mm(out) == 6 * 50 + 5 * 4


def test_margins_stay_clear(nest: Nest) -> None:
    """On all four sides, and they count in the length: by hand 2 x 10 + 40."""
    out, layout = nest("50x40 2\n", "--width", "124", "--margin", "10")
    _checked((out, layout), 2)
    assert layout.strip == (0, 0, 124, 60)
    ends = np.array([piece.bounds for piece in layout.pieces])
    assert ends.min() == pytest.approx(10)
    assert ends[:, 2].max() == pytest.approx(114)
    assert ends[:, 3].max() == pytest.approx(50)


def test_shapes_of_a_drawing(nest: Nest) -> None:
    """Whatever draws them: groups, strokes, transforms, copies, a ring and what lies within it.

    By hand, in user units of 2 mm: a box of 20 x 10; the same turned by 30 degrees; a stroke of 6
    with round ends 30 long; a ring of outer radius 12 and a dot of radius 3 in it.
    """
    text = f"""{PLAIN}
      <g transform="scale(2)"><rect id="box" x="2" y="2" width="10" height="5"/></g>
      <use href="#box" transform="translate(60 5) scale(2) rotate(30)"/>
      <path d="M10 40h30" fill="none" stroke="red" stroke-width="6" stroke-linecap="round"/>
      <circle cx="70" cy="70" r="10" fill="none" stroke="#00f" stroke-width="4"/>
      <circle cx="70" cy="70" r="3"/></svg>"""
    out, layout = nest(text, "--upright")
    _checked((out, layout), 5)
    units = [200, 200, 30 * 6 + math.pi * 9, math.pi * 144, math.pi * 9]
    wanted = sorted(4 * area for area in units)
    assert sorted(piece.area for piece in layout.pieces) == pytest.approx(wanted, rel=0.01)
    assert (40, 20) in [tuple(round(side, 1) for side in box) for box in layout.boxes]
    assert "read at        10.0 pixels per mm, outlines within 0.20 mm" in out


def test_outlines_where_boxes_waste_much(nest: Nest) -> None:
    """Nine hooks, which fill a third of their boxes, lie in one another; their forms stay.

    By hand: each is 60 x 60 mm less 48 x 48 mm. In boxes, two abreast on 130 mm, they take
    5 x 60 + 4 x 4 = 316 mm.
    """
    hook = "M0 0h30v6h-24v24h-6z"
    hooks = "".join(
        f'<path transform="translate({x} {y})" d="{hook}"/>'
        for x in (1, 34, 67)
        for y in (1, 34, 67)
    )
    text = f"{PLAIN}{hooks}</svg>"
    out, layout = nest(text, "--width", "130")
    _checked((out, layout), 9)
    assert "nested as outlines" in out
    assert "proved for outlines" in out
    assert length_taken_mm(out) < 316
    assert [piece.area for piece in layout.pieces] == pytest.approx(
        [60 * 60 - 48 * 48] * 9, rel=0.01
    )


def test_a_background_box_is_no_piece(nest: Nest) -> None:
    """Shapes on a sheet of one colour are told from it, as when an artwork is cut."""
    shapes = '<rect width="100" height="100" fill="#fff"/><circle cx="20" cy="20" r="10"/>'
    out, layout = nest(f'{PLAIN}{shapes}<rect x="50" y="50" width="20" height="30"/></svg>')
    assert Counter(round(piece.area, -1) for piece in _checked((out, layout), 2).pieces) == {
        round(math.pi * 400, -1): 1,
        2400: 1,
    }


def _drawing(size: str, inside: str = '<rect x="5" y="5" width="50" height="40"/>') -> str:
    return f"{HEAD}{size}>{inside}</svg>"


OPEN, SQUARE = 'viewBox="0 0 100 100"', 'width="100mm" height="100mm" viewBox="0 0 100 100"'
MANY = "".join(f'<path d="M{i % 50 * 2} {i // 50 * 2}h1v1h-1z"/>' for i in range(2_010))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "There are no pieces: the list has no line with a size and a count."),
        ("# 75x50 3\n", "There are no pieces"),
        ("75x50 0\n", "Line 1 of the list asks for 0 pieces; a count is at least 1."),
        ("75x50 1000000000\n", "a command lays out at most 2,000"),
        ("75x50 1001\n10x10 1000", "a command lays out at most 2,000"),
        ("75x50 1\nNaNx50 1\n", "Line 2 of the list, 'NaNx50 1', cannot be read"),
        ("-75x50 1\n", "Line 1 of the list, '-75x50 1', cannot be read"),
        ("0x50 1\n", "a side of 0 mm"),
        ("501x600 2\n", "Piece 1 needs 501 mm across the roll, which has 500 mm"),
        ("501x20 2 upright\n", "Piece 1 needs 501 mm"),
        ("75x50 2\0\n", "cannot be read"),
        ("<svg", "breaks off"),
        (_drawing(OPEN), "The drawing gives no size in real units"),
        (_drawing('width="100" height="100px"'), "The drawing gives no size in real units"),
        (_drawing('width="nanmm" height="9mm"'), "The drawing gives no size in real units"),
        (_drawing('width="-5mm" height="9mm"'), "The drawing gives no size in real units"),
        (_drawing(SQUARE, "<text>a</text>"), "Turn text into outlines"),
        (_drawing(SQUARE, ""), "There are no pieces"),
        (_drawing(SQUARE, '<path d="M5 5h9"/>'), "There are no pieces"),
        (_drawing(SQUARE.replace("100mm", "9000mm")), "at least 1 is needed"),
        (_drawing(SQUARE.replace("100mm", "1300mm")), "Piece 1 needs 520"),
        (_drawing(SQUARE.replace("100mm", "600mm"), MANY), "a command lays out at most 2,000"),
    ],
)
def test_bad_files(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line says what is wrong; the exit code is 1, and no file is left behind."""
    file = tmp_path / "pieces.svg"
    file.write_text(text, encoding="utf-8")
    _refused([str(file)], words, capsys)
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--gap", "-4"], "The gap is -4 mm; it has to be from 0 to 20,000 mm."),
        (["--gap", "nan"], "The gap is nan mm"),
        (["--width", "inf"], "The width is inf mm"),
        (["--width", "0"], "The width is 0 mm; it has to be from 0.001 to 20,000 mm."),
        (["--margin", "-1"], "The margin is -1 mm"),
        (["--margin", "250"], "Two margins of 250 mm leave nothing of a roll of 500 mm"),
        (["--out", "list.txt"], "The layout would overwrite"),
        (["--out", "link.svg"], "The layout would overwrite"),
        (["--out", "nowhere/layout.svg"], "a folder that exists"),
        (["--out", "."], "a folder that exists"),
    ],
)
def test_bad_options(
    options: list[str],
    words: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As bad files; what was there stays as it was."""
    monkeypatch.chdir(tmp_path)
    Path("list.txt").write_text("75x50 2")
    Path("link.svg").symlink_to("list.txt")
    _refused(["list.txt", *options], words, capsys)
    assert {file.name: file.read_text() for file in Path().iterdir()} == {
        "list.txt": "75x50 2",
        "link.svg": "75x50 2",
    }


def test_what_is_no_file_to_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A missing file, a folder, a picture, and one that is too long."""
    picture, long = tmp_path / "picture.png", tmp_path / "long.txt"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n\0\xff")
    long.write_bytes(b" " * 1_000_001)
    _refused([str(tmp_path / "none.txt")], "cannot be read: No such file", capsys)
    _refused([str(tmp_path)], "cannot be read: Is a directory", capsys)
    _refused([str(picture)], "neither an SVG drawing nor a list of sizes", capsys)
    _refused([str(long)], "more than 1,000,000 bytes", capsys)
    assert set(tmp_path.iterdir()) == {picture, long}


def _refused(arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["nest", *arguments]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    assert err.count("\n") == 1


def test_where_it_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Named by the command, over an older layout; the same file gives the same layout."""
    file, out = tmp_path / "sizes.txt", tmp_path / "roll.svg"
    file.write_text("75x50 5\n40x30 7\n", encoding="utf-8")
    out.write_text("older")
    assert main(["nest", str(file), "--out", str(out)]) == 0
    assert main(["nest", str(file)]) == 0
    assert f"written to {out}" in capsys.readouterr().out
    assert out.read_text() == (tmp_path / "sizes-layout.svg").read_text()
    assert {one.name for one in tmp_path.iterdir()} == {
        *("sizes.txt", "roll.svg", "sizes-layout.svg")
    }
