"""Uploaded pictures: what is read, in which colours, and what is refused with which code."""

from __future__ import annotations

import gzip
import struct
import zipfile
import zlib
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageOps

from service.domain.errors import BadInput
from service.intake.pictures import PICTURE_REFUSED, Picture, read_picture

MAX_PIXELS = 1_000_000
MAX_BYTES = 500_000
ORANGE = (200, 100, 50)
ORIENTATION_TAG = 0x0112


def _encoded(image: Image.Image, form: str, **options: Any) -> bytes:
    stream = BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


def _read(data: bytes, declared: str | None = None, max_pixels: int = MAX_PIXELS) -> Picture:
    return read_picture(
        data, declared_media_type=declared, max_pixels=max_pixels, max_bytes=MAX_BYTES
    )


def _refusal(
    data: bytes, declared: str | None = None, max_pixels: int = MAX_PIXELS
) -> tuple[str, str]:
    """Code and detail of the one fault that the picture is refused for."""
    with pytest.raises(BadInput) as refused:
        _read(data, declared, max_pixels)
    (fault,) = refused.value.faults
    assert refused.value.code == PICTURE_REFUSED
    assert fault.parameter == "file"
    assert fault.detail == refused.value.detail
    return fault.code, fault.detail


def _plain(mode: str = "RGB", size: tuple[int, int] = (4, 3)) -> Image.Image:
    return Image.new("RGB", size, ORANGE).convert(mode)


def _noise(side: int = 64) -> Image.Image:
    codes = np.random.default_rng(3).integers(0, 256, (side, side, 3), dtype=np.uint8)
    return Image.fromarray(codes)


def _png(width: int, height: int, *chunks: tuple[bytes, bytes]) -> bytes:
    """A PNG (ISO/IEC 15948, from memory) with that header and those further chunks."""
    header = (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in (header, *chunks, (b"IEND", b""))
    )


@pytest.mark.parametrize(
    ("form", "media_type", "options"),
    [
        ("PNG", "image/png", {}),
        ("JPEG", "image/jpeg", {"quality": 95}),
        ("WEBP", "image/webp", {"lossless": True}),
        ("WEBP", "image/webp", {"quality": 95}),
    ],
)
def test_formats(form: str, media_type: str, options: dict[str, Any]) -> None:
    """PNG, JPEG and WebP are read as upright 8-bit RGBA that nobody can write to."""
    picture = _read(_encoded(_plain(), form, **options), media_type)
    assert picture.media_type == media_type
    assert (picture.width_px, picture.height_px) == (4, 3)
    assert picture.rgba.shape == (3, 4, 4)
    assert picture.rgba.dtype == np.uint8
    assert not picture.rgba.flags.writeable
    assert np.abs(picture.rgba[0, 0].astype(int) - (*ORANGE, 255)).max() <= 3


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "CMYK"])
def test_modes(mode: str) -> None:
    """Grey, palette and CMYK pictures have the colours the decoding library gives them in sRGB."""
    image = _plain(mode)
    form = "JPEG" if mode == "CMYK" else "PNG"
    wanted = np.asarray(image.convert("RGB").convert("RGBA"))
    rgba = _read(_encoded(image, form)).rgba
    assert np.abs(rgba.astype(int) - wanted).max() <= 2


def test_sixteen_bits() -> None:
    """16-bit grey keeps its upper byte, and its transparent grey is transparent."""
    grey = np.full((2, 2), 200 * 256 + 17, dtype=np.uint16)
    grey[0, 0] = 77
    rgba = _read(_encoded(Image.fromarray(grey), "PNG", transparency=77)).rgba
    assert rgba[1, 1].tolist() == [200, 200, 200, 255]
    assert rgba[0, 0, 3] == 0
    opaque = _read(_encoded(Image.fromarray(grey), "PNG")).rgba
    assert opaque[0, 0].tolist() == [0, 0, 0, 255]


