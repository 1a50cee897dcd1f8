"""Rules on dye: it is transparent, and holds only in polyester."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.colour import lab_from_srgb_hex
from service.domain.fibres import FIBRE_FACTS, FibreContent
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice, Consent

BLACK_ONLY_LIGHTNESS = 30.0
"""Artwork with every colour at or below this L* is black-only; common practice, no source."""


def _dye_fibre_share(facts: Facts) -> Iterable[Reading]:
    for transfer in facts.chain.dye:
        if transfer.target is None:
            yield _cloth_share(facts, transfer.step)
        else:
            name = transfer.target.name
            yield _film_share(name, transfer.target.dye_share * 100, transfer.step)


def _dye_holding_percent(face: FibreContent) -> float:
    holding = (share for share in face.shares if FIBRE_FACTS[share.fibre].fixes_dye)
    return float(sum(share.percent for share in holding))


def _cloth_share(facts: Facts, step: int) -> Reading:
    policy, face = facts.policy, facts.garment.face
    percent = 100 * sum(
        face.mass_share(share.fibre) for share in face.shares if FIBRE_FACTS[share.fibre].fixes_dye
    )
    faded, pale, full = (
        float(policy.dye_faded_percent),
        float(policy.dye_pale_percent),
        float(policy.dye_full_percent),
    )
    of_cloth = f"this cloth's face is {percent:.3g} % polyester ({face.words()})"
    if percent >= full:
        severity, limit, reason = Severity.PASSES, full, f"Dye holds well: {of_cloth}."
    elif percent >= pale:
        severity, limit = Severity.WARNS, full
        reason = (
            f"Colours come out paler, because dye holds only in polyester and {of_cloth}; "
            f"full colour needs {full:g} %."
        )
    elif percent >= faded and Consent.FADED_LOOK in facts.decoration.consents:
        severity, limit = Severity.WARNS, pale
        reason = f"A faded look, as you accepted: {of_cloth}; the rest washes out at first wash."
    elif percent >= faded:
        severity, limit = Severity.BLOCKS, pale
        reason = (
            f"Dye would look faded: {of_cloth}, and below {pale:g} % we print it only if you "
            f"accept the consent '{Consent.FADED_LOOK}'."
        )
    else:
        severity, limit = Severity.BLOCKS, faded
        reason = (
            f"Dye holds only in polyester, and {of_cloth}; at least {faded:g} % is needed for any "
            "lasting print."
        )
    return Reading(severity, reason, percent, limit, "% polyester by mass", step)


def _film_share(name: str, percent: float, step: int) -> Reading:
    if percent >= 95:
        severity, reason = Severity.PASSES, f"Dye holds well in the {name}."
    elif percent >= 50:
        severity = Severity.NOTES
        reason = f"Dye on the {name} looks muted and aged: {percent:.3g} % of its face holds dye."
    else:
        severity = Severity.BLOCKS
        reason = f"The {name} does not hold dye: {percent:.3g} % of its face can, 50 % is needed."
    return Reading(severity, reason, percent, 50.0, "% of the face that holds dye", step)


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
)


def _dye_cloth_lightness(facts: Facts) -> Iterable[Reading]:
    for transfer in facts.chain.dye:
        if transfer.target is None:
            garment = facts.garment
            surface = f"the cloth ({garment.colour_name})"
            yield _on_surface(facts, surface, garment.lab.lightness, transfer.step, on_cloth=True)
        else:
            lightness = facts.film_labs[transfer.target.id].lightness
            surface = f"the {transfer.target.name}"
            yield _on_surface(facts, surface, lightness, transfer.step, on_cloth=False)


def _on_surface(
    facts: Facts, surface: str, lightness: float, step: int, *, on_cloth: bool
) -> Reading:
    policy = facts.policy
    unit = "CIELAB L*"
    light, medium = policy.light_lightness, policy.medium_lightness
    at = f"L* {lightness:.1f}"
    if lightness >= light:
        reason = f"Dye shows on {surface}, which is light enough ({at})."
        return Reading(Severity.PASSES, reason, lightness, light, unit, step)
    if lightness < medium:
        reason = (
            f"Dye is transparent and has no white: it cannot show on {surface}, which is dark "
            f"({at}, light cloth starts at {light:g})."
        )
        return Reading(Severity.BLOCKS, reason, lightness, light, unit, step)
    pale = float(facts.policy.dye_pale_percent)
    if on_cloth and _dye_holding_percent(facts.garment.face) < pale:
        reason = (
            f"Dye on {surface} ({at}) would be both faded and dull: below {pale:g} % polyester "
            f"only light cloth, from {light:g}, takes it."
        )
        return Reading(Severity.BLOCKS, reason, lightness, light, unit, step)
    if _black_only(facts):
        reason = (
            f"Dye only darkens: on {surface} ({at}) this dark artwork shows with less contrast "
            "than on white."
        )
        return Reading(Severity.WARNS, reason, lightness, light, unit, step)
    reason = (
        f"Dye is transparent: on {surface} ({at}) only black artwork shows, and this artwork has "
        f"lighter colours; light cloth starts at {light:g}."
    )
    return Reading(Severity.BLOCKS, reason, lightness, light, unit, step)


def _black_only(facts: Facts) -> bool:
    return all(
        lab_from_srgb_hex(colour.srgb).lightness <= BLACK_ONLY_LIGHTNESS
        for colour in facts.decoration.artwork.palette
    )


DYE_CLOTH_LIGHTNESS = Rule(
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
    evaluate=_dye_cloth_lightness,
)
