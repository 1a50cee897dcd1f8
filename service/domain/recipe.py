"""Press settings for a method on a cloth: every limit on each strike, and their intersection.

Temperatures are what the operator sets. A press whose surface may be ``temp_error_k`` off its
display must be set that much inside every limit, above a minimum and below a maximum. Windows and
ceilings are starting points; the data sheets of film, ink and cloth come first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from service.domain.chain import Chain, Strike
from service.domain.colour import Lab
from service.domain.fibres import FIBRE_FACTS, Fibre, FibreContent
from service.domain.garments import Garment
from service.domain.media import Medium, Peel, Pressure, PressWindow
from service.domain.shop import Policy

ELASTANE_FREE_PERCENT = Decimal(20)
"""Up to this share elastane rides under its neighbours' ceiling; common practice, no source."""


def fahrenheit(temp_c: float) -> float:
    """Degrees Fahrenheit of a temperature in degrees Celsius."""
    return temp_c * 9 / 5 + 32


@dataclass(frozen=True, slots=True)
class HeatLimit:
    """One limit on a strike's setting, in degrees Celsius; ``because`` names what sets it."""

    because: str
    max_set_c: float
    migration: bool = False


@dataclass(frozen=True, slots=True)
class StrikeSettings:
    """Limits and, where they leave room, the setting of one strike."""

    strike: Strike
    min_set_c: float
    limits: tuple[HeatLimit, ...]
    set_c: float | None
    dwell_s: float
    pressure: Pressure
    peel: Peel

    def tightest(self, *, migration: bool) -> HeatLimit:
        """The lowest of the limits, with or without those that migration sets."""
        limits = [limit for limit in self.limits if migration or not limit.migration]
        return min(limits, key=lambda limit: limit.max_set_c)


def cloth_ceiling_c(content: FibreContent, policy: Policy) -> tuple[float, Fibre]:
    """The lowest press ceiling among the fibres that count, in degrees Celsius, and whose it is.

    Fibres below ``policy.ceiling_min_percent`` do not count, nor elastane up to 20 %.
    """
    counting = [
        share.fibre
        for share in content.shares
        if share.percent >= policy.ceiling_min_percent
        and (share.fibre is not Fibre.ELASTANE or share.percent > ELASTANE_FREE_PERCENT)
    ] or [max(content.shares, key=lambda share: share.percent).fibre]
    weakest = min(counting, key=lambda fibre: FIBRE_FACTS[fibre].press_ceiling_c)
    return FIBRE_FACTS[weakest].press_ceiling_c, weakest


def may_bleed(garment: Garment, policy: Policy) -> bool:
    """True for cloth whose dye rises into films under heat: enough polyester, and coloured.

    Common practice, no source: at risk from 50 % polyester on anything darker than light.
    """
    polyester = garment.whole.mass_share(Fibre.POLYESTER)
    coloured = garment.lab.lightness < policy.light_lightness
    return coloured and polyester >= float(policy.migration_polyester_percent) / 100


def shows_bleeding(strike: Strike, film_labs: Mapping[str, Lab], policy: Policy) -> Medium | None:
    """The light film on the cloth during this strike that cloth dye would tint, or None.

    A film that blocks dye shields itself and all above it.
    """
    films = [*strike.beneath]
    if strike.medium is not None and strike.medium.stays_on_cloth:
        films.append(strike.medium)
    for film in films:
        if film.blocks_dye:
            return None
        if film_labs[film.id].lightness >= policy.migration_film_lightness:
            return film
    return None


def strike_settings(
    chain: Chain, garment: Garment, film_labs: Mapping[str, Lab], policy: Policy
) -> tuple[StrikeSettings, ...]:
    """Settings of every strike of the chain on this garment, in order.

    ``film_labs`` gives the colour of each film of the chain by medium id. ``set_c`` is None where
    the limits leave no room.
    """
    ceiling = cloth_ceiling_c(garment.whole, policy)
    bleeds = may_bleed(garment, policy)
    return tuple(
        _settings(strike, _limits(strike, ceiling, film_labs if bleeds else None, policy))
        for strike in chain.strikes
    )


def _limits(
    strike: Strike,
    ceiling: tuple[float, Fibre],
    film_labs_if_bleeding: Mapping[str, Lab] | None,
    policy: Policy,
) -> tuple[HeatLimit, ...]:
    error = strike.press.temp_error_k
    ceiling_c, fibre = ceiling
    limits = [
        HeatLimit(f"the {fibre} in the cloth", ceiling_c - error),
        HeatLimit("its own press window", strike.window.temp_max_c - error),
        HeatLimit("the press", strike.press.ceiling_c),
    ]
    limits += [
        HeatLimit(f"the {film.name} beneath", film.withstands_c - error) for film in strike.beneath
    ]
    if film_labs_if_bleeding is not None and shows_bleeding(strike, film_labs_if_bleeding, policy):
        onset = policy.migration_onset_c - error
        limits.append(HeatLimit("dye rising out of the cloth", onset, migration=True))
    return tuple(limits)


def _settings(strike: Strike, limits: tuple[HeatLimit, ...]) -> StrikeSettings:
    window: PressWindow = strike.window
    lowest = window.temp_min_c + strike.press.temp_error_k
    highest = min(limit.max_set_c for limit in limits)
    best = min(max(window.best_temp_c, lowest), highest)
    return StrikeSettings(
        strike=strike,
        min_set_c=lowest,
        limits=limits,
        set_c=best if lowest <= highest else None,
        dwell_s=window.best_dwell_s,
        pressure=window.pressure,
        peel=window.peel,
    )