def test_transparency_of_a_palette() -> None:
    """Alpha given by palette entry becomes alpha by pixel."""
    image = Image.new("P", (2, 1))
    image.putpalette([10, 20, 30, 40, 50, 60])
    image.putpixel((1, 0), 1)
    rgba = _read(_encoded(image, "PNG", transparency=b"\x80\xff")).rgba
    assert rgba[0].tolist() == [[10, 20, 30, 128], [40, 50, 60, 255]]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_exif_orientation(form: str, orientation: int) -> None:
    """A picture is set upright by its EXIF orientation, as the decoding library would do it."""
    codes = np.arange(18, dtype=np.uint8).reshape(2, 3, 3) * 10
    exif = Image.Exif()
    exif[ORIENTATION_TAG] = orientation
    options = {"lossless": True} if form == "WEBP" else {}
    data = _encoded(Image.fromarray(codes), form, exif=exif, **options)
    with Image.open(BytesIO(data)) as stored:
        wanted = np.asarray(ImageOps.exif_transpose(stored).convert("RGBA"))
    assert _read(data).rgba.tolist() == wanted.tolist()


def test_camera_on_its_side() -> None:
    """Orientation 6 means that row 0 is the right-hand side (EXIF, tag 0x0112)."""
    image = Image.new("RGB", (40, 20))
    image.paste(ORANGE, (0, 0, 40, 10))
    exif = Image.Exif()
    exif[ORIENTATION_TAG] = 6
    picture = _read(_encoded(image, "JPEG", exif=exif))
    assert (picture.width_px, picture.height_px) == (20, 40)
    assert picture.rgba[20, 15, 0] > 150
    assert picture.rgba[20, 5, 0] < 50


@pytest.mark.parametrize("form", ["PNG", "JPEG", "WEBP"])
@pytest.mark.parametrize("entries", [5, 1])
def test_exif_without_orientation(form: str, entries: int) -> None:
    """Metadata that breaks off, or names no orientation, does not cost the picture."""
    directory = struct.pack("<HHHI", entries, 0x011A, 5, 1) + b"\xff" * 9
    exif = b"Exif\0\0II*\0\x08\0\0\0" + directory
    assert _read(_encoded(_plain(), form, exif=exif)).rgba.shape == (3, 4, 4)


def _srgb_profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def test_srgb_profile_changes_nothing() -> None:
    """The codes of a picture that says it is sRGB stay exactly as they are."""
    image = _noise()
    rgba = _read(_encoded(image, "PNG", icc_profile=_srgb_profile())).rgba
    assert rgba[..., :3].tolist() == np.asarray(image).tolist()


def test_profile_is_applied() -> None:
    """A profile whose red and green primaries are exchanged exchanges red and green."""
    swapped = _srgb_profile().replace(b"rXYZ", b"temp", 1).replace(b"gXYZ", b"rXYZ", 1)
    swapped = swapped.replace(b"temp", b"gXYZ", 1)
    image = _plain("RGBA")
    image.putalpha(77)
    rgba = _read(_encoded(image, "PNG", icc_profile=swapped)).rgba
    assert np.abs(rgba[0, 0].astype(int) - (100, 200, 50, 77)).max() <= 1


def _icc_profile(space: bytes, pcs: bytes, tags: Iterable[tuple[bytes, bytes]]) -> bytes:
    """An ICC profile, version 2, of that colour space and tags (ISO 15076-1, from memory)."""
    white = struct.pack(">III", 0xF6D6, 0x10000, 0xD32D)
    tags = [(b"wtpt", b"XYZ \0\0\0\0" + white), *tags]
    at = 128 + 4 + 12 * len(tags)
    table, bodies = struct.pack(">I", len(tags)), b""
    for name, content in tags:
        body = content + b"\0" * (-len(content) % 4)
        table += name + struct.pack(">II", at + len(bodies), len(content))
        bodies += body
    size = at + len(bodies)
    head = struct.pack(">I4sI4s4s4s", size, b"", 0x02100000, b"prtr", space, pcs)
    head += struct.pack(">6H4s28x", 2024, 1, 1, 0, 0, 0, b"acsp") + white
    return head.ljust(128, b"\0") + table + bodies


def test_grey_profile_is_applied() -> None:
    """Linear grey 55 of 255 is the sRGB code 128.4 (IEC 61966-2-1)."""
    linear = (b"kTRC", struct.pack(">4sIIH", b"curv", 0, 1, 0x0100))
    profile = _icc_profile(b"GRAY", b"XYZ ", [linear])
    grey = Image.new("L", (2, 2), 55)
    rgba = _read(_encoded(grey, "PNG", icc_profile=profile)).rgba
    assert np.abs(rgba[0, 0].astype(int) - (128, 128, 128, 255)).max() <= 1


