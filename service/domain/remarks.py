"""What a preflight report is made of: remarks on a picture, and who it is judged for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator

from service.domain.artwork import ArtworkMeasures
from service.domain.gamut import USUAL_SOLIDS
from service.domain.machines import InkSolids, Printer
from service.domain.media import Ink, Medium
from service.domain.methods import OperationKind
from service.domain.shop import Catalogue, Policy
from service.domain.values import Frozen, Slug

USUAL_PRINT_MM = 254.0
"""Width of a full front print, the lower end of what is usual; common practice, no source."""

SMALL_PRINT_MM = 76.0
"""Width of a print on the left chest, the lower end of what is usual; as above."""

NOTHING_TO_DO = "Nothing."
NOT_MEASURED = "not measured"
REMEASURE = "Upload the picture again and it will be measured."


class Level(StrEnum):
    """What a remark asks for: nothing, a look, or an act before the picture is made."""

    GOOD = "good"
    LOOK = "look"
    ACT = "act"


def _rounded(measured: float | str) -> float | str:
    # Processors differ in the last digits of powers and roots; nobody reads them.
    return round(measured, 6) if isinstance(measured, float) else measured


class Remark(Frozen):
    """One remark of a report.

    ``words`` are for the customer; ``measured`` and ``limit``, both in ``unit``, for staff, with
    words in place of a number where there is none; ``measured`` has six decimals at most.
    ``what_to_do`` says what helps.
    """

    id: Slug
    level: Level
    title: str
    words: str
    measured: Annotated[float | str, AfterValidator(_rounded)]
    limit: float | str
    unit: str
    what_to_do: str = NOTHING_TO_DO


class FilmWidth(Frozen):
    """From what print width on a film can be cut, weeded and held.

    ``least_width_mm`` is the width at which the picture's finest part and gap are as wide as
    ``smallest_feature_mm``; None where they were not measured.
    """

    medium: Slug
    name: str
    smallest_feature_mm: float
    least_width_mm: float | None


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture to report on, and whom for.

    ``width_mm`` is the print width, None before one is chosen. ``films`` are those that the shop
    cuts, ``solids`` the inks it prints with on film.
    """

    measures: ArtworkMeasures
    policy: Policy = field(default_factory=Policy)
    width_mm: float | None = None
    films: tuple[Medium, ...] = ()
    solids: InkSolids = USUAL_SOLIDS

    @property
    def judged_mm(self) -> float:
        """The print width, or a usual one where none is chosen."""
        return USUAL_PRINT_MM if self.width_mm is None else self.width_mm

    @property
    def at(self) -> str:
        """That width as the start of a sentence."""
        usual = " (a usual full front)" if self.width_mm is None else ""
        return f"Printed {self.judged_mm:.4g} mm wide{usual}"


def films_cut(catalogue: Catalogue) -> tuple[Medium, ...]:
    """Each medium that some method cuts, in the catalogue's order."""
    cut = {
        step.medium
        for method in catalogue.methods
        for step in method.operations
        if step.kind is OperationKind.CUT
    }
    return tuple(medium for medium in catalogue.media if medium.id in cut)


def film_solids(printers: Iterable[Printer]) -> InkSolids:
    """The solids of the first pigment printer that has them measured, else the usual ones."""
    known = (one.solids for one in printers if one.ink is Ink.PIGMENT and one.solids is not None)
    return next(known, USUAL_SOLIDS)


def film_widths(measures: ArtworkMeasures, films: Iterable[Medium]) -> tuple[FilmWidth, ...]:
    """From what print width on each film can be made of the picture."""
    finest = finest_share(measures)
    return tuple(
        FilmWidth(
            medium=film.id,
            name=film.name,
            smallest_feature_mm=film.smallest_feature_mm,
            least_width_mm=None if finest is None else film.smallest_feature_mm / finest,
        )
        for film in films
    )


def finest_share(measures: ArtworkMeasures) -> float | None:
    """The finest part or gap as a share of the print's width; None if it was not measured."""
    shapes = measures.shapes
    return None if shapes is None else min(shapes.smallest_feature, shapes.smallest_gap)
