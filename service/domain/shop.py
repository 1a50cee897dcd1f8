"""The shop's catalogue as one frozen value, with its policy, price book and calendar."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from typing import Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, Field, StringConstraints, field_validator

from service.domain.blanks import Blank
from service.domain.machines import Plotter, Press, Printer, Station
from service.domain.media import Medium
from service.domain.methods import Method
from service.domain.values import Frozen, LengthMm, Money, Percent, Share, Slug, Words


class LabelRegime(StrEnum):
    """Whose fibre label rules the shop's labels follow."""

    EU = "eu"
    US = "us"


class SuppliedPlacement(Frozen):
    """A placement offered on garments the customer brings, sized from their half chest."""

    id: Slug
    name: Words
    from_edge: Words
    drop_mm: Annotated[float, Field(ge=0, le=1_000)]
    width_share_of_half_chest: Share
    max_width_mm: LengthMm
    max_height_mm: LengthMm


class Policy(Frozen):
    """Thresholds that are this shop's choice. The defaults are design choices, no source.

    Percentages are of polyester by mass on the decorated face. Lightness is CIELAB L*.
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
    nearest_alternatives: Annotated[int, Field(ge=1, le=20)] = 5
    quote_valid_min: Annotated[int, Field(ge=5, le=43_200)] = 1_440
    max_pieces_per_order: Annotated[int, Field(ge=1, le=100_000)] = 2_000
    supplied_placements: tuple[SuppliedPlacement, ...] = ()


class QuantityBreak(Frozen):
    """From this many pieces on, this share is taken off the price."""

    from_pieces: Annotated[int, Field(ge=1, le=1_000_000)]
    discount_share: Annotated[Decimal, Field(ge=0, lt=1)]


class PriceBook(Frozen):
    """How cost becomes price. ``currency`` is an ISO 4217 code.

    ``overhead_share`` is added to cost, ``margin_share`` is the share of the price that is margin,
    and ``spoilage_share`` is the share of pieces expected to be spoiled.
    """

    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
    overhead_share: Annotated[Decimal, Field(ge=0, le=5)]
    margin_share: Annotated[Decimal, Field(ge=0, lt=1)]
    spoilage_share: Annotated[Decimal, Field(ge=0, lt=Decimal("0.5"))]
    consumables_per_piece: Money
    artwork_check_min: Annotated[Decimal, Field(ge=0, le=600)]
    breaks: Annotated[tuple[QuantityBreak, ...], Field(min_length=1)]

    @field_validator("breaks", mode="after")
    @classmethod
    def _breaks_rise(cls, breaks: tuple[QuantityBreak, ...]) -> tuple[QuantityBreak, ...]:
        if breaks[0].from_pieces != 1:
            raise ValueError("the first quantity break must start from 1 piece")
        for lower, upper in itertools.pairwise(breaks):
            if upper.from_pieces <= lower.from_pieces:
                raise ValueError(
                    f"quantity breaks overlap: {upper.from_pieces} follows {lower.from_pieces}"
                )
            if upper.discount_share < lower.discount_share:
                raise ValueError(
                    f"discount falls from {lower.discount_share} to {upper.discount_share} "
                    f"at {upper.from_pieces} pieces"
                )
        return breaks


def _zone_known(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"no such time zone: '{name}'") from error
    return name


class WorkCalendar(Frozen):
    """When the shop works. Weekdays run from 0, Monday, to 6, Sunday; ``cut_off`` is local time.

    An order accepted after ``cut_off`` starts on the next working day.
    """

    time_zone: Annotated[str, AfterValidator(_zone_known)]
    working_weekdays: Annotated[frozenset[Annotated[int, Field(ge=0, le=6)]], Field(min_length=1)]
    cut_off: time
    closures: frozenset[date] = frozenset()


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
    def machine_by_id(self) -> Mapping[str, Printer | Plotter | Press]:
        """Printers, plotters and presses by id."""
        machines: list[Printer | Plotter | Press] = [
            *self.printers,
            *self.plotters,
            *self.presses,
        ]
        return {machine.id: machine for machine in machines}
