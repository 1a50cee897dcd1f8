"""Working methods in the shop's order, and what speaks for each against the others, in words.

The order is lexicographic: the first criterion of the shop's policy decides, and each later one
only between methods that all before it hold equal. So that a first criterion does not swallow the
rest, each is read in steps:

    look    band of the colour difference, then the number of warnings
    price   indicative cost of decorating a piece, to two significant figures
    day     working days that material and unattended times add
    feel    micrometres of film on the cloth, 0 for dye in the cloth itself

Least is best in all. After the criteria the fewest operations decide, then the catalogue's own
order, so that the order is total and hangs neither on names nor on the order of what is given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from service.domain.chain import Chain
from service.domain.compiled import CompiledCatalogue
from service.domain.garments import Garment
from service.domain.indication import indicative_days, indicative_piece_cost, rates_of
from service.domain.look import Look, LookBand
from service.domain.media import Texture
from service.domain.memo import Same
from service.domain.methods import Cover, Method
from service.domain.rules.dye import dye_holding_percent
from service.domain.shop import Criterion, Policy
from service.domain.wishes import Decoration, Line

VISIBLE_DELTA_E = 1.0
"""A mean colour difference is called nearer from this much CIEDE2000 on; a design choice."""

VISIBLE_VIVIDNESS = 8.0
"""Colours are called less vivid from this much on, of 255; a design choice."""

_BANDS = {band: index for index, band in enumerate(LookBand)}


@dataclass(frozen=True, slots=True)
class MethodTraits:
    """What is true of a method whatever it puts on which cloth.

    ``position`` is its place in the catalogue. ``thickness_um`` sums the films on the cloth,
    ``tools`` counts the different machines, media and covers, ``strikes`` the closings of the
    press for a piece. ``dyes_cloth`` says that dye goes into the cloth itself,
    ``least_film_dye_share`` is that of the films that take dye, 1 where none does.
    """

    position: int
    thickness_um: float
    operations: int
    tools: int
    strikes: int
    textures: frozenset[Texture]
    dyes_cloth: bool
    least_film_dye_share: float


@dataclass(frozen=True, slots=True)
class Profile:
    """What ranking and trade-offs read of one decoration by one method. All of it is computed.

    ``mean_delta_e`` is CIEDE2000 over the palette; ``vividness`` the share-weighted spread between
    strongest and weakest sRGB channel of the predicted colours, 0 to 255. ``warnings`` counts the
    findings that warn. ``piece_cost`` is indicative, without the garment, in the currency's major
    unit; ``days`` as :func:`service.domain.indication.indicative_days`. ``part_dyed`` says that
    dye goes into something that holds only a part of it.
    """

    method_id: str
    traits: MethodTraits
    band: LookBand
    mean_delta_e: float
    vividness: float
    warnings: int
    piece_cost: Decimal
    days: int
    part_dyed: bool


@dataclass(frozen=True, slots=True)
class TradeOff:
    """Something that speaks for or against a way of making, in words; ``id`` never changes."""

    id: str
    words: str


def traits_of(compiled: CompiledCatalogue, method_id: str) -> MethodTraits:
    """The traits of one of the catalogue's methods, worked out once; KeyError for another."""
    return compiled.memo.get(
        ("method traits", method_id),
        lambda: _traits(
            compiled.chains[method_id], list(compiled.catalogue.method_by_id).index(method_id)
        ),
    )


def profile_of(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    method_id: str,
    look: Look,
    warnings: int,
) -> Profile:
    """Gather the profile of one decoration of ``line`` by that method.

    KeyError for a method that is not in the catalogue, ValueError for a line without pieces.
    """
    catalogue = compiled.catalogue
    traits, rates = traits_of(compiled, method_id), rates_of(compiled, method_id)
    return Profile(
        method_id=method_id,
        traits=traits,
        band=look.band,
        mean_delta_e=look.mean_delta_e,
        vividness=compiled.memo.get(("vividness", Same(look)), lambda: _vividness(look)),
        warnings=warnings,
        piece_cost=indicative_piece_cost(rates, decoration, line.pieces),
        days=indicative_days(rates, catalogue.blank_by_id.get(line.garment.blank_id or "")),
        part_dyed=_part_dyed(traits, line.garment, catalogue.policy),
    )


def rank(profiles: Iterable[Profile], criteria: Sequence[Criterion]) -> list[Profile]:
    """The profiles, best first, by the criteria in their order and the stated tie-breaks.

    One profile for each method: then any order of them gives the same list.
    """
    return sorted(
        profiles,
        key=lambda profile: (
            *(_STEPS[criterion](profile) for criterion in criteria),
            profile.traits.operations,
            profile.traits.position,
        ),
    )


def trade_offs(profile: Profile, profiles: Iterable[Profile]) -> tuple[TradeOff, ...]:
    """What is true of ``profile``, alone or against the other working methods among ``profiles``.

    A superlative needs at least one other method and is said of one alone: where two are equal,
    or too near to tell apart, of neither. Prices are compared in the steps of ranking.
    """
    others = [other for other in profiles if other.traits.position != profile.traits.position]
    return tuple(
        trade_off
        for trade_off, holds in (*_ALONE, *(_COMPARED if others else ()))
        if holds(profile, others)
    )