def test_cmyk_profile_is_applied() -> None:
    """An ink said to be a neutral of L* 50 becomes the sRGB grey 119 (CIE 15), not cyan."""
    ramp = bytes(range(256))
    # ISO 15076-1, lut8Type (from memory): 4 inputs, 3 outputs, 2 grid points; cyan alone halves
    # the lightness.
    grid = b"".join(bytes([0 if ink & 1 else 255 >> (ink >> 3), 128, 128]) for ink in range(16))
    matrix = struct.pack(">9I", 65536, 0, 0, 0, 65536, 0, 0, 0, 65536)
    lut = b"mft1\0\0\0\0\x04\x03\x02\0" + matrix + ramp * 4 + grid + ramp * 3
    profile = _icc_profile(b"CMYK", b"Lab ", [(b"A2B0", lut), (b"A2B1", lut)])
    cyan = Image.new("CMYK", (8, 8), (255, 0, 0, 0))
    rgba = _read(_encoded(cyan, "JPEG", quality=100, icc_profile=profile)).rgba
    assert np.abs(rgba[4, 4].astype(int) - (119, 119, 119, 255)).max() <= 2


@pytest.mark.parametrize(
    ("mode", "space"), [("L", b"CMYK"), ("RGB", b"GRAY"), ("RGB", b"CMYK"), ("CMYK", b"GRAY")]
)
def test_profile_of_other_channels_is_passed_over(mode: str, space: bytes) -> None:
    """With a profile made for other channels, a picture counts as sRGB."""
    linear = (b"kTRC", struct.pack(">4sIIH", b"curv", 0, 1, 0x0100))
    image = _plain(mode)
    data = _encoded(image, "JPEG", icc_profile=_icc_profile(space, b"XYZ ", [linear]))
    assert _read(data).rgba.tolist() == _read(_encoded(image, "JPEG")).rgba.tolist()


def test_broken_profile_is_passed_over() -> None:
    """With a profile that cannot be read, a picture counts as sRGB."""
    data = _encoded(_plain(), "PNG", icc_profile=b"no profile " * 20)
    assert _read(data).rgba[0, 0].tolist() == [*ORANGE, 255]


def test_extreme_sides() -> None:
    """One pixel, and one pixel by 20,000, are pictures."""
    assert _read(_encoded(_plain(size=(1, 1)), "PNG")).rgba.shape == (1, 1, 4)
    assert _read(_encoded(_plain(size=(1, 20_000)), "PNG")).rgba.shape == (20_000, 1, 4)


def test_empty_file() -> None:
    """No bytes are no picture."""
    assert _refusal(b"")[0] == "picture-empty"


def test_too_many_bytes() -> None:
    """The byte limit is checked first; the value and the limit are named."""
    code, detail = _refusal(b"x" * (MAX_BYTES + 1))
    assert code == "picture-too-large"
    assert "500,001" in detail
    assert "500,000" in detail


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"PK\x03\x04" + b"\0" * 40, "ZIP"),
        (b"%PDF-1.7", "PDF"),
        (b"GIF89a", "GIF"),
        (b"<html><body/></html>", "no SVG"),
        (b"II+\0\x08\0\0\0", "BigTIFF"),
        (
            gzip.compress(b"<svg xmlns='http://www.w3.org/2000/svg'/>", mtime=0),
            "has to be unpacked first",
        ),
        (b"\x89PNG\r\n", "something else"),
        (b"hello", "something else"),
    ],
)
def test_other_content(data: bytes, kind: str) -> None:
    """A file is told by its first bytes, whatever it is called; the detail says what it is."""
    code, detail = _refusal(data, "image/png")
    assert code == "picture-type-unknown"
    assert kind in detail
    assert "PNG, JPEG, WebP, TIFF or SVG" in detail


def test_declared_as_another_type() -> None:
    """A file sent as what it is not is refused, and both types are named."""
    code, detail = _refusal(_encoded(_plain(), "PNG"), "image/jpeg")
    assert code == "picture-type-mismatch"
    assert "image/jpeg" in detail
    assert "image/png" in detail


@pytest.mark.parametrize(
    "declared", [None, "", "image/jpg", "IMAGE/JPEG; q=1", "application/octet-stream"]
)
def test_declared_loosely(declared: str | None) -> None:
    """No claim, a general one, or another spelling of the same type is no contradiction."""
    assert _read(_encoded(_plain(), "JPEG"), declared).media_type == "image/jpeg"


