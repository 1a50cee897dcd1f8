"""Files made from whole pictures by a few random edits; a number always gives the same file."""

from __future__ import annotations

import random
import re
import struct
import zlib
from collections.abc import Callable

from tests.fuzz.seeds import seeds_of

_LENGTHS = (
    0,
    1,
    2,
    3,
    4,
    7,
    8,
    255,
    256,
    32_767,
    32_768,
    65_535,
    65_536,
    2**31 - 1,
    2**31,
    2**32 - 1,
)
_VALUES = (
    *("0", "-1", "1e9", "-1e30", "nan", "1e-30", "100%", "5em", "url(#a)", "url(#k)", "url(#m)"),
    *("url(http://a.example/b#c)", "none", "#k", "#", "9" * 400, "M0 0" + "L9 9" * 500, "", "red"),
    *("rotate(45)", "matrix(1 0 0 0 0 0)", "scale(1e6)", "objectBoundingBox", "0 0 0 0", ".0001"),
)
_SNIPPETS = (
    *("<script>x()</script>", "<g>" * 70 + "</g>" * 70, "<text>a</text>", "&amp;&lt;", "<!-- -->"),
    *(
        "<image href='data:image/png;base64,AA'/>",
        "<style>@import 'a';</style>",
        "<use href='#k'/>",
    ),
    *("<g opacity='.5'><rect width='60' height='40'/></g>" * 20, "<symbol id='s'/>", "<![CDATA["),
    *("<filter id='f'><feFlood/></filter>", "<animate attributeName='x'/>", "<a/>", "]]>", "&x;"),
    *("<rect width='9' height='9' stroke='red' stroke-dasharray='.001'/>", "<style>a{}</style>"),
    *("<path d='M0 0A1e6 1 0 0 1 9 9' stroke='#000' stroke-width='1e5'/>", "<svg/>", "<?xml-x?>"),
)


def mutated(kind: str, seed: int, number: int) -> bytes:
    """The file of that number."""
    chance = random.Random(f"{seed}:{kind}:{number}")  # noqa: S311 - repeatable, not secret
    data = bytearray(chance.choice(seeds_of(kind)))
    edits = _EDITS + _BY_KIND[kind] * (12 if kind == "svg" else 3)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        if data:
            chance.choice(edits)(data, chance, kind)
    return bytes(data)


Edit = Callable[[bytearray, random.Random, str], None]


def _flip(data: bytearray, chance: random.Random, _: str) -> None:
    for _bit in range(chance.choice((1, 1, 2, 8))):
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)


def _cut(data: bytearray, chance: random.Random, _: str) -> None:
    at = chance.randrange(len(data))
    end = len(data) if chance.random() < 0.3 else at + chance.randrange(1, 40)
    del data[at:end]


def _splice(data: bytearray, chance: random.Random, kind: str) -> None:
    other = chance.choice(seeds_of(chance.choice((kind, kind, "png", "tiff"))))
    start = chance.randrange(len(other))
    at = chance.randrange(len(data))
    data[at : at + chance.choice((0, 8, 10_000))] = other[start : start + chance.randrange(1, 400)]


def _repeat(data: bytearray, chance: random.Random, _: str) -> None:
    at = chance.randrange(len(data))
    part = data[at : at + chance.randrange(1, 60)]
    data[at:at] = part * chance.choice((1, 2, 50))


def _length(data: bytearray, chance: random.Random, _: str) -> None:
    form = chance.choice(("<H", ">H", "<I", ">I"))
    size = struct.calcsize(form)
    if len(data) > size:
        number = chance.choice(_LENGTHS) & (2 ** (8 * size) - 1)
        struct.pack_into(form, data, chance.randrange(len(data) - size), number)


def _png_chunk(data: bytearray, chance: random.Random, _: str) -> None:
    """Change, drop or double a chunk, its checksum made right (ISO/IEC 15948, from memory)."""
    places, at = [], 8
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        places.append((at, min(length, len(data) - at - 12)))
        at += 12 + length
    if not places:
        return
    at, length = chance.choice(places)
    chunk = data[at : at + 12 + length]
    what = chance.randrange(4)
    if what == 0:
        del data[at : at + 12 + length]
    elif what == 1:
        data[at:at] = chunk * chance.choice((1, 3))
    else:
        if what == 2 and length:
            chunk[8 + chance.randrange(length)] = chance.randrange(256)
        elif length > 4:
            struct.pack_into(">I", chunk, 8, chance.choice(_LENGTHS))
        struct.pack_into(">I", chunk, 8 + length, zlib.crc32(chunk[4 : 8 + length]))
        data[at : at + 12 + length] = chunk


