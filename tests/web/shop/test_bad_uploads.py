"""Uploads that are no usable picture, and forms that cannot be read: refused, and nothing kept."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from tests.web.shop.door import ON_ONE_STORE, Caller, ShopDoor, only_error, refused


def _png(width: int, height: int, data: bytes = b"") -> bytes:
    """A PNG (ISO/IEC 15948, from memory) whose header says so, with any data."""
    header = (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in (header, (b"IDAT", data), (b"IEND", b""))
    )


def _picture() -> bytes:
    kept = io.BytesIO()
    Image.effect_noise((120, 90), 80).save(kept, "PNG")
    return kept.getvalue()


def _zip() -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w") as archive:
        archive.writestr("picture.png", _picture())
    return kept.getvalue()


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_zip, ["PNG", "JPEG", "WebP"]),
        (lambda: _picture()[:-300], []),
        (lambda: _picture()[:30], []),
        (lambda: _png(30_000, 30_000), ["30000", "50000000"]),
        (lambda: _png(0, 10), []),
        (lambda: b"", []),
        (lambda: b"GIF89a" + bytes(40), ["PNG"]),
        (lambda: b"MZ" + bytes(60), ["PNG", "SVG"]),
        (lambda: _picture() + _zip(), ["ZIP"]),
        (lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>", ["image/svg+xml", "image/png"]),
    ],
)
def test_uploads_that_are_no_usable_picture(
    standing_shop: ShopDoor, make: Callable[[], bytes], words: list[str]
) -> None:
    """A zip named .png, a truncated picture and a huge one are refused, and nothing is kept."""
    before = standing_shop.row_counts()["artwork"]
    files = {"file": ("artwork.png", make(), "image/png")}
    response = standing_shop.storefront.send("POST", "/v1/artworks", files=files)
    problem = refused(response, 422, "picture-refused")
    assert only_error(problem)["parameter"] == "file"
    for word in words:
        assert word in problem["detail"].replace(",", "").replace("\N{NO-BREAK SPACE}", "")
    assert standing_shop.row_counts()["artwork"] == before


_SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{}</svg>'
_ENTITIES = '<!DOCTYPE svg [<!ENTITY a "haha"><!ENTITY b "&a;&a;&a;&a;">]>'


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("data", "code"),
    [
        (_SVG.format("<script>x()</script>").encode(), "picture-svg-script"),
        (_SVG.format("<rect fill='url(http://a.example/#b)'/>").encode(), "picture-svg-reference"),
        (_SVG.format("<g>" * 10_000 + "</g>" * 10_000).encode(), "picture-svg-too-complex"),
        ((_ENTITIES + _SVG.format("<title>&b;</title>")).encode(), "picture-svg-entities"),
        (_SVG.format("<text>words</text>").encode(), "picture-svg-text"),
        (b"II*\0\x08\0\0\0\xff\xff", "picture-truncated"),
    ],
)
def test_drawings_and_directories_that_cannot_be_read(
    standing_shop: ShopDoor, data: bytes, code: str
) -> None:
    """What acts, refers elsewhere, swells or breaks off is refused by a code, and nothing kept."""
    before = standing_shop.row_counts()["artwork"]
    files = {"file": ("artwork", data, "application/octet-stream")}
    response = standing_shop.storefront.send("POST", "/v1/artworks", files=files)
    assert only_error(refused(response, 422, "picture-refused"))["code"] == code
    assert standing_shop.row_counts()["artwork"] == before


@ON_ONE_STORE
def test_an_upload_over_the_limit(asking: Caller) -> None:
    """A file of more bytes than an artwork may have is refused with the limit."""
    files = {"file": ("artwork.png", _picture() + bytes(20_000_000), "image/png")}
    response = asking.send("POST", "/v1/artworks", files=files)
    problem = refused(response, 422, "picture-refused")
    assert "20" in problem["detail"]


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("what", "status", "code"),
    [
        (
            {"content": b"nothing", "headers": {"Content-Type": "multipart/form-data; boundary=b"}},
            400,
            "body-not-form",
        ),
        (
            {"content": b"--b--", "headers": {"Content-Type": "multipart/form-data; boundary=b"}},
            422,
            "fields-refused",
        ),
        (
            {"content": b"nothing", "headers": {"Content-Type": "multipart/form-data"}},
            400,
            "body-not-form",
        ),
        ({"data": {"rights_declared": "true"}}, 415, "media-type-unsupported"),
        ({"json": {"file": "x"}}, 415, "media-type-unsupported"),
        ({"files": {"picture": ("a.png", b"x", "image/png")}}, 422, "fields-refused"),
        (
            {"files": {"file": ("a.png", b"x", "image/png")}, "data": {"rights_declared": "maybe"}},
            422,
            "fields-refused",
        ),
    ],
)
def test_forms_that_cannot_be_used(
    asking: Caller, what: dict[str, Any], status: int, code: str
) -> None:
    """A form without its file, with a field that cannot be read, or that is no form."""
    refused(asking.send("POST", "/v1/artworks", **what), status, code)
