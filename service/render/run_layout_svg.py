"""A run's layout as an SVG 1.1 drawing in true size: what lies where, and in which order it is cut.

A user unit is a millimetre; the strip's corner where it begins is at 0, 0, and a head with words
lies above it. Layers are told by their ids: ``strip``, ``boxes`` (what other pieces keep clear of:
a rectangle, or the envelope that a piece was nested by), ``cut`` (``artwork`` where the medium is
not cut), ``order`` and ``labels``. Cut lines are turned over as the medium asks for it; words never
are.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

import numpy as np

from service.domain.cut_outline import CutOutline
from service.domain.envelope import square_within
from service.domain.run_document import RunPiece, RunPrint
from service.domain.run_paper import RunPaper, Shape, shape_of, shapes_of

EDITION = "2"
"""Changes whenever the same run is drawn otherwise."""

BETWEEN_PARTS_MM = 12.0
HEAD_MM = 16.0
LINE_MM = 0.1

_UM_PER_MM = 1_000
_LETTER = 0.62
"""Width of a letter as a share of its size, taken large: the reader's own font is used."""

_CAUTION = (
    "Follow the data sheets of your machine and of the film, and cut a test piece first. "
    "Blades cut and plotters start by themselves: keep hands clear."
)


_CLOSE = (
    "Pieces lie in each other's boxes, a gap apart: cut them apart along the gaps, not straight. "
)


def outline_path(outline: CutOutline) -> str:
    """The outline as one SVG path in mm from the upper left corner of the print, holes first."""
    rings = (ring for piece in outline.pieces for ring in (*piece.holes, piece.outer))
    return " ".join(
        "M" + " L".join(f"{x:.3f} {y:.3f}" for x, y in (np.round(ring, 3) + 0.0).tolist()) + " Z"
        for ring in rings
    )


def run_layout_svg(paper: RunPaper) -> str:
    """The drawing as XML text; positions are written to the micrometre."""
    return _Layout(paper).text()


