"""Pieces of a file laid out on a roll: the shapes of a drawing, or a list of sizes.

A drawing's pieces are its separate inked shapes, in the size that it gives in real units. They are
found in its pixels, so that groups, strokes, transforms and clips need no care of their own; shapes
that touch, or nearly do, are one piece. Holes are not cut out: nothing is laid into them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from math import isfinite, prod
from pathlib import Path
from typing import NoReturn

import numpy as np

from service.domain.contours import Points
from service.domain.cut_outline import CutWish, NothingLeft, OutlineTooFine, picture_outline
from service.domain.errors import BadInput
from service.domain.measuring import ink_box
from service.domain.nesting.layouts import Roll, RollLayout, lay_on_roll
from service.domain.nesting.outline_shapes import OutlineFault
from service.domain.nesting.outlines import OutlinePiece, Ring
from service.domain.nesting.pieces import NoRoom
from service.domain.planes import Pixels
from service.intake.svg_drawing import MOST_PIXELS, draw_svg
from service.intake.svg_paths import length, numbers
from service.intake.svg_reading import MOST_BYTES, read_svg

MOST_PIECES = 2_000
"""Pieces of one command, for bounded time; a design choice."""

MOST_MM = 20_000.0
"""Longest side of a piece and widest roll; a design choice."""

PIXELS_PER_MM = 10.0
"""At which a drawing is read: 254 pixels per inch. Large drawings are read coarser, down to
``LEAST_PIXELS_PER_MM``, small ones finer."""

LEAST_PIXELS_PER_MM = 1.0
TOLERANCE_MM = 0.1
"""By how much outlines may be smoothed. They lie within this and one pixel of what is drawn."""

_SMALL_PIXELS = 1_000_000
_UM_PER_MM = 1_000
_MM_PER_PX = 25.4 / 96
_REAL = re.compile(r"[^a-z]*(mm|cm|in|pt|pc)")
_NUMBER = r"[0-9]{1,9}(?:\.[0-9]{1,9})?"
_KIND = re.compile(rf"({_NUMBER})\s*x\s*({_NUMBER})\s+([0-9]{{1,12}})(\s+upright)?")


@dataclass(frozen=True, slots=True)
class NestWish:
    """The roll and how to lay out; ``margin_mm`` stays clear on all sides of what is taken.

    ``upright`` allows no turns, as nap and sparkle with a direction ask for.
    """

    width_mm: float = 500.0
    gap_mm: float = 4.0
    margin_mm: float = 0.0
    upright: bool = False
    thorough: bool = False


@dataclass(frozen=True, slots=True)
class FilePieces:
    """The pieces of a file; a drawing's with the ``pixels_per_mm`` at which it was read."""

    pieces: tuple[OutlinePiece, ...]
    pixels_per_mm: float | None = None


def nest_file(file: Path, wish: NestWish) -> tuple[FilePieces, RollLayout]:
    """The pieces of a file and their layout; ``BadInput`` saying in a sentence what is wrong."""
    roll = _roll(wish)
    try:
        with file.open("rb") as opened:
            data = opened.read(MOST_BYTES + 1)
    except OSError as fault:
        _refuse(f"The file {file} cannot be read: {fault.strerror}.")
    if len(data) > MOST_BYTES:
        _refuse(f"The file has more than {MOST_BYTES:,} bytes; it has to have fewer.")
    read = file_pieces(data, upright=wish.upright)
    try:
        return read, lay_on_roll(read.pieces, roll, thorough=wish.thorough)
    except NoRoom as found:
        _refuse(
            f"Piece {found.key} needs {_mm(found.value_um)} mm across the roll, which has "
            f"{_mm(found.limit_um)} mm between its margins; give a wider roll."
        )
    except OutlineFault as found:
        _refuse(f"The outline of piece {found.key} {found.why}; change the drawing.")


def layout_file(file: Path, out: Path | None) -> Path:
    """Where the layout goes, next to the file if nowhere is named; ``BadInput`` if it cannot."""
    target = file.parent / f"{file.stem}-layout.svg" if out is None else out
    if target.resolve() == file.resolve() or (target.exists() and target.samefile(file)):
        _refuse(f"The layout would overwrite {file}; give another file with --out.")
    if target.is_dir() or not target.parent.is_dir():
        _refuse(f"The layout cannot be written to {target}; give a file in a folder that exists.")
    return target


