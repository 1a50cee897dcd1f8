"""How an artwork will look on cloth or film: predicted from colours and fibre shares, no promise.

Dye lies in the surface as a filter: light is multiplied in linear BT.2020, where published ink
overprints are met far better than in sRGB. Where only part of the surface holds dye, the
look lies between two ends, carried as its doubt: parts that lie apart, and a close blend of fibres.
Opaque printed film shows what lies in the printer's gamut, cut film the colours it is stocked in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import chain as joined

import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import PaletteColour
from service.domain.chain import Chain, Worked
from service.domain.colour import (
    FloatArray,
    Lab,
    bt2020_from_lab,
    bt2020_from_srgb,
    delta_e_2000,
    delta_e_2000_pair,
    lab_from_bt2020,
    lab_from_srgb,
    srgb_from_bt2020,
    srgb_from_hex,
    srgb_from_lab,
)
from service.domain.dyeing import area_mix, dye_over, fibre_blend
from service.domain.fibres import FIBRE_FACTS, FibreContent
from service.domain.gamut import printed_on_film, usual_solids_on
from service.domain.garments import Garment
from service.domain.machines import InkSolids, Printer
from service.domain.media import Medium
from service.domain.methods import OperationKind
from service.domain.shop import Policy

TALLY_SHARE = 0.95
"""The share of the inked area within a look's ``p95_delta_e``."""

_FEW_PAIRS = 40


class SurfaceKind(StrEnum):
    """How an image comes onto a surface."""

    DYED = "dyed"
    PRINTED = "printed"
    CUT = "cut"


@dataclass(frozen=True, slots=True)
class Surface:
    """What an image is put on, and how: all that its look depends on beside the artwork.

    ``lab`` is the surface's own colour, ``dye_share`` the share of its volume that holds dye,
    ``veil`` the share of light thrown back undyed by sparkle or nap, ``films`` the colours of cut
    films in the order of their cutting, ``solids`` the printer's gamut on this very surface,
    ``cloth`` the cloth around the print.
    """

    kind: SurfaceKind
    lab: Lab
    cloth: Lab
    dye_share: float = 1.0
    veil: float = 0.0
    films: tuple[Lab, ...] = ()
    solids: InkSolids | None = None


class LookBand(StrEnum):
    """How near the print comes to the artwork, by the shop's policy on mean colour difference."""

    FAITHFUL = "faithful"
    NEAR = "near"
    SHIFTED = "shifted"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class ColourLook:
    """One palette colour: as wanted, as predicted, and the ends of the doubt, as sRGB hex.

    ``delta_e`` is CIEDE2000 between wanted and predicted, ``doubt_delta_e`` between the ends.
    """

    wanted: str
    predicted: str
    lightest: str
    darkest: str
    share: float
    delta_e: float
    doubt_delta_e: float


@dataclass(frozen=True, slots=True)
class Look:
    """How a decoration will look: a prediction from sRGB colours and fibre shares, no promise.

    ``mean_delta_e`` and ``p95_delta_e`` weigh the palette by share, ``worst`` is the index of the
    palette colour farthest off, ``contrast_lightness`` the share-weighted mean difference in L*
    between print and cloth around it, ``doubt_delta_e`` the widest doubt of any colour.
    """

    kind: SurfaceKind
    colours: tuple[ColourLook, ...]
    mean_delta_e: float
    p95_delta_e: float
    worst: int
    contrast_lightness: float
    doubt_delta_e: float
    band: LookBand


def surface_of(
    chain: Chain,
    garment: Garment,
    film_labs: Mapping[str, Lab],
) -> Surface:
    """What the chain puts its image on; ``film_labs`` are its films' colours by medium id."""
    kind, film, cloth = surface_kind(chain), image_film(chain), garment.lab
    shown = film_labs[film.id] if film is not None else cloth
    if kind is SurfaceKind.PRINTED:
        return Surface(kind, shown, cloth, solids=_solids(chain, shown))
    if kind is SurfaceKind.CUT:
        films = tuple(film_labs[layer.id] for layer in chain.layers)
        return Surface(kind, shown, cloth, films=films)
    target = chain.dye[-1].target
    if target is None:
        return Surface(kind, shown, cloth, dye_share=dye_holding_volume(garment.face))
    return Surface(kind, shown, cloth, dye_share=target.dye_share, veil=target.veil)