class _Layout:
    def __init__(self, paper: RunPaper) -> None:
        self._paper = paper
        self._document = paper.document
        self._starts = paper.document.starts_um(round(BETWEEN_PARTS_MM * _UM_PER_MM))
        self._names = {
            shape: f"shape-{index}"
            for index, shape in enumerate(shapes_of(paper.document.prints), start=1)
            if shape in paper.outlines
        }

    def text(self) -> str:
        document = self._document
        width = _mm(document.width_um)
        length_um = self._starts[-1] + document.parts_um[-1]
        height = _mm(length_um + round(HEAD_MM * _UM_PER_MM))
        body = "".join(self._layers())
        return (
            '<?xml version="1.0" encoding="UTF-8"?>\n'
            '<svg xmlns="http://www.w3.org/2000/svg" '
            'xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" '
            f'width="{width}mm" height="{height}mm" '
            f'viewBox="0 {-HEAD_MM:g} {width} {height}">\n'
            f"<title>{escape(self._paper.title)}</title>\n"
            f"<desc>{escape(self._description())}</desc>\n"
            f"{body}</svg>\n"
        )

    def _description(self) -> str:
        document = self._document
        saved = f"{_mm(document.saving_um)} mm less than each ticket by itself"
        return (
            f"{len(document.pieces)} pieces of {len(document.tickets)} tickets, "
            f"{_mm(document.length_um)} mm long and {_mm(document.width_um)} mm wide, {saved}. "
            f"{_CLOSE if document.by_envelopes else ''}"
            f"One unit is 1 mm; numbers give the order of cutting. {_CAUTION}"
        )

    def _layers(self) -> Iterator[str]:
        yield from self._defs()
        yield _layer("strip", 'fill="none" stroke="#5a5f66" stroke-width="0.3"', self._strips())
        boxes = 'fill="none" stroke="#2f6fb3" stroke-width="0.15" stroke-dasharray="2 1.5"'
        yield _layer("boxes", boxes, self._boxes())
        is_cut = self._document.cut_mirrored is not None
        colour = "#000000" if is_cut else "#8a9099"
        lines = f'fill="none" fill-rule="evenodd" stroke="{colour}" stroke-width="{LINE_MM}"'
        yield _layer("cut" if is_cut else "artwork", lines, self._uses())
        letters = 'font-family="sans-serif" stroke="none"'
        yield _layer("order", f'{letters} fill="#b3540a" font-weight="bold"', self._order())
        yield _layer("labels", f'{letters} fill="#0b6b3a"', self._labels())

    def _defs(self) -> Iterator[str]:
        if self._names:
            paths = "".join(
                f'<path id="{name}" d="{self._paper.outlines[shape]}"/>\n'
                for shape, name in self._names.items()
            )
            yield f"<defs>\n{paths}</defs>\n"

    def _strips(self) -> Iterator[str]:
        width = _mm(self._document.width_um)
        for start_um, length_um in zip(self._starts, self._document.parts_um, strict=True):
            y, height = _mm(start_um), _mm(length_um)
            yield f'<rect x="0" y="{y}" width="{width}" height="{height}"/>\n'

    def _boxes(self) -> Iterator[str]:
        for piece, owner in self._placed():
            if owner.envelope_um:
                start_um = self._starts[piece.part]
                line = " L".join(
                    f"{_mm(x_um)} {_mm(start_um + y_um)}"
                    for x_um, y_um in piece.envelope_on_strip(owner)
                )
                yield f'<path id="{escape(piece.key)}" d="M{line} Z"/>\n'
                continue
            x, y = self._corner(piece)
            width, height = _mm(piece.width_um), _mm(piece.height_um)
            yield (
                f'<rect id="{escape(piece.key)}" x="{x}" y="{y}" '
                f'width="{width}" height="{height}"/>\n'
            )

    def _uses(self) -> Iterator[str]:
        for piece, owner in self._placed():
            name = self._names.get(self._shape(owner))
            if name is not None:
                yield f'<use xlink:href="#{name}" transform="{self._move(piece)}"/>\n'

    def _move(self, piece: RunPiece) -> str:
        """Where the upright print's upper left corner comes to lie, and its turn about it."""
        start_um = self._starts[piece.part]
        across_um, along_um = {
            0: (0, 0),
            90: (piece.width_um, 0),
            180: (piece.width_um, piece.height_um),
            270: (0, piece.height_um),
        }[piece.turn_deg]
        moved = f"translate({_mm(piece.x_um + across_um)} {_mm(start_um + piece.y_um + along_um)})"
        return f"{moved} rotate({piece.turn_deg})" if piece.turn_deg else moved

    def _order(self) -> Iterator[str]:
        """The number of each piece in the upper left corner of its room."""
        for place, (left, top, width, height) in enumerate(self._rooms(), start=1):
            text = str(place)
            size = _fitted(text, width / 3, height / 5, 14.0)
            yield _text(left + size * 0.25, top + size * 0.95, size, text, "start")

    def _labels(self) -> Iterator[str]:
        """The head, and each piece's key along the lower edge of its room."""
        for y, size, words in self._head():
            yield _text(2.0, y, size, words, "start")
        rooms = zip(self._placed(), self._rooms(), strict=True)
        for (piece, owner), (left, top, width, height) in rooms:
            size = _fitted(piece.key, width * 0.8, height / 6, 9.0)
            x, y = left + width / 2, top + height - size * 0.35
            yield _text(x, y, size, piece.key, "middle")
            if self._shape(owner) not in self._names:
                told = _fitted("no outline", width * 0.8, height / 6, 9.0)
                yield _text(x, y - size * 1.2, told, "no outline", "middle")

    def _rooms(self) -> Iterator[tuple[float, float, float, float]]:
        """Where the words of each piece stand: left, top, width and height in mm.

        That is its box, or the square in the largest circle within its envelope, for other pieces
        may lie in the rest of the box.
        """
        squares = {
            owner.print_key: square_within(owner.envelope_um)
            for owner in self._document.prints
            if owner.envelope_um
        }
        for piece, owner in self._placed():
            start_um = self._starts[piece.part]
            left_um, top_um = piece.x_um, piece.y_um
            sides_um = piece.width_um, piece.height_um
            if owner.print_key in squares:
                middle, side_um = squares[owner.print_key]
                x_um, y_um = piece.on_strip(*middle, owner)
                left_um, top_um = x_um - side_um // 2, y_um - side_um // 2
                sides_um = side_um, side_um
            places = left_um, start_um + top_um, *sides_um
            left, top, width, height = (place / _UM_PER_MM for place in places)
            yield left, top, width, height

    def _head(self) -> Iterator[tuple[float, float, str]]:
        document = self._document
        width = document.width_um / _UM_PER_MM - 4
        title = self._paper.title
        yield -8.5, _fitted(title, width, 6.0, 6.0), title
        parts = f", {len(document.parts_um)} parts" if len(document.parts_um) > 1 else ""
        words = (
            f"{len(document.pieces)} pieces of {len(document.tickets)} tickets, "
            f"{document.length_um / _UM_PER_MM:.0f} x {document.width_um / _UM_PER_MM:.0f} mm"
            f"{parts}, saves {document.saving_um / _UM_PER_MM:.0f} mm "
            f"({document.saving_share * 100:.0f} %)"
        )
        yield -2.0, _fitted(words, width, 4.0, 4.0), words

    def _placed(self) -> Iterator[tuple[RunPiece, RunPrint]]:
        return zip(self._document.pieces, self._document.owners, strict=True)

    def _corner(self, piece: RunPiece) -> tuple[str, str]:
        return _mm(piece.x_um), _mm(self._starts[piece.part] + piece.y_um)

    def _shape(self, owner: RunPrint) -> Shape:
        return shape_of(owner)


def _layer(name: str, look: str, drawn: Iterator[str]) -> str:
    return f'<g id="{name}" {look}>\n{"".join(drawn)}</g>\n'


def _text(x: float, y: float, size: float, words: str, anchor: str) -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="{anchor}">'
        f"{escape(words)}</text>\n"
    )


def _fitted(words: str, width_mm: float, height_mm: float, most_mm: float) -> float:
    """The largest size at which the words stay within that width and height."""
    return min(most_mm, height_mm, width_mm / (_LETTER * max(1, len(words))))


def _mm(length_um: int) -> str:
    """Exact to the micrometre, without needless zeros."""
    return f"{length_um / _UM_PER_MM:.3f}".rstrip("0").rstrip(".")
