"""What a proof shows: all that its picture depends on, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from service.domain.look import ColourLook, Surface
from service.domain.media import Texture
from service.domain.proof_geometry import Box, FlatGarment
from service.domain.shop import Policy

NO_GUARANTEE = "predicted look, not a guarantee"


class Standing(StrEnum):
    """Whether the shop would make it as shown."""

    WORKS = "works"
    CAUTIONS = "works, with cautions"
    REFUSED = "cannot be made"


@dataclass(frozen=True, slots=True)
class Proof:
    """One decoration on one garment.

    ``area`` is the placement's largest box in this size, ``print`` the print's own, both in the
    coordinates of the garment. ``cloth_srgb`` is the cloth's colour as the look model knows it.
    ``on_film`` is True where a film stays on the cloth, of that ``texture``. ``names`` say what is
    shown, the garment first. ``rule`` and ``reason`` are of the gravest finding, empty without one.
    """

    garment: FlatGarment
    cloth_srgb: str
    area: Box
    print: Box
    surface: Surface
    policy: Policy
    on_film: bool
    texture: Texture
    colours: tuple[ColourLook, ...]
    names: tuple[str, ...]
    standing: Standing
    rule: str = ""
    reason: str = ""
