"""ICC profiles made for tests (ISO 15076-1, from memory), and that littleCMS takes them."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from io import BytesIO

import pytest
from PIL import ImageCms


def icc_profile(space: bytes, pcs: bytes, tags: Iterable[tuple[bytes, bytes]]) -> bytes:
    """A profile, version 2, of that colour space and tags (ISO 15076-1, section 7, from memory)."""
    white = struct.pack(">III", 0xF6D6, 0x10000, 0xD32D)
    tags = [(b"wtpt", b"XYZ \0\0\0\0" + white), *tags]
    at = 128 + 4 + 12 * len(tags)
    table, bodies = struct.pack(">I", len(tags)), b""
    for name, content in tags:
        table += name + struct.pack(">II", at + len(bodies), len(content))
        bodies += content + b"\0" * (-len(content) % 4)
    size = at + len(bodies)
    head = struct.pack(">I4sI4s4s4s", size, b"", 0x02100000, b"prtr", space, pcs)
    head += struct.pack(">6H4s28x", 2024, 1, 1, 0, 0, 0, b"acsp") + white
    return head.ljust(128, b"\0") + table + bodies


def _curve(gamma: float) -> bytes:
    return struct.pack(">4sIIH", b"curv", 0, 1, round(gamma * 256))


def grey_profile() -> bytes:
    """Grey in proportion to light."""
    return icc_profile(b"GRAY", b"XYZ ", [(b"kTRC", _curve(1.0))])


def wide_profile() -> bytes:
    """Red, green and blue further apart than those of sRGB, gamma 1.8; invented by us."""
    # Columns add up to the white of the connection space (0.9642, 1, 0.8249).
    columns = {
        b"rXYZ": (0.62, 0.30, 0.01),
        b"gXYZ": (0.20, 0.64, 0.05),
        b"bXYZ": (0.1442, 0.06, 0.7649),
    }
    tags = [
        (name, b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(part * 65_536) for part in column)))
        for name, column in columns.items()
    ]
    curves = [(name, _curve(1.8)) for name in (b"rTRC", b"gTRC", b"bTRC")]
    return icc_profile(b"RGB ", b"XYZ ", [*tags, *curves])


def cmyk_profile() -> bytes:
    """A press whose inks darken by halves and pull towards their hues; invented by us."""
    ramp = bytes(range(256))
    grid = b""
    # lut8Type, section 10.10: the last input, black, runs fastest.
    for ink in range(16):
        cyan, magenta, yellow, black = (ink >> 3 & 1, ink >> 2 & 1, ink >> 1 & 1, ink & 1)
        light = round(255 * 0.6**cyan * 0.55**magenta * 0.93**yellow * 0.15**black)
        left = 1 - 0.8 * black
        red_green = 128 + round(left * (70 * magenta - 35 * cyan - 5 * yellow))
        yellow_blue = 128 + round(left * (85 * yellow - 45 * cyan - 5 * magenta))
        grid += bytes([light, red_green, yellow_blue])
    matrix = struct.pack(">9I", 65_536, 0, 0, 0, 65_536, 0, 0, 0, 65_536)
    lut = b"mft1\0\0\0\0\x04\x03\x02\0" + matrix + ramp * 4 + grid + ramp * 3
    return icc_profile(b"CMYK", b"Lab ", [(b"A2B0", lut), (b"A2B1", lut)])


@pytest.mark.parametrize(
    ("profile", "space"),
    [(grey_profile(), "GRAY"), (wide_profile(), "RGB"), (cmyk_profile(), "CMYK")],
)
def test_profiles_are_taken(profile: bytes, space: str) -> None:
    """The reference library reads each profile as one of its colour space."""
    opened = ImageCms.ImageCmsProfile(BytesIO(profile))
    assert opened.profile.xcolor_space.strip() == space