def _vividness(look: Look) -> float:
    weighed = sum(_spread(colour.predicted) * colour.share for colour in look.colours)
    return weighed / (sum(colour.share for colour in look.colours) or 1.0)


def _spread(srgb: str) -> int:
    """Strongest less weakest channel of ``#rrggbb``; plain, as it is asked for at every check."""
    red, green, blue = int(srgb[1:3], 16), int(srgb[3:5], 16), int(srgb[5:7], 16)
    return max(red, green, blue) - min(red, green, blue)


def _traits(chain: Chain, position: int) -> MethodTraits:
    targets = [transfer.target for transfer in chain.dye]
    dyed = [target.dye_share for target in targets if target is not None]
    return MethodTraits(
        position=position,
        thickness_um=sum((layer.thickness_um for layer in chain.layers), 0.0),
        operations=len(chain.method.operations),
        tools=_tools(chain.method),
        strikes=len(chain.strikes),
        textures=frozenset(layer.texture for layer in chain.layers),
        dyes_cloth=None in targets,
        least_film_dye_share=min(dyed, default=1.0),
    )


def _tools(method: Method) -> int:
    machines = {step.machine for step in method.operations if step.machine}
    media = {step.medium for step in method.operations if step.medium}
    covers = {step.cover for step in method.operations if step.cover is not Cover.NONE}
    return len(machines) + len(media) + len(covers)


def _part_dyed(traits: MethodTraits, garment: Garment, policy: Policy) -> bool:
    """True when dye goes where less than the policy's full share holds it."""
    full = policy.dye_full_percent
    in_cloth = traits.dyes_cloth and dye_holding_percent(garment.face) < full
    return in_cloth or traits.least_film_dye_share < float(full) / 100


def _price_step(profile: Profile) -> Decimal:
    """Two significant figures, as fine as an indication bears, whatever the currency."""
    cost = profile.piece_cost
    return round(cost, 1 - cost.adjusted()) if cost else cost


_STEPS: dict[Criterion, Callable[[Profile], tuple[int, int] | Decimal | float]] = {
    Criterion.LOOK: lambda profile: (_BANDS[profile.band], profile.warnings),
    Criterion.PRICE: _price_step,
    Criterion.DAY: lambda profile: profile.days,
    Criterion.FEEL: lambda profile: profile.traits.thickness_um,
}

_Number = TypeVar("_Number", Decimal, float)
_Holds = Callable[[Profile, Sequence[Profile]], bool]


def _least(measure: Callable[[Profile], _Number]) -> _Holds:
    """Below every other."""

    def holds(profile: Profile, others: Sequence[Profile]) -> bool:
        own = measure(profile)
        return all(own < measure(other) for other in others)

    return holds


def _least_by(measure: Callable[[Profile], float], by: float) -> _Holds:
    """Below every other by at least ``by``."""

    def holds(profile: Profile, others: Sequence[Profile]) -> bool:
        own = measure(profile)
        return all(measure(other) - own >= by for other in others)

    return holds


def _has(texture: Texture) -> _Holds:
    return lambda profile, _: texture in profile.traits.textures


_ALONE: tuple[tuple[TradeOff, _Holds], ...] = (
    (
        TradeOff("cannot-be-felt", "cannot be felt: the colour is dye in the cloth"),
        lambda profile, _: profile.traits.dyes_cloth and profile.traits.thickness_um == 0,
    ),
    (TradeOff("sparkles", "sparkles"), _has(Texture.GLITTER)),
    (TradeOff("velvety", "velvety and soft to the touch"), _has(Texture.FLOCK)),
    (TradeOff("aged-look", "muted colours, an aged look"), lambda profile, _: profile.part_dyed),
)

_thinnest = _least(lambda profile: profile.traits.thickness_um)

_COMPARED: tuple[tuple[TradeOff, _Holds], ...] = (
    (
        TradeOff("nearest-colours", "nearest to the artwork's colours"),
        _least_by(lambda profile: profile.mean_delta_e, VISIBLE_DELTA_E),
    ),
    (
        TradeOff("least-vivid", "the least vivid colours of the ways that work"),
        _least_by(lambda profile: profile.vividness, VISIBLE_VIVIDNESS),
    ),
    (
        TradeOff("thinnest", "thinnest to the touch of the ways that work"),
        lambda profile, others: profile.traits.thickness_um > 0 and _thinnest(profile, others),
    ),
    (
        TradeOff("lowest-price", "lowest price of the ways that work, by a quick reckoning"),
        _least(_price_step),
    ),
    (
        TradeOff("soonest", "soonest: the shortest wait for material and for drying"),
        _least(lambda profile: profile.days),
    ),
    (
        TradeOff("fewest-steps", "needs the fewest steps"),
        _least(lambda profile: profile.traits.operations),
    ),
    (
        TradeOff("fewest-tools", "needs the fewest machines and materials"),
        _least(lambda profile: profile.traits.tools),
    ),
    (
        TradeOff("fewest-strikes", "pressed the fewest times"),
        _least(lambda profile: profile.traits.strikes),
    ),
)

TRADE_OFFS: tuple[TradeOff, ...] = tuple(said for said, _ in (*_ALONE, *_COMPARED))
"""Everything that may be said, in the order it is said in."""