def write_layout(out: Path, text: str) -> None:
    """Write a whole file or none; ``BadInput`` where it cannot be written."""
    partial = out.with_name(f".{out.name}.partial")
    try:
        partial.write_text(text, encoding="utf-8")
        partial.replace(out)
    except OSError as fault:
        with suppress(OSError):
            partial.unlink()
        _refuse(f"The layout cannot be written to {out}: {fault.strerror}.")


def layout_text(read: FilePieces, layout: RollLayout, wish: NestWish) -> str:
    """The figures of a layout, for a terminal."""
    turns = "no turns" if wish.upright else "quarter turns"
    nested = "outlines" if layout.by_outlines else "boxes"
    proved = "outlines" if layout.bound_of_outlines else "boxes"
    roll = f"roll {wish.width_mm:g} mm wide, gap {wish.gap_mm:g} mm, margin {wish.margin_mm:g} mm"
    over = f"the length is {layout.over_bound:.1%} over it"
    saved = f"saved {_mm(layout.saving_um)} mm ({layout.saving_um / layout.rows_um:.1%})"
    rows = {
        "pieces": f"{len(layout.placed)}, {turns}; {roll}",
        "length taken": f"{_mm(layout.length_um)} mm, nested as {nested}",
        "lower bound": f"{_mm(layout.bound_um)} mm, proved for {proved}; {over}",
        "density": f"{layout.density:.1%} of the roll taken",
        "one by one": f"{_mm(layout.rows_um)} mm in rows as listed; {saved}",
    }
    if read.pixels_per_mm is not None:
        within_mm = TOLERANCE_MM + 1 / read.pixels_per_mm
        per_mm = f"{read.pixels_per_mm:.1f} pixels per mm"
        rows["read at"] = f"{per_mm}, outlines within {within_mm:.2f} mm of what is drawn"
    return "\n".join(f"{name:<15}{words}" for name, words in rows.items())


def file_pieces(data: bytes, *, upright: bool) -> FilePieces:
    """The pieces of a drawing or a list by its bytes, numbered from 1; ``BadInput``."""
    if data.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<"):
        try:
            return _drawn_pieces(data, frozenset({0} if upright else {0, 90, 180, 270}))
        except BadInput as refused:
            if refused.faults and refused.faults[0].code == "picture-transparent":
                _refuse("There are no pieces: nothing is to be seen in the drawing.")
            _refuse(refused.detail)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        _refuse("The file is neither an SVG drawing nor a list of sizes in UTF-8 text.")
    return FilePieces(tuple(_listed_pieces(text, upright=upright)))


def _roll(wish: NestWish) -> Roll:
    sides = (
        ("width", wish.width_mm, 1 / _UM_PER_MM),
        ("gap", wish.gap_mm, 0.0),
        ("margin", wish.margin_mm, 0.0),
    )
    for name, value_mm, least_mm in sides:
        if not isfinite(value_mm) or not least_mm <= value_mm <= MOST_MM:
            _refuse(
                f"The {name} is {value_mm:g} mm; it has to be from {least_mm:g} to {MOST_MM:,g} mm."
            )
    roll = Roll(*(round(value_mm * _UM_PER_MM) for _, value_mm, _ in sides))
    if roll.clear_um < 1:
        _refuse(
            f"Two margins of {wish.margin_mm:g} mm leave nothing of a roll of "
            f"{wish.width_mm:g} mm; give a smaller margin or a wider roll."
        )
    return roll


def _listed_pieces(text: str, *, upright: bool) -> Iterator[OutlinePiece]:
    """A piece for each copy, line after line."""
    count = 0
    for at, line in enumerate(text.splitlines(), start=1):
        told = line.partition("#")[0].strip()
        if not told:
            continue
        kind = _KIND.fullmatch(told)
        if kind is None:
            _refuse(
                f"Line {at} of the list, {told[:40]!r}, cannot be read; it has to be "
                "WIDTHxHEIGHT COUNT [upright] in mm, such as 75x50.5 100."
            )
        copies = int(kind[3])
        if not copies:
            _refuse(f"Line {at} of the list asks for 0 pieces; a count is at least 1.")
        count += copies
        _check_count(count)
        ring = _box(*(_side_um(at, side) for side in kind.group(1, 2)))
        turns = frozenset({0} if upright or kind[4] else {0, 90})
        for number in range(count - copies + 1, count + 1):
            yield OutlinePiece(str(number), ring, turns)
    if not count:
        _refuse("There are no pieces: the list has no line with a size and a count.")


