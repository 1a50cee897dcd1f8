"""Press settings for a method on a cloth: every limit on each strike, and their intersection.

Temperatures are what the operator sets. A press whose surface may be ``temp_error_k`` off its
display must be set that much inside every limit, above a minimum and below a maximum. Windows and
ceilings are starting points; the data sheets of film, ink and cloth come first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache

from service.domain.chain import Chain, Strike
from service.domain.colour import Lab
from service.domain.fibres import FIBRE_FACTS, Fibre, FibreContent
from service.domain.garments import Garment
from service.domain.media import Peel, Pressure
from service.domain.memo import Same
from service.domain.methods import HEATED, Cover, Operation, OperationKind
from service.domain.shop import Policy

ELASTANE_FREE_PERCENT = Decimal(20)
"""Up to this share elastane rides under its neighbours' ceiling; common practice, no source."""


def fahrenheit(temp_c: float) -> float:
    """Degrees Fahrenheit of a temperature in degrees Celsius."""
    return temp_c * 9 / 5 + 32


class LimitKind(StrEnum):
    """What sets a limit on a strike's temperature."""

    WINDOW = "window"
    CLOTH = "cloth"
    FILM = "film"
    PRESS = "press"
    LOW_MELTER = "low_melter"
    MIGRATION = "migration"


_TOLD_ELSEWHERE = frozenset({LimitKind.LOW_MELTER, LimitKind.MIGRATION})
"""Limits that rules of their own report, beside the one on what press and cloth allow."""


@dataclass(frozen=True, slots=True)
class HeatLimit:
    """One limit on a strike, in degrees Celsius; ``because`` names what sets it.

    ``bears_c`` is the highest surface temperature it bears, ``max_set_c`` the highest setting that
    keeps the press's error below that. The press's own limit is a setting in both.
    """

    kind: LimitKind
    because: str
    bears_c: float
    max_set_c: float

    @property
    def migration(self) -> bool:
        """True for the limit that keeps the cloth's dye from rising."""
        return self.kind is LimitKind.MIGRATION


@dataclass(frozen=True, slots=True)
class HeatInterval:
    """Temperatures that one thing allows, in degrees Celsius; no lower end where it is None."""

    because: str
    least_c: float | None
    greatest_c: float

    def words(self) -> str:
        """As a sentence lists it: ``the polyamide in the cloth up to 150 °C``."""
        if self.least_c is None:
            return f"{self.because} up to {self.greatest_c:g} °C"
        return f"{self.because} {self.least_c:g} to {self.greatest_c:g} °C"


@dataclass(frozen=True, slots=True)
class StrikeSettings:
    """Limits, the lowest first, and, where they leave room, the setting of one strike.

    ``max_dwell_s`` is the longest strike in seconds that the cloth bears, None where only the
    press window limits it. ``set_c`` is None where temperature or dwell has no room; ``dwell_s``
    is then the least the window asks for if it is the dwell that fails.
    """

    strike: Strike
    min_set_c: float
    limits: tuple[HeatLimit, ...]
    set_c: float | None
    dwell_s: float
    pressure: Pressure
    peel: Peel
    max_dwell_s: float | None = None

    def tightest(self, *, migration: bool) -> HeatLimit:
        """The lowest of all limits; without ``migration``, of those no other rule reports."""
        return next(x for x in self.limits if migration or x.kind not in _TOLD_ELSEWHERE)

    @property
    def asked_c(self) -> float:
        """The setting, or the least the window asks for where there is none."""
        return self.min_set_c if self.set_c is None else self.set_c

    @property
    def dwell_has_room(self) -> bool:
        """True when some dwell of the window is short enough for the cloth."""
        return self.max_dwell_s is None or self.strike.window.dwell_min_s <= self.max_dwell_s

    def intervals(self, *, migration: bool) -> tuple[HeatInterval, ...]:
        """What each of the same limits allows, so that an empty intersection can be shown.

        Surface temperatures before the press's error is taken off; of the press, its setting.
        """
        least_c = self.strike.window.temp_min_c
        return tuple(
            HeatInterval(x.because, least_c if x.kind is LimitKind.WINDOW else None, x.bears_c)
            for x in self.limits
            if migration or x.kind not in _TOLD_ELSEWHERE
        )


