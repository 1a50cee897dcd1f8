"""What the bytes of a picture file say of it before anything is decoded.

Nothing here raises on broken bytes: a question the bytes do not answer is answered by what lets
the decoder find the damage.
"""

from __future__ import annotations

import itertools
import re
import struct
from collections.abc import Iterator

PNG = "image/png"
JPEG = "image/jpeg"
WEBP = "image/webp"
TIFF = "image/tiff"
SVG = "image/svg+xml"

MOST_PARTS = 65_536
"""PNG chunks, or JPEG segments and stray bytes ahead of the first scan, that are taken; a decoder
steps through them one by one. Design choice; real files have a few thousand (from memory)."""

MOST_SCANS = 100
"""Scans of a JPEG that are taken, each a pass over the whole picture. Design choice; real files
have up to twenty (from memory)."""

_SVG_ELEMENT = re.compile(rb"<(?:[\w.-]{1,40}:)?svg[\s/>]")
_SVG_WITHIN = 65_536
"""Bytes in which an SVG's outermost element has to begin."""

_ENDS_WITHIN = 65_557
"""Bytes at the end of a ZIP archive in which its end record begins (22 and a note of 65,535)."""
_PAGE = re.compile(rb"<(?:html|script|iframe|!doctype\s+html)[\s>]", re.IGNORECASE)

_JPEG_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD9)})
_JPEG_SCAN = 0xDA


def media_type_of(data: bytes) -> str | None:
    """The media type that the first bytes show, None if it is none of the five."""
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if data.startswith(b"\xff\xd8\xff"):
        return JPEG
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return WEBP
    if data.startswith((b"II*\0", b"MM\0*")):
        return TIFF
    # Ahead of the outermost element of XML may stand a mark of UTF-8, notes and a document type.
    if data[:64].removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<"):
        return SVG if _SVG_ELEMENT.search(data, 0, _SVG_WITHIN) else None
    return None


def claimed_size(data: bytes, media_type: str) -> tuple[int, int] | None:
    """Width and height in the header of a PNG or WebP, None where it says nothing.

    The WebP decoder sets memory aside for the whole canvas as soon as it is made, so its header has
    to be read beforehand. A JPEG's is left to the decoder, which sets nothing aside on opening.
    """
    if media_type == PNG and data[12:16] == b"IHDR" and len(data) >= 24:
        width, height = struct.unpack_from(">II", data, 16)
        return width, height
    if media_type == WEBP and len(data) >= 30:
        return _webp_size(data)
    return None


def _webp_size(data: bytes) -> tuple[int, int] | None:
    chunk = data[12:16]
    if chunk == b"VP8X":
        width, height = (int.from_bytes(data[at : at + 3], "little") for at in (24, 27))
        return width + 1, height + 1
    if chunk == b"VP8L":
        (bits,) = struct.unpack_from("<I", data, 21)
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if chunk == b"VP8 ":
        width, height = struct.unpack_from("<HH", data, 26)
        return width & 0x3FFF, height & 0x3FFF
    return None


def has_too_many_parts(data: bytes, media_type: str) -> bool:
    """Whether stepping through the file would take a decoder unreasonably long."""
    if media_type in {WEBP, TIFF, SVG}:
        return False
    parts = _png_chunks(data) if media_type == PNG else _jpeg_parts(data)
    if next(itertools.islice(parts, MOST_PARTS, None), None) is not None:
        return True
    # Within a scan, FF is always followed by 00 or a restart mark, so this counts scans alone.
    return media_type == JPEG and data.count(bytes((0xFF, _JPEG_SCAN))) > MOST_SCANS


def claims_frames(data: bytes) -> bool:
    """Whether a PNG has animation control chunks that say anything but a single frame."""
    controls = [data[at + 8 : at + 12] for at, kind in _png_chunks(data) if kind == b"acTL"]
    return bool(controls) and controls != [b"\0\0\0\1"]


def _png_chunks(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Where each chunk begins, and its kind."""
    at = 8
    while at + 12 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        yield at, kind
        at += 12 + length


def _jpeg_parts(data: bytes) -> Iterator[tuple[int, int]]:
    """Where each segment or stray byte ahead of the first scan begins, and its second byte."""
    at = 2
    while at + 4 <= len(data):
        mark, kind, length = struct.unpack_from(">BBH", data, at)
        if mark == 0xFF and kind == _JPEG_SCAN:
            return
        yield at, kind
        if mark != 0xFF or kind in (0x00, 0xFF):
            at += 1
        else:
            at += 2 if kind in _JPEG_WITHOUT_LENGTH else 2 + length


def also_read_as(data: bytes) -> str | None:
    """What else a reader of other files would take a raster file for, None if nothing.

    Archives are found from their end, pages and documents from their beginning. Other bytes behind
    a picture are no fault: cameras put moving pictures and previews there.
    """
    tail = data[-_ENDS_WITHIN:]
    end = tail.rfind(b"PK\x05\x06")
    if end >= 0 and len(tail) >= end + 22:
        (note,) = struct.unpack_from("<H", tail, end + 20)
        if end + 22 + note == len(tail):
            return "a ZIP archive"
    if b"%PDF-" in data[:1_024]:
        return "a PDF document"
    if _PAGE.search(data, 0, _ENDS_WITHIN) or _PAGE.search(tail):
        return "a web page"
    return None


def ends_early(data: bytes, media_type: str) -> bool:
    """Whether the mark that ends such a file is missing."""
    if media_type == PNG:
        return b"IEND" not in data[-4096:]
    if media_type == WEBP:
        return int.from_bytes(data[4:8], "little") + 8 > len(data)
    if media_type in {TIFF, SVG}:
        # The one tells what is missing by its directory, the other by its elements.
        return False
    return not data.rstrip(b"\0").endswith(b"\xff\xd9")


def orientation(exif: bytes | None) -> int:
    """The orientation, tag 0x0112, in the first directory of an EXIF block; 1 if it names none.

    Read here because the decoding library warns about broken blocks, and looks into XMP as well.
    """
    tiff = (exif or b"").removeprefix(b"Exif\0\0")
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 1
    try:
        (directory,) = struct.unpack_from(f"{order}I", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, directory)
        for at in range(directory + 2, directory + 2 + 12 * count, 12):
            tag, kind, _, value = struct.unpack_from(f"{order}HHIH", tiff, at)
            if (tag, kind) == (0x0112, 3):
                return int(value)
    except struct.error:
        return 1
    return 1
