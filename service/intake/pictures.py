"""Reading an uploaded picture into pixels, within bounds, whatever the bytes are.

PNG, JPEG, WebP, TIFF and SVG are told by their content, not by a name. The pixel count is read from
the header before anything is decoded; a drawing has none, and is drawn at a size chosen here. All
refusals are ``BadInput`` with one fault of parameter ``file``.

The decoders are called by class, not through ``PIL.Image.open``: that keeps every other format out
and leaves the library's process-wide pixel limit alone, which threads could not set apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

from service.domain.errors import BadInput
from service.intake import picture_bytes
from service.intake.picture_bytes import JPEG, MOST_PARTS, MOST_SCANS, PNG, SVG, TIFF, WEBP
from service.intake.picture_colours import inverted_grey, pixels_of, rgba_srgb
from service.intake.picture_refusals import PICTURE_REFUSED, refuse, refuse_transparent
from service.intake.picture_tiff import cut_tiff
from service.intake.svg_drawing import draw_svg

__all__ = ["PICTURE_REFUSED", "Picture", "read_picture"]

_SAY_NOTHING = frozenset({"", "application/octet-stream"})
_SAME_TYPE = {
    **dict.fromkeys(("image/jpg", "image/pjpeg"), JPEG),
    **dict.fromkeys(("image/tif", "image/x-tiff"), TIFF),
    **dict.fromkeys(("image/svg", "text/xml", "application/xml"), SVG),
}
_KNOWN_TYPES = "PNG, JPEG, WebP, TIFF or SVG"
_OTHER_KINDS = (
    (b"PK\x03\x04", "a ZIP archive"),
    (b"%PDF", "a PDF document"),
    (b"GIF8", "a GIF picture"),
    (b"\x1f\x8b", "packed with gzip; a packed SVG has to be unpacked first"),
    (b"II+\x00", "a BigTIFF picture"),
    (b"MM\x00+", "a BigTIFF picture"),
    (b"<", "a text document that is no SVG"),
)
_MODES_WITH_ALPHA = frozenset({"RGBA", "LA", "La", "PA", "RGBa"})
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What sets a picture upright, by its EXIF orientation; 1 is upright already."""


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A still picture: ``rgba`` is (height, width, 4), 8-bit sRGB, straight alpha, read-only.

    It stands upright, as its EXIF orientation asks; nothing else of its metadata is kept.
    """

    rgba: NDArray[np.uint8]
    media_type: str
    width_px: int
    height_px: int


def read_picture(
    data: bytes, *, declared_media_type: str | None, max_pixels: int, max_bytes: int
) -> Picture:
    """Decode a PNG, JPEG, WebP, TIFF or SVG of at most ``max_bytes`` and ``max_pixels``.

    ``declared_media_type`` is what the sender called it, None if nothing. Raises ``BadInput`` with
    a fault of code picture-empty, picture-too-large, picture-type-unknown, picture-type-mismatch,
    picture-too-many-pixels, picture-truncated, picture-animated, picture-transparent,
    picture-polyglot, picture-unreadable, picture-tiff-kind, or, for a drawing, picture-svg- and
    one of script, reference, entities, text, image, element, style, size, too-complex.
    """
    _check_length(data, max_bytes)
    media_type = _media_type(data)
    _check_declared(media_type, declared_media_type)
    _check_pixels(picture_bytes.claimed_size(data, media_type), max_pixels)
    _check_parts(data, media_type)
    if media_type != SVG:
        _check_alone(data, media_type)
    try:
        rgba = _decoded(data, media_type, max_pixels)
    except BadInput:
        raise
    except (MemoryError, Image.DecompressionBombError):
        refuse(
            "picture-too-many-pixels",
            "The picture needs more memory to decode than there is, though it keeps within the "
            f"limit of {max_pixels:,} pixels. Send it with fewer pixels.",
        )
    except Exception:  # noqa: BLE001  # decoders raise all kinds on hostile bytes; none may escape
        _refuse_undecodable(data, media_type)
    if not rgba[..., 3].any():
        refuse_transparent()
    height, width, _ = rgba.shape
    return Picture(rgba, media_type, width, height)


class _PlainJpeg(JpegImageFile):
    """A JPEG whose EXIF block is not searched for a print resolution.

    The library would warn about a broken block, and what a warning does is the process's choice.
    """

    def _read_dpi_from_exif(self) -> None:
        """Leave the resolution alone; artwork has none of its own."""


_DECODERS: dict[str, type[ImageFile]] = {PNG: PngImageFile, JPEG: _PlainJpeg, WEBP: WebPImageFile}


def _decoded(data: bytes, media_type: str, max_pixels: int) -> NDArray[np.uint8]:
    """Upright pixels (height, width, 4) in sRGB; whatever the decoder raises on broken bytes."""
    if media_type == SVG:
        return draw_svg(data, max_pixels)
    if media_type == TIFF:
        return _decoded_tiff(data, max_pixels)
    # The library warns about odd animation chunks of a PNG instead of refusing them.
    if media_type == PNG and picture_bytes.claims_frames(data):
        _refuse_animated()
    with _DECODERS[media_type](BytesIO(data)) as image:
        _check_pixels(image.size, max_pixels)
        if getattr(image, "is_animated", False):
            _refuse_animated()
        image.load()
        _check_visible(image)
        # Asked for after loading: some files name their orientation behind their pixels.
        turn = _TURNS.get(picture_bytes.orientation(image.info.get("exif")))
        picture = rgba_srgb(image)
    return pixels_of(picture.transpose(turn) if turn is not None else picture)


def _decoded_tiff(data: bytes, max_pixels: int) -> NDArray[np.uint8]:
    cut = cut_tiff(data)
    _check_pixels((cut.width_px, cut.height_px), max_pixels)
    with TiffImageFile(BytesIO(cut.data)) as image:
        image.load()
        _check_visible(image)
        turn = _TURNS.get(cut.orientation)
        if cut.profile is not None:
            image.info["icc_profile"] = cut.profile
        picture = rgba_srgb(inverted_grey(image) if cut.inverted else image)
    return pixels_of(picture.transpose(turn) if turn is not None else picture)


def _check_length(data: bytes, max_bytes: int) -> None:
    if not data:
        refuse(
            "picture-empty",
            f"The file has 0 bytes; at least 1 is needed. Send a {_KNOWN_TYPES} picture.",
        )
    if len(data) > max_bytes:
        refuse(
            "picture-too-large",
            f"The file has {len(data):,} bytes; the limit is {max_bytes:,}. "
            "Send it with fewer pixels or better compressed.",
        )


def _media_type(data: bytes) -> str:
    media_type = picture_bytes.media_type_of(data)
    if media_type is None:
        start = data[:64].lstrip()
        kinds = (kind for magic, kind in _OTHER_KINDS if start.startswith(magic))
        refuse(
            "picture-type-unknown",
            f"By its first bytes the file is {next(kinds, 'something else')}; pictures are "
            f"{_KNOWN_TYPES}. Export the artwork as one of these; renaming the file does not "
            "change what it is.",
        )
    return media_type


def _check_declared(media_type: str, declared: str | None) -> None:
    said = (declared or "").partition(";")[0].strip().lower()
    said = _SAME_TYPE.get(said, said)
    if said not in _SAY_NOTHING and said != media_type:
        refuse(
            "picture-type-mismatch",
            f"The file is sent as {said[:60]}, and its content is {media_type}. "
            f"Send it as {media_type}, or send the file that was meant.",
        )


def _check_pixels(size: tuple[int, int] | None, max_pixels: int) -> None:
    if size is not None and size[0] * size[1] > max_pixels:
        width, height = size
        refuse(
            "picture-too-many-pixels",
            f"The picture is {width:,} x {height:,} pixels, {width * height:,} in all; the limit "
            f"is {max_pixels:,}. Send it smaller: 300 pixels per inch of print are plenty.",
        )


def _check_parts(data: bytes, media_type: str) -> None:
    if picture_bytes.has_too_many_parts(data, media_type):
        refuse(
            "picture-unreadable",
            f"The file is cut into more parts than are taken: {MOST_PARTS:,} chunks or segments, "
            f"{MOST_SCANS} scans. Open it in a picture program and export it again.",
        )


def _check_alone(data: bytes, media_type: str) -> None:
    other = picture_bytes.also_read_as(data)
    if other is not None:
        refuse(
            "picture-polyglot",
            f"The file is {media_type} and at the same time {other}. "
            "Open it in a picture program and export it again.",
        )


def _check_visible(image: Image.Image) -> None:
    """Refuse a decoded picture whose alpha is 0 all over before any copy of it is made."""
    if image.mode in _MODES_WITH_ALPHA and image.getbbox(alpha_only=True) is None:
        refuse_transparent()


def _refuse_animated() -> NoReturn:
    refuse(
        "picture-animated",
        "The picture has more than 1 frame; artwork has exactly 1. Export the frame to be printed "
        "as a still picture.",
    )


def _refuse_undecodable(data: bytes, media_type: str) -> NoReturn:
    if picture_bytes.ends_early(data, media_type):
        refuse(
            "picture-truncated",
            f"The file breaks off after {len(data):,} bytes, before the end of its {media_type} "
            "data. Send the whole file again.",
        )
    refuse(
        "picture-unreadable",
        f"The file begins like {media_type}, but its data is damaged and cannot be decoded. "
        "Open it in a picture program and export it again.",
    )