def _max_set_c(limit: HeatLimit) -> float:
    return limit.max_set_c


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


def low_melters(content: FibreContent, policy: Policy) -> tuple[Fibre, ...]:
    """The fibres of which a little already spoils a press stroke, lowest ceiling first.

    They melt at or below ``policy.low_melting_c`` and make up ``policy.low_melter_percent`` or
    more.
    """
    found = [
        share.fibre
        for share in content.shares
        if share.percent >= policy.low_melter_percent
        and (melts_c := FIBRE_FACTS[share.fibre].melts_c) is not None
        and melts_c <= policy.low_melting_c
    ]
    return tuple(sorted(found, key=lambda fibre: FIBRE_FACTS[fibre].press_ceiling_c))


def elastane_counts(content: FibreContent, policy: Policy) -> bool:
    """True when there is enough elastane for its own limits on heat."""
    return any(
        share.fibre is Fibre.ELASTANE and share.percent >= policy.ceiling_min_percent
        for share in content.shares
    )


def bleeding_percent(garment: Garment) -> Decimal:
    """Stated percentage of polyester that may bleed: of the face or the whole, whichever is more.

    Film lies on the face, and dye rises from all the way through.
    """
    return max(
        sum(share.percent for share in content.shares if share.fibre is Fibre.POLYESTER)
        for content in (garment.face, garment.whole)
    ) or Decimal(0)


def may_bleed(garment: Garment, policy: Policy) -> bool:
    """True for cloth whose dye rises into films under heat: enough polyester, and coloured.

    Common practice, no source: at risk from 50 % polyester on anything darker than light.
    """
    if garment.lab.lightness >= policy.light_lightness:
        return False
    return bleeding_percent(garment) >= policy.migration_polyester_percent


def strike_settings(
    chain: Chain, garment: Garment, film_labs: Mapping[str, Lab], policy: Policy
) -> tuple[StrikeSettings, ...]:
    """Settings of every strike of the chain on this garment, in order.

    ``film_labs`` gives the colour of each film of the chain by medium id. ``set_c`` is None where
    the limits leave no room.
    """
    tinted: tuple[str, ...] = ()
    if may_bleed(garment, policy):
        light = policy.migration_film_lightness
        tinted = tuple(film.id for film in chain.layers if film_labs[film.id].lightness >= light)
    return _settings(Same(chain), garment.whole, Same(policy), tinted)


@lru_cache(maxsize=4_096)
def _settings(
    chain: Same[Chain], content: FibreContent, policy: Same[Policy], tinted: tuple[str, ...]
) -> tuple[StrikeSettings, ...]:
    """Settings for cloth of that fibre content, all its colours together.

    ``tinted`` names the films in which the cloth's dye would be seen if it rose.
    """
    cloth = _Cloth(content, policy.it)
    return tuple(_setting(strike, cloth, tinted) for strike in chain.it.strikes)


class _Cloth:
    """What the cloth itself allows: kind, name and degrees Celsius; and seconds."""

    __slots__ = ("bears", "max_dwell_s", "onset_c")

    def __init__(self, content: FibreContent, policy: Policy) -> None:
        ceiling_c, weakest = cloth_ceiling_c(content, policy)
        self.bears = [(LimitKind.CLOTH, f"the {weakest} in the cloth", ceiling_c)]
        for fibre in low_melters(content, policy)[:1]:
            if FIBRE_FACTS[fibre].press_ceiling_c < ceiling_c:
                bears_c = FIBRE_FACTS[fibre].press_ceiling_c
                self.bears.append((LimitKind.LOW_MELTER, f"the {fibre} in the cloth", bears_c))
        self.max_dwell_s = policy.elastane_dwell_s if elastane_counts(content, policy) else None
        self.onset_c = policy.migration_onset_c


def _bears(
    strike: Strike, cloth: _Cloth, tinted: tuple[str, ...]
) -> Iterator[tuple[LimitKind, str, float]]:
    yield from cloth.bears
    yield LimitKind.WINDOW, "its own press window", strike.window.temp_max_c
    for film in strike.beneath:
        yield LimitKind.FILM, f"the {film.name} beneath", film.withstands_c
    if _shows_bleeding(strike, tinted):
        yield LimitKind.MIGRATION, "dye rising out of the cloth", cloth.onset_c


