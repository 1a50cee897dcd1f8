"""Base class and constrained types shared by the catalogue's values.

Units stand in the names: ``_mm`` millimetres, ``_um`` micrometres, ``_c`` degrees Celsius, ``_k``
kelvin (a temperature difference), ``_s`` seconds, ``_min`` minutes, ``_ml`` millilitres, ``_g_m2``
grams per square metre. Shares run from 0 to 1, percentages from 0 to 100.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints


class Frozen(BaseModel):
    """An immutable value that refuses unknown fields, NaN and infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(?:-[a-z0-9]+)*$", max_length=48)]
"""Identifier of a catalogue entry: lower-case words and digits joined by single hyphens."""

SizeName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9 /.-]{0,15}$")]
Words = Annotated[str, StringConstraints(min_length=1, max_length=200, strip_whitespace=True)]
SrgbHex = Annotated[str, StringConstraints(pattern=r"^#[0-9a-f]{6}$", to_lower=True)]
"""An sRGB colour (IEC 61966-2-1) as ``#rrggbb``."""

StockQuantity = Annotated[Decimal, Field(ge=0, le=1_000_000, max_digits=10, decimal_places=3)]
"""An amount on a shelf, in the unit that its field names."""

LengthMm = Annotated[float, Field(gt=0, le=10_000)]
TemperatureC = Annotated[float, Field(ge=20, le=260)]
DwellS = Annotated[float, Field(gt=0, le=600)]
Share = Annotated[float, Field(ge=0, le=1)]
Percent = Annotated[Decimal, Field(gt=0, le=100, max_digits=6, decimal_places=3)]
Minutes = Annotated[Decimal, Field(ge=0, le=10_000, max_digits=9, decimal_places=4)]
Money = Annotated[Decimal, Field(ge=0, le=1_000_000, max_digits=12, decimal_places=5)]
"""A non-negative amount in the price book's currency; never a float."""
