"""Colours of read pictures beside littleCMS, called directly through the imaging library.

The reference takes the source profile, the sRGB profile, relative colorimetric intent and black
point compensation, as is common for press work (common practice, no source).
"""

from __future__ import annotations

import struct
import zlib
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms

from service.intake.pictures import read_picture
from tests.intake.test_pictures_profiles import cmyk_profile, grey_profile, wide_profile

LOSSLESS: dict[str, dict[str, Any]] = {
    "PNG": {},
    "TIFF": {"compression": "tiff_lzw"},
    "WEBP": {"lossless": True, "exact": True},
}


def _rgba(data: bytes) -> np.ndarray[Any, np.dtype[np.int64]]:
    picture = read_picture(data, declared_media_type=None, max_pixels=10**6, max_bytes=10**7)
    return picture.rgba.astype(int)


def _encoded(image: Image.Image, form: str, **options: Any) -> bytes:
    stream = BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


def _patches(channels: int) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Random patches, and the corners of the colour cube among them."""
    codes = np.random.default_rng(4).integers(0, 256, (24, 32, channels), dtype=np.uint8)
    corners = np.indices((2,) * channels).reshape(channels, -1).T * 255
    codes[0, : len(corners)] = corners
    return codes


def _by_reference(image: Image.Image, profile: bytes) -> np.ndarray[Any, np.dtype[np.int64]]:
    told = ImageCms.profileToProfile(
        image,
        ImageCms.ImageCmsProfile(BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    assert told is not None
    return np.asarray(told).astype(int)


@pytest.mark.parametrize("form", LOSSLESS)
def test_rgb_with_a_profile(form: str) -> None:
    """Wide-gamut patches come out within 1 code of the reference, with their alpha untouched."""
    image = Image.fromarray(_patches(3))
    wanted = _by_reference(image, wide_profile())
    alpha = Image.fromarray(_patches(1)[..., 0] | 1)
    image.putalpha(alpha)
    rgba = _rgba(_encoded(image, form, icc_profile=wide_profile(), **LOSSLESS[form]))
    assert np.abs(rgba[..., :3] - wanted).max() <= 1
    assert (rgba[..., 3] == np.asarray(alpha)).all()
    assert np.abs(wanted - np.asarray(image)[..., :3].astype(int)).max() > 20


@pytest.mark.parametrize("form", ["PNG", "TIFF"])
def test_grey_with_a_profile(form: str) -> None:
    """Grey ramps of a linear profile come out within 1 code of the reference."""
    image = Image.fromarray(np.arange(256, dtype=np.uint8).reshape(8, 32))
    wanted = _by_reference(image, grey_profile())
    rgba = _rgba(_encoded(image, form, icc_profile=grey_profile(), **LOSSLESS[form]))
    assert np.abs(rgba[..., :3] - wanted).max() <= 1


def test_cmyk_tiff_with_a_profile() -> None:
    """Inks of a press profile come out within 1 code of the reference."""
    image = Image.frombytes("CMYK", (32, 24), _patches(4).tobytes())
    wanted = _by_reference(image, cmyk_profile())
    rgba = _rgba(_encoded(image, "TIFF", icc_profile=cmyk_profile(), compression="raw"))
    assert np.abs(rgba[..., :3] - wanted).max() <= 1


def _blocks() -> Image.Image:
    """CMYK patches of 16 x 16 pixels, which JPEG at full quality keeps to a code or two."""
    inks = np.repeat(np.repeat(_patches(4)[:3, :8], 16, axis=0), 16, axis=1)
    return Image.frombytes("CMYK", (128, 48), inks.tobytes())


def test_inverted_cmyk_jpeg() -> None:
    """A CMYK JPEG holds its inks inverted; with a profile they come out as the reference has them.

    Source: the decoded inks of the imaging library, put through littleCMS.
    """
    data = _encoded(_blocks(), "JPEG", quality=100, subsampling=0, icc_profile=cmyk_profile())
    with Image.open(BytesIO(data)) as stored:
        assert stored.mode == "CMYK"
        assert np.abs(np.asarray(stored).astype(int) - np.asarray(_blocks())).max() <= 6
        wanted = _by_reference(stored, cmyk_profile())
    assert np.abs(_rgba(data)[..., :3] - wanted).max() <= 1


@pytest.mark.parametrize("form", ["JPEG", "TIFF"])
def test_cmyk_without_a_profile(form: str) -> None:
    """Without a profile, red is what cyan and black leave: (1 - C)(1 - K), and so on.

    Common practice, no source.
    """
    image = _blocks()
    options = {"quality": 100, "subsampling": 0} if form == "JPEG" else {"compression": "raw"}
    inks = np.asarray(image).astype(float) / 255
    wanted = 255 * (1 - inks[..., :3]) * (1 - inks[..., 3:])
    rgba = _rgba(_encoded(image, form, **options))
    assert np.abs(rgba[..., :3] - wanted).max() <= (8 if form == "JPEG" else 1.5)
    assert np.abs(rgba[..., :3] - wanted).mean() <= 1.5


@pytest.mark.parametrize("form", ["PNG", "TIFF"])
def test_grey_with_alpha(form: str) -> None:
    """Grey with alpha keeps both."""
    codes = _patches(2)
    image = Image.frombytes("LA", (32, 24), codes.tobytes())
    rgba = _rgba(_encoded(image, form, **LOSSLESS[form]))
    assert (rgba[..., :3] == codes[..., :1]).all()
    assert (rgba[..., 3] == codes[..., 1]).all()


@pytest.mark.parametrize("mode", ["LA", "RGB", "RGBA"])
def test_sixteen_bit_png(mode: str) -> None:
    """Within 1 code of the picture divided by 257 (ISO/IEC 15948, 13.12, from memory)."""
    channels = len(mode)
    codes = np.random.default_rng(9).integers(0, 65_536, (20, 10, channels), dtype=np.uint16)
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in codes)
    colour = {"LA": 4, "RGB": 2, "RGBA": 6}[mode]
    head = struct.pack(">IIBBBBB", 10, 20, 16, colour, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in ((b"IHDR", head), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    )
    wanted = codes / 257
    rgba = _rgba(data)
    shown = rgba[..., [0, 3]] if mode == "LA" else rgba[..., :channels]
    assert np.abs(shown - wanted).max() <= 1


def test_white_is_zero_with_a_profile() -> None:
    """A TIFF in which 0 is white and a profile is embedded is turned round before it is applied."""
    codes = np.arange(256, dtype=np.uint8).reshape(8, 32)
    wanted = _by_reference(Image.fromarray(255 - codes), grey_profile())
    image = Image.fromarray(codes)
    plain = _encoded(image, "TIFF", icc_profile=grey_profile(), tiffinfo={262: 1})
    entry = struct.pack("<HHIHH", 262, 3, 1, 1, 0)
    assert plain.count(entry) == 1
    rgba = _rgba(plain.replace(entry, struct.pack("<HHIHH", 262, 3, 1, 0, 0)))
    assert np.abs(rgba[..., :3] - wanted).max() <= 1
