"""The demonstration artworks, each drawn and read once for all tests that a process runs."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from service import demo_artwork
from service.demo_artwork import DEMO_ARTWORKS
from service.intake import artworks
from service.intake.artworks import ReadPicture, read_upload

DRAWN_ONCE = tuple(replace(artwork, draw=cache(artwork.draw)) for artwork in DEMO_ARTWORKS)
"""The artworks, whose pictures are drawn when they are first asked for."""

_MOST = 10**8
"""Pixels and bytes, of which none of them has so many."""


def drawn(artwork_id: str) -> bytes:
    """The file of a demonstration artwork."""
    return next(artwork.draw() for artwork in DRAWN_ONCE if artwork.id == artwork_id)


@cache
def read_drawn(data: bytes) -> ReadPicture:
    """What an upload of this file gives."""
    return read_upload(data, declared_media_type="image/png", max_pixels=_MOST, max_bytes=_MOST)


def _read_once(
    data: bytes, *, declared_media_type: str | None, max_pixels: int, max_bytes: int
) -> ReadPicture:
    if any(data == artwork.draw() for artwork in DRAWN_ONCE):
        return read_drawn(data)
    return read_upload(
        data,
        declared_media_type=declared_media_type,
        max_pixels=max_pixels,
        max_bytes=max_bytes,
    )


def remember_demo_pictures(patch: pytest.MonkeyPatch) -> None:
    """Let whatever sees to the demonstration artworks take what was made of them before."""
    patch.setattr(demo_artwork, "DEMO_ARTWORKS", DRAWN_ONCE)
    patch.setattr(artworks, "read_upload", _read_once)