def _side_um(line: int, text: str) -> int:
    side_mm = Decimal(text)
    side_um = round(side_mm * _UM_PER_MM)
    if not 1 <= side_um <= MOST_MM * _UM_PER_MM:
        _refuse(
            f"Line {line} of the list has a side of {side_mm:,} mm; "
            f"sides are from 0.001 to {MOST_MM:,g} mm."
        )
    return side_um


def _check_count(count: int) -> None:
    if count > MOST_PIECES:
        _refuse(
            f"There are at least {count:,} pieces; a command lays out at most {MOST_PIECES:,}, "
            "so split the file."
        )


def _box(width_um: int, height_um: int) -> Ring:
    return ((0, 0), (width_um, 0), (width_um, height_um), (0, height_um))


def _drawn_pieces(data: bytes, turns_deg: frozenset[int]) -> FilePieces:
    """The inked shapes of a drawing, from the top down, then from left to right."""
    size_mm = _size_mm(data)
    most_pixels = max(_SMALL_PIXELS, prod(size_mm) * PIXELS_PER_MM**2)
    rgba = draw_svg(data, int(min(MOST_PIXELS, most_pixels)))
    # What is drawn keeps its proportions: of two sides, each cut to whole pixels, the lesser rules.
    per_mm = min(px / mm for px, mm in zip(rgba.shape[1::-1], size_mm, strict=True))
    if per_mm < LEAST_PIXELS_PER_MM:
        _refuse(
            f"The drawing is {size_mm[0]:,.0f} x {size_mm[1]:,.0f} mm, so large that it can be "
            f"read only at {per_mm:.2f} pixels per mm; at least {LEAST_PIXELS_PER_MM:g} is needed, "
            "so split it."
        )
    rings = sorted(
        (np.rint(outer * _UM_PER_MM).astype(np.int64) for outer in _outer_rings(rgba, per_mm)),
        key=lambda ring: (*ring.min(axis=0)[::-1].tolist(), ring.tobytes()),
    )
    _check_count(len(rings))
    pieces = (
        OutlinePiece(str(number), tuple((int(x), int(y)) for x, y in ring.tolist()), turns_deg)
        for number, ring in enumerate(rings, start=1)
    )
    return FilePieces(tuple(pieces), per_mm)


def _outer_rings(rgba: Pixels, per_mm: float) -> list[Points]:
    """The outer outlines in mm; shapes on a background box of one colour are told from it."""
    if not rgba[..., 3].any():
        _refuse("There are no pieces: nothing is to be seen in the drawing.")
    wish = CutWish(ink_box(rgba[..., 3]).width / per_mm, tolerance_mm=TOLERANCE_MM)
    try:
        return [piece.outer for piece in picture_outline(rgba, wish).pieces]
    except OutlineTooFine as error:
        _refuse(f"The shapes of the drawing are too many or too fine: {error}.")
    except NothingLeft:
        _refuse("There are no pieces: the shapes of the drawing are too small to be cut.")


def _size_mm(data: bytes) -> tuple[float, float]:
    """Width and height that a drawing gives in real units; one follows from the other by viewBox.

    User units and px are none: drawing programs take them for different lengths.
    """
    root = read_svg(data)
    told = [root.get(name) for name in ("width", "height")]
    wide_mm, high_mm = (
        length(text, 0.0) * _MM_PER_PX if text is not None and _REAL.fullmatch(text) else None
        for text in told
    )
    view = numbers(root.get("viewBox") or "")
    is_open = any(text is None or text == "auto" or text.endswith("%") for text in told)
    if is_open and len(view) == 4 and min(view[2:]) > 0:
        if wide_mm is None and high_mm is not None:
            wide_mm = high_mm * view[2] / view[3]
        elif high_mm is None and wide_mm is not None:
            high_mm = wide_mm * view[3] / view[2]
    if wide_mm is None or high_mm is None or min(wide_mm, high_mm) <= 0:
        _refuse(
            "The drawing gives no size in real units; "
            "set width and height of its svg element in mm, cm or in."
        )
    return wide_mm, high_mm


def _mm(length_um: int) -> str:
    """Exact to the micrometre, without needless zeros."""
    return f"{length_um / _UM_PER_MM:,.3f}".rstrip("0").rstrip(".")


def _refuse(detail: str) -> NoReturn:
    raise BadInput("fields-refused", detail) from None