def surface_kind(chain: Chain) -> SurfaceKind:
    """Dye makes the image wherever a chain sends it, else printed film, else what is cut."""
    if chain.dye:
        return SurfaceKind.DYED
    return SurfaceKind.CUT if _topmost_printed(chain) is None else SurfaceKind.PRINTED


def image_film(chain: Chain) -> Medium | None:
    """The film whose colour the image is put on or, cut, made of; None where that is the cloth.

    Through a clear film under dye or print the next opaque one beneath is seen, or the cloth.
    """
    printed = _topmost_printed(chain)
    if chain.dye:
        top = chain.dye[-1].target
    elif printed is not None:
        top = printed.medium
    else:
        return chain.layers[-1] if chain.layers else None
    if top is None:
        return None
    ids = [layer.id for layer in chain.layers]
    beneath = reversed(chain.layers[: ids.index(top.id) + 1])
    return next((layer for layer in beneath if layer.opaque), None)


def _topmost_printed(chain: Chain) -> Worked | None:
    ids = [layer.id for layer in chain.layers]
    printed = [
        worked
        for worked in chain.worked
        if worked.kind is OperationKind.PRINT and worked.medium.id in ids
    ]
    return max(printed, key=lambda worked: ids.index(worked.medium.id), default=None)


def _solids(chain: Chain, shown: Lab) -> InkSolids:
    """Those measured on the printer's opaque film; else the usual ones on what is shown."""
    printed = _topmost_printed(chain)
    if printed is not None and printed.medium.opaque and isinstance(printed.machine, Printer):
        return printed.machine.solids or usual_solids_on(shown)
    return usual_solids_on(shown)


def dye_holding_volume(face: FibreContent) -> float:
    """Share of the cloth's volume, 0 to 1, in fibres that fix dye: light meets volume, not mass."""
    holding = sum(
        face.volume_share(share.fibre)
        for share in face.shares
        if FIBRE_FACTS[share.fibre].fixes_dye
    )
    return min(holding, 1.0)


def predict(palette: Sequence[PaletteColour], surface: Surface, policy: Policy) -> Look:
    """The look of one palette on one surface. ValueError for an empty palette."""
    return predict_many(palette, (surface,), policy)[0]


def predict_many(
    palette: Sequence[PaletteColour], surfaces: Sequence[Surface], policy: Policy
) -> tuple[Look, ...]:
    """The looks of one palette on many surfaces, in their order, computed together.

    ValueError for an empty palette.
    """
    if not palette:
        raise ValueError("a palette has at least one colour")
    if not surfaces:
        return ()
    wanted = _wanted(tuple(palette))
    seen = _seen(wanted, surfaces, policy)
    return _looks(wanted, surfaces, seen, policy)


def seen_on(codes: NDArray[np.uint8], surface: Surface, policy: Policy) -> FloatArray:
    """How sRGB codes (n, 3) look on a surface, as sRGB (n, 3) from 0 to 1: the doubt's middle.

    Of very many colours; nothing is remembered of them.
    """
    light = bt2020_from_srgb(codes)
    if surface.kind is SurfaceKind.DYED:
        dyed: FloatArray = _dyed(light, [surface], policy).srgb[0, 0]
        return dyed
    cover = _covers(surface)
    if isinstance(cover, InkSolids):
        return srgb_from_lab(printed_on_film(light, cover))
    films = np.array(cover)
    wanted = lab_from_srgb(codes)
    # One film after the other: all differences at once would take memory for each film.
    off = np.array([delta_e_2000(wanted, film) for film in films])
    return srgb_from_lab(films[off.argmin(axis=0)])


@dataclass(frozen=True, slots=True, eq=False)
class _Wanted:
    """A palette of n colours as arrays: shares (n,) that sum to 1, CIELAB and light (n, 3)."""

    palette: tuple[PaletteColour, ...]
    shares: FloatArray
    labs: FloatArray
    light: FloatArray


@lru_cache(maxsize=1024)
def _wanted(palette: tuple[PaletteColour, ...]) -> _Wanted:
    shares = np.array([colour.share for colour in palette])
    if not shares.sum() > 0:
        shares = np.ones(len(palette))
    codes = np.array([srgb_from_hex(colour.srgb) for colour in palette], dtype=np.uint8)
    return _Wanted(palette, shares / shares.sum(), lab_from_srgb(codes), bt2020_from_srgb(codes))


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """How n colours look on s surfaces, as CIELAB and sRGB 0 to 1, each (b, s, n, 3).

    ``b`` is 1 where no surface leaves a doubt, else 3: the middle, the lightest and the darkest.
    """

    labs: FloatArray
    srgb: FloatArray