def _shows_bleeding(strike: Strike, tinted: tuple[str, ...]) -> bool:
    """True when a film on the cloth during this strike would be tinted by the cloth's dye.

    A film that blocks dye shields itself and all above it.
    """
    on_cloth = [*strike.beneath]
    if strike.medium is not None and strike.medium.stays_on_cloth:
        on_cloth.append(strike.medium)
    for film in on_cloth:
        if film.blocks_dye:
            return False
        if film.id in tinted:
            return True
    return False


def _setting(strike: Strike, cloth: _Cloth, tinted: tuple[str, ...]) -> StrikeSettings:
    window, error = strike.window, strike.press.temp_error_k
    limits = [
        HeatLimit(kind, because, bears_c, bears_c - error)
        for kind, because, bears_c in _bears(strike, cloth, tinted)
    ]
    ceiling_c = strike.press.ceiling_c
    limits.append(HeatLimit(LimitKind.PRESS, "the press", ceiling_c, ceiling_c))
    limits.sort(key=_max_set_c)
    lowest, highest = window.temp_min_c + error, limits[0].max_set_c
    longest = window.dwell_max_s if cloth.max_dwell_s is None else cloth.max_dwell_s
    has_room = lowest <= highest and window.dwell_min_s <= longest
    return StrikeSettings(
        strike=strike,
        min_set_c=lowest,
        limits=tuple(limits),
        set_c=min(max(window.best_temp_c, lowest), highest) if has_room else None,
        dwell_s=max(min(window.best_dwell_s, longest), window.dwell_min_s),
        pressure=window.pressure,
        peel=window.peel,
        max_dwell_s=cloth.max_dwell_s,
    )


@dataclass(frozen=True, slots=True)
class OperationRecipe:
    """One operation of a method as the bench does it on one garment.

    ``index`` counts the method's operations from 0. ``mirrored`` is None where nothing is printed
    or cut, ``cover`` where the press does not close. Temperature, dwell and pressure are None for
    operations without heat, and together with ``set_f`` where the limits leave no room;
    ``intervals`` then shows why. ``peel`` stands with the strike and with the peeling after it.
    """

    index: int
    kind: OperationKind
    station: str
    machine: str | None
    medium: str | None
    mirrored: bool | None
    cover: Cover | None
    set_c: float | None
    set_f: float | None
    dwell_s: float | None
    pressure: Pressure | None
    peel: Peel | None
    wait_min: int
    intervals: tuple[HeatInterval, ...]

    @property
    def heated(self) -> bool:
        """True when the press closes."""
        return self.kind in HEATED

    @property
    def has_room(self) -> bool:
        """False for a strike that no setting suits."""
        return not self.heated or self.set_c is not None


def operation_recipes(
    chain: Chain, settings: tuple[StrikeSettings, ...]
) -> tuple[OperationRecipe, ...]:
    """A recipe for every operation of the chain's method, in order.

    ``settings`` are those of the same chain's strikes on the garment at hand.
    """
    by_step = {entry.strike.step: entry for entry in settings}
    peels: dict[str | None, Peel] = {}
    recipes = []
    for index, operation in enumerate(chain.method.operations):
        entry = by_step.get(index)
        if entry is not None:
            peels[operation.medium] = entry.peel
        peeled = entry is not None or operation.kind is OperationKind.PEEL
        peel = peels.get(operation.medium) if peeled else None
        recipes.append(_recipe(index, operation, entry, peel))
    return tuple(recipes)


def _recipe(
    index: int, operation: Operation, entry: StrikeSettings | None, peel: Peel | None
) -> OperationRecipe:
    set_c = entry.set_c if entry is not None else None
    held = entry if set_c is not None else None
    return OperationRecipe(
        index=index,
        kind=operation.kind,
        station=operation.station,
        machine=operation.machine,
        medium=operation.medium,
        mirrored=operation.mirrored,
        cover=operation.cover if entry is not None else None,
        set_c=set_c,
        set_f=None if set_c is None else fahrenheit(set_c),
        dwell_s=held.dwell_s if held is not None else None,
        pressure=held.pressure if held is not None else None,
        peel=peel,
        wait_min=operation.wait_min,
        intervals=entry.intervals(migration=True) if entry is not None else (),
    )
