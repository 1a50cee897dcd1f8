"""Large pictures, drawn here: an artwork with soft edges and fine parts, and a photograph."""

from __future__ import annotations

import io
import struct
import zlib
from functools import cache

import cv2
import numpy as np
from PIL import Image

ARTWORK_PX = (3_000, 3_600)
PHOTOGRAPH_PX = (4_000, 5_000)
QUALITY = 92
_SEED = 20_260_302


@cache
def artwork_png() -> bytes:
    """An RGBA PNG, width by height ``ARTWORK_PX``: discs, rings, combs of bars and a soft glow."""
    width, height = ARTWORK_PX
    pixels = np.zeros((height, width, 4), dtype=np.uint8)
    chance = np.random.default_rng(_SEED)
    for index in range(40):
        centre = tuple(int(v) for v in chance.integers((250, 250), (width - 250, height - 250)))
        colour = (*(int(v) for v in chance.integers(0, 255, 3) // 64 * 64), 255)
        radius = int(chance.integers(40, 240))
        thickness = -1 if index % 2 else max(4, radius // 8)
        cv2.circle(pixels, centre, radius, colour, thickness, cv2.LINE_AA)
    for index in range(60):
        left, bar = 200 + 43 * index, 2 + index // 4
        pixels[3_000:3_400, left : left + bar] = (20, 20, 22, 255)
    rows, columns = np.ogrid[0:height, 0:width]
    away = np.hypot((rows - 700.0).astype("f4"), (columns - 2_200.0).astype("f4"))
    glow = np.clip(255 * (1 - away / 500), 0, 255).astype(np.uint8)
    clear = pixels[..., 3] < glow
    pixels[clear] = (242, 122, 26, 0)
    pixels[..., 3] = np.maximum(pixels[..., 3], glow)
    return _saved(pixels, "PNG", compress_level=6)


@cache
def photograph_jpeg() -> bytes:
    """A JPEG, width by height ``PHOTOGRAPH_PX``: light and dark in all sizes, with grain."""
    width, height = PHOTOGRAPH_PX
    chance = np.random.default_rng(_SEED)
    total = np.full((height, width, 3), 110, dtype=np.float32)
    for cells in (4, 16, 64, 256):
        coarse = chance.normal(0, 60 / cells**0.4, (cells, cells, 3)).astype("f4")
        total += cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    total += chance.normal(0, 5, (height, width, 1)).astype("f4")
    return _saved(np.clip(total, 0, 255).astype(np.uint8), "JPEG", quality=QUALITY)


def told_apart(data: bytes, number: int) -> bytes:
    """The same pixels in a file of other bytes: with a comment that holds the number.

    In a PNG it is a tEXt chunk behind the header (ISO/IEC 15948, 11.3.4.3), in a JPEG a COM segment
    (ITU-T T.81, B.2.4.5; both places from memory).
    """
    comment = b"copy %d" % number
    if data.startswith(b"\xff\xd8"):
        return data[:2] + b"\xff\xfe" + struct.pack(">H", len(comment) + 2) + comment + data[2:]
    body = b"Comment\0" + comment
    chunk = struct.pack(">I", len(body)) + b"tEXt" + body
    return data[:33] + chunk + struct.pack(">I", zlib.crc32(chunk[4:])) + data[33:]


def _saved(pixels: np.ndarray, kind: str, **how: int) -> bytes:
    kept = io.BytesIO()
    Image.fromarray(pixels).save(kept, format=kind, **how)
    return kept.getvalue()
