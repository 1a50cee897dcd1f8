"""The file that is kept of an artwork: its pixels, and nothing else of what was uploaded."""

from __future__ import annotations

import cv2

from service.intake.pictures import Picture

KEPT_MEDIA_TYPE = "image/png"
_OPTIONS = (
    *(cv2.IMWRITE_PNG_COMPRESSION, 1, cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_UP),
    *(cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE),
)
"""Measured on flat drawings and on photographs: both the quickest and the smallest of the quick."""


def clean_file(picture: Picture) -> bytes:
    """A lossless 8-bit PNG of the upright sRGB pixels, without any metadata.

    The same pixels always give the same bytes. A fully opaque picture is written without alpha; a
    colour hidden under an alpha of 0 is kept as it is.
    """
    opaque = int(picture.rgba[..., 3].min()) == 255
    to_file = cv2.COLOR_RGBA2BGR if opaque else cv2.COLOR_RGBA2BGRA
    written, data = cv2.imencode(".png", cv2.cvtColor(picture.rgba, to_file), _OPTIONS)
    if not written:
        raise MemoryError
    return data.tobytes()
