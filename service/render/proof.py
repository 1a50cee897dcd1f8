"""The proof: the garment with its print at true scale, and a panel that says what it shows."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Final

from PIL import Image, ImageDraw

from service.domain.artwork_preview import ArtworkPreview
from service.domain.proof_geometry import Box, Frame, framed, scale_bar_mm, whole_px
from service.domain.proofs import Proof
from service.render.proof_garment import laid_garment
from service.render.proof_panel import PAPER, panel_picture
from service.render.proof_print import put_print
from service.render.proof_words import INK, text_width, write
from service.render.silhouettes import drawing_of

PNG, WEBP = "image/png", "image/webp"
LEAST_PX, MOST_PX, USUAL_PX = 200, 2_000, 1_000
"""Widths of a proof."""

DRAWING_VERSION: Final = "1"
"""To be changed with everything that changes a picture, so that no kept one is taken for it."""

SIDE_BY_SIDE_PX = 640
"""From this width the panel stands beside the garment, below it the panel lies beneath."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """How a proof of a width is laid out: the stage for the garment, letters, and the panel."""

    width_px: int
    stage_width_px: int
    stage_height_px: int
    letters_px: int
    beside: bool

    @classmethod
    def of(cls, width_px: int) -> Sheet:
        """The sheet of that width."""
        if width_px >= SIDE_BY_SIDE_PX:
            stage = round(width_px * 0.67)
            return cls(
                width_px, stage, round(width_px * 0.74), round(width_px * 0.0165), beside=True
            )
        return cls(width_px, width_px, width_px, max(10, round(width_px * 0.031)), beside=False)

    def frame(self, extent: Box) -> Frame:
        """Where the garment stands on the stage."""
        margin = self.stage_width_px * 0.035
        foot = self.letters_px * 2.6
        return framed(
            extent,
            margin,
            margin,
            self.stage_width_px - 2 * margin,
            self.stage_height_px - margin - foot,
        )


def draw_proof(proof: Proof, art: ArtworkPreview, width_px: int, media_type: str = PNG) -> bytes:
    """The proof as a PNG or lossless WebP ``width_px`` wide; always the same bytes."""
    picture = proof_picture(proof, art, width_px)
    kept = io.BytesIO()
    if media_type == WEBP:
        picture.save(kept, "WEBP", lossless=True, quality=0, method=0)
    else:
        picture.save(kept, "PNG", compress_level=1)
    return kept.getvalue()


def proof_picture(proof: Proof, art: ArtworkPreview, width_px: int) -> Image.Image:
    """The proof in pixels."""
    sheet = Sheet.of(width_px)
    stage = _stage(proof, art, sheet)
    if sheet.beside:
        width, height = sheet.width_px - sheet.stage_width_px, sheet.stage_height_px
        panel, place = panel_picture(proof, art, width, height, sheet.letters_px), (stage.width, 0)
    else:
        height = round(sheet.stage_height_px + sheet.letters_px * 60)
        panel = panel_picture(proof, art, sheet.width_px, height, sheet.letters_px)
        place, height = (0, stage.height), stage.height + panel.height
    picture = Image.new("RGB", (sheet.width_px, height), PAPER)
    picture.paste(stage, (0, 0))
    picture.paste(panel, place)
    return picture


def _stage(proof: Proof, art: ArtworkPreview, sheet: Sheet) -> Image.Image:
    """The garment with its print, and the scale beneath."""
    frame = sheet.frame(drawing_of(proof.garment).extent)
    width, height = sheet.stage_width_px, sheet.stage_height_px
    laid, cloth = laid_garment(proof.garment, frame, width, height, proof.cloth_srgb)
    picture = Image.fromarray(put_print(laid, cloth, proof, art, frame))
    draw = ImageDraw.Draw(picture)
    if not proof.area.holds(proof.print, slack_mm=0.5):
        _dashed_box(draw, whole_px(frame, proof.area), max(1, round(width / 500)))
    _scale(draw, frame, sheet)
    return picture


def _scale(draw: ImageDraw.ImageDraw, frame: Frame, sheet: Sheet) -> None:
    """A bar whose length is that many mm, with the number beside it."""
    size, left = sheet.letters_px, round(sheet.letters_px * 1.2)
    length_mm = scale_bar_mm(frame.px_per_mm, sheet.stage_width_px * 0.3)
    right = left + round(length_mm * frame.px_per_mm) - 1
    y, thick = round(sheet.stage_height_px - size * 1.4), max(1, round(size / 9))
    draw.rectangle((left, y, right, y + thick - 1), fill=INK)
    for x in (left, right - thick + 1):
        draw.rectangle((x, y - thick * 3, x + thick - 1, y + thick * 4 - 1), fill=INK)
    words = f"{length_mm} mm"
    write(draw, (right + size * 0.6, y - size * 0.6), words, size)
    note = "drawn to scale"
    at = sheet.stage_width_px - left - text_width(note, size)
    if at > right + size * 2 + text_width(words, size):
        write(draw, (at, y - size * 0.6), note, size)


def _dashed_box(draw: ImageDraw.ImageDraw, place: tuple[int, int, int, int], thick: int) -> None:
    """The outline of a placement that the print does not fit into."""
    left, top, width, height = place
    right, bottom, dash = left + width, top + height, 4 * thick
    for x in range(left, right, 2 * dash):
        for y in (top, bottom):
            draw.rectangle((x, y, min(x + dash, right), y + thick - 1), fill=(200, 30, 40))
    for y in range(top, bottom, 2 * dash):
        for x in (left, right):
            draw.rectangle((x, y, x + thick - 1, min(y + dash, bottom)), fill=(200, 30, 40))