def _seen(wanted: _Wanted, surfaces: Sequence[Surface], policy: Policy) -> _Seen:
    dyed = [row for row, surface in enumerate(surfaces) if surface.kind is SurfaceKind.DYED]
    if len(dyed) == len(surfaces):
        return _dyed(wanted.light, surfaces, policy)
    if not dyed:
        return _opaque(wanted, surfaces)
    others = [row for row, surface in enumerate(surfaces) if surface.kind is not SurfaceKind.DYED]
    shape = (3, len(surfaces), len(wanted.palette), 3)
    seen = _Seen(np.empty(shape), np.empty(shape))
    for rows, part in (
        (dyed, _dyed(wanted.light, [surfaces[row] for row in dyed], policy)),
        (others, _opaque(wanted, [surfaces[row] for row in others])),
    ):
        seen.labs[:, rows] = part.labs
        seen.srgb[:, rows] = part.srgb
    return seen


def _dyed(wanted: FloatArray, surfaces: Sequence[Surface], policy: Policy) -> _Seen:
    rows = np.array([(*_light_of(each.lab), each.dye_share, each.veil) for each in surfaces])
    surface = rows[:, None, :3]
    light = dye_over(wanted, surface, policy.dye_surface_floor)[None]
    if any(each.dye_share < 1 or each.veil > 0 for each in surfaces):
        light = _partly(light[0], surface, rows[:, None, 3:4], rows[:, None, 4:], policy)
    return _Seen(lab_from_bt2020(light), srgb_from_bt2020(light))


def _partly(
    dyed: FloatArray, surface: FloatArray, share: FloatArray, veil: FloatArray, policy: Policy
) -> FloatArray:
    """Light (b, s, n, 3) off surfaces of which a share holds dye, under a veil of undyed light."""
    lightest = area_mix(area_mix(dyed, surface, share), surface, 1 - veil)
    if (share == 1).all():
        return lightest[None]
    blend = fibre_blend(dyed, surface, share, policy.blend_constant)
    return _between(lightest, area_mix(blend, surface, 1 - veil))


def _between(lightest: FloatArray, darkest: FloatArray) -> FloatArray:
    """Middle, lightest and darkest: the middle is the mean of both ends in CIELAB.

    The mean of two saturated colours may leave that range in one channel by a hair; it is held in.
    """
    one, other = lab_from_bt2020(np.array((lightest, darkest)))
    middle = bt2020_from_lab((one + other) / 2).clip(darkest, lightest)
    return np.array((middle, lightest, darkest))


@lru_cache(maxsize=4096)
def _light_of(surface: Lab) -> tuple[float, ...]:
    """Linear BT.2020 of a surface, cut off at the gamut's edge."""
    light: list[float] = bt2020_from_lab(surface).clip(0.0, 1.0).tolist()
    return tuple(light)


def _opaque(wanted: _Wanted, surfaces: Sequence[Surface]) -> _Seen:
    """Printed and cut films: what lies beneath does not matter, so each film is worked out once."""
    covers = [_covers(surface) for surface in surfaces]
    shown = {cover: _shown(wanted.palette, cover) for cover in dict.fromkeys(covers)}
    labs = np.array([[shown[cover] for cover in covers]])
    return _Seen(labs, srgb_from_lab(labs))


def _covers(surface: Surface) -> InkSolids | tuple[Lab, ...]:
    """The solids it is printed with, or the films it is cut from."""
    if surface.kind is SurfaceKind.PRINTED:
        return surface.solids or usual_solids_on(surface.lab)
    return surface.films or (surface.lab,)


@lru_cache(maxsize=1024)
def _shown(palette: tuple[PaletteColour, ...], cover: InkSolids | tuple[Lab, ...]) -> FloatArray:
    """CIELAB (n, 3) of the palette printed with those solids, or cut from the nearest films."""
    wanted = _wanted(palette)
    if isinstance(cover, InkSolids):
        return printed_on_film(wanted.light, cover)
    stocked = np.array(cover)
    if len(cover) == 1:
        return np.broadcast_to(stocked, wanted.labs.shape)
    nearest: FloatArray = stocked[delta_e_2000(wanted.labs[:, None], stocked).argmin(axis=1)]
    return nearest


