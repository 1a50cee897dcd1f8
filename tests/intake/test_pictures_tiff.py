"""TIFF pictures: which are read, in which colours, and what is refused with which code."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from io import BytesIO
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from service.domain.errors import BadInput
from service.intake.pictures import Picture, read_picture

ORIENTATION_TAG = 0x0112
SHORT, LONG = 3, 4


def _encoded(image: Image.Image, **options: Any) -> bytes:
    stream = BytesIO()
    image.save(stream, "TIFF", **options)
    return stream.getvalue()


def _read(data: bytes, max_pixels: int = 1_000_000) -> Picture:
    return read_picture(
        data, declared_media_type="image/tiff", max_pixels=max_pixels, max_bytes=10**7
    )


def _refusal(data: bytes, max_pixels: int = 1_000_000) -> tuple[str, str]:
    with pytest.raises(BadInput) as refused:
        _read(data, max_pixels)
    (fault,) = refused.value.faults
    return fault.code, fault.detail


def _noise(channels: int = 3) -> np.ndarray[Any, np.dtype[np.uint8]]:
    return np.random.default_rng(7).integers(0, 256, (40, 30, channels), dtype=np.uint8)


def _tiff(
    entries: Sequence[tuple[int, int, tuple[int, ...]]],
    pixels: bytes,
    order: str = "<",
    after: int = 0,
) -> bytes:
    """A TIFF with the pixels at byte 8, the directory behind (TIFF 6.0, section 2, from memory)."""
    body = bytearray((b"II*\0" if order == "<" else b"MM\0*") + bytes(4) + pixels)
    lines = b""
    for tag, kind, told in sorted(entries):
        packed = struct.pack(f"{order}{len(told)}{'H' if kind == SHORT else 'I'}", *told)
        place = packed.ljust(4, b"\0")
        if len(packed) > 4:
            place = struct.pack(f"{order}I", len(body))
            body += packed
        lines += struct.pack(f"{order}HHI4s", tag, kind, len(told), place)
    struct.pack_into(f"{order}I", body, 4, len(body))
    return (
        bytes(body)
        + struct.pack(f"{order}H", len(entries))
        + lines
        + struct.pack(f"{order}I", after)
    )


def _strip(
    width: int,
    height: int,
    bits: tuple[int, ...],
    photometric: int,
    pixels: bytes,
    extra: tuple[int, ...] = (),
    **options: Any,
) -> bytes:
    """An uncompressed picture in one strip."""
    entries: list[tuple[int, int, tuple[int, ...]]] = [
        (256, LONG, (width,)),
        (257, LONG, (height,)),
        (258, SHORT, bits),
        (259, SHORT, (1,)),
        (262, SHORT, (photometric,)),
        (273, LONG, (8,)),
        (277, SHORT, (len(bits),)),
        (278, LONG, (height,)),
        (279, LONG, (len(pixels),)),
    ]
    if extra:
        entries.append((338, SHORT, extra))
    return _tiff(entries, pixels, **options)


@pytest.mark.parametrize(
    "compression", ["raw", "tiff_lzw", "tiff_adobe_deflate", "tiff_deflate", "packbits"]
)
@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "CMYK"])
def test_modes_and_compressions(mode: str, compression: str) -> None:
    """Each mode and compression gives the pixels the decoding library gives of it."""
    image = Image.fromarray(_noise()).convert(mode)
    data = _encoded(image, compression=compression)
    wanted = (image.convert("RGB") if mode == "CMYK" else image).convert("RGBA")
    picture = _read(data)
    assert picture.media_type == "image/tiff"
    assert picture.rgba.tolist() == np.asarray(wanted).tolist()


def test_jpeg_inside() -> None:
    """Pixels packed as JPEG are near those that were packed."""
    image = Image.fromarray(_noise()).resize((120, 160))
    rgba = _read(_encoded(image, compression="jpeg", quality=98)).rgba
    assert np.abs(rgba[..., :3].astype(int) - np.asarray(image)).mean() < 4


@pytest.mark.parametrize("channels", [1, 3, 4])
def test_sixteen_bits(channels: int) -> None:
    """16 bits lose their lower byte: within 1 code of OpenCV's picture divided by 257."""
    codes = np.random.default_rng(1).integers(0, 65_536, (20, 10, channels), dtype=np.uint16)
    if channels == 4:
        codes[..., 3] |= 0x8000
    written, data = cv2.imencode(".tiff", codes)
    assert written
    rgba = _read(data.tobytes()).rgba
    turned = codes[..., [2, 1, 0, 3][:channels]] if channels > 1 else np.repeat(codes, 3, axis=2)
    wanted = turned.astype(float) / 257
    assert np.abs(rgba[..., : wanted.shape[2]] - wanted).max() <= 1


