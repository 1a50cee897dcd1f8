"""Rules on what dye meets: white in the artwork, and a strong colour beneath."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.colour import Lab, chroma, lab_from_srgb_hex
from service.domain.look import image_film
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.rules.look import READS_OF_LOOK, reads_under_dye

_WHITE_REASONS = {
    "none": "The artwork has no white to speak of, so nothing is missing where dye has none.",
    "all_white": (
        "Dye has no white, and this artwork is white throughout ({percent:.3g} %): nothing would "
        "be printed. White film shows it, on cloth that is not white."
    ),
    "white_cloth": (
        "Dye has no white: the white part of the artwork ({percent:.3g} %) stays as the white "
        "cloth is."
    ),
    "film": (
        "Dye has no white: in the white part of the artwork ({percent:.3g} %) the {film}'s own "
        "colour shows, {colour}."
    ),
    "light_cloth": (
        "Dye has no white: in the white part of the artwork ({percent:.3g} %) the cloth shows "
        "({colour}). Take it out of the artwork, or take white cloth or an opaque film."
    ),
    "coloured_cloth": (
        "Dye has no white: in the white part of the artwork ({percent:.3g} %, where {limit:.3g} % "
        "do not matter) the cloth would show ({colour}), which is not light. White cloth or an "
        "opaque film is the way out."
    ),
}


def _dye_white_artwork(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.dye:
        return
    percent = 100 * facts.decoration.artwork.near_white_share
    limit = 100 * facts.policy.near_white_share
    film = image_film(facts.chain)
    if percent <= limit:
        severity, name = Severity.PASSES, "none"
    elif film is not None:
        severity, name = Severity.NOTES, "film"
    elif percent >= 100 - limit:
        severity, name = Severity.BLOCKS, "all_white"
    else:
        severity, name = _white_on(facts.garment.lab, facts)
    reason = _WHITE_REASONS[name].format(
        percent=percent,
        limit=limit,
        film=film.name if film is not None else "",
        colour=facts.film_colours[film.id].name if film else facts.garment.colour_name,
    )
    step = facts.chain.dye[-1].step
    yield Reading(severity, reason, percent, limit, "% of the artwork that is white", step)


def _white_on(cloth: Lab, facts: Facts) -> tuple[Severity, str]:
    policy = facts.policy
    if cloth.lightness >= policy.white_lightness and chroma(cloth) <= policy.white_chroma:
        return Severity.PASSES, "white_cloth"
    if cloth.lightness >= policy.light_lightness:
        return Severity.WARNS, "light_cloth"
    return Severity.BLOCKS, "coloured_cloth"


DYE_WHITE_ARTWORK = Rule(
    id="dye-white-artwork",
    title="White in the artwork under dye",
    explanation=(
        "A dye printer has no white ink and dye is transparent, so white parts of the artwork show "
        "the cloth or film beneath. On white cloth that is as it should be, on light cloth it is "
        "said, and on darker cloth, where the white is what would stand out, it is refused. So is "
        "artwork that is white throughout, of which nothing would be printed. What counts as white "
        "cloth and as white enough artwork is the shop's policy."
    ),
    source="common practice, no source",
    reads=READS_OF_LOOK,
    evaluate=_dye_white_artwork,
    reasons=_WHITE_REASONS,
    policy=("light_lightness", "near_white_share", "white_chroma", "white_lightness"),
    reads_on=reads_under_dye,
    ways_out="White cloth, an opaque film, or artwork whose white is cleared away.",
)


_SATURATION_REASONS = {
    "calm": "The surface is no strong colour (chroma {chroma:.0f}), so dye keeps its hues.",
    "strong": (
        "{surface} is a strong colour (chroma {chroma:.0f}, strong is above {limit:g}): every "
        "colour of the dye turns towards it. White or pale cloth keeps the hues."
    ),
    "both": (
        "{surface} is a strong colour (chroma {chroma:.0f}, strong is above {limit:g}) and so is "
        "the artwork: how strong dyes mix cannot be told from their colours, so this is a warning, "
        "not a preview. Print a sample, or take white or pale cloth."
    ),
}


def _dye_surface_saturation(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.dye:
        return
    film, limit = image_film(facts.chain), facts.policy.saturated_chroma
    measured = chroma(facts.film_labs[film.id] if film is not None else facts.garment.lab)
    if measured <= limit:
        severity, name = Severity.PASSES, "calm"
    else:
        severity, name = Severity.WARNS, "both" if _artwork_is_strong(facts) else "strong"
    surface = f"The {film.name}" if film is not None else f"The cloth ({facts.garment.colour_name})"
    reason = _SATURATION_REASONS[name].format(chroma=measured, limit=limit, surface=surface)
    yield Reading(severity, reason, measured, limit, "CIELAB C*", facts.chain.dye[-1].step)


def _artwork_is_strong(facts: Facts) -> bool:
    policy = facts.policy
    return any(
        colour.share >= policy.colour_counts_from_share
        and chroma(lab_from_srgb_hex(colour.srgb)) > policy.saturated_chroma
        for colour in facts.decoration.artwork.palette
    )


DYE_SURFACE_SATURATION = Rule(
    id="dye-surface-saturation",
    title="Dye on a strong colour",
    explanation=(
        "A bright yellow is light, and yet unsafe under dye: it takes out the blue of every colour "
        "laid on it. How a strong dye looks on a strong cloth cannot be predicted from three "
        "numbers a colour: on published overprints of two solid inks the prediction is off by 7.7 "
        "on average and by up to 15 for violets. So a strong surface under dye is always said."
    ),
    source=(
        "computed on published overprints of five print conditions (public characterisation data); "
        "the limit is common practice, no source"
    ),
    reads=READS_OF_LOOK,
    evaluate=_dye_surface_saturation,
    reasons=_SATURATION_REASONS,
    may_block=False,
    policy=("colour_counts_from_share", "saturated_chroma"),
    reads_on=reads_under_dye,
    ways_out="White or pale cloth, an opaque film, or a sample first.",
)
