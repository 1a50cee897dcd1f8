"""Rules on how a method is put together: what holds on what, and which way round."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

from service.domain.media import Texture, WorkedFrom
from service.domain.methods import OperationKind
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice


def _film_bond(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.layers:
        return
    film, face = facts.chain.layers[0], facts.garment.face
    percent = float(sum(s.percent for s in face.shares if s.fibre in film.bonds_to))
    limit = float(facts.policy.film_bond_percent)
    holds = percent >= limit
    reason = f"The {film.name} holds on {percent:.3g} % of this cloth ({face.words()})" + (
        "." if holds else f", and {limit:g} % is needed; its adhesive is made for others."
    )
    severity = Severity.PASSES if holds else Severity.BLOCKS
    yield Reading(severity, reason, percent, limit, "% of the mass the adhesive holds on")


FILM_BOND = Rule(
    id="film-bond",
    title="The adhesive is made for the fibre",
    explanation=(
        "A film's adhesive holds on the fibres its data sheet names: ordinary film lifts off "
        "polyamide, and film made for polyamide off cotton. The share asked for is the shop's "
        "policy."
    ),
    source="common practice, no source; the film's data sheet comes first",
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_film_bond,
)


def _cloth_finish(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.layers:
        return
    film, finish = facts.chain.layers[0], facts.garment.finish
    refused = ", ".join(film.not_on_finishes) or "none"
    if finish in film.not_on_finishes:
        severity = Severity.BLOCKS
        reason = (
            f"The {film.name} does not hold on cloth with a {finish.replace('_', ' ')} finish, "
            "which lets go of adhesives."
        )
    else:
        severity = Severity.PASSES
        reason = f"The {film.name} holds on a {finish.replace('_', ' ')} finish."
    yield Reading(severity, reason, finish, refused, "finishes the film does not hold on")


CLOTH_FINISH = Rule(
    id="cloth-finish",
    title="The finish lets adhesive hold",
    explanation=(
        "A water-repellent finish releases adhesives as it releases water; a film not made for it "
        "peels."
    ),
    source="common practice, no source (two trade guides agree)",
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_cloth_finish,
)


def _film_layering(facts: Facts) -> Iterable[Reading]:
    for lower, upper in itertools.pairwise(facts.chain.layers):
        carries = lower.carries_layer and lower.texture is Texture.SMOOTH
        if carries:
            severity = Severity.PASSES
            reason = f"The {upper.name} holds on the smooth {lower.name}."
        else:
            severity = Severity.BLOCKS
            reason = (
                f"The {upper.name} does not hold on the {lower.name}, whose face is "
                f"{lower.texture} and carries no layer; such a film can only be the top."
            )
        measured = f"{lower.texture} face"
        yield Reading(severity, reason, measured, "smooth face that carries a layer", "texture")


FILM_LAYERING = Rule(
    id="film-layering",
    title="Only smooth film carries film",
    explanation=(
        "A smooth film rated for it may carry another film. Glitter, flock and other textured "
        "films can only lie on top: nothing bonds to their face."
    ),
    source="common practice, no source (five trade texts agree)",
    reads=frozenset({Choice.METHOD}),
    evaluate=_film_layering,
)


def _mirrored_side(facts: Facts) -> Iterable[Reading]:
    for worked in facts.chain.worked:
        must = worked.medium.worked_from is WorkedFrom.BACK
        because = (
            "is worked from its back and turned over"
            if must
            else "is worked from its face and stays face up"
        )
        right = worked.mirrored == must
        want, got = (_way(must), _way(worked.mirrored))
        reason = f"The {worked.medium.name} {because}, so the {worked.kind} is {want}" + (
            "." if right else f", but the method makes it {got}: it would read backwards."
        )
        severity = Severity.PASSES if right else Severity.BLOCKS
        yield Reading(severity, reason, got, want, "side", worked.step)


def _way(mirrored: bool) -> str:  # noqa: FBT001 - a flag turned into its word
    return "mirrored" if mirrored else "not mirrored"


MIRRORED_SIDE = Rule(
    id="mirrored-side",
    title="Mirrored exactly when the medium is turned over",
    explanation=(
        "Film cut through its back and paper laid face down are turned over on the garment, so "
        "they are made mirrored. Film printed or cut on its face stays as it is and must not be."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.METHOD}),
    evaluate=_mirrored_side,
)


def _colours_shown(facts: Facts) -> Iterable[Reading]:
    unit = "colours"
    counted = [
        colour
        for colour in facts.decoration.artwork.palette
        if colour.share >= facts.policy.colour_counts_from_share
    ]
    count = max(1, len(counted))
    if any(worked.kind is OperationKind.PRINT for worked in facts.chain.worked):
        reason = "The artwork is printed, so it may have any number of colours."
        yield Reading(Severity.PASSES, reason, count, "any number", unit)
        return
    shown = max(1, sum(worked.kind is OperationKind.CUT for worked in facts.chain.worked))
    if count <= shown:
        severity = Severity.PASSES
        reason = f"The film shows the artwork's {count} colour{'' if count == 1 else 's'}."
    else:
        severity = Severity.BLOCKS
        reason = (
            f"Cut film shows one colour a film, {shown} here, and the artwork has {count}; a "
            "printed method shows them all."
        )
    yield Reading(severity, reason, count, shown, unit)


COLOURS_SHOWN = Rule(
    id="colours-shown",
    title="The method shows all the artwork's colours",
    explanation=(
        "A film that is only cut has one colour throughout. An artwork of several colours is "
        "printed, on film or with dye, or made of as many films. Colours that cover less than the "
        "share in the shop's policy do not count."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.METHOD, Choice.ARTWORK}),
    evaluate=_colours_shown,
)
