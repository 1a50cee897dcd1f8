"""Gathering the facts that rules read: a decoration by one method, beside the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.chain import Chain
from service.domain.colour import Lab, delta_e_2000_pair, lab_from_srgb_hex
from service.domain.compiled import CompiledCatalogue
from service.domain.garments import Garment
from service.domain.look import Look, Surface, predict
from service.domain.media import FilmColour, Medium
from service.domain.memo import Memo
from service.domain.recipe import StrikeSettings, may_bleed, strike_settings
from service.domain.rules import Facts, Neighbour
from service.domain.wishes import Decoration, Line


@dataclass(frozen=True, slots=True)
class Beside:
    """Another decoration of the line, the chain it is or would be made by, and its place.

    ``listed_before`` says that the customer listed it before the one that is judged.
    """

    decoration: Decoration
    chain: Chain
    listed_before: bool


def film_colours_of(
    compiled: CompiledCatalogue, decoration: Decoration, chain: Chain
) -> dict[str, FilmColour]:
    """The colour of each film of the chain: as asked, or what suits the artwork best.

    A film that takes dye is chosen light; the first film that is cut takes the artwork's largest
    colour, the next the second.
    """
    dyed = [transfer.target for transfer in chain.dye]
    return {
        layer.id: _film_colour(compiled, decoration, layer, index, under_dye=layer in dyed)
        for index, layer in enumerate(chain.layers)
    }


def _film_colour(
    compiled: CompiledCatalogue,
    decoration: Decoration,
    medium: Medium,
    index: int,
    *,
    under_dye: bool,
) -> FilmColour:
    for colour in medium.colours:
        if colour.id == decoration.film_colour_id:
            return colour
    labs = compiled.film_lab_rows[medium.id]
    if len(labs) == 1:
        return medium.colours[0]
    if under_dye:
        return medium.colours[max(range(len(labs)), key=lambda at: labs[at].lightness)]
    palette = decoration.artwork.palette
    srgb = palette[min(index, len(palette) - 1)].srgb
    return medium.colours[
        compiled.memo.get(("nearest", medium.id, srgb), lambda: (_nearest(labs, srgb),))[0]
    ]


def _nearest(labs: tuple[Lab, ...], srgb: str) -> int:
    wanted = lab_from_srgb_hex(srgb)
    return min(range(len(labs)), key=lambda index: delta_e_2000_pair(labs[index], wanted))


def facts_for(
    compiled: CompiledCatalogue,
    line: Line,
    decoration: Decoration,
    method_id: str,
    beside: tuple[Beside, ...] = (),
) -> Facts:
    """Gather what the rules read; the method must be one of the catalogue's."""
    chain = compiled.chains[method_id]
    colours = film_colours_of(compiled, decoration, chain)
    labs = {id_: compiled.film_labs[id_, colour.id] for id_, colour in colours.items()}
    policy = compiled.catalogue.policy
    garment = line.garment
    memo = compiled.memo if memorable(compiled, garment) else Memo(8)

    def press() -> tuple[StrikeSettings, ...]:
        films = tuple(colour.id for colour in colours.values())
        key = ("settings", method_id, garment.cloth_key, may_bleed(garment, policy), films)
        return memo.get(key, lambda: strike_settings(chain, garment, labs, policy))

    def see(surface: Surface) -> Look:
        art = decoration.artwork
        return memo.get(("look", art.key, surface), lambda: predict(art.palette, surface, policy))

    others = _neighbours(compiled, line, chain, beside)
    return Facts(compiled.catalogue, line, decoration, chain, colours, labs, press, see, others)


def _neighbours(
    compiled: CompiledCatalogue, line: Line, chain: Chain, beside: tuple[Beside, ...]
) -> tuple[Neighbour, ...]:
    """The others as they are made on this line's garment beside that chain.

    Their settings depend on the cloth, and which is pressed first on both methods.
    """
    if not beside:
        return ()
    before = [other for other in beside if other.listed_before]
    listed = [*before, *[other for other in beside if not other.listed_before]]
    chains = [other.chain for other in listed]
    order = pressing_order([*chains[: len(before)], chain, *chains[len(before) :]])
    own = order.index(len(before))
    made = []
    for at, other in enumerate(listed):
        facts = facts_for(compiled, line, other.decoration, other.chain.method.id)
        earlier = order.index(at + (at >= len(before))) < own
        made.append(Neighbour(other.decoration, other.chain, facts.settings, earlier))
    return tuple(made)


def memorable(compiled: CompiledCatalogue, garment: Garment) -> bool:
    """Whether the garment's key stands for it: the catalogue's own, or one described in full."""
    return bool(garment.description) or compiled.garments.get(garment.key) is garment


def pressing_order(chains: Sequence[Chain | None]) -> list[int]:
    """The order in which a garment's decorations are made, as indexes.

    Dye goes last, for any later heat moves it again, and dye into the cloth after dye on film,
    whose film is pressed first; otherwise the customer's order stands. Common practice, no source.
    """

    def late(index: int) -> int:
        chain = chains[index]
        if chain is None or not chain.dye:
            return 0
        return 2 if any(transfer.target is None for transfer in chain.dye) else 1

    return sorted(range(len(chains)), key=late)
