"""A run's print file: its pictures where they lie, in true size, on pages as large as its parts.

In the margins stand registration marks and words, which are never mirrored. The marks are filled
squares in the corners; where the strip begins, bars run from both towards the middle, and from the
left one a second bar runs along the strip. So its beginning and its left are told from the marks
alone, and a strip that was printed turned over is seen at a glance. They are of our own design.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator
from typing import Any

from PIL import Image
from reportlab import rl_config  # type: ignore[import-untyped] # it has no types
from reportlab.lib.utils import ImageReader  # type: ignore[import-untyped] # it has no types
from reportlab.pdfgen.canvas import Canvas  # type: ignore[import-untyped] # it has no types

from service.domain.run_document import RunPiece, RunPrint
from service.domain.run_paper import PrintPicture, RunPaper, Shape, shape_of
from service.render.pdf_fonts import BOLD, DRAWING, REGULAR, font, shown_on_paper, unit_width
from service.render.pdf_kit import MM

EDITION = "2"
"""Changes whenever the same run is printed otherwise."""

MARK_MM = 5.0
LEAST_MARGIN_MM = 3.0
"""In a narrower margin neither marks nor words have room."""

BAND_MM = 120.0
"""In the left margin stand, for each such length, the tickets whose pieces begin there."""

_UM_PER_MM = 1_000
_EDGE_SHARE = 0.2
_MARK_SHARE = 0.5
_LETTER_SHARE = 0.3
_LARGEST_LETTER_MM = 3.0

rl_config.useA85 = 0  # as the kit has it: files are sent as bytes


def run_print_pdf(paper: RunPaper) -> bytes:
    """The file; the same run always gives the same bytes. KeyError for a missing picture."""
    file = io.BytesIO()
    canvas: Any = Canvas(file, pagesize=(1, 1), invariant=1, pageCompression=1)
    canvas.setTitle(paper.title)
    canvas.setCreator("garment intake")
    # Pictures take longest and need no font, so nobody waits for them.
    pages = _Pages(canvas, paper)
    with DRAWING:
        for name in (REGULAR, BOLD):
            font(name)
        for part in range(len(paper.document.parts_um)):
            pages.draw(part)
        canvas.save()
    return file.getvalue()


class _Pages:
    def __init__(self, canvas: Any, paper: RunPaper) -> None:  # noqa: ANN401 (the library has no types)
        self._canvas, self._paper, self._document = canvas, paper, paper.document
        self._width = paper.document.width_um / _UM_PER_MM
        self._margin = paper.document.margin_um / _UM_PER_MM
        self._length = 0.0
        self._names = {
            shape: f"picture-{index}" for index, shape in enumerate(sorted(paper.pictures), start=1)
        }
        for shape, name in self._names.items():
            self._keep(name, paper.pictures[shape])

    def _keep(self, name: str, picture: PrintPicture) -> None:
        """Put a picture into the file once, on the unit square, to be drawn by its name."""
        mode = "RGB" if picture.opaque else "RGBA"
        size = picture.width_px, picture.height_px
        image = Image.frombytes(mode, size, zlib.decompress(picture.rows))
        self._canvas.beginForm(name, 0, 0, 1, 1)
        self._canvas.drawImage(ImageReader(image), 0, 0, 1, 1, mask="auto")
        self._canvas.endForm()

    def draw(self, part: int) -> None:
        """One page: a length of roll, or a sheet."""
        canvas, document = self._canvas, self._document
        self._length = document.parts_um[part] / _UM_PER_MM
        canvas.setPageSize((self._width * MM, self._length * MM))
        here = [
            (piece, owner)
            for piece, owner in zip(document.pieces, document.owners, strict=True)
            if piece.part == part
        ]
        for piece, owner in here:
            self._put(piece, shape_of(owner))
        if self._margin >= LEAST_MARGIN_MM:
            self._marks()
            self._words(part, here)
        canvas.showPage()

    def _put(self, piece: RunPiece, shape: Shape) -> None:
        """The unit square as large as the piece, turned about its middle."""
        canvas = self._canvas
        wide, high = piece.width_um / _UM_PER_MM * MM, piece.height_um / _UM_PER_MM * MM
        middle = self._from_below((piece.y_um + piece.height_um / 2) / _UM_PER_MM)
        canvas.saveState()
        canvas.translate(piece.x_um / _UM_PER_MM * MM + wide / 2, middle)
        canvas.rotate(-piece.turn_deg)
        if piece.turned:
            wide, high = high, wide
        canvas.scale(wide, high)
        canvas.translate(-0.5, -0.5)
        canvas.doForm(self._names[shape])
        canvas.restoreState()

    def _from_below(self, y: float) -> float:
        return (self._length - y) * MM

    def _box(self, x: float, y: float, width: float, height: float) -> None:
        """A filled rectangle, in mm from the upper left."""
        self._canvas.rect(
            x * MM, self._from_below(y + height), width * MM, height * MM, stroke=0, fill=1
        )

    def _marks(self) -> None:
        side = min(MARK_MM, self._margin * _MARK_SHARE)
        edge = self._margin * _EDGE_SHARE
        right, low = self._width - edge - side, self._length - edge - side
        bar, long = side / 3, 2 * side
        for x in (edge, right):
            for y in (edge, low):
                self._box(x, y, side, side)
        self._box(edge + side, edge, long, bar)
        self._box(right - long, edge, long, bar)
        self._box(edge, edge + side, bar, long)

    def _words(self, part: int, here: list[tuple[RunPiece, RunPrint]]) -> None:
        letter = min(_LARGEST_LETTER_MM, self._margin * _LETTER_SHARE)
        taken = self._margin * _EDGE_SHARE + 3 * min(MARK_MM, self._margin * _MARK_SHARE) + letter
        title = self._paper.title
        parts = len(self._document.parts_um)
        if parts > 1:
            title += f", part {part + 1} of {parts}"
        self._line(title, taken, self._margin / 2, self._width - 2 * taken, letter, BOLD)
        for start, tickets in self._bands(here):
            begin = max(start, taken)
            room = min(start + BAND_MM, self._length - taken) - begin
            if room > letter:
                words = " ".join(tickets)
                self._line(words, self._margin / 2, begin, room, letter, REGULAR, along=True)

    def _bands(self, here: list[tuple[RunPiece, RunPrint]]) -> Iterator[tuple[float, list[str]]]:
        """Tickets by where along the strip a piece of theirs begins."""
        bands: dict[int, dict[str, None]] = {}
        for piece, owner in sorted(here, key=lambda one: (one[0].y_um, one[0].x_um)):
            band = int(piece.y_um / _UM_PER_MM // BAND_MM)
            bands.setdefault(band, {})[owner.ticket] = None
        for band, tickets in bands.items():
            yield band * BAND_MM, list(tickets)

    def _line(
        self,
        words: str,
        x: float,
        y: float,
        room: float,
        letter: float,
        face: str,
        *,
        along: bool = False,
    ) -> None:
        """One line whose middle height is there, made smaller where it has no room."""
        shown = shown_on_paper(words)
        size = min(letter, room / max(0.001, unit_width(shown, face)))
        canvas = self._canvas
        canvas.saveState()
        canvas.translate(x * MM, self._from_below(y))
        if along:
            canvas.rotate(-90)
        canvas.setFont(face, size * MM)
        canvas.drawString(0, -size * MM * 0.35, shown)
        canvas.restoreState()
