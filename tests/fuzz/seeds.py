"""Small whole pictures of every kind, to be mutated."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from io import BytesIO
from typing import Any

import numpy as np
from PIL import Image, ImageCms

_SVG_HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
_GRADIENT_CLIP_MASK = (
    f'{_SVG_HEAD} width="30mm" height="20mm" viewBox="0 0 60 40"><title>t</title><defs>'
    '<linearGradient id="g" gradientUnits="userSpaceOnUse" x1="0" x2="60"><stop offset="0" '
    'stop-color="#f00"/><stop offset="100%" stop-color="rgb(0,0,255)" stop-opacity=".4"/>'
    '</linearGradient><clipPath id="c"><circle cx="30" cy="20" r="18"/></clipPath>'
    '<mask id="m"><rect width="60" height="40" fill="#fff" fill-opacity=".7"/></mask></defs>'
    '<g clip-path="url(#c)"><rect width="100%" height="40" fill="url(#g)"/></g>'
    '<g mask="url(#m)"><path d="M5 5h20v20H5zM8 8v10h5z" fill-rule="evenodd"/></g></svg>'
)
_STYLES_CURVES_COPY = (
    f'{_SVG_HEAD} viewBox="-5 -5 50 50"><style>.a,.b{{fill:#0a0}} #k{{stroke:red;stroke-width:2}}'
    '</style><g id="k" transform="rotate(10 5 5) scale(.9)"><path class="a" d="M0 0C5 9 9 5 20 20S'
    '9 9 3 30q3 3 4 1t5 5A8 9 0 01 30 30a2 2 0 1 0-5 4z"/></g><use xlink:href="#k" x="9" y="3" '
    'opacity=".5"/><polygon points="1,2 30,4 20,30" stroke-dasharray="2 1"/>'
    '<ellipse cx="20" cy="9" rx="5" ry="3" style="fill:none;stroke:#123"/><line x2="9" y2="9"/>'
    "</svg>"
)


def _codes(channels: int, depth: type = np.uint8) -> np.ndarray[Any, Any]:
    most = np.iinfo(depth).max
    noise = np.random.default_rng(5).integers(0, most, (12, 17, channels), dtype=depth)
    noise[3:9, 4:12] = most // 2
    return noise


def _encoded(image: Image.Image, form: str, **options: Any) -> bytes:
    stream = BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


def _profile() -> bytes:
    swapped = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return swapped.replace(b"rXYZ", b"temp", 1).replace(b"gXYZ", b"rXYZ", 1)


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = 6
    return exif


def _pngs() -> list[bytes]:
    rgb, grey = Image.fromarray(_codes(3)), Image.fromarray(_codes(1, np.uint16)[..., 0])
    frames = [rgb, rgb.rotate(180)]
    return [
        _encoded(rgb, "PNG", icc_profile=_profile(), exif=_exif()),
        _encoded(Image.fromarray(_codes(4)), "PNG"),
        _encoded(rgb.convert("P"), "PNG", transparency=b"\x80\xff"),
        _encoded(rgb.convert("LA"), "PNG"),
        _encoded(grey, "PNG", transparency=7),
        _encoded(rgb.convert("1"), "PNG"),
        _encoded(frames[0], "PNG", save_all=True, append_images=frames[1:]),
    ]


def _jpegs() -> list[bytes]:
    rgb = Image.fromarray(_codes(3))
    return [
        _encoded(rgb, "JPEG", exif=_exif(), icc_profile=_profile()),
        _encoded(rgb, "JPEG", progressive=True, quality=60),
        _encoded(rgb.convert("CMYK"), "JPEG"),
        _encoded(rgb.convert("L"), "JPEG", restart_marker_blocks=1),
    ]


def _webps() -> list[bytes]:
    rgb, rgba = Image.fromarray(_codes(3)), Image.fromarray(_codes(4))
    return [
        _encoded(rgb, "WEBP", exif=_exif(), icc_profile=_profile()),
        _encoded(rgba, "WEBP", lossless=True),
        _encoded(rgba, "WEBP", quality=50),
        _encoded(rgb, "WEBP", save_all=True, append_images=[rgb.rotate(180)]),
    ]


def _tiffs() -> list[bytes]:
    rgb, rgba = Image.fromarray(_codes(3)), Image.fromarray(_codes(4))
    grey = Image.fromarray(_codes(1, np.uint16)[..., 0])
    return [
        _encoded(rgb, "TIFF", compression="tiff_lzw", icc_profile=_profile(), exif=_exif()),
        _encoded(rgba, "TIFF", compression="tiff_adobe_deflate"),
        _encoded(rgb.convert("CMYK"), "TIFF", compression="packbits"),
        _encoded(rgb, "TIFF", compression="jpeg"),
        _encoded(rgb.convert("P"), "TIFF"),
        _encoded(grey, "TIFF", compression="tiff_lzw"),
        _encoded(rgba, "TIFF", tiffinfo={278: 4}),
        _encoded(rgb, "TIFF", save_all=True, append_images=[rgb]),
    ]


_MAKERS: dict[str, Callable[[], list[bytes]]] = {
    "png": _pngs,
    "jpeg": _jpegs,
    "webp": _webps,
    "tiff": _tiffs,
    "svg": lambda: [_GRADIENT_CLIP_MASK.encode(), _STYLES_CURVES_COPY.encode()],
}
KINDS = tuple(_MAKERS)


@cache
def seeds_of(kind: str) -> tuple[bytes, ...]:
    """Pictures of that kind, the same each time."""
    return tuple(_MAKERS[kind]())
