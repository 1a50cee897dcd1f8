"""Rules on dye: it is transparent, and holds only in polyester."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from service.domain.chain import Chain
from service.domain.colour import lab_from_srgb_hex
from service.domain.fibres import FIBRE_FACTS, Fibre, FibreContent
from service.domain.look import dye_holding_volume
from service.domain.media import Medium
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice, Consent

BLACK_ONLY_LIGHTNESS = 30.0
"""Artwork with every colour at or below this L* is black-only; common practice, no source."""

FILM_HOLDS_WELL_SHARE = 0.95
FILM_HOLDS_LITTLE_SHARE = 0.5
"""Shares of a film's face that hold dye: full colour from the first, muted from the second; common
practice, no source."""

STRAY_FIBRES = frozenset(
    {Fibre.POLYAMIDE, Fibre.ACRYLIC, Fibre.MODACRYLIC, Fibre.ACETATE, Fibre.TRIACETATE,
     Fibre.POLYPROPYLENE, Fibre.POLYETHYLENE, Fibre.POLYLACTIDE, Fibre.CHLOROFIBRE, Fibre.WOOL,
     Fibre.SILK}
)  # fmt: skip
"""Fibres that take dye weakly and unevenly, or not at all, and do not bear the heat it needs."""


def _on_cloth(chain: Chain) -> bool:
    return any(transfer.target is None for transfer in chain.dye)


def _if_on_cloth(chain: Chain, *read: Choice) -> frozenset[Choice]:
    """The method, and those choices too if the chain sends dye into the cloth itself."""
    return frozenset({Choice.METHOD, *(read if _on_cloth(chain) else ())})


def dye_holding_percent(face: FibreContent) -> Decimal:
    """The percentage of the mass that dye holds in, as the fibre content states it."""
    return sum(
        (share.percent for share in face.shares if FIBRE_FACTS[share.fibre].fixes_dye), Decimal(0)
    )


_SHARE_REASONS = {
    "full": "Dye holds well: this cloth's face is {percent:.3g} % polyester ({content}).",
    "pale": (
        "Colours come out paler, because dye holds only in polyester and this cloth's face is "
        "{percent:.3g} % polyester ({content}); full colour needs {full:g} %."
    ),
    "accepted": (
        "A faded look, as you accepted: this cloth's face is {percent:.3g} % polyester "
        "({content}), and the rest washes out at first wash."
    ),
    "faded": (
        "Dye would look faded: this cloth's face is {percent:.3g} % polyester ({content}), and "
        "below {pale:g} % we print it only if you accept the consent '{consent}'."
    ),
    "lost": (
        "Dye holds only in polyester, and this cloth's face is {percent:.3g} % polyester "
        "({content}); at least {faded:g} % is needed for any lasting print. A film that takes the "
        "dye instead is the way out."
    ),
    "film_full": "Dye holds well in the {film}.",
    "film_muted": "Dye on the {film} looks muted and aged: {percent:.3g} % of its face holds dye.",
    "film_lost": (
        "The {film} does not hold dye: {percent:.3g} % of its face can, and {least:g} % is needed. "
        "A film with a polyester face is the way out."
    ),
}


def _dye_fibre_share(facts: Facts) -> Iterable[Reading]:
    for transfer in facts.chain.dye:
        if transfer.target is None:
            yield _cloth_share(facts, transfer.step)
        else:
            yield _film_share(transfer.target, transfer.step)


def _cloth_share(facts: Facts, step: int) -> Reading:
    policy, face = facts.policy, facts.garment.face
    percent = dye_holding_percent(face)
    if percent >= policy.dye_full_percent:
        severity, limit, name = Severity.PASSES, policy.dye_full_percent, "full"
    elif percent >= policy.dye_pale_percent:
        severity, limit, name = Severity.WARNS, policy.dye_full_percent, "pale"
    elif percent < policy.dye_faded_percent:
        severity, limit, name = Severity.BLOCKS, policy.dye_faded_percent, "lost"
    elif Consent.FADED_LOOK in facts.decoration.consents:
        severity, limit, name = Severity.WARNS, policy.dye_pale_percent, "accepted"
    else:
        severity, limit, name = Severity.BLOCKS, policy.dye_pale_percent, "faded"
    reason = _SHARE_REASONS[name].format(
        percent=float(percent),
        content=face.words(),
        full=float(policy.dye_full_percent),
        pale=float(policy.dye_pale_percent),
        faded=float(policy.dye_faded_percent),
        consent=Consent.FADED_LOOK,
    )
    return Reading(severity, reason, float(percent), float(limit), "% polyester by mass", step)


def _film_share(film: Medium, step: int) -> Reading:
    if film.dye_share >= FILM_HOLDS_WELL_SHARE:
        severity, name = Severity.PASSES, "film_full"
    elif film.dye_share >= FILM_HOLDS_LITTLE_SHARE:
        severity, name = Severity.NOTES, "film_muted"
    else:
        severity, name = Severity.BLOCKS, "film_lost"
    percent, least = 100 * film.dye_share, 100 * FILM_HOLDS_LITTLE_SHARE
    reason = _SHARE_REASONS[name].format(film=film.name, percent=percent, least=least)
    return Reading(severity, reason, percent, least, "% of the face that holds dye", step)


DYE_FIBRE_SHARE = Rule(
    id="dye-fibre-share",
    title="Dye needs polyester",
    explanation=(
        "Dye turns to gas in the press and stays only in polyester. On cotton and other cellulose "
        "it is held weakly and washes out. From 95 % polyester on the decorated face the colour is "
        "full, from 65 % it is paler, from 50 % it is faded and asks for the customer's consent, "
        "and below that nothing lasting is left. A film with a polyester face takes the dye "
        "instead of the cloth. The percentages are the shop's policy."
    ),
    source=(
        "J. Soc. Dyers Colour. 1977, doi 10.1111/j.1478-4408.1977.tb03343.x (dye vapour is not "
        "strongly held by cellulose); the percentages are common practice, no source"
    ),
    reads=frozenset({Choice.METHOD, Choice.BLANK, Choice.CONSENTS}),
    evaluate=_dye_fibre_share,
    reasons=_SHARE_REASONS,
    policy=("dye_faded_percent", "dye_full_percent", "dye_pale_percent"),
    reads_on=lambda chain: _if_on_cloth(chain, Choice.BLANK, Choice.CONSENTS),
    ways_out=(
        "Cloth with more polyester, a film that takes the dye, printed or cut film; between 50 and "
        "65 % the customer's consent to a faded look."
    ),
)


_WASH_REASONS = {
    "whole": "All of the print is in fibre that holds dye, so the first wash takes nothing.",
    "trace": (
        "About {lost:.0f} % of the print lies on fibres that do not hold dye and washes out at "
        "first wash."
    ),
    "paler": (
        "About {lost:.0f} % of the print lies on fibres that do not hold dye ({content}) and "
        "washes out at first wash: the print is weaker and heathered from then on. Cloth with more "
        "polyester, or a film, keeps its colour."
    ),
}


def _first_wash(facts: Facts) -> Iterable[Reading]:
    if not _on_cloth(facts.chain):
        return
    face = facts.garment.face
    lost = 100 * (1 - dye_holding_volume(face))
    if all(FIBRE_FACTS[share.fibre].fixes_dye for share in face.shares):
        severity, name = Severity.PASSES, "whole"
    elif dye_holding_percent(face) >= facts.policy.dye_full_percent:
        severity, name = Severity.NOTES, "trace"
    else:
        severity, name = Severity.WARNS, "paler"
    reason = _WASH_REASONS[name].format(lost=lost, content=face.words())
    limit = float(100 - facts.policy.dye_full_percent)
    yield Reading(severity, reason, lost, limit, "% of the print, by volume of fibre")


DYE_FIRST_WASH = Rule(
    id="dye-first-wash",
    title="What the first wash takes",
    explanation=(
        "On a blend dye lies on all fibres and holds in polyester alone; the rest is loose and "
        "leaves with the first wash. How much of the print that is goes by the volume of the "
        "fibres, not by the mass on the label, for light and dye meet their surface: cotton is "
        "denser than polyester, so half and half by mass is 52.6 % polyester by volume."
    ),
    source=(
        "common practice, no source (three trade guides); densities: National Academies, Carbon "
        "Management (2001), Table 11.1, within 0.02 g/cm3"
    ),
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_first_wash,
    reasons=_WASH_REASONS,
    may_block=False,
    policy=("dye_full_percent",),
    reads_on=lambda chain: _if_on_cloth(chain, Choice.BLANK),
    ways_out="Cloth with more polyester, or a film that takes the dye.",
)


_STRAY_REASONS = {
    "none": "This cloth's face has no fibre that takes dye badly.",
    "little": (
        "{percent:g} % of this cloth's face takes dye badly ({content}); up to {limit:g} % we "
        "print it, and single fibres may stay lighter."
    ),
    "much": (
        "{percent:g} % of this cloth's face takes dye badly or does not bear its heat ({content}); "
        "above {limit:g} % we do not print dye on it. Cloth of polyester, or a method without dye "
        "that is pressed cooler, is the way out."
    ),
}


def _stray_fibre(facts: Facts) -> Iterable[Reading]:
    if not _on_cloth(facts.chain):
        return
    face, limit = facts.garment.face, facts.policy.dye_stray_fibre_percent
    percent = sum((s.percent for s in face.shares if s.fibre in STRAY_FIBRES), Decimal(0))
    if percent > limit:
        severity, name = Severity.BLOCKS, "much"
    elif percent > 0:
        severity, name = Severity.NOTES, "little"
    else:
        severity, name = Severity.PASSES, "none"
    shown, allowed = float(percent), float(limit)
    reason = _STRAY_REASONS[name].format(percent=shown, limit=allowed, content=face.words())
    yield Reading(severity, reason, shown, allowed, "% of the face by mass")


DYE_STRAY_FIBRE = Rule(
    id="dye-stray-fibre",
    title="Fibres that take dye badly",
    explanation=(
        "Polyamide, acrylic and acetate take dye weakly and unevenly, polypropylene and the like "
        "hardly at all, and neither they nor wool and silk bear the 190 °C and more that dye "
        "needs. More than 10 % of them on the decorated face is refused; the share is the shop's "
        "policy. Cotton and viscose are judged by the share of polyester beside them."
    ),
    source=(
        "common practice, no source (two textbooks say that acetate, polyamide and acrylic take "
        "dye and that their heat limits stop them)"
    ),
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_stray_fibre,
    reasons=_STRAY_REASONS,
    policy=("dye_stray_fibre_percent",),
    reads_on=lambda chain: _if_on_cloth(chain, Choice.BLANK),
    ways_out="Cloth of polyester, or a film made for the fibre that is pressed cooler.",
)


_SURFACE_REASONS = {
    "light": "Dye shows on {surface}, which is light enough (L* {lightness:.1f}).",
    "dark": (
        "Dye is transparent and has no white: it cannot show on {surface}, which is dark "
        "(L* {lightness:.1f}, light starts at {light:g}). A lighter cloth or an opaque film is the "
        "way out."
    ),
    "faded_and_dull": (
        "Dye on {surface} (L* {lightness:.1f}) would be both faded and dull: below {pale:g} % "
        "polyester only light cloth, from {light:g}, takes it."
    ),
    "dark_artwork": (
        "Dye only darkens: on {surface} (L* {lightness:.1f}) this dark artwork shows with less "
        "contrast than on white."
    ),
    "artwork_too_light": (
        "Dye is transparent: on {surface} (L* {lightness:.1f}) only black artwork shows, and this "
        "artwork has lighter colours; light cloth starts at {light:g}, and an opaque film is the "
        "other way out."
    ),
}


def _dye_surface_lightness(facts: Facts) -> Iterable[Reading]:
    for transfer in facts.chain.dye:
        if transfer.target is None:
            garment = facts.garment
            surface, lightness = f"the cloth ({garment.colour_name})", garment.lab.lightness
            few = dye_holding_percent(garment.face) < facts.policy.dye_pale_percent
        else:
            surface, few = f"the {transfer.target.name}", False
            lightness = facts.film_labs[transfer.target.id].lightness
        severity, name = _on_surface(facts, lightness, few=few)
        light = facts.policy.light_lightness
        reason = _SURFACE_REASONS[name].format(
            surface=surface,
            lightness=lightness,
            light=light,
            pale=float(facts.policy.dye_pale_percent),
        )
        yield Reading(severity, reason, lightness, light, "CIELAB L*", transfer.step)


def _on_surface(facts: Facts, lightness: float, *, few: bool) -> tuple[Severity, str]:
    """Severity and reason on a surface of that L*; ``few`` says that little dye holds in it."""
    policy = facts.policy
    if lightness >= policy.light_lightness:
        return Severity.PASSES, "light"
    if lightness < policy.medium_lightness:
        return Severity.BLOCKS, "dark"
    if few:
        return Severity.BLOCKS, "faded_and_dull"
    if _black_only(facts):
        return Severity.WARNS, "dark_artwork"
    return Severity.BLOCKS, "artwork_too_light"


def _black_only(facts: Facts) -> bool:
    return all(
        lab_from_srgb_hex(colour.srgb).lightness <= BLACK_ONLY_LIGHTNESS
        for colour in facts.decoration.artwork.palette
    )


def _surface_reads(chain: Chain) -> frozenset[Choice]:
    reads = {Choice.METHOD}
    for transfer in chain.dye:
        reads.add(Choice.ARTWORK)
        if transfer.target is None:
            reads |= {Choice.BLANK, Choice.COLOUR}
        elif len(transfer.target.colours) > 1:
            reads.add(Choice.FILM_COLOUR)
    return frozenset(reads)


DYE_SURFACE_LIGHTNESS = Rule(
    id="dye-surface-lightness",
    title="Dye needs a light surface",
    explanation=(
        "Dye is transparent and a dye printer has no white ink, so a print can only darken what is "
        "beneath it. On a dark surface nothing is seen; on a medium one only black artwork is; "
        "white parts of the artwork always show the cloth. Light starts at L* 75 and dark ends at "
        "L* 50: no standard splits garments, so both are the shop's policy."
    ),
    source="common practice, no source; L* is CIELAB, ISO/CIE 11664-4",
    reads=frozenset(
        {Choice.METHOD, Choice.BLANK, Choice.COLOUR, Choice.ARTWORK, Choice.FILM_COLOUR}
    ),
    evaluate=_dye_surface_lightness,
    reasons=_SURFACE_REASONS,
    policy=("dye_pale_percent", "light_lightness", "medium_lightness"),
    reads_on=_surface_reads,
    ways_out="Cloth in a lighter colour, black artwork on medium cloth, or an opaque film.",
)
