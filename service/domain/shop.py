"""The shop's catalogue as one frozen value, with its policy and calendar."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from typing import Annotated, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from service.domain.blanks import Blank
from service.domain.machines import Plotter, Press, Printer, Station
from service.domain.media import Medium
from service.domain.methods import Method
from service.domain.price_book import PriceBook
from service.domain.values import Frozen, LengthMm, Percent, Share, Slug, Words


class LabelRegime(StrEnum):
    """Whose fibre label rules the shop's labels follow."""

    EU = "eu"
    US = "us"


class SuppliedPlacement(Frozen):
    """A placement offered on garments the customer brings, sized from their half chest.

    ``overlaps`` are the other supplied placements that this one lies on or touches; it counts both
    ways, whichever of the two names the other.
    """

    id: Slug
    name: Words
    from_edge: Words
    drop_mm: Annotated[float, Field(ge=0, le=1_000)]
    width_share_of_half_chest: Share
    max_width_mm: LengthMm
    max_height_mm: LengthMm
    overlaps: tuple[Slug, ...] = ()


class Criterion(StrEnum):
    """By what working methods are ranked; each is computed, the best first."""

    LOOK = "look"
    PRICE = "price"
    DAY = "day"
    FEEL = "feel"


_RISING = (
    ("dye_faded_percent", "dye_pale_percent", "dye_full_percent"),
    ("medium_lightness", "light_lightness", "white_lightness"),
    ("colour_faithful_delta_e", "colour_near_delta_e", "colour_shifted_delta_e"),
    ("dye_moves_from_c", "dye_stains_from_c"),
    ("stretch_warns_percent", "stretch_blocks_percent"),
    ("resolution_least_ppi", "resolution_fair_ppi", "resolution_full_ppi"),
    ("soft_alpha_share", "soft_alpha_cut_share"),
)
"""Thresholds that cut one scale into bands, lowest first."""