@pytest.mark.parametrize("order", ["<", ">"])
def test_white_is_zero(order: str) -> None:
    """In photometric 0 code 0 is white, in 8 and in 16 bits (TIFF 6.0, section 8, from memory)."""
    eight = _strip(2, 1, (8,), 0, b"\0\xff", order=order)
    assert _read(eight).rgba[0, :, 0].tolist() == [255, 0]
    if order == "<":
        sixteen = _strip(2, 1, (16,), 0, struct.pack("<2H", 0, 65_535), order=order)
        assert _read(sixteen).rgba[0, :, 0].tolist() == [255, 0]


def test_associated_alpha() -> None:
    """Colour times alpha is divided by it (TIFF 6.0, ExtraSamples 1, from memory)."""
    pixel = bytes([100, 50, 25, 128])
    told = _strip(1, 1, (8,) * 4, 2, pixel, (1,))
    # 100 * 255 / 128 = 199.2
    assert np.abs(_read(told).rgba[0, 0].astype(int) - (199, 100, 50, 128)).max() <= 1
    straight = _strip(1, 1, (8,) * 4, 2, pixel, (2,))
    assert _read(straight).rgba[0, 0].tolist() == [100, 50, 25, 128]
    unspecified = _strip(1, 1, (8,) * 4, 2, pixel, (0,))
    assert _read(unspecified).rgba[0, 0].tolist() == [100, 50, 25, 255]
    grey = _strip(1, 1, (8, 8), 1, bytes([100, 128]), (1,))
    assert np.abs(_read(grey).rgba[0, 0].astype(int) - (199, 199, 199, 128)).max() <= 1


def test_tiles() -> None:
    """A picture in tiles of 16 x 16 comes together (TIFF 6.0, section 15, from memory)."""
    codes = np.arange(32 * 32, dtype=np.uint8).reshape(32, 32)
    tiles = [codes[y : y + 16, x : x + 16].tobytes() for y in (0, 16) for x in (0, 16)]
    entries = [
        (256, LONG, (32,)),
        (257, LONG, (32,)),
        (258, SHORT, (8,)),
        (259, SHORT, (1,)),
        (262, SHORT, (1,)),
        (277, SHORT, (1,)),
        (322, SHORT, (16,)),
        (323, SHORT, (16,)),
        (324, LONG, tuple(8 + 256 * at for at in range(4))),
        (325, LONG, (256,) * 4),
    ]
    assert _read(_tiff(entries, b"".join(tiles))).rgba[..., 0].tolist() == codes.tolist()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("compression", ["raw", "tiff_lzw"])
def test_orientation(orientation: int, compression: str) -> None:
    """A picture is set upright by its own tag, as the decoding library would do it."""
    image = Image.fromarray(_noise()[:4, :6])
    exif = Image.Exif()
    exif[ORIENTATION_TAG] = orientation
    data = _encoded(image, exif=exif, compression=compression)
    image.getexif()[ORIENTATION_TAG] = orientation
    wanted = np.asarray(ImageOps.exif_transpose(image).convert("RGBA"))
    assert _read(data).rgba.tolist() == wanted.tolist()


def test_several_pages() -> None:
    """Two pages are one too many, and so is a directory that points to itself."""
    image = Image.fromarray(_noise())
    code, detail = _refusal(_encoded(image, save_all=True, append_images=[image]))
    assert code == "picture-animated"
    assert "more than 1 page" in detail
    loop = bytearray(_strip(1, 1, (8,), 1, b"\x09"))
    loop[-4:] = loop[4:8]
    assert _refusal(bytes(loop))[0] == "picture-animated"


def test_size_is_read_first() -> None:
    """A directory that claims 60,000 x 60,000 is refused before anything is set aside."""
    code, detail = _refusal(_strip(60_000, 60_000, (8,), 1, b"\0" * 50))
    assert code == "picture-too-many-pixels"
    assert "60,000 x 60,000" in detail
    data = _encoded(Image.fromarray(_noise()))
    assert _read(data, max_pixels=1_200).height_px == 40
    assert _refusal(data, max_pixels=1_199)[0] == "picture-too-many-pixels"


