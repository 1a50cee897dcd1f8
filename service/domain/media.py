"""Media: the films and papers that carry an image onto cloth, and the press windows they need."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from service.domain.blanks import Finish
from service.domain.fibres import Fibre
from service.domain.values import (
    DwellS,
    Frozen,
    LengthMm,
    Money,
    Share,
    Slug,
    SrgbHex,
    StockQuantity,
    TemperatureC,
    Words,
)


class MediumFamily(StrEnum):
    """What kind of thing the medium is. Rules read its properties, never this name."""

    CUT_FILM = "cut_film"
    PRINTABLE_FILM = "printable_film"
    GLITTER_FILM = "glitter_film"
    FLOCK_FILM = "flock_film"
    DYE_FILM = "dye_film"
    DYE_PAPER = "dye_paper"


class Ink(StrEnum):
    """What a printer lays down. Dye turns to gas in the press; pigment stays on the surface."""

    DYE = "dye"
    PIGMENT = "pigment"


class WorkedFrom(StrEnum):
    """Which side the printer or plotter works on.

    A medium worked from its ``face`` reads as it will on the garment, so it is not mirrored. One
    worked from its ``back`` (film cut through its adhesive with the carrier on its face; paper
    printed and then laid face down) must be mirrored.
    """

    FACE = "face"
    BACK = "back"


class Texture(StrEnum):
    """How the finished surface feels."""

    SMOOTH = "smooth"
    GLITTER = "glitter"
    FLOCK = "flock"


class Pressure(StrEnum):
    """How hard the platen closes."""

    LIGHT = "light"
    MEDIUM = "medium"
    FIRM = "firm"


class Peel(StrEnum):
    """When carrier, tape, backing or paper comes off after the press opens."""

    HOT = "hot"
    WARM = "warm"
    COLD = "cold"
    NONE = "none"


class PressWindow(Frozen):
    """The range in which a press stroke works. ``best_*`` is where to set it if nothing forbids.

    Temperatures are of the platen surface.
    """

    temp_min_c: TemperatureC
    temp_max_c: TemperatureC
    best_temp_c: TemperatureC
    dwell_min_s: DwellS
    dwell_max_s: DwellS
    best_dwell_s: DwellS
    pressure: Pressure
    peel: Peel = Peel.NONE

    @model_validator(mode="after")
    def _right_way_up(self) -> Self:
        if not self.temp_min_c <= self.best_temp_c <= self.temp_max_c:
            raise ValueError(
                f"press window is upside down or misses its best setting: temp_min_c "
                f"{self.temp_min_c:g} <= best_temp_c {self.best_temp_c:g} <= temp_max_c "
                f"{self.temp_max_c:g} does not hold"
            )
        if not self.dwell_min_s <= self.best_dwell_s <= self.dwell_max_s:
            raise ValueError(
                f"press window is upside down or misses its best setting: dwell_min_s "
                f"{self.dwell_min_s:g} <= best_dwell_s {self.best_dwell_s:g} <= dwell_max_s "
                f"{self.dwell_max_s:g} does not hold"
            )
        return self


class Blade(Frozen):
    """How a plotter's knife is set for a medium: starting values, a test square comes first.

    ``angle_deg`` is between edge and film; ``offset_mm`` is how far the tip trails the holder's
    axis, None for what the plotter is set to; ``force_gf`` is in grams of force.
    """

    angle_deg: Annotated[float, Field(ge=20, le=75)]
    force_gf: Annotated[int, Field(ge=1, le=2_000)]
    passes: Annotated[int, Field(ge=1, le=5)] = 1
    offset_mm: Annotated[float, Field(ge=0, le=2)] | None = None


class FilmColour(Frozen):
    """One colour a film is stocked in."""

    id: Slug
    name: Words
    srgb: SrgbHex


class Medium(Frozen):
    """A film or transfer paper.

    ``width_mm`` is the usable width of the roll or sheet, ``sheet_length_mm`` is None for a roll.
    ``prints_with`` names the inks its face takes; ``dye_share`` is the share of that face made of
    polymer that fixes dye (1 for a polyester face, 0 for a viscose pile). ``withstands_c`` is the
    highest platen temperature it survives once it is on the cloth. ``stays_on_cloth`` is False for
    paper, which only carries dye. ``bonds_to`` lists the fibres its adhesive holds on.
    ``veil`` is the share of light that sparkle or nap throws back before it has met any dye.
    ``sheds_small_parts`` is for films whose grains or stones may come off; ``unobtainable`` for a
    medium that can be had neither from the shelf nor from the supplier.
    ``margin_mm`` stays clear on all sides of the strip, ``gap_mm`` lies between pieces.
    ``price_per_m`` is for a metre of roll; for sheets it is the price of one sheet. ``blade`` is
    None for a medium that is not cut, or of which only its data sheet says how. With
    ``reorder_point`` metres of roll, or sheets, of a colour to be had or fewer, it is to be ordered
    up to ``reorder_to``; None follows from what is used.
    """

    id: Slug
    name: Words
    family: MediumFamily
    width_mm: LengthMm
    sheet_length_mm: LengthMm | None = None
    thickness_um: Annotated[float, Field(gt=0, le=2_000)]
    carrier: bool
    worked_from: WorkedFrom
    stays_on_cloth: bool
    opaque: bool
    texture: Texture = Texture.SMOOTH
    press: PressWindow
    withstands_c: TemperatureC
    prints_with: tuple[Ink, ...] = ()
    dye_share: Share = 0.0
    veil: Annotated[float, Field(ge=0, le=0.5)] = 0.0
    blocks_dye: bool = False
    stretches: bool = False
    pvc: bool = False
    sheds_small_parts: bool = False
    unobtainable: bool = False
    smallest_feature_mm: Annotated[float, Field(gt=0, le=50)]
    bonds_to: tuple[Fibre, ...] = ()
    not_on_finishes: tuple[Finish, ...] = ()
    colours: tuple[FilmColour, ...] = ()
    carries_layer: bool = False
    wash_limit_c: Annotated[int, Field(ge=20, le=95)]
    iron_dots: Annotated[int, Field(ge=0, le=3)]
    may_turn: bool = True
    gap_mm: Annotated[float, Field(ge=0, le=100)]
    margin_mm: Annotated[float, Field(ge=0, le=200)]
    price_per_m: Money
    supplier_lead_days: Annotated[int, Field(ge=0, le=60)]
    blade: Blade | None = None
    reorder_point: StockQuantity | None = None
    reorder_to: StockQuantity | None = None

    @model_validator(mode="after")
    def _adds_up(self) -> Self:
        if self.stays_on_cloth and not self.colours:
            raise ValueError("a film that stays on the cloth needs at least one surface colour")
        if self.stays_on_cloth and not self.bonds_to:
            raise ValueError(
                "a film that stays on the cloth needs bonds_to, the fibres it holds on"
            )
        if self.dye_share > 0 and not self.stays_on_cloth:
            raise ValueError("dye_share describes a film's own face; paper only carries dye")
        if self.stays_on_cloth and self.withstands_c < self.press.temp_max_c:
            raise ValueError(
                f"withstands_c {self.withstands_c:g} lies below its own press window's "
                f"temp_max_c {self.press.temp_max_c:g}"
            )
        return self
