"""Blanks: the undecorated garments a shop stocks, and their colours, sizes and placements."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from service.domain.fibres import FibreContent
from service.domain.values import Frozen, LengthMm, Money, SizeName, Slug, SrgbHex, Words


class Style(StrEnum):
    """The garment's cut, which decides its silhouette and where measures are taken from."""

    TEE = "tee"
    LONG_SLEEVE = "long_sleeve"
    HOODIE = "hoodie"
    TOTE = "tote"
    BODYSUIT = "bodysuit"
    JACKET = "jacket"


class Wearer(StrEnum):
    """Who the garment is cut for; an infant is under three years of age, a youth under thirteen."""

    ADULT = "adult"
    YOUTH = "youth"
    INFANT = "infant"


class Finish(StrEnum):
    """What was done to the cloth's surface."""

    PLAIN = "plain"
    BRUSHED = "brushed"
    WATER_REPELLENT = "water_repellent"


class Obstacle(StrEnum):
    """Something within a placement that keeps the platen from lying flat on the print."""

    SEAM = "seam"
    ZIP = "zip"
    POCKET = "pocket"
    BUTTONS = "buttons"


class MeasuredLab(Frozen):
    """CIELAB of the cloth, D50 white and 2 degree observer, as a spectrophotometer gives it."""

    lightness: Annotated[float, Field(ge=0, le=100)]
    a: Annotated[float, Field(ge=-160, le=160)]
    b: Annotated[float, Field(ge=-160, le=160)]


class ClothColour(Frozen):
    """One colour a blank is stocked in; ``gtins`` maps a size to its GTIN (GS1, 8 to 14 digits).

    ``unobtainable_sizes`` can be had neither from the shelf nor from the supplier.
    """

    id: Slug
    name: Words
    srgb: SrgbHex
    lab: MeasuredLab | None = None
    gtins: Mapping[SizeName, Annotated[str, StringConstraints(pattern=r"^\d{8,14}$")]] = Field(
        default_factory=dict
    )
    unobtainable_sizes: tuple[SizeName, ...] = ()


class BlankSize(Frozen):
    """Flat measures of one size, and what one piece costs the shop.

    With ``reorder_point`` pieces or fewer of a colour to be had, it is to be ordered up to
    ``reorder_to``; None follows from what is used.
    """

    size: SizeName
    half_chest_mm: LengthMm
    body_length_mm: LengthMm
    cost: Money
    reorder_point: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    reorder_to: Annotated[int, Field(ge=1, le=1_000_000)] | None = None


class PlacementArea(Frozen):
    """The largest box a decoration may fill at a placement."""

    width_mm: LengthMm
    height_mm: LengthMm


class Placement(Frozen):
    """Where on the blank: a box by size, hung ``drop_mm`` below the named edge, centred across.

    ``overlaps`` are the placements of the same garment that this one lies on or touches; it counts
    both ways, whichever of the two names the other.
    """

    id: Slug
    name: Words
    from_edge: Words
    drop_mm: Annotated[float, Field(ge=0, le=1_000)]
    areas: Mapping[SizeName, PlacementArea]
    crosses: tuple[Obstacle, ...] = ()
    overlaps: tuple[Slug, ...] = ()


class CareLabel(Frozen):
    """The garment's own sewn-in care: wash temperature and iron dots as ISO 3758 names them."""

    wash_c: Annotated[int, Field(ge=20, le=95)]
    iron_dots: Annotated[int, Field(ge=0, le=3)]
    tumble_dry: bool = True


class Blank(Frozen):
    """An undecorated garment the shop stocks.

    ``fibre_content`` is by mass. ``face_fibre_content`` is given where the decorated face differs
    from the whole, as on plated knits, and then decides what dye meets. ``supplier_lead_days`` are
    the working days between ordering the blank and having it.
    """

    id: Slug
    name: Words
    style: Style
    fibre_content: FibreContent
    face_fibre_content: FibreContent | None = None
    finish: Finish = Finish.PLAIN
    weight_g_m2: Annotated[float, Field(ge=30, le=1_000)]
    wearer: Wearer
    sleepwear: bool = False
    care: CareLabel
    supplier_lead_days: Annotated[int, Field(ge=0, le=60)]
    pick_location: Annotated[str, StringConstraints(max_length=24)] = ""
    colours: Annotated[tuple[ClothColour, ...], Field(min_length=1)]
    sizes: Annotated[tuple[BlankSize, ...], Field(min_length=1)]
    placements: Annotated[tuple[Placement, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _no_twins(self) -> Self:
        for label, names in (
            ("colour", [colour.id for colour in self.colours]),
            ("size", [size.size for size in self.sizes]),
            ("placement", [placement.id for placement in self.placements]),
        ):
            twins = sorted({name for name in names if names.count(name) > 1})
            if twins:
                raise ValueError(f"{label} listed twice: {', '.join(twins)}")
        return self

    def colour(self, colour_id: str) -> ClothColour | None:
        """The stocked colour of that id, or None."""
        return next((colour for colour in self.colours if colour.id == colour_id), None)

    def size(self, name: str) -> BlankSize | None:
        """The stocked size of that name, or None."""
        return next((size for size in self.sizes if size.size == name), None)

    def placement(self, placement_id: str) -> Placement | None:
        """The placement of that id, or None."""
        return next((p for p in self.placements if p.id == placement_id), None)
