"""The panel beside the garment: what is shown, whether it can be made, and its colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from service.domain.artwork_preview import ArtworkPreview
from service.domain.colour import srgb_from_hex
from service.domain.look import ColourLook
from service.domain.proof_geometry import framed
from service.domain.proofs import NO_GUARANTEE, Proof, Standing
from service.render.proof_print import put_print
from service.render.proof_words import FAINT_INK, INK, text_width, wrapped, write

PAPER: Final = (255, 255, 255)
_RULE = (206, 209, 214)
_MARKS: Final = {
    Standing.WORKS: (24, 110, 52),
    Standing.CAUTIONS: (133, 88, 0),
    Standing.REFUSED: (170, 28, 34),
}
"""The colour of the mark, dark enough for white words on it."""

_ONE_COLUMN = 8
_REASON_LINES = 6


@dataclass(slots=True)
class _Column:
    """Draws downwards from ``y`` between two edges."""

    draw: ImageDraw.ImageDraw
    left: int
    width: int
    size: int
    y: float

    def words(self, text: str, scale: float = 1.0, *, faint: bool = False, most: int = 2) -> None:
        """A paragraph."""
        size = max(9, round(self.size * scale))
        for line in wrapped(text, size, self.width, most):
            write(self.draw, (self.left, self.y), line, size, FAINT_INK if faint else INK)
            self.y += size * 1.3
        self.y += self.size * 0.1

    def gap(self, lines: float) -> None:
        """Leave so many lines free."""
        self.y += lines * self.size


def panel_picture(
    proof: Proof, art: ArtworkPreview, width_px: int, most_height_px: int, size_px: int
) -> Image.Image:
    """The panel, as high as it needs to be and no higher than allowed, in letters of that size."""
    picture = Image.new("RGB", (width_px, most_height_px), PAPER)
    margin = max(6, round(size_px * 0.9))
    draw = ImageDraw.Draw(picture)
    column = _Column(draw, margin, width_px - 2 * margin, size_px, margin)
    title, *names = proof.names
    column.words(title, 1.3)
    for name in names:
        column.words(name)
    column.gap(0.5)
    _mark(column, proof)
    column.gap(0.6)
    _colours(column, proof.colours)
    column.gap(0.5)
    _close_up(column, picture, proof, art, most_height_px - round(3 * size_px))
    column.words(NO_GUARANTEE, faint=True)
    column.gap(0.4)
    return picture.crop((0, 0, width_px, min(most_height_px, round(column.y))))


def _mark(column: _Column, proof: Proof) -> None:
    """The standing in white words on its colour; then why, where there is something to say."""
    word = proof.standing.value
    if proof.standing is Standing.REFUSED:
        word = f"{word}: {proof.rule}"
    pad = column.size * 0.45
    lines = wrapped(word, column.size, column.width - 2 * pad, 2)
    high = len(lines) * column.size * 1.25 + 2 * pad
    wide = max(text_width(line, column.size) for line in lines) + 2 * pad
    box = (column.left, round(column.y), round(column.left + wide), round(column.y + high))
    column.draw.rectangle(box, fill=_MARKS[proof.standing])
    for index, line in enumerate(lines):
        place = (column.left + pad, column.y + pad + index * column.size * 1.25)
        write(column.draw, place, line, column.size, PAPER)
    column.y += high + column.size * 0.4
    if proof.reason:
        column.words(proof.reason, 0.88, most=_REASON_LINES)


def _close_up(
    column: _Column, picture: Image.Image, proof: Proof, art: ArtworkPreview, floor_px: int
) -> None:
    """The print alone on flat cloth, larger, where there is room above the floor."""
    top = round(column.y + column.size * 1.4)
    height = min(floor_px - top, round(column.width * 0.78))
    if height < 4 * column.size:
        return
    column.words("close-up", 0.78, faint=True)
    margin = column.size * 0.7
    frame = framed(proof.print, margin, margin, column.width - 2 * margin, height - 2 * margin)
    stage = np.empty((height, column.width, 3), np.uint8)
    stage[:] = srgb_from_hex(proof.cloth_srgb)
    shown = put_print(stage, np.full(stage.shape[:2], 255, np.uint8), proof, art, frame)
    picture.paste(Image.fromarray(shown), (column.left, top))
    box = (column.left, top, column.left + column.width - 1, top + height - 1)
    column.draw.rectangle(box, outline=_RULE)
    column.y = top + height + column.size * 0.6


def _colours(column: _Column, colours: Sequence[ColourLook]) -> None:
    """Every colour as wanted and, touching it, as predicted, with its share of the inked area."""
    across = 1 if len(colours) <= _ONE_COLUMN else 2
    per_column = -(-len(colours) // across)
    wide = column.width / across
    high = column.size * 1.65
    most = (wide - column.size * 2.9) / 2
    heading = next(
        (size for size in range(round(column.size * 0.75), 7, -1) if _heading_px(size) <= most), 7
    )
    swatch = _heading_px(heading)
    for index in range(across):
        left = column.left + index * wide
        write(column.draw, (left, column.y), "wanted", heading, FAINT_INK)
        write(column.draw, (left + swatch + 1, column.y), "predicted", heading, FAINT_INK)
    column.y += heading * 1.5
    for index, colour in enumerate(colours):
        at, down = divmod(index, per_column)
        place = (column.left + at * wide, column.y + down * high)
        _swatches(column, place, swatch, high, colour)
    column.y += per_column * high


def _heading_px(size_px: int) -> float:
    """How wide a swatch must be for the longer heading to stand over it."""
    return text_width("predicted", size_px) + size_px * 0.4


def _swatches(
    column: _Column, place: tuple[float, float], swatch: float, high: float, colour: ColourLook
) -> None:
    x, y = place
    tall = round(high * 0.82)
    middle, right = round(x + swatch), round(x + 2 * swatch)
    top = round(y)
    column.draw.rectangle((round(x), top, middle - 1, top + tall), srgb_from_hex(colour.wanted))
    column.draw.rectangle((middle, top, right, top + tall), srgb_from_hex(colour.predicted))
    column.draw.rectangle((round(x), top, right, top + tall), outline=_RULE)
    share = f"{colour.share:.0%}" if colour.share >= 0.01 else "<1%"
    words_at = (right + column.size * 0.35, top + (tall - column.size * 1.1) / 2)
    write(column.draw, words_at, share, round(column.size * 0.9))
