"""A TIFF file (TIFF 6.0, from memory) cut down to the one picture in it, before a decoder sees it.

The directory is read here, each entry checked, and a new directory written that holds nothing but
what decoding needs. So the decoding library meets no further pages, no loops, no notes of cameras
and no counts that lie; it would warn about some of these, and what a warning does is the process's
choice. Strips, tiles, the samples in them and their compression stay the decoder's business.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NoReturn

from service.intake.picture_refusals import refuse

MOST_STRIPS = 65_536
"""Strips or tiles that are taken. Design choice."""
MOST_PROFILE_BYTES = 8_000_000
"""Bytes of a colour profile that are taken. Design choice; press profiles have up to four million
(from memory)."""

_BYTE, _SHORT, _LONG, _UNDEFINED = 1, 3, 4, 7
_SIZES = {_BYTE: 1, 2: 1, _SHORT: 2, _LONG: 4, _UNDEFINED: 1}
_WIDTH, _LENGTH, _BITS, _COMPRESSION, _PHOTOMETRIC = 256, 257, 258, 259, 262
_ORIENTATION, _SAMPLES, _PREDICTOR, _PALETTE = 274, 277, 317, 320
_TILE_WIDTH, _TILE_LENGTH, _SAMPLE_FORMAT, _TABLES, _PROFILE = 322, 323, 339, 347, 34_675
_OFFSETS = frozenset({273, 324})
_SINGLE = frozenset(
    {
        *(_WIDTH, _LENGTH, _COMPRESSION, _PHOTOMETRIC, 266, _ORIENTATION, _SAMPLES, 278, 284),
        *(_PREDICTOR, _TILE_WIDTH, _TILE_LENGTH, 332),
    }
)
_MOST = {
    **dict.fromkeys((_BITS, 338, _SAMPLE_FORMAT), 6),
    **dict.fromkeys((273, 279, 324, 325), MOST_STRIPS),
    530: 2,
    _PALETTE: 3 * 256,
}
"""Tags with several whole numbers, and how many at most."""
_COMPRESSIONS = {
    1: "none",
    5: "LZW",
    7: "JPEG",
    8: "Deflate",
    32_773: "PackBits",
    32_946: "Deflate",
}
_PHOTOMETRICS = frozenset({0, 1, 2, 3, 5, 6})
"""Grey (white or black is 0), RGB, palette, CMYK, and YCbCr, which only JPEG may hold."""


@dataclass(frozen=True, slots=True)
class CutTiff:
    """A file with nothing but its picture, and what the decoder need not know."""

    data: bytes
    width_px: int
    height_px: int
    orientation: int
    """As in EXIF; the sides are those before it is set upright."""
    inverted: bool
    """Whether 0 is white in 16 bits, which the decoding library passes over."""
    profile: bytes | None


def cut_tiff(data: bytes) -> CutTiff:
    """The picture of a TIFF file. Raises ``BadInput`` for several pages and what is not read."""
    order = "<" if data[:2] == b"II" else ">"
    try:
        (start,) = struct.unpack_from(f"{order}I", data, 4)
        entries, following = _entries(data, order, start)
        if following:
            _refuse_pages()
        values = {tag: _values(data, order, *entry) for tag, entry in entries.items()}
    except struct.error:
        _refuse_truncated(data)
    single = {tag: told[0] for tag, told in values.items() if tag in _SINGLE and told}
    _check(single, values)
    _check_strips(data, values)
    profile = _profile(data, entries.get(_PROFILE))
    return CutTiff(
        data=_written(data, order, values, entries.get(_TABLES)),
        width_px=single[_WIDTH],
        height_px=single[_LENGTH],
        orientation=single.get(_ORIENTATION, 1),
        inverted=single.get(_PHOTOMETRIC, 0) == 0 and 16 in values.get(_BITS, ()),
        profile=profile,
    )


_Entry = tuple[int, int, int]
"""Kind of number, how many, and where they lie."""


def _entries(data: bytes, order: str, start: int) -> tuple[dict[int, _Entry], int]:
    """The entries of the directory by tag, the first of each, and where another begins."""
    (count,) = struct.unpack_from(f"{order}H", data, start)
    entries: dict[int, _Entry] = {}
    for at in range(start + 2, start + 2 + 12 * count, 12):
        tag, kind, many, place = struct.unpack_from(f"{order}HHII", data, at)
        within = many * _SIZES.get(kind, 8) <= 4
        entries.setdefault(tag, (kind, many, at + 8 if within else place))
    (following,) = struct.unpack_from(f"{order}I", data, start + 2 + 12 * count)
    return entries, following


def _values(data: bytes, order: str, kind: int, many: int, place: int) -> tuple[int, ...]:
    """The whole numbers of an entry; none of another kind or of more than are taken."""
    letter = {_BYTE: "B", _SHORT: "H", _LONG: "I"}.get(kind)
    if letter is None or many > MOST_STRIPS:
        return ()
    return struct.unpack_from(f"{order}{many}{letter}", data, place)


def _check(single: Mapping[int, int], values: Mapping[int, tuple[int, ...]]) -> None:
    for tag in _MOST.keys() & values.keys():
        if not 0 < len(values[tag]) <= _MOST[tag]:
            _refuse_damaged(f"tag {tag} has too many or no values")
    if min(single.get(_WIDTH, 0), single.get(_LENGTH, 0)) < 1:
        _refuse_damaged("it names no width or height")
    compression = single.get(_COMPRESSION, 1)
    if compression not in _COMPRESSIONS:
        names = ", ".join(dict.fromkeys(_COMPRESSIONS.values()))
        _refuse_kind(f"compression {compression}; taken are {names}")
    photometric = single.get(_PHOTOMETRIC, 0)
    if photometric not in _PHOTOMETRICS or (photometric == 6 and compression != 7):
        _refuse_kind(f"colour space {photometric}; taken are grey, RGB, palette and CMYK")
    bits = set(values.get(_BITS, (1,)))
    if not bits <= {1, 2, 4, 8, 16} or set(values.get(_SAMPLE_FORMAT, (1,))) != {1}:
        _refuse_kind("numbers that are not whole ones of 8 or 16 bits")
    if photometric == 3 and len(values.get(_PALETTE, ())) != 3 * 2 ** min(*bits, 8):
        _refuse_damaged("its palette does not fit its depth")
    _check_tiles(single)


def _check_tiles(single: Mapping[int, int]) -> None:
    """A decoder sets aside a whole tile, however small the picture is."""
    across, down = single.get(_TILE_WIDTH, 1), single.get(_TILE_LENGTH, 1)
    around = (single[_WIDTH] + 4_096) * (single[_LENGTH] + 4_096)
    if across < 1 or down < 1 or across * down > around:
        _refuse_damaged(f"its tiles of {across:,} x {down:,} pixels do not fit it")


def _check_strips(data: bytes, values: Mapping[int, tuple[int, ...]]) -> None:
    for places, sizes in ((273, 279), (324, 325)):
        ends = map(sum, zip(values.get(places, ()), values.get(sizes, ()), strict=False))
        if max(ends, default=0) > len(data):
            _refuse_truncated(data)


def _profile(data: bytes, entry: _Entry | None) -> bytes | None:
    """The colour profile, if it lies in the file whole."""
    if entry is None or _SIZES.get(entry[0]) != 1 or not 4 < entry[1] <= MOST_PROFILE_BYTES:
        return None
    profile = data[entry[2] : entry[2] + entry[1]]
    return profile if len(profile) == entry[1] else None


def _written(
    data: bytes, order: str, values: Mapping[int, tuple[int, ...]], tables: _Entry | None
) -> bytes:
    """The same file with a directory at its end of what decoding needs, and that alone."""
    body = bytearray(data)
    if len(body) % 2:
        body.append(0)
    entries: list[tuple[int, int, int, bytes]] = []
    kept = (_SINGLE | _MOST.keys()) - {_ORIENTATION}
    for tag in kept & values.keys():
        told = values[tag][:1] if tag in _SINGLE else values[tag]
        if told:
            short = max(told) < 65_536 and tag not in _OFFSETS
            packed = struct.pack(f"{order}{len(told)}{'H' if short else 'I'}", *told)
            entries.append((tag, _SHORT if short else _LONG, len(told), packed))
    if tables is not None and _SIZES.get(tables[0]) == 1:
        packed = data[tables[2] : tables[2] + tables[1]]
        entries.append((_TABLES, _UNDEFINED, len(packed), packed))
    lines = bytearray(struct.pack(f"{order}H", len(entries)))
    for tag, kind, many, packed in sorted(entries):
        place = packed.ljust(4, b"\0")
        if len(packed) > 4:
            place = struct.pack(f"{order}I", len(body))
            body += packed + b"\0" * (len(packed) % 2)
        lines += struct.pack(f"{order}HHI4s", tag, kind, many, place)
    struct.pack_into(f"{order}I", body, 4, len(body))
    return bytes(body + lines + b"\0\0\0\0")


def _refuse_truncated(data: bytes) -> NoReturn:
    refuse(
        "picture-truncated",
        f"The file breaks off after {len(data):,} bytes, before the end of its image/tiff data. "
        "Send the whole file again.",
    )


def _refuse_pages() -> NoReturn:
    refuse(
        "picture-animated",
        "The TIFF file has more than 1 page (a preview counts as one); artwork has exactly 1. "
        "Export the page to be printed as a file of its own.",
    )


def _refuse_damaged(what: str) -> NoReturn:
    refuse(
        "picture-unreadable",
        f"The file begins like image/tiff, but {what}. "
        "Open it in a picture program and export it again.",
    )


def _refuse_kind(what: str) -> NoReturn:
    refuse(
        "picture-tiff-kind",
        f"The TIFF file has {what}. Export it with 8 bits per channel and LZW compression, "
        "or as PNG.",
    )
