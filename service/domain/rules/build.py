"""Rules on how a method is put together: what holds on what, and which way round."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

from service.domain.media import Texture, WorkedFrom
from service.domain.methods import Cover
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.rules.film import only_with_film
from service.domain.wishes import Choice

_BOND = {
    "holds": "The {film} holds on {percent:.3g} % of this cloth ({content}).",
    "fails": (
        "The {film} holds on {percent:.3g} % of this cloth ({content}), and {limit:g} % is needed; "
        "its adhesive is made for others. A film made for {fibre} is the way out."
    ),
    "fails_all": (
        "The {film} holds on {percent:.3g} % of this cloth ({content}), and {limit:g} % is needed; "
        "its adhesive is made for others, and we have no film for {fibre}. Another cloth is the "
        "way out."
    ),
}


def _film_bond(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.layers:
        return
    film, face = facts.chain.layers[0], facts.garment.face
    others = [share for share in face.shares if share.fibre not in film.bonds_to]
    # What is left over of 100 is right also for thirds, whose decimals do not sum to it.
    percent = max(0.0, float(100 - sum(share.percent for share in others)))
    limit = float(facts.policy.film_bond_percent)
    told = {"film": film.name, "percent": percent, "content": face.words(), "limit": limit}
    if percent >= limit:
        severity, reason = Severity.PASSES, _BOND["holds"].format_map(told)
    else:
        most = max(others, key=lambda share: share.percent)
        held = any(most.fibre in medium.bonds_to for medium in facts.catalogue.media)
        template = _BOND["fails" if held else "fails_all"]
        severity, reason = Severity.BLOCKS, template.format(**told, fibre=most.fibre)
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
    reasons=_BOND,
    policy=("film_bond_percent",),
    reads_on=only_with_film(Choice.METHOD, Choice.BLANK),
    ways_out=(
        "A film whose adhesive is made for the cloth, such as film for polyamide on polyamide; or "
        "another cloth."
    ),
)


_FINISH = {
    "holds": "The {film} holds on a {finish} finish.",
    "fails": (
        "The {film} does not hold on cloth with a {finish} finish, which lets go of adhesives. "
        "Choose a garment with another finish."
    ),
}


def _cloth_finish(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.layers:
        return
    film, finish = facts.chain.layers[0], facts.garment.finish
    refused = ", ".join(film.not_on_finishes) or "none"
    fails = finish in film.not_on_finishes
    reason = _FINISH["fails" if fails else "holds"].format(
        film=film.name, finish=finish.replace("_", " ")
    )
    severity = Severity.BLOCKS if fails else Severity.PASSES
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
    reasons=_FINISH,
    reads_on=only_with_film(Choice.METHOD, Choice.BLANK),
    ways_out="A garment without that finish, or a film whose data sheet allows it.",
)


_LAYERING = {
    "carries": "The {upper} holds on the smooth {lower}.",
    "fails": (
        "The {upper} does not hold on the {lower}, whose face is {texture} and carries no layer; "
        "such a film can only be the top."
    ),
}


def _film_layering(facts: Facts) -> Iterable[Reading]:
    for lower, upper in itertools.pairwise(facts.chain.layers):
        carries = lower.carries_layer and lower.texture is Texture.SMOOTH
        severity = Severity.PASSES if carries else Severity.BLOCKS
        reason = _LAYERING["carries" if carries else "fails"].format(
            upper=upper.name, lower=lower.name, texture=lower.texture
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
    reasons=_LAYERING,
    ways_out="A method whose lower film is smooth and made to carry another.",
)


_COUNT = {
    "one": "The print is one film thick.",
    "several": "The print is {count} films thick, and we lay up to {limit} on one another.",
    "most": "The print is {count} films thick, the most we lay on one another; you will feel it.",
    "too-many": (
        "The print is {count} films thick, and we lay at most {limit} on one another: more is "
        "stiff and lifts at its edges. Choose a method with fewer films, or a printed one."
    ),
}


def _layer_count(facts: Facts) -> Iterable[Reading]:
    count, limit = len(facts.chain.layers), facts.policy.layers_max
    if count == 0:
        return
    if count > limit:
        severity, said = Severity.BLOCKS, "too-many"
    elif count == limit and count > 1:
        severity, said = Severity.NOTES, "most"
    else:
        severity, said = Severity.PASSES, "one" if count == 1 else "several"
    reason = _COUNT[said].format(count=count, limit=limit)
    yield Reading(severity, reason, count, limit, "films on one another")


LAYER_COUNT = Rule(
    id="layer-count",
    title="Not too many films on one another",
    explanation=(
        "Each film adds thickness, stiffness and an edge to lift, and each asks for another stroke "
        "of the press. Two or three on one another are usual; the most is the shop's policy."
    ),
    source="common practice, no source (five trade texts agree on two to three)",
    reads=frozenset({Choice.METHOD}),
    evaluate=_layer_count,
    reasons=_COUNT,
    policy=("layers_max",),
    ways_out="A method with fewer films, or one that prints all colours on one film.",
)


_SIDE = {
    "back": "The {medium} is worked from its back and turned over, so the {kind} is mirrored.",
    "face": (
        "The {medium} is worked from its face and stays face up, so the {kind} is not mirrored."
    ),
    "back-wrong": (
        "The {medium} is worked from its back and turned over, so the {kind} is mirrored, but the "
        "method makes it not mirrored: it would read backwards."
    ),
    "face-wrong": (
        "The {medium} is worked from its face and stays face up, so the {kind} is not mirrored, "
        "but the method makes it mirrored: it would read backwards."
    ),
}


def _mirrored_side(facts: Facts) -> Iterable[Reading]:
    for worked in facts.chain.worked:
        must = worked.medium.worked_from is WorkedFrom.BACK
        right = worked.mirrored == must
        said = ("back" if must else "face") + ("" if right else "-wrong")
        reason = _SIDE[said].format(medium=worked.medium.name, kind=worked.kind)
        severity = Severity.PASSES if right else Severity.BLOCKS
        want, got = _way(must), _way(worked.mirrored)
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
    reasons=_SIDE,
    ways_out="The shop corrects the method; until then, another method.",
)


_DYE_COVER = {
    Cover.FRESH_PAPER.value: "Fresh paper lies over the dye and takes the gas that escapes.",
    Cover.NONSTICK_SHEET.value: (
        "A non-stick sheet lies over the dye: it takes dye and ghosts the next garment. Fresh "
        "uncoated paper for every stroke keeps it clean."
    ),
    Cover.NONE.value: (
        "Nothing lies over the dye: it reaches the platen and ghosts the next garment. Fresh "
        "uncoated paper for every stroke keeps it clean."
    ),
}


def _dye_cover(facts: Facts) -> Iterable[Reading]:
    operations = facts.chain.method.operations
    for transfer in facts.chain.dye:
        cover = operations[transfer.step].cover
        severity = Severity.PASSES if cover is Cover.FRESH_PAPER else Severity.WARNS
        measured, limit = cover.replace("_", " "), "fresh paper"
        yield Reading(severity, _DYE_COVER[cover.value], measured, limit, "cover", transfer.step)


COVER_FOR_DYE = Rule(
    id="dye-cover-paper",
    title="Fresh paper over every dye transfer",
    explanation=(
        "In the press dye is a gas, and some of it goes astray. Uncoated paper above the work, "
        "fresh for every stroke, catches it. A bare platen or non-stick sheet takes it up and "
        "gives it to the next garment as a ghost."
    ),
    source="common practice, no source (a test article agrees)",
    reads=frozenset({Choice.METHOD}),
    evaluate=_dye_cover,
    reasons=_DYE_COVER,
    may_block=False,
    ways_out="The shop sets fresh paper as the cover of that stroke.",
)