@pytest.mark.parametrize("share", [0.02, 0.3, 0.9, 0.99])
@pytest.mark.parametrize("compression", ["raw", "tiff_lzw"])
def test_truncated(share: float, compression: str) -> None:
    """A file that breaks off is refused as such."""
    data = _encoded(Image.fromarray(_noise()), compression=compression)
    assert _refusal(data[: int(len(data) * share)])[0] == "picture-truncated"


def _with(data: bytes, tag: int, **changes: int) -> bytes:
    """The file with another kind, count or value in the entry of that tag."""
    edited = bytearray(data)
    (start,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, start)
    for at in range(start + 2, start + 2 + 12 * count, 12):
        if struct.unpack_from("<H", data, at)[0] == tag:
            for name, (place, form) in {
                "kind": (2, "<H"),
                "count": (4, "<I"),
                "value": (8, "<I"),
            }.items():
                if name in changes:
                    struct.pack_into(form, edited, at + place, changes[name])
    return bytes(edited)


@pytest.mark.parametrize(
    ("tag", "changes", "code"),
    [
        (256, {"value": 0}, "picture-unreadable"),
        (256, {"kind": 12}, "picture-unreadable"),
        (258, {"count": 4_000_000_000}, "picture-unreadable"),
        (258, {"value": 32}, "picture-tiff-kind"),
        (259, {"value": 4}, "picture-tiff-kind"),
        (262, {"value": 8}, "picture-tiff-kind"),
        (262, {"value": 3}, "picture-unreadable"),
        (273, {"count": 4_000_000_000}, "picture-unreadable"),
        (273, {"value": 4_000_000_000}, "picture-truncated"),
        (279, {"value": 4_000_000_000}, "picture-truncated"),
    ],
)
def test_directories_that_lie(tag: int, changes: dict[str, int], code: str) -> None:
    """Counts, places and kinds that cannot be are refused, each with a code that says why."""
    plain = _strip(5, 4, (8,), 1, bytes(range(20)))
    assert _read(plain).rgba[..., 0].ravel().tolist() == list(range(20))
    assert _refusal(_with(plain, tag, **changes))[0] == code


def test_directory_of_endless_entries() -> None:
    """A directory that claims 65,535 entries breaks off, and one that has them is read."""
    plain = bytearray(_strip(5, 4, (8,), 1, bytes(range(20))))
    (start,) = struct.unpack_from("<I", plain, 4)
    struct.pack_into("<H", plain, start, 65_535)
    assert _refusal(bytes(plain))[0] == "picture-truncated"
    filled = bytes(plain[:-4]) + struct.pack("<HHII", 60_000, 2, 4, 0) * (65_535 - 9) + b"\0" * 4
    assert _read(filled).rgba[..., 0].ravel().tolist() == list(range(20))


def test_huge_tiles() -> None:
    """Tiles of 60,000 x 60,000 for a picture of 20 x 10 are refused before they are set aside."""
    entries = [
        *((256, LONG, (20,)), (257, LONG, (10,)), (258, SHORT, (8,)), (259, SHORT, (5,))),
        *((262, SHORT, (1,)), (277, SHORT, (1,)), (322, LONG, (60_000,)), (323, LONG, (60_000,))),
        *((324, LONG, (8,)), (325, LONG, (50,))),
    ]
    assert _refusal(_tiff(entries, bytes(50)))[0] == "picture-unreadable"


_SEEDS = [
    _encoded(Image.fromarray(_noise()[:8, :8]).convert(mode), compression=compression)
    for mode, compression in [
        *(("RGB", "raw"), ("RGBA", "tiff_lzw"), ("P", "tiff_adobe_deflate"), ("L", "packbits")),
        *(("CMYK", "raw"), ("RGB", "jpeg"), ("LA", "tiff_lzw")),
    ]
]
_EDIT = st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 4), st.binary(max_size=4))


def _outcome(data: bytes) -> str:
    """The code of the refusal, or that it was read."""
    try:
        picture = _read(data)
    except BadInput as refused:
        return refused.faults[0].code
    return "picture-read" if picture.rgba.shape[2] == 4 else "channels are missing"


@settings(max_examples=150)
@given(st.sampled_from(_SEEDS), st.lists(_EDIT, min_size=1, max_size=4))
def test_any_bytes_are_read_or_refused(seed: bytes, edits: list[tuple[float, int, bytes]]) -> None:
    """However the bytes of a TIFF are changed, it is read or refused; no warning escapes."""
    data = bytearray(seed)
    for place, cut, inserted in edits:
        at = max(4, int(place * len(data)))
        data[at : at + cut] = inserted
    assert _outcome(bytes(data)).startswith("picture-")
