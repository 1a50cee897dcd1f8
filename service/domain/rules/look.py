"""Rules on how the decoration will look: its colours, how sure they are, and the contrast."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from service.domain.chain import Chain
from service.domain.colour import delta_e_2000_pair, lab_from_srgb_hex
from service.domain.look import (
    Look,
    LookBand,
    Surface,
    SurfaceKind,
    image_film,
    surface_kind,
)
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice, Consent

_MEAN = "CIEDE2000, mean over the artwork"
_SHADES = frozenset({LookBand.FAITHFUL, LookBand.NEAR})

READS_OF_LOOK = frozenset(
    {Choice.METHOD, Choice.BLANK, Choice.COLOUR, Choice.ARTWORK, Choice.FILM_COLOUR}
)
"""All that a look may depend on."""


def surface_choices(chain: Chain) -> frozenset[Choice]:
    """The choices that decide the surface the image is put on, beside the method."""
    film = image_film(chain)
    choices: set[Choice] = set()
    if film is None or any(transfer.target is None for transfer in chain.dye):
        choices |= {Choice.BLANK, Choice.COLOUR}
    if surface_kind(chain) is SurfaceKind.CUT or (film is not None and len(film.colours) > 1):
        choices.add(Choice.FILM_COLOUR)
    return frozenset(choices)


_ACHIEVED_REASONS = {
    "faithful": (
        "Colours come out as in the artwork: they differ by {mean:.1f} on average, and up to "
        "{limit:g} counts as faithful."
    ),
    "near": (
        "Colours come out a little different: by {mean:.1f} on average, where up to {limit:g} "
        "counts as faithful; most of all {wanted} comes out as {predicted}."
    ),
    "partly": (
        "Colours come out paler than in the artwork, by {mean:.1f} on average, because only part "
        "of this surface takes them; most of all {wanted} comes out as {predicted}."
    ),
    "unseen": (
        "This surface is too dark for dye to show on: {wanted} comes out as {predicted}, and "
        "colours differ by {mean:.1f} on average."
    ),
    "accepted": (
        "Colours shift, as you accepted: by {mean:.1f} on average; most of all {wanted} comes out "
        "as {predicted}."
    ),
    "shifted": (
        "Colours shift clearly: by {mean:.1f} on average, and above {limit:g} we print only if you "
        "accept the consent '{consent}'; most of all {wanted} comes out as {predicted}. White or "
        "lighter cloth, or another method, keeps them."
    ),
    "lost": (
        "The artwork's colours are lost here: they differ by {mean:.1f} on average, and {limit:g} "
        "is the most we print; {wanted} comes out as {predicted}. White or lighter cloth, or "
        "another method, keeps them."
    ),
    "film_chosen": (
        "The film is {film}, as you chose; it differs by {mean:.1f} from the artwork's own colours."
    ),
    "film_faithful": (
        "Nearest in stock is {film}: it differs by {mean:.1f} from the artwork, and up to "
        "{limit:g} counts as faithful."
    ),
    "film_near": (
        "Nearest in stock is {film}: it differs by {mean:.1f} from the artwork, a little more than "
        "the {limit:g} that count as faithful."
    ),
    "film_accepted": (
        "Nearest in stock is {film}: it differs by {mean:.1f} from the artwork, a shift that you "
        "accepted."
    ),
    "film_shifted": (
        "Nearest in stock is {film}: it differs by {mean:.1f} from the artwork, and above "
        "{limit:g} we cut it only if you choose that film colour or accept the consent "
        "'{consent}'. A printed method shows the artwork's own colours."
    ),
    "film_lost": (
        "No film in stock comes near the artwork: the nearest, {film}, differs by {mean:.1f}, and "
        "{limit:g} is the most we cut unasked. Choose a film colour, or a printed method."
    ),
}


def _achieved_colour(facts: Facts) -> Iterable[Reading]:
    look = facts.look
    if look.kind is not SurfaceKind.CUT:
        severity, name = _judged(facts, look)
        yield _achieved(facts, look, severity, name)
    elif _film_is_chosen(facts):
        yield _achieved(facts, look, Severity.NOTES, "film_chosen")
    else:
        severity, name = _by_band(facts, look.band)
        yield _achieved(facts, look, severity, f"film_{name}")


def _film_is_chosen(facts: Facts) -> bool:
    chosen, layers = facts.decoration.film_colour_id, facts.chain.layers
    return bool(layers) and all(facts.film_colours[layer.id].id == chosen for layer in layers)


def _by_band(facts: Facts, band: LookBand) -> tuple[Severity, str]:
    if band is LookBand.FAITHFUL:
        return Severity.PASSES, "faithful"
    if band is LookBand.NEAR:
        return Severity.WARNS, "near"
    if band is LookBand.LOST:
        return Severity.BLOCKS, "lost"
    if Consent.COLOUR_SHIFT in facts.decoration.consents:
        return Severity.WARNS, "accepted"
    return Severity.BLOCKS, "shifted"


def _judged(facts: Facts, look: Look) -> tuple[Severity, str]:
    """Severity and reason of a printed or dyed image.

    What is paler because little dye holds, or because a film sparkles, is not refused here: the
    fibre share has its own rule and its own consent. Nor is dye on a dark surface, which the rule
    on lightness refuses whatever the artwork. Only what the surface's colour does counts.
    """
    if look.kind is SurfaceKind.PRINTED or look.band in _SHADES:
        return _by_band(facts, look.band)
    surface = facts.surface
    if surface.lab.lightness < facts.policy.medium_lightness:
        return Severity.WARNS, "unseen"
    if surface.dye_share < 1 or surface.veil > 0:
        full = facts.see(holding_all(surface))
        if full.band in _SHADES:
            return Severity.WARNS, "partly"
        return _by_band(facts, full.band)
    return _by_band(facts, look.band)


def holding_all(surface: Surface) -> Surface:
    """The same surface if all of it held dye and none of it sparkled."""
    return replace(surface, dye_share=1.0, veil=0.0)


def _achieved(facts: Facts, look: Look, severity: Severity, name: str) -> Reading:
    policy, worst = facts.policy, look.colours[look.worst]
    limit = {
        "shifted": policy.colour_near_delta_e,
        "accepted": policy.colour_near_delta_e,
        "lost": policy.colour_shifted_delta_e,
    }.get(name.removeprefix("film_"), policy.colour_faithful_delta_e)
    reason = _ACHIEVED_REASONS[name].format(
        mean=look.mean_delta_e,
        limit=limit,
        wanted=worst.wanted,
        predicted=worst.predicted,
        consent=Consent.COLOUR_SHIFT,
        film=" and ".join(colour.name for colour in facts.film_colours.values()),
    )
    return Reading(severity, reason, look.mean_delta_e, limit, _MEAN)


ACHIEVED_COLOUR = Rule(
    id="achieved-colour",
    title="The artwork's colours are reached",
    explanation=(
        "Every colour of the artwork is followed onto the surface: dye filters the light of cloth "
        "or film, print on opaque film reaches what the printer's inks can, and cut film is the "
        "nearest colour in stock. The mean difference, weighed by area, decides: small ones pass, "
        "clear ones need the customer's consent, and where the colours are lost the method is "
        "refused. A cut film whose colour the customer chose is not judged. Where colours are only "
        "paler because little dye holds, the rule on fibre share decides. The prediction starts "
        "from sRGB values and fibre shares: it is no promise."
    ),
    source=(
        "CIEDE2000 is ISO/CIE 11664-6; the dye model is checked on published overprints of five "
        "print conditions (public characterisation data); the limits are common practice, no source"
    ),
    reads=READS_OF_LOOK | {Choice.CONSENTS},
    evaluate=_achieved_colour,
    reasons=_ACHIEVED_REASONS,
    policy=(
        "blend_constant",
        "colour_faithful_delta_e",
        "colour_near_delta_e",
        "colour_shifted_delta_e",
        "dye_surface_floor",
        "medium_lightness",
    ),
    reads_on=lambda chain: (
        surface_choices(chain) | {Choice.METHOD, Choice.ARTWORK, Choice.CONSENTS}
    ),
    ways_out=(
        "White or lighter cloth, a printed method, a film colour of your own choice, or the "
        "customer's consent to a shift."
    ),
)


def reads_under_dye(chain: Chain) -> frozenset[Choice]:
    """What a rule on dyed images reads on that chain: the method alone where there is no dye."""
    if not chain.dye:
        return frozenset({Choice.METHOD})
    return surface_choices(chain) | {Choice.METHOD, Choice.ARTWORK}


_DOUBT_REASONS = {
    "whole": "Colours under dye are predicted from artwork and surface, not promised.",
    "small": (
        "Colours under dye are predicted, not promised; the lightest and darkest likely looks "
        "differ by {doubt:.1f} at most, and above {limit:g} we would warn."
    ),
    "doubtful": (
        "How these colours come out is in doubt: predicted, not promised. The lightest and darkest "
        "likely looks differ by {doubt:.1f}, above {limit:g}, most of all {lightest} and {darkest} "
        "for {wanted}; a sample on this very surface tells."
    ),
}


def _colour_doubt(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.dye:
        return
    look, limit = facts.look, facts.policy.colour_doubt_delta_e
    if look.doubt_delta_e > limit:
        severity, name = Severity.WARNS, "doubtful"
    else:
        severity, name = Severity.NOTES, "small" if look.doubt_delta_e > 0 else "whole"
    widest = max(look.colours, key=lambda colour: colour.doubt_delta_e)
    reason = _DOUBT_REASONS[name].format(
        doubt=look.doubt_delta_e,
        limit=limit,
        wanted=widest.wanted,
        lightest=widest.lightest,
        darkest=widest.darkest,
    )
    yield Reading(severity, reason, look.doubt_delta_e, limit, "CIEDE2000 between likely looks")


COLOUR_DOUBT = Rule(
    id="colour-doubt",
    title="How sure the colours are",
    explanation=(
        "Where only part of a cloth or film holds dye, nobody knows how closely dyed and undyed "
        "fibres lie: seen apart they look light, closely blended dark. Both are worked out, the "
        "middle is shown, and a wide gap between them is said. No measured prints on blends are "
        "published to check this on; a swatch of the very cloth settles it."
    ),
    source=(
        "the blend function of Am. Dyestuff Rep. 33, 177 (1944) as the dark end, constants from "
        "memory, and the mix by area as the light end; the limit is common practice, no source"
    ),
    reads=READS_OF_LOOK,
    evaluate=_colour_doubt,
    reasons=_DOUBT_REASONS,
    may_block=False,
    policy=("blend_constant", "colour_doubt_delta_e", "dye_surface_floor"),
    reads_on=reads_under_dye,
    ways_out="Cloth with more polyester, a film that holds dye throughout, or a sample first.",
)


_CONTRAST_REASONS = {
    "clear": (
        "The print stands out from the cloth: {contrast:.0f} steps of lightness on average, and "
        "from {limit:g} it is easily seen."
    ),
    "weak": (
        "The print hardly stands out from the cloth: {contrast:.0f} steps of lightness on average, "
        "below {limit:g}. Cloth or film that is lighter or darker than the artwork shows it better."
    ),
}


def _print_contrast(facts: Facts) -> Iterable[Reading]:
    contrast, limit = _contrast(facts), facts.policy.contrast_lightness
    weak = contrast < limit
    reason = _CONTRAST_REASONS["weak" if weak else "clear"].format(contrast=contrast, limit=limit)
    severity = Severity.WARNS if weak else Severity.PASSES
    yield Reading(severity, reason, contrast, limit, "CIELAB L* between print and cloth")


def _contrast(facts: Facts) -> float:
    """Mean difference in L* to the cloth, of the whole print or of what stands on its background.

    Dark letters on a white ground are well read on white cloth, though most of the print is white.
    """
    artwork, whole = facts.decoration.artwork, facts.look.contrast_lightness
    if artwork.background_srgb is None:
        return whole
    ground, same = lab_from_srgb_hex(artwork.background_srgb), facts.policy.colour_faithful_delta_e
    cloth = facts.garment.lab.lightness
    drawn = [
        (colour.share, abs(lab_from_srgb_hex(seen.predicted).lightness - cloth))
        for colour, seen in zip(artwork.palette, facts.look.colours, strict=True)
        if delta_e_2000_pair(lab_from_srgb_hex(colour.srgb), ground) > same
    ]
    area = sum(share for share, _ in drawn)
    return max(whole, sum(share * steps for share, steps in drawn) / area) if area else whole


PRINT_CONTRAST = Rule(
    id="print-contrast",
    title="The print stands out from the cloth",
    explanation=(
        "What tells a shape from its ground is lightness more than hue. The mean difference in L* "
        "between the predicted print, each colour by its area, and the cloth around it is weighed "
        "against the shop's limit; where the picture stands on a plain background, what is drawn "
        "on it counts if that stands out more. A quiet print may be wanted, so this only warns."
    ),
    source="common practice, no source; L* is CIELAB, ISO/CIE 11664-4",
    reads=READS_OF_LOOK,
    evaluate=_print_contrast,
    reasons=_CONTRAST_REASONS,
    may_block=False,
    policy=(
        "blend_constant",
        "colour_faithful_delta_e",
        "contrast_lightness",
        "dye_surface_floor",
    ),
    reads_on=lambda chain: (
        surface_choices(chain) | {Choice.METHOD, Choice.ARTWORK, Choice.BLANK, Choice.COLOUR}
    ),
    ways_out="Cloth or film that is clearly lighter or darker than the artwork.",
)