@pytest.mark.parametrize("form", ["PNG", "JPEG", "WEBP"])
@pytest.mark.parametrize("share", [0.05, 0.5, 0.99])
def test_truncated(form: str, share: float) -> None:
    """A file that breaks off is refused as such, wherever it does."""
    data = _encoded(_noise(), form)
    code, detail = _refusal(data[: int(len(data) * share)])
    assert code == "picture-truncated"
    assert f"{int(len(data) * share):,} bytes" in detail


def test_damaged() -> None:
    """A whole file with a damaged middle is unreadable, not truncated."""
    data = bytearray(_encoded(_noise(), "PNG"))
    data[len(data) // 2] ^= 0xFF
    assert _refusal(bytes(data))[0] == "picture-unreadable"


def test_no_side_is_zero() -> None:
    """A header that claims no pixels is not believed."""
    assert _refusal(_png(0, 5, (b"IDAT", zlib.compress(b""))))[0] == "picture-unreadable"


def test_too_many_pixels_by_header() -> None:
    """A header of 30,000 x 30,000 is refused before decoding; value and limit are named."""
    code, detail = _refusal(_png(30_000, 30_000))
    assert code == "picture-too-many-pixels"
    assert "30,000 x 30,000" in detail
    assert "900,000,000" in detail
    assert "1,000,000" in detail


@pytest.mark.parametrize(
    ("form", "options"), [("PNG", {}), ("JPEG", {}), ("WEBP", {}), ("WEBP", {"lossless": True})]
)
def test_pixel_limit_is_exact(form: str, options: dict[str, Any]) -> None:
    """As many pixels as the limit are taken, one more is not."""
    data = _encoded(_plain(size=(20, 10)), form, **options)
    assert _read(data, max_pixels=200).width_px == 20
    assert _refusal(data, max_pixels=199)[0] == "picture-too-many-pixels"


def test_huge_canvas_of_webp() -> None:
    """The extended WebP header is believed before the decoder sets memory aside for it."""
    still = _encoded(_plain("RGBA", size=(20, 10)), "WEBP", exif=b"Exif\0\0II*\0", lossless=True)
    assert still[12:16] == b"VP8X"
    huge = still[:24] + b"\xff\x3f\0\xff\x3f\0" + still[30:]
    code, detail = _refusal(huge)
    assert code == "picture-too-many-pixels"
    assert "16,384 x 16,384" in detail


def test_header_that_lies() -> None:
    """A header within the limit with too little data behind it is refused."""
    assert _refusal(_png(900, 900, (b"IDAT", zlib.compress(b"\0" * 50))))[0] == "picture-unreadable"


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_animated(form: str) -> None:
    """Two frames are one too many."""
    frames = [Image.new("RGB", (5, 5), (red, 0, 0)) for red in (0, 99)]
    data = _encoded(frames[0], form, save_all=True, append_images=frames[1:])
    code, detail = _refusal(data)
    assert code == "picture-animated"
    assert "more than 1 frame" in detail


@pytest.mark.parametrize("frames", [0, 2**31 + 1])
def test_odd_animation_control(frames: int) -> None:
    """An animation that claims no frames, or too many, is refused without a warning."""
    control = (b"acTL", struct.pack(">II", frames, 0))
    pixels = (b"IDAT", zlib.compress(b"\0" * 4))
    assert _refusal(_png(1, 1, control, pixels))[0] == "picture-animated"


def test_animation_of_one_frame() -> None:
    """An animation control that says one frame makes a still picture."""
    control = (b"acTL", struct.pack(">II", 1, 0))
    frame = (b"fcTL", struct.pack(">5I2H2B", 0, 1, 1, 0, 0, 0, 0, 0, 0))
    pixels = (b"IDAT", zlib.compress(b"\0\x09\x08\x07"))
    assert _read(_png(1, 1, control, frame, pixels)).rgba.tolist() == [[[9, 8, 7, 255]]]


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_fully_transparent(form: str) -> None:
    """A picture in which nothing shows is refused."""
    data = _encoded(Image.new("RGBA", (9, 9), (255, 0, 0, 0)), form)
    code, detail = _refusal(data)
    assert code == "picture-transparent"
    assert "alpha 0" in detail


def test_file_of_endless_parts() -> None:
    """A file of tens of thousands of empty parts is refused before a decoder walks them."""
    code, detail = _refusal(b"\xff\xd8" + b"\xff\xfe\0\2" * 70_000)
    assert code == "picture-unreadable"
    assert "65,536" in detail
    scans = _encoded(_plain(), "JPEG")[:-2] + b"\xff\xda\0\2" * 101 + b"\xff\xd9"
    code, detail = _refusal(scans)
    assert code == "picture-unreadable"
    assert "100 scans" in detail


def _archive() -> bytes:
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("page.html", "<p>")
        archive.comment = b"a note"
    return stream.getvalue()


@pytest.mark.parametrize("form", ["PNG", "JPEG", "WEBP", "TIFF"])
def test_polyglots(form: str) -> None:
    """A picture that is an archive, a page or a document as well is refused."""
    picture = _encoded(_noise(), form)
    for other, kind in [(_archive(), "ZIP"), (b"<HTML><script>x</script>", "web page")]:
        code, detail = _refusal(picture + other)
        assert code == "picture-polyglot"
        assert kind in detail
    assert zipfile.is_zipfile(BytesIO(picture + _archive()))
    page = _encoded(_noise(), "JPEG", comment=b"<script>x()</script>")
    assert _refusal(page)[0] == "picture-polyglot"
    document = _encoded(_noise(), "JPEG", comment=b"%PDF-1.7")
    assert _refusal(document)[0] == "picture-polyglot"


def test_other_bytes_behind_a_picture() -> None:
    """What cameras put behind a picture does not cost it."""
    picture = _encoded(_noise(), "JPEG")
    behind = b"\0\0\0\x18ftypmp42" + bytes(500) + b"PK\x05\x06" + bytes(40)
    assert _read(picture + behind).rgba.tolist() == _read(picture).rgba.tolist()


def test_a_palette_of_too_many_entries() -> None:
    """One that claims 65,535 entries, where 256 are most (ISO/IEC 15948, 11.2.2, from memory)."""
    head = struct.pack(">IIBBBBB", 2, 1, 8, 3, 0, 0, 0)
    chunks = [
        (b"IHDR", head),
        (b"PLTE", bytes(3 * 65_535)),
        (b"IDAT", zlib.compress(b"\0\0\1")),
        (b"IEND", b""),
    ]
    data = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )
    assert _refusal(data)[0] == "picture-unreadable"


