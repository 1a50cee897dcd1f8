"""Stations and the machines that stand at them."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

from service.domain.blanks import MeasuredLab
from service.domain.media import Ink
from service.domain.values import (
    Frozen,
    LengthMm,
    Money,
    Slug,
    StockQuantity,
    TemperatureC,
    Words,
)


class Station(Frozen):
    """A machine or a bench with working minutes per day; ``machines`` work side by side.

    ``spread`` is how far real minutes scatter about the standard ones: their standard deviation as
    a share of the mean. None takes the policy's ``promise_spread``.
    """

    id: Slug
    name: Words
    minutes_per_day: Annotated[int, Field(gt=0, le=1_440)]
    machines: Annotated[int, Field(ge=1, le=100)] = 1
    labour_rate_per_hour: Money
    machine_rate_per_hour: Money
    spread: Annotated[float, Field(ge=0, le=1)] | None = None

    def spread_or(self, usual: float) -> float:
        """Its own spread, or the ``usual`` one where it states none."""
        return usual if self.spread is None else self.spread

    @property
    def capacity_min(self) -> int:
        """Minutes of work the station can do on one working day."""
        return self.minutes_per_day * self.machines


class InkSolids(Frozen):
    """CIELAB (D50) of a printer's solid inks and overprints on its white film: its gamut's corners.

    ``white`` is the unprinted film.
    """

    white: MeasuredLab
    cyan: MeasuredLab
    magenta: MeasuredLab
    yellow: MeasuredLab
    red: MeasuredLab
    green: MeasuredLab
    blue: MeasuredLab
    black: MeasuredLab


class Printer(Frozen):
    """An inkjet printer; ``ink_ml_m2`` is what full cover takes.

    ``solids`` bound the colours it can print on opaque film; None takes what is common practice.
    ``test_stripe`` says what is printed and looked at before a run; empty for the bench's habit.
    Its ink takes ``ink_lead_days`` working days to come. With ``reorder_point`` ml to be had or
    less it is to be ordered up to ``reorder_to``; None follows from what is used.
    """

    id: Slug
    name: Words
    station: Slug
    ink: Ink
    max_width_mm: LengthMm
    colour_profile: Words
    ink_ml_m2: Annotated[float, Field(gt=0, le=200)]
    ink_price_per_ml: Money
    solids: InkSolids | None = None
    test_stripe: Annotated[str, StringConstraints(max_length=200)] = ""
    ink_lead_days: Annotated[int, Field(ge=0, le=60)] = 5
    reorder_point: StockQuantity | None = None
    reorder_to: StockQuantity | None = None


class Plotter(Frozen):
    """A cutting plotter; ``max_force_gf`` is its greatest force in grams, None if not known."""

    id: Slug
    name: Words
    station: Slug
    max_width_mm: LengthMm
    blade_offset_mm: Annotated[float, Field(ge=0, le=2)]
    max_force_gf: Annotated[int, Field(ge=1, le=5_000)] | None = None


class Press(Frozen):
    """A heat press.

    The usable platen is the platen less ``edge_mm`` on every side. The surface may differ from the
    display by ``temp_error_k`` either way. ``ceiling_c`` is the highest setting.
    """

    id: Slug
    name: Words
    station: Slug
    platen_width_mm: LengthMm
    platen_length_mm: LengthMm
    edge_mm: Annotated[float, Field(ge=0, le=50)] = 10.0
    temp_error_k: Annotated[float, Field(ge=0, le=25)]
    ceiling_c: TemperatureC

    @property
    def usable_mm(self) -> tuple[float, float]:
        """Usable width and length of the platen in mm."""
        return (
            self.platen_width_mm - 2 * self.edge_mm,
            self.platen_length_mm - 2 * self.edge_mm,
        )
