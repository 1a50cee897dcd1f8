"""What is measured of a customer's picture, and what follows at a print width."""

from __future__ import annotations

from functools import cached_property
from hashlib import sha256
from typing import Annotated

from pydantic import Field

from service.domain.envelope import Envelopes
from service.domain.values import Frozen, Share, SrgbHex
from service.domain.weeding import Weeding, weed_minutes, weeding_of

MM_PER_INCH = 25.4
"""The international inch, exact by definition; from memory."""

_MM2_PER_M2 = 1_000_000

USUAL_EDGE_PX = 1.3
"""Edges of this width are as sharp as pixels commonly show: camera pictures and smoothed drawings
have 1 to 2 (standard pictures, in the tests); the value is a design choice."""


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


class InkShares(Frozen):
    """What share of the ink box takes ink, each pixel counted by its alpha.

    ``cover`` counts every colour in full, white too: what is printed or covered at all. ``colour``
    counts each colour by how much ink it needs: white none, black all, and others the mean of what
    red, green and blue lack of 255, which is the mean cover by the three inks of a printer that is
    linear in sRGB code values (common practice, no source). It is never above ``cover``.
    """

    cover: Share
    colour: Share


class PrintMeasures(Frozen):
    """What follows for an artwork printed ``width_mm`` wide, the width of its ink box.

    ``resolution_ppi`` are pixels per inch; ``effective_ppi`` are those its sharpness is worth, None
    if it could not be told. ``smallest_feature_mm``, ``cut_length_mm``, ``weed_min`` and
    ``weeding`` are None for an artwork whose shapes were not measured, ``smallest_gap_mm`` also
    where it has no gap. ``weed_min`` is an estimate for one piece of one film.
    """

    width_mm: float
    height_mm: float
    resolution_ppi: float
    effective_ppi: float | None
    smallest_feature_mm: float | None
    smallest_gap_mm: float | None
    cut_length_mm: float | None
    weed_min: float | None
    weeding: Weeding | None


class ArtworkMeasures(Frozen):
    """Measures of an artwork, taken once from its pixels.

    ``opaque_share`` is the share of the ink box's pixels with alpha above 250 of 255,
    ``soft_alpha_share`` of those from 5 to 250. ``near_white_share`` is the share of the inked
    area with L* above 97. The palette covers the inked area and is sorted by falling share.
    A print width always means the width of the ink box.

    ``shapes`` is measured on what is inked. ``photo_like`` is True where colours run into each
    other instead of lying flat, ``background_srgb`` is the colour of a uniform opaque border on
    all four sides, None if there is none. ``edge_width_px`` is the width in pixels of the steepest
    edges, None where there are too few. ``envelopes`` go around the print as one piece. ``shapes``,
    ``photo_like``, ``ink`` and ``envelopes`` are None for a picture measured before these were;
    rules then say that they do not know, and its box is nested.
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
    edge_width_px: Annotated[float, Field(ge=1)] | None = None
    ink: InkShares | None = None
    envelopes: Envelopes | None = None

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

    def widest_mm_at(self, least_ppi: float) -> float:
        """The greatest width in mm at which there are that many pixels per inch."""
        return self.ink_box.width * MM_PER_INCH / least_ppi

    def effective_ppi_at(self, width_mm: float) -> float | None:
        """Pixels per inch that a picture of usual sharpness would need to show as much detail.

        Never above :meth:`resolution_ppi_at`; None where sharpness could not be told.
        """
        if self.edge_width_px is None:
            return None
        return self.resolution_ppi_at(width_mm) / max(1.0, self.edge_width_px / USUAL_EDGE_PX)

    def full_ink_ml_at(self, width_mm: float, ink_ml_m2: float) -> float:
        """Ink in ml for one print if its whole box were fully covered."""
        return width_mm * self.height_mm_at(width_mm) / _MM2_PER_M2 * ink_ml_m2

    def ink_ml_at(self, width_mm: float, ink_ml_m2: float) -> float | None:
        """Ink in ml for one print, by its colours, on a printer that takes so much at full cover.

        None for a picture whose ink was not measured.
        """
        if self.ink is None:
            return None
        return self.full_ink_ml_at(width_mm, ink_ml_m2) * self.ink.colour

    def at(self, width_mm: float) -> PrintMeasures:
        """What follows at a print width. ValueError unless it is above 0."""
        if not width_mm > 0:
            raise ValueError(f"a print is wider than 0 mm, not {width_mm:g}")
        shapes = self.shapes
        gap_mm = cut_mm = weed_min = None
        if shapes is not None:
            gap_mm = shapes.smallest_gap * width_mm if shapes.smallest_gap < 1 else None
            cut_mm = shapes.outline_length * width_mm
            weed_min = weed_minutes(cut_mm, shapes.pieces, shapes.holes)
        return PrintMeasures(
            width_mm=width_mm,
            height_mm=self.height_mm_at(width_mm),
            resolution_ppi=self.resolution_ppi_at(width_mm),
            effective_ppi=self.effective_ppi_at(width_mm),
            smallest_feature_mm=shapes.smallest_feature * width_mm if shapes else None,
            smallest_gap_mm=gap_mm,
            cut_length_mm=cut_mm,
            weed_min=weed_min,
            weeding=None if weed_min is None else weeding_of(weed_min),
        )