def test_no_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Running out of memory is a refusal that names the limit, not a crash."""

    def fail(_: Image.Image) -> None:
        raise MemoryError

    monkeypatch.setattr("service.intake.pictures.rgba_srgb", fail)
    code, detail = _refusal(_encoded(_plain(), "PNG"))
    assert code == "picture-too-many-pixels"
    assert "1,000,000" in detail


def test_threads_do_not_share_limits() -> None:
    """Pictures read side by side under different limits each keep their own."""
    before = Image.MAX_IMAGE_PIXELS
    data = _encoded(_plain(size=(100, 100)), "PNG")

    def outcome(limit: int) -> bool:
        try:
            return _read(data, max_pixels=limit).width_px == 100
        except BadInput:
            return False

    limits = [9_999, 10_000] * 50
    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(outcome, limits)) == [limit == 10_000 for limit in limits]
    assert before == Image.MAX_IMAGE_PIXELS


def _outcome(data: bytes) -> str:
    """The code of the refusal, or that it was read."""
    try:
        picture = _read(data)
    except BadInput as refused:
        return refused.faults[0].code
    height, width, _ = picture.rgba.shape
    as_told = (picture.width_px, picture.height_px) == (width, height)
    return "picture-read" if as_told else "sides differ"


_SEEDS = [
    _encoded(_noise(12), "PNG", icc_profile=_srgb_profile()),
    _encoded(_plain("P"), "PNG", transparency=b"\x01\x02"),
    _encoded(_noise(12), "JPEG", exif=b"Exif\0\0II*\0\x08\0\0\0\1\0\x12\1\3\0\1\0\0\0\6\0\0\0"),
    _encoded(_noise(12), "WEBP", icc_profile=_srgb_profile()),
    _encoded(_noise(12), "WEBP", lossless=True),
]
_EDIT = st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 8), st.binary(max_size=8))


@settings(max_examples=150)
@given(st.sampled_from(_SEEDS), st.lists(_EDIT, min_size=1, max_size=5))
def test_any_bytes_are_read_or_refused(seed: bytes, edits: list[tuple[float, int, bytes]]) -> None:
    """However the bytes of a picture are cut and changed, it is read or refused, never worse."""
    data = bytearray(seed)
    for place, cut, inserted in edits:
        at = int(place * len(data))
        data[at : at + cut] = inserted
    assert _outcome(bytes(data)).startswith("picture-")
