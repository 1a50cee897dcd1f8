"""A print in pixels: the artwork scaled to the cloth, in the colours that are predicted there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from service.domain.artwork_preview import ArtworkPreview, PreviewLevel
from service.domain.look import SurfaceKind
from service.domain.media import Texture
from service.domain.proof_geometry import Frame, whole_px
from service.domain.proofs import Proof
from service.domain.recolour import Codes, Light, codes_of, light_of, recoloured
from service.render.proof_garment import DARK_CLOTH_LIGHTNESS
from service.render.proof_texture import nap, sparkle

EDGE_SHADE: Final = 0.45
"""How strongly the rim of a film is drawn on the cloth around it, 0 to 1."""

_TINY = np.float32(1 / 1024)
_SOLID = np.float32(0.999)


@dataclass(frozen=True, slots=True, eq=False)
class _Scaled:
    """The visible part of a print: its place, premultiplied light, and cover 0 to 1 (h, w)."""

    left: int
    top: int
    light: Light
    alpha: Light
    inked: Light


def put_print(
    stage: Codes, cloth: NDArray[np.uint8], proof: Proof, art: ArtworkPreview, frame: Frame
) -> Codes:
    """The stage (h, w, 3) with the print on it; ``cloth`` (h, w) is 255 where the garment lies.

    What would lie beside the garment is not drawn. The film's rim is drawn around it, so that every
    pixel within has its predicted colour; sparkle and nap lie around that colour.
    """
    scaled = _scaled(art, whole_px(frame, proof.print), cloth.shape)
    if scaled is None:
        return stage
    height, width = scaled.alpha.shape
    rows, columns = (
        slice(scaled.top, scaled.top + height),
        slice(scaled.left, scaled.left + width),
    )
    wanted, cover = _wanted(scaled, proof)
    seen = light_of(recoloured(codes_of(wanted), proof.surface, proof.policy))
    seen = _textured(seen, proof, scaled, stage.shape)
    cover = cover * (cloth[rows, columns] * np.float32(1 / 255))
    made = stage.copy()
    base = light_of(stage[rows, columns])
    made[rows, columns] = codes_of(base + cover[..., None] * (seen - base))
    return _rimmed(made, cover, rows, columns, proof) if proof.on_film else made


def _scaled(
    art: ArtworkPreview, place: tuple[int, int, int, int], shape: tuple[int, ...]
) -> _Scaled | None:
    """What of the print lies in the picture, at its scale; None if nothing does."""
    left, top, width, height = place
    x0, x1 = max(left, 0), min(left + width, shape[1])
    y0, y1 = max(top, 0), min(top + height, shape[0])
    if x0 >= x1 or y0 >= y1:
        return None
    level = art.level_for(width, height)
    per_x, per_y = level.across / width, level.down / height
    box = ((x0 - left) * per_x, (y0 - top) * per_y, (x1 - left) * per_x, (y1 - top) * per_y)
    part, box = _needed(level, box)
    alpha = part.rgba[..., 3] * np.float32(1 / 255)
    light = light_of(part.rgba[..., :3]) * alpha[..., None]
    inked = part.inked * np.float32(1 / 255)
    # Smaller by the mean of what falls together, larger by what lies between.
    filter_ = Image.Resampling.BOX if min(per_x, per_y) >= 1 else Image.Resampling.BILINEAR
    size = (x1 - x0, y1 - y0)
    planes = [
        np.asarray(Image.fromarray(plane).resize(size, filter_, box=box))
        for plane in (*np.moveaxis(light, -1, 0), alpha, inked)
    ]
    return _Scaled(x0, y0, np.stack(planes[:3], axis=-1), planes[3], planes[4])


def _needed(
    level: PreviewLevel, box: tuple[float, float, float, float]
) -> tuple[PreviewLevel, tuple[float, float, float, float]]:
    """The rows and columns of a level that a box of it touches, and the box within them."""
    height, width = level.inked.shape
    left, top = max(0, int(box[0]) - 2), max(0, int(box[1]) - 2)
    right, bottom = min(width, int(box[2]) + 3), min(height, int(box[3]) + 3)
    part = PreviewLevel(
        level.rgba[top:bottom, left:right],
        level.inked[top:bottom, left:right],
        right - left,
        bottom - top,
    )
    return part, (
        box[0] - left,
        box[1] - top,
        min(box[2] - left, right - left),
        min(box[3] - top, bottom - top),
    )


def _wanted(scaled: _Scaled, proof: Proof) -> tuple[Light, Light]:
    """The wanted light (h, w, 3) over white, and how far it covers what lies beneath (h, w).

    On a film the uninked rest of a soft edge is bare film, and the blade's outline ends it; a film
    that is only cut has its colour throughout. In cloth the uninked rest is bare cloth: dye that is
    white changes nothing.
    """
    alpha, inked = scaled.alpha, scaled.inked
    light: Light
    if proof.surface.kind is SurfaceKind.CUT:
        whole = np.maximum(alpha, _TINY)
        light = np.divide(scaled.light, whole[..., None], dtype=np.float32)
    elif proof.on_film:
        bare = np.maximum(inked - alpha, 0)
        whole = np.maximum(np.maximum(inked, alpha), _TINY)
        light = np.divide(scaled.light + bare[..., None], whole[..., None], dtype=np.float32)
    else:
        light = scaled.light + (1 - alpha)[..., None]
        return light, (alpha > _TINY).astype(np.float32)
    return light, inked


def _textured(seen: Light, proof: Proof, scaled: _Scaled, shape: tuple[int, ...]) -> Light:
    """Sparkle or nap on light (h, w, 3), in grains that grow with the picture."""
    if proof.texture is Texture.SMOOTH or not proof.on_film:
        return seen
    grain_px = max(1, round(max(shape) / 700))
    height, width = scaled.alpha.shape
    makes = sparkle if proof.texture is Texture.GLITTER else nap
    return makes(seen, scaled.left, scaled.top, width, height, grain_px)


def _rimmed(made: Codes, cover: Light, rows: slice, columns: slice, proof: Proof) -> Codes:
    """A thin line on the cloth along the outline of the film."""
    top, left = max(rows.start - 1, 0), max(columns.start - 1, 0)
    around = made[top : rows.stop + 1, left : columns.stop + 1]
    whole = np.zeros(around.shape[:2], np.float32)
    whole[rows.start - top :, columns.start - left :][: cover.shape[0], : cover.shape[1]] = cover
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    rim = np.maximum(np.asarray(cv2.dilate(whole, kernel), np.float32) - whole, 0)
    is_dark = proof.surface.cloth.lightness < DARK_CLOTH_LIGHTNESS
    tone, strength = np.float32(is_dark), EDGE_SHADE / 4 if is_dark else EDGE_SHADE
    touched = (rim > 0) & (whole < _SOLID)
    light = light_of(around[touched])
    around[touched] = codes_of(light + strength * rim[touched][:, None] * (tone - light))
    return made
