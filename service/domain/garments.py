"""A garment as the rules see it, whether it is the shop's blank or the customer's own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from service.domain.blanks import (
    Blank,
    ClothColour,
    Finish,
    Placement,
    PlacementArea,
    Wearer,
)
from service.domain.colour import Lab, lab_from_srgb_hex
from service.domain.fibres import FibreContent
from service.domain.shop import SuppliedPlacement
from service.domain.values import Frozen, LengthMm, SrgbHex


class SuppliedGarment(Frozen):
    """A garment the customer brings, described by what its label and a tape measure say."""

    fibre_content: FibreContent
    colour_srgb: SrgbHex
    finish: Finish = Finish.PLAIN
    weight_g_m2: Annotated[float, Field(ge=30, le=1_000)]
    wearer: Wearer
    sleepwear: bool = False
    half_chest_mm: Annotated[LengthMm, Field(ge=100, le=1_200)]


@dataclass(frozen=True, slots=True)
class Garment:
    """Cloth, colour, sizes and placements of one garment.

    ``face`` is the fibre content of the decorated face. ``blank_id`` and ``colour_id`` are None
    when the customer supplies the garment; then ``description`` holds all it was described by.
    """

    name: str
    colour_name: str
    face: FibreContent
    whole: FibreContent
    finish: Finish
    weight_g_m2: float
    wearer: Wearer
    sleepwear: bool
    lab: Lab
    srgb: str
    half_chest_mm: Mapping[str, float]
    placements: Mapping[str, Placement]
    blank_id: str | None = None
    colour_id: str | None = None
    description: str = ""

    @property
    def cloth_key(self) -> str:
        """The same for garments alike in all but colour."""
        return self.blank_id or self.description

    @property
    def key(self) -> tuple[str, str]:
        """The same for garments alike in all, colour and sizes too."""
        return self.cloth_key, self.colour_id or self.srgb

    @property
    def supplied(self) -> bool:
        """True when the customer brings the garment."""
        return self.blank_id is None


def stocked_garment(blank: Blank, colour: ClothColour) -> Garment:
    """The blank in that colour; a measured Lab wins over the one its sRGB gives."""
    measured = colour.lab
    return Garment(
        name=blank.name,
        colour_name=colour.name,
        face=blank.face_fibre_content or blank.fibre_content,
        whole=blank.fibre_content,
        finish=blank.finish,
        weight_g_m2=blank.weight_g_m2,
        wearer=blank.wearer,
        sleepwear=blank.sleepwear,
        lab=Lab(measured.lightness, measured.a, measured.b)
        if measured
        else lab_from_srgb_hex(colour.srgb),
        srgb=colour.srgb,
        half_chest_mm={size.size: size.half_chest_mm for size in blank.sizes},
        placements={placement.id: placement for placement in blank.placements},
        blank_id=blank.id,
        colour_id=colour.id,
    )


def supplied_garment(
    described: SuppliedGarment,
    sizes: tuple[str, ...],
    placements: tuple[SuppliedPlacement, ...],
) -> Garment:
    """The customer's garment, with the shop's placements for such garments scaled to it."""
    return Garment(
        name="your own garment",
        colour_name=described.colour_srgb,
        face=described.fibre_content,
        whole=described.fibre_content,
        finish=described.finish,
        weight_g_m2=described.weight_g_m2,
        wearer=described.wearer,
        sleepwear=described.sleepwear,
        lab=lab_from_srgb_hex(described.colour_srgb),
        srgb=described.colour_srgb,
        half_chest_mm=dict.fromkeys(sizes, described.half_chest_mm),
        placements={
            placement.id: _scaled(placement, described.half_chest_mm, sizes)
            for placement in placements
        },
        description=f"{described.model_dump_json()} {sizes} {placements}",
    )


def _scaled(offered: SuppliedPlacement, half_chest_mm: float, sizes: tuple[str, ...]) -> Placement:
    width_mm = min(offered.max_width_mm, offered.width_share_of_half_chest * half_chest_mm)
    area = PlacementArea(width_mm=width_mm, height_mm=offered.max_height_mm)
    return Placement(
        id=offered.id,
        name=offered.name,
        from_edge=offered.from_edge,
        drop_mm=offered.drop_mm,
        areas=dict.fromkeys(sizes, area),
        overlaps=offered.overlaps,
    )