class Policy(Frozen):
    """Thresholds that are this shop's choice. The defaults are design choices, no source.

    Percentages are of the cloth's mass. Lightness is CIELAB L*, chroma CIELAB C*, colour
    differences are CIEDE2000. Each rule names the thresholds it reads.
    """

    label_regime: LabelRegime = LabelRegime.EU
    dye_full_percent: Percent = Decimal(95)
    dye_pale_percent: Percent = Decimal(65)
    dye_faded_percent: Percent = Decimal(50)
    light_lightness: Annotated[float, Field(ge=60, le=95)] = 75.0
    medium_lightness: Annotated[float, Field(ge=30, le=74)] = 50.0
    ceiling_min_percent: Percent = Decimal(5)
    migration_onset_c: Annotated[float, Field(ge=110, le=160)] = 138.0
    migration_polyester_percent: Percent = Decimal(50)
    migration_film_lightness: Annotated[float, Field(ge=0, le=100)] = 50.0
    colour_counts_from_share: Annotated[float, Field(gt=0, le=0.25)] = 0.02
    film_bond_percent: Percent = Decimal(80)
    print_share_of_half_chest: Annotated[float, Field(ge=0.3, le=0.9)] = 0.60
    dye_stray_fibre_percent: Percent = Decimal(10)
    white_lightness: Annotated[float, Field(ge=85, le=100)] = 92.0
    white_chroma: Annotated[float, Field(ge=0, le=15)] = 6.0
    saturated_chroma: Annotated[float, Field(ge=30, le=120)] = 70.0
    near_white_share: Annotated[float, Field(ge=0, le=0.5)] = 0.01
    colour_faithful_delta_e: Annotated[float, Field(gt=0, le=10)] = 5.0
    colour_near_delta_e: Annotated[float, Field(gt=0, le=20)] = 10.0
    colour_shifted_delta_e: Annotated[float, Field(gt=0, le=60)] = 20.0
    colour_doubt_delta_e: Annotated[float, Field(gt=0, le=30)] = 5.0
    contrast_lightness: Annotated[float, Field(ge=0, le=60)] = 20.0
    dye_surface_floor: Annotated[float, Field(ge=0, le=0.1)] = 0.03
    blend_constant: Annotated[float, Field(ge=0.05, le=0.5)] = 0.15
    low_melter_percent: Percent = Decimal(1)
    low_melting_c: Annotated[float, Field(ge=100, le=200)] = 170.0
    elastane_warm_c: Annotated[float, Field(ge=140, le=190)] = 165.0
    elastane_dwell_s: Annotated[float, Field(ge=10, le=120)] = 45.0
    tri_blend_c: Annotated[float, Field(ge=110, le=180)] = 138.0
    long_strike_margin_k: Annotated[float, Field(ge=0, le=40)] = 15.0
    heated_s_max: Annotated[float, Field(ge=30, le=900)] = 240.0
    strikes_max: Annotated[int, Field(ge=1, le=40)] = 9
    dye_moves_from_c: Annotated[float, Field(ge=110, le=200)] = 150.0
    dye_stains_from_c: Annotated[float, Field(ge=120, le=210)] = 170.0
    stretch_warns_percent: Percent = Decimal(5)
    stretch_blocks_percent: Percent = Decimal(15)
    layers_max: Annotated[int, Field(ge=1, le=6)] = 3
    cut_colours_advised: Annotated[int, Field(ge=1, le=12)] = 3
    resolution_full_ppi: Annotated[float, Field(ge=150, le=600)] = 200.0
    resolution_fair_ppi: Annotated[float, Field(ge=100, le=300)] = 150.0
    resolution_least_ppi: Annotated[float, Field(ge=50, le=200)] = 100.0
    resolution_cut_least_ppi: Annotated[float, Field(ge=5, le=150)] = 20.0
    printed_line_mm: Annotated[float, Field(ge=0.1, le=3)] = 0.35
    soft_alpha_share: Annotated[float, Field(ge=0, le=0.5)] = 0.02
    soft_alpha_cut_share: Annotated[float, Field(ge=0.02, le=1)] = 0.25
    visible_share: Annotated[float, Field(ge=0, le=0.2)] = 0.002
    print_least_mm: Annotated[float, Field(ge=1, le=50)] = 5.0
    loose_pieces_max: Annotated[int, Field(ge=1, le=200)] = 12
    large_film_cm2: Annotated[float, Field(ge=50, le=3_000)] = 400.0
    light_cloth_g_m2: Annotated[float, Field(ge=60, le=400)] = 160.0
    wash_least_c: Annotated[int, Field(ge=20, le=60)] = 30
    ranking: Annotated[tuple[Criterion, ...], Field(min_length=1)] = (
        Criterion.LOOK,
        Criterion.PRICE,
        Criterion.DAY,
        Criterion.FEEL,
    )
    nearest_alternatives: Annotated[int, Field(ge=1, le=20)] = 5
    quote_valid_min: Annotated[int, Field(ge=5, le=43_200)] = 1_440
    max_pieces_per_order: Annotated[int, Field(ge=1, le=100_000)] = 2_000
    run_window_days: Annotated[int, Field(ge=0, le=60)] = 3
    run_length_mm: Annotated[float, Field(ge=300, le=5_000)] = 3_000.0
    stock_safety_days: Annotated[int, Field(ge=0, le=60)] = 3
    stock_order_days: Annotated[int, Field(ge=1, le=250)] = 10
    promise_percent: Annotated[int, Field(ge=50, le=99)] = 90
    promise_spread: Annotated[float, Field(ge=0, le=1)] = 0.35
    transfer_pieces: Annotated[int, Field(ge=0, le=10_000)] = 0
    rush_reserve_percent: Annotated[int, Field(ge=0, le=50)] = 10
    hold_max_min: Annotated[int, Field(ge=0, le=60)] = 30
    supplied_placements: tuple[SuppliedPlacement, ...] = ()

    @model_validator(mode="after")
    def _bands_rise(self) -> Self:
        for names in _RISING:
            for lower, upper in itertools.pairwise(names):
                if not getattr(self, lower) < getattr(self, upper):
                    raise ValueError(
                        f"{lower} {getattr(self, lower)} must lie below {upper} "
                        f"{getattr(self, upper)}"
                    )
        if len(set(self.ranking)) != len(self.ranking):
            raise ValueError("ranking names a criterion twice")
        return self


