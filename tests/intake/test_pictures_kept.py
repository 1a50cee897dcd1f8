"""What is kept of a picture: its pixels whole, and nothing else of the upload."""

from __future__ import annotations

import hashlib
import struct
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from service.intake.picture_keeping import clean_file
from service.intake.pictures import Picture, read_picture

SECRET = b"SecretPlaceAndCamera"


def _picture(rgba: Any) -> Picture:
    height, width, _ = rgba.shape
    return Picture(rgba, "image/png", width, height)


def _read(data: bytes) -> Picture:
    return read_picture(data, declared_media_type=None, max_pixels=10**6, max_bytes=10**7)


@settings(max_examples=60)
@given(st.integers(1, 40), st.integers(1, 40), st.integers(0, 2**32 - 1), st.sampled_from([0, 255]))
def test_pixels_come_back(width: int, height: int, seed: int, least_alpha: int) -> None:
    """Every pixel comes back exactly, also a colour under an alpha of 0, and bytes repeat."""
    rgba = np.random.default_rng(seed).integers(0, 256, (height, width, 4), dtype=np.uint8)
    rgba[..., 3] = np.maximum(rgba[..., 3] & 0xC0, least_alpha)
    kept = clean_file(_picture(rgba))
    assert clean_file(_picture(rgba.copy())) == kept
    # As an independent decoder sees it.
    with Image.open(BytesIO(kept)) as image:
        assert (np.asarray(image.convert("RGBA")) == rgba).all()


def _saved(form: str, **options: Any) -> bytes:
    image = Image.fromarray(np.random.default_rng(2).integers(0, 256, (9, 8, 3), dtype=np.uint8))
    stream = BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


def _exif() -> Image.Exif:
    """EXIF with a maker, a model, a comment and a place (tags 0x010F, 0x0110, 0x9286, 0x8825)."""
    exif = Image.Exif()
    exif[0x010F] = exif[0x0110] = SECRET.decode()
    exif.get_ifd(0x8769)[0x9286] = SECRET
    exif.get_ifd(0x8825)[0x001D] = SECRET.decode()
    return exif


def _png() -> bytes:
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Comment", SECRET.decode())
    notes.add_itxt("XML:com.adobe.xmp", SECRET.decode())
    return _saved("PNG", exif=_exif(), pnginfo=notes, dpi=(300, 300)) + SECRET


def _jpeg() -> bytes:
    """With EXIF, XMP, a comment, and IPTC in a segment of its own (marker APP13)."""
    data = _saved("JPEG", exif=_exif(), comment=SECRET, xmp=SECRET)
    return data[:2] + b"\xff\xed" + struct.pack(">H", 2 + len(SECRET)) + SECRET + data[2:] + SECRET


def _tiff() -> bytes:
    notes = {
        270: SECRET.decode(),
        305: SECRET.decode(),
        700: SECRET,
        33_723: SECRET,
        34_377: SECRET,
    }
    return _saved("TIFF", exif=_exif(), tiffinfo=notes) + SECRET


def _webp() -> bytes:
    return _saved("WEBP", exif=_exif(), xmp=SECRET, lossless=True)


def _svg() -> bytes:
    return (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><!--' + SECRET + b"-->"
        b"<title>" + SECRET + b"</title><metadata>" + SECRET + b"</metadata>"
        b'<rect id="' + SECRET + b'" width="5" height="5"/></svg>'
    )


@pytest.mark.parametrize("make", [_png, _jpeg, _tiff, _webp, _svg])
def test_nothing_else_is_kept(make: Any) -> None:
    """Place, camera, comment and programs' notes of every format are gone; pixels are not."""
    data = make()
    assert SECRET in data
    picture = _read(data)
    kept = clean_file(picture)
    assert SECRET not in kept
    assert (_read(kept).rgba == picture.rgba).all()
    kinds, at = set(), 8
    while at < len(kept):
        length, kind = struct.unpack_from(">I4s", kept, at)
        kinds.add(kind)
        at += 12 + length
    # ISO/IEC 15948 (from memory): these three alone make a picture.
    assert kinds == {b"IHDR", b"IDAT", b"IEND"}


def test_kept_is_upright() -> None:
    """What is kept stands upright and says nothing of having been turned."""
    exif = _exif()
    exif[0x0112] = 6
    picture = _read(_saved("PNG", exif=exif))
    again = _read(clean_file(picture))
    assert (again.width_px, again.height_px) == (9, 8)
    assert (again.rgba == picture.rgba).all()


def test_bytes_of_a_known_picture() -> None:
    """The kept file of one picture is the same from one process and run to the next."""
    rgba = np.arange(64, dtype=np.uint8).reshape(4, 4, 4)
    first = hashlib.sha256(clean_file(_picture(rgba))).hexdigest()
    assert {hashlib.sha256(clean_file(_picture(rgba))).hexdigest() for _ in range(5)} == {first}