def _looks(
    wanted: _Wanted, surfaces: Sequence[Surface], seen: _Seen, policy: Policy
) -> tuple[Look, ...]:
    middle = seen.labs[0]
    off = _exact(_differences(wanted.labs, middle))
    ends = seen.labs[1:]
    doubts = _exact(_differences(*ends)) if len(ends) else np.zeros(off.shape)
    cloths = np.array([surface.cloth.lightness for surface in surfaces])[:, None]
    contrasts = _exact(np.abs(middle[..., 0] - cloths) @ wanted.shares)
    shares = wanted.shares.tolist()
    rows = zip(
        surfaces,
        _colour_looks(wanted, seen, off.tolist(), doubts.tolist()),
        _exact(off @ wanted.shares).tolist(),
        contrasts.tolist(),
        strict=True,
    )
    return tuple(
        _look(surface.kind, colours, shares, mean, contrast, policy)
        for surface, colours, mean, contrast in rows
    )


def _exact(numbers: FloatArray) -> FloatArray:
    """Without the last digits, which depend on how many are worked out together."""
    return np.round(numbers, 9)


def _look(
    kind: SurfaceKind,
    colours: tuple[ColourLook, ...],
    shares: list[float],
    mean_delta_e: float,
    contrast: float,
    policy: Policy,
) -> Look:
    off = [colour.delta_e for colour in colours]
    return Look(
        kind=kind,
        colours=colours,
        mean_delta_e=mean_delta_e,
        p95_delta_e=_tally_reached(off, shares),
        worst=off.index(max(off)),
        contrast_lightness=contrast,
        doubt_delta_e=max(colour.doubt_delta_e for colour in colours),
        band=look_band(mean_delta_e, policy),
    )


def _tally_reached(off: list[float], shares: list[float]) -> float:
    """The least difference that 95 % of the shares do not exceed."""
    covered = 0.0
    for difference, share in sorted(zip(off, shares, strict=True)):
        covered += share
        if covered >= TALLY_SHARE - 1e-9:
            return difference
    return max(off)


def _differences(one: FloatArray, other: FloatArray) -> FloatArray:
    """CIEDE2000 (s, n) of colours (n, 3) or (s, n, 3) and (s, n, 3)."""
    if other.size > 3 * _FEW_PAIRS or len(other) > 1:
        return delta_e_2000(one, other)
    # A few pairs are quicker one by one.
    pairs = zip(one.reshape(-1, 3).tolist(), other[0].tolist(), strict=True)
    return np.array([[delta_e_2000_pair(Lab(*a), Lab(*b)) for a, b in pairs]])


def _colour_looks(
    wanted: _Wanted, seen: _Seen, off: list[list[float]], doubts: list[list[float]]
) -> list[tuple[ColourLook, ...]]:
    text = np.rint(seen.srgb * 255).astype(np.uint8).tobytes().hex()
    hexes = [f"#{text[start : start + 6]}" for start in range(0, len(text), 6)]
    count, columns = len(off) * len(off[0]), len(off[0])
    middle, lightest, darkest = (hexes[:count], hexes[-2 * count :][:count], hexes[-count:])
    colours = [(colour.srgb, colour.share) for colour in wanted.palette]
    looks = [
        ColourLook(srgb, *seen_as, share, *numbers)
        for (srgb, share), seen_as, numbers in zip(
            colours * len(off),
            zip(middle, lightest, darkest, strict=True),
            zip(joined.from_iterable(off), joined.from_iterable(doubts), strict=True),
            strict=True,
        )
    ]
    return [tuple(looks[start : start + columns]) for start in range(0, count, columns)]


def look_band(mean_delta_e: float, policy: Policy) -> LookBand:
    """The band of a mean colour difference; each limit belongs to the nearer band."""
    if mean_delta_e <= policy.colour_faithful_delta_e:
        return LookBand.FAITHFUL
    if mean_delta_e <= policy.colour_near_delta_e:
        return LookBand.NEAR
    return LookBand.SHIFTED if mean_delta_e <= policy.colour_shifted_delta_e else LookBand.LOST