def _zone_known(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"no such time zone: '{name}'") from error
    return name


class PublicHolidays(Frozen):
    """Whose public holidays the shop keeps, and the days they are, each with its name.

    ``country`` is an ISO 3166-1 code of two letters, ``subdivision`` one of its parts, empty for
    what holds in the whole country. ``days`` are found when a catalogue is loaded and stay with
    its version, so that an old version always gives the same answer.
    """

    country: Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}$")]
    subdivision: Annotated[str, StringConstraints(max_length=64, strip_whitespace=True)] = ""
    days: Mapping[date, Words] = {}


class StationException(Frozen):
    """A day on which each machine of a station works other ``minutes`` than usual, and why.

    0 is a day on which the station stands still. It changes a working day, and opens no other.
    """

    station: Slug
    day: date
    minutes: Annotated[int, Field(ge=0, le=1_440)]
    why: Words


class WorkCalendar(Frozen):
    """When the shop works. Weekdays run from 0, Monday, to 6, Sunday; times are local.

    Stations begin at ``opens`` and work their minutes from there. An order accepted after
    ``cut_off`` starts on the next working day. What is done by ``dispatch`` leaves that day, on the
    morning after where it is before the opening; without it, all that is done on a working day.
    ``closures`` are the shop's own closed days.
    """

    time_zone: Annotated[str, AfterValidator(_zone_known)]
    working_weekdays: Annotated[frozenset[Annotated[int, Field(ge=0, le=6)]], Field(min_length=1)]
    opens: time = time(8)
    cut_off: time
    dispatch: time | None = None
    holidays: PublicHolidays | None = None
    closures: frozenset[date] = frozenset()
    station_days: tuple[StationException, ...] = ()


class Shop(Frozen):
    """Who runs the workroom. ``invented`` marks demonstration data."""

    name: Words
    invented: bool


class Catalogue(Frozen):
    """Everything the shop knows about itself, immutable, in one version."""

    shop: Shop
    policy: Policy = Policy()
    calendar: WorkCalendar
    prices: PriceBook
    stations: Annotated[tuple[Station, ...], Field(min_length=1)]
    printers: tuple[Printer, ...] = ()
    plotters: tuple[Plotter, ...] = ()
    presses: Annotated[tuple[Press, ...], Field(min_length=1)]
    blanks: Annotated[tuple[Blank, ...], Field(min_length=1)]
    media: Annotated[tuple[Medium, ...], Field(min_length=1)]
    methods: Annotated[tuple[Method, ...], Field(min_length=1)]

    @cached_property
    def blank_by_id(self) -> Mapping[str, Blank]:
        """Blanks by id."""
        return {blank.id: blank for blank in self.blanks}

    @cached_property
    def medium_by_id(self) -> Mapping[str, Medium]:
        """Media by id."""
        return {medium.id: medium for medium in self.media}

    @cached_property
    def method_by_id(self) -> Mapping[str, Method]:
        """Methods by id."""
        return {method.id: method for method in self.methods}

    @cached_property
    def station_by_id(self) -> Mapping[str, Station]:
        """Stations by id."""
        return {station.id: station for station in self.stations}

    @cached_property
    def printer_by_id(self) -> Mapping[str, Printer]:
        """Printers by id."""
        return {printer.id: printer for printer in self.printers}

    @cached_property
    def machine_by_id(self) -> Mapping[str, Printer | Plotter | Press]:
        """Printers, plotters and presses by id."""
        machines: list[Printer | Plotter | Press] = [
            *self.printers,
            *self.plotters,
            *self.presses,
        ]
        return {machine.id: machine for machine in machines}
