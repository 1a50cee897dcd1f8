"""Rules on who wears it. They name usual cautions and claim no compliance; local codes decide."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.blanks import Wearer
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice


def _sleepwear(facts: Facts) -> Iterable[Reading]:
    garment = facts.garment
    unit = "garment"
    measured = f"{garment.wearer} {'sleepwear' if garment.sleepwear else 'wear'}"
    limit = "no children's sleepwear"
    if not garment.sleepwear:
        yield Reading(Severity.PASSES, "It is no sleepwear.", measured, limit, unit)
    elif garment.wearer is Wearer.ADULT:
        reason = "Decorated sleepwear burns differently from plain; check the local code."
        yield Reading(Severity.WARNS, reason, measured, limit, unit)
    else:
        reason = (
            "We do not decorate children's sleepwear: a print counts as trim under the rules on "
            "its burning, and we cannot test it."
        )
        yield Reading(Severity.BLOCKS, reason, measured, limit, unit)


SLEEPWEAR = Rule(
    id="childrens-sleepwear",
    title="Children's sleepwear is not decorated",
    explanation=(
        "Rules on the flammability of children's sleepwear cover trim and decoration, and a small "
        "workroom cannot test for it, so the shop refuses. This is a caution and no statement on "
        "what any law asks; local codes and licensed practice come first."
    ),
    source="16 CFR 1615 and 16 CFR 1616; refusing is common practice, no source",
    reads=frozenset({Choice.BLANK}),
    evaluate=_sleepwear,
)


def _pvc_for_children(facts: Facts) -> Iterable[Reading]:
    wearer = facts.garment.wearer
    for film in facts.chain.layers:
        if not film.pvc or wearer is Wearer.ADULT:
            severity = Severity.PASSES
            what = "PVC" if film.pvc else "no PVC"
            reason = f"The {film.name} is {what}, and the garment is for {_people(wearer)}."
        else:
            severity = Severity.BLOCKS if wearer is Wearer.INFANT else Severity.WARNS
            reason = (
                f"The {film.name} is PVC, whose softeners are kept away from {_people(wearer)}; "
                "choose a film without PVC."
            )
        measured = "PVC" if film.pvc else "no PVC"
        yield Reading(severity, reason, measured, "no PVC for children", "film")


def _people(wearer: Wearer) -> str:
    return {
        Wearer.ADULT: "adults",
        Wearer.YOUTH: "children",
        Wearer.INFANT: "infants",
    }[wearer]


PVC_FOR_CHILDREN = Rule(
    id="pvc-for-children",
    title="No PVC film on children's wear",
    explanation=(
        "PVC film holds plasticisers, some of which are limited in articles for children. Infants' "
        "garments are refused, older children's warned of. This is a caution and no statement on "
        "what any law asks."
    ),
    source="common practice, no source (two trade articles); limits: 15 USC 2057c",
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_pvc_for_children,
)