def _jpeg_segment(data: bytearray, chance: random.Random, _: str) -> None:
    """Change the kind, the length or a byte of a segment, or double it."""
    marks = [found.start() for found in re.finditer(rb"\xff[\xc0-\xfe]", data)]
    if not marks:
        return
    at = chance.choice(marks)
    what = chance.randrange(4)
    if what == 0:
        data[at + 1] = chance.randrange(0xC0, 0xFF)
    elif what == 1 and at + 4 <= len(data):
        struct.pack_into(">H", data, at + 2, chance.choice(_LENGTHS) & 0xFFFF)
    elif what == 2:
        data[min(at + chance.randrange(2, 20), len(data) - 1)] = chance.choice(
            (0, 1, 2, 4, 17, 255)
        )
    else:
        data[at:at] = data[at : at + chance.randrange(4, 80)] * chance.choice((1, 120))


def _webp_chunk(data: bytearray, chance: random.Random, _: str) -> None:
    """Change the length or kind of a chunk, or the sides of the canvas."""
    kinds = (b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"EXIF", b"ICCP", b"RIFF")
    marks = [found.start() for kind in kinds for found in re.finditer(kind, data)]
    if not marks:
        return
    at = chance.choice(marks)
    if chance.random() < 0.3:
        data[at : at + 4] = chance.choice(kinds)
    elif at + 18 <= len(data):
        struct.pack_into("<I", data, at + chance.choice((4, 8, 11, 14)), chance.choice(_LENGTHS))


def _tiff_entry(data: bytearray, chance: random.Random, _: str) -> None:
    """Change the tag, kind, count or value of an entry of the directory (TIFF 6.0, from memory)."""
    order = "<" if data[:2] == b"II" else ">"
    try:
        (start,) = struct.unpack_from(f"{order}I", data, 4)
        (count,) = struct.unpack_from(f"{order}H", data, start)
        at = start + 2 + 12 * chance.randrange(max(1, count))
        place, form, told = chance.choice(
            [
                (
                    0,
                    "H",
                    chance.choice((256, 257, 258, 273, 278, 279, 320, 322, 323, 324, 338, 347)),
                ),
                (2, "H", chance.randrange(14)),
                (4, "I", chance.choice(_LENGTHS)),
                (8, "I", chance.choice((*_LENGTHS, 5, 6, 7, 32_773, start))),
                (8, "H", chance.choice((0, 1, 2, 3, 4, 5, 6, 8, 12, 16, 32))),
            ]
        )
        struct.pack_into(f"{order}{form}", data, at + place, told)
    except struct.error:
        return


def _svg_attribute(data: bytearray, chance: random.Random, _: str) -> None:
    found = list(re.finditer(rb'([\w:-]+)="([^"]*)"', data))
    if found:
        which = chance.choice(found)
        place = which.span(2)
        told = chance.choice(_VALUES)
        if chance.random() < 0.2:
            place = which.span(1)
            told = chance.choice(
                ("filter", "onload", "mask", "clip-path", "href", "d", "id", "style")
            )
        data[place[0] : place[1]] = told.encode()


def _svg_element(data: bytearray, chance: random.Random, _: str) -> None:
    places = [found.start() for found in re.finditer(rb"<\w", data)]
    if not places:
        return
    at = chance.choice(places)
    if chance.random() < 0.6:
        data[at:at] = chance.choice(_SNIPPETS).encode()
    else:
        end = chance.choice(places)
        data[at:at] = data[min(at, end) : max(at, end)] * chance.choice((1, 1, 30))


_EDITS: tuple[Edit, ...] = (_flip, _cut, _splice, _repeat, _length)
_BY_KIND: dict[str, tuple[Edit, ...]] = {
    "png": (_png_chunk,),
    "jpeg": (_jpeg_segment,),
    "webp": (_webp_chunk,),
    "tiff": (_tiff_entry,),
    "svg": (_svg_attribute, _svg_element),
}
