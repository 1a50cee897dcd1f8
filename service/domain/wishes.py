"""What a customer asks for, resolved against the catalogue: lines and their decorations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from service.domain.artwork import ArtworkMeasures
from service.domain.garments import Garment


class Choice(StrEnum):
    """A choice the customer makes, which a rule may read and a way out may change.

    To read the film colour means both the one asked for and the colours of the films as they come
    out: where none is asked for, the shop chooses them to suit the artwork.
    """

    METHOD = "method"
    BLANK = "blank"
    COLOUR = "colour"
    PLACEMENT = "placement"
    WIDTH = "width_mm"
    SIZES = "sizes"
    ARTWORK = "artwork"
    FILM_COLOUR = "film_colour"
    CONSENTS = "consents"
    OTHER_DECORATIONS = "other_decorations"


class Consent(StrEnum):
    """A loss of quality the customer may knowingly accept."""

    FADED_LOOK = "faded-look"
    COLOUR_SHIFT = "colour-shift"


@dataclass(frozen=True, slots=True)
class Decoration:
    """One artwork at one placement. ``method_id`` is None when any method will do.

    ``rights_declared`` says that the customer has the right to have the artwork made.
    """

    placement_id: str
    artwork_id: str
    artwork: ArtworkMeasures
    width_mm: float
    method_id: str | None = None
    film_colour_id: str | None = None
    consents: frozenset[Consent] = frozenset()
    rights_declared: bool = True

    @property
    def height_mm(self) -> float:
        """Height of the print, from the artwork's own proportions."""
        return self.artwork.height_mm_at(self.width_mm)


@dataclass(frozen=True, slots=True)
class Line:
    """A garment, how many of each size, and its decorations."""

    garment: Garment
    pieces_by_size: Mapping[str, int]
    decorations: tuple[Decoration, ...]

    @property
    def pieces(self) -> int:
        """Pieces over all sizes."""
        return sum(self.pieces_by_size.values())

    @property
    def artwork_ids(self) -> frozenset[str]:
        """The different artworks of the decorations."""
        return frozenset(decoration.artwork_id for decoration in self.decorations)
