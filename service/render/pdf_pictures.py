"""PNG pictures in a PDF: a plain one goes in as it is, any other is decoded first."""

from __future__ import annotations

import hashlib
import io
import struct
from dataclasses import dataclass
from typing import Any

from PIL import Image
from reportlab.lib.utils import ImageReader  # type: ignore[import-untyped] # it has no types
from reportlab.pdfbase.pdfdoc import (  # type: ignore[import-untyped] # it has no types
    PDFArray,
    PDFDictionary,
    PDFName,
    PDFStream,
)

_SIGNATURE = b"\x89PNG\r\n\x1a\n"


@dataclass(frozen=True, slots=True)
class PlainPng:
    """An RGB picture of 8 bits: its size and its compressed rows."""

    width_px: int
    height_px: int
    rows: bytes


def plain_png(data: bytes) -> PlainPng | None:
    """The picture, where its compressed rows are such as a PDF holds; else None.

    Chunks: W3C PNG specification, 5.3 and 11.2.2, from memory.
    """
    if not data.startswith(_SIGNATURE) or data[12:16] != b"IHDR":
        return None
    width, height, depth, kind, _, _, interlaced = struct.unpack(">IIBBBBB", data[16:29])
    if (depth, kind, interlaced) != (8, 2, 0):
        return None
    rows, at = [], 8
    while at + 8 <= len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        if data[at + 4 : at + 8] == b"IDAT":
            rows.append(data[at + 8 : at + 8 + length])
        at += length + 12
    return PlainPng(width, height, b"".join(rows))


def put_png(canvas: Any, x: float, top: float, width: float, height: float, png: bytes) -> None:  # noqa: ANN401 (the library has no types)
    """Draw a PNG with its upper left corner at x and ``top``, which is measured upwards."""
    plain = plain_png(png)
    size = (plain.width_px, plain.height_px) if plain else Image.open(io.BytesIO(png)).size
    scale = min(width / size[0], height / size[1])
    wide, high = size[0] * scale, size[1] * scale
    if plain is None:
        decoded = Image.open(io.BytesIO(png)).convert("RGB")
        canvas.drawImage(ImageReader(decoded), x, top - high, wide, high)
        return
    name = hashlib.sha256(png).hexdigest()[:32]
    document = canvas._doc  # noqa: SLF001 (the library has no other door for a made stream)
    inside = document.getXObjectName(name)
    if inside not in document.idToObject:
        document.addForm(name, _stream(plain))
    canvas.saveState()
    canvas.translate(x, top - high)
    canvas.scale(wide, high)
    canvas._code.append(f"/{inside} Do")  # noqa: SLF001 (as above)
    canvas.restoreState()
    canvas._formsinuse.append(name)  # noqa: SLF001 (as above)


def _stream(plain: PlainPng) -> Any:  # noqa: ANN401 (the library has no types)
    """The picture as a stream whose filter undoes PNG's own (ISO 32000-1, 7.4.4.4, from memory)."""
    stream = PDFStream(content=plain.rows)
    row = {"Predictor": 15, "Colors": 3, "BitsPerComponent": 8, "Columns": plain.width_px}
    stream.dictionary = PDFDictionary(
        {
            "Type": PDFName("XObject"),
            "Subtype": PDFName("Image"),
            "Width": plain.width_px,
            "Height": plain.height_px,
            "ColorSpace": PDFName("DeviceRGB"),
            "BitsPerComponent": 8,
            "Filter": PDFArray([PDFName("FlateDecode")]),
            "DecodeParms": PDFArray([PDFDictionary(row)]),
        }
    )
    return stream
