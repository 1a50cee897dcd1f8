"""What is measured of a customer's picture, and what follows at a print width."""

from __future__ import annotations

from functools import cached_property
from hashlib import sha256
from typing import Annotated

from pydantic import Field

from service.domain.values import Frozen, Share, SrgbHex

MM_PER_INCH = 25.4


class PaletteColour(Frozen):
    """One colour of the artwork and the share of its inked area it covers."""

    srgb: SrgbHex
    share: Share


class InkBox(Frozen):
    """The smallest box of pixels that holds everything not fully transparent."""

    left: Annotated[int, Field(ge=0)]
    top: Annotated[int, Field(ge=0)]
    width: Annotated[int, Field(ge=1)]
    height: Annotated[int, Field(ge=1)]


class ShapeMeasures(Frozen):
    """What a blade or a weeding hand meets: the outline of everything inked.

    Lengths are shares of the ink box's width, so they scale with the print width. ``pieces`` are
    the separate inked areas, ``holes`` the clear areas wholly inside them. ``smallest_feature`` is
    the least width of any part, ``smallest_gap`` that of any clear space between or inside parts
    (local thickness: the diameter of the largest disc that fits); 1 where there is none.
    ``outline_length`` sums all outlines, holes too.
    """

    pieces: Annotated[int, Field(ge=1)]
    holes: Annotated[int, Field(ge=0)]
    outline_length: Annotated[float, Field(gt=0)]
    smallest_feature: Annotated[float, Field(gt=0)]
    smallest_gap: Annotated[float, Field(gt=0)]


class ArtworkMeasures(Frozen):
    """Measures of an artwork, taken once from its pixels.

    ``opaque_share`` is the share of the ink box's pixels with alpha above 250 of 255,
    ``soft_alpha_share`` of those from 5 to 250. ``near_white_share`` is the share of the inked
    area with L* above 97. The palette covers the inked area and is sorted by falling share.
    A print width always means the width of the ink box.

    ``shapes`` is measured on what is inked. ``photo_like`` is True where colours run into each
    other instead of lying flat, ``background_srgb`` is the colour of a uniform opaque border on
    all four sides, None if there is none. ``shapes`` and ``photo_like`` are None for a picture
    measured before these were; rules then say that they do not know.
    """

    width_px: Annotated[int, Field(ge=1)]
    height_px: Annotated[int, Field(ge=1)]
    ink_box: InkBox
    has_alpha: bool
    opaque_share: Share
    soft_alpha_share: Share
    near_white_share: Share
    palette: Annotated[tuple[PaletteColour, ...], Field(min_length=1, max_length=16)]
    shapes: ShapeMeasures | None = None
    photo_like: bool | None = None
    background_srgb: SrgbHex | None = None

    @cached_property
    def key(self) -> str:
        """The same for equal measures, and quick to compare: what is remembered of an artwork."""
        return sha256(self.model_dump_json().encode()).hexdigest()

    def height_mm_at(self, width_mm: float) -> float:
        """Height in mm of the ink box when it is printed ``width_mm`` wide."""
        return width_mm * self.ink_box.height / self.ink_box.width

    def resolution_ppi_at(self, width_mm: float) -> float:
        """Pixels per inch across the ink box at that width."""
        return self.ink_box.width / (width_mm / MM_PER_INCH)
