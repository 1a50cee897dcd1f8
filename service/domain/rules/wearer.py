"""Rules on who wears it. They name usual cautions and claim no compliance; local codes decide."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from service.domain.blanks import Finish, Wearer
from service.domain.chain import Chain
from service.domain.fibres import Fibre
from service.domain.media import Medium
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice

_PEOPLE = {
    Wearer.ADULT: "adults",
    Wearer.YOUTH: "children",
    Wearer.INFANT: "infants",
}

_SLEEP = {
    "none": "It is no sleepwear.",
    "adult": "Decorated sleepwear burns differently from plain; check the local code.",
    "child": (
        "We do not decorate children's sleepwear: a print counts as trim under the rules on its "
        "burning, and we cannot test it."
    ),
}


def _sleepwear(facts: Facts) -> Iterable[Reading]:
    garment = facts.garment
    if not garment.sleepwear:
        severity, said = Severity.PASSES, "none"
    elif garment.wearer is Wearer.ADULT:
        severity, said = Severity.WARNS, "adult"
    else:
        severity, said = Severity.BLOCKS, "child"
    measured = f"{garment.wearer} {'sleepwear' if garment.sleepwear else 'wear'}"
    yield Reading(severity, _SLEEP[said], measured, "no children's sleepwear", "garment")


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
    reasons=_SLEEP,
    ways_out="Another garment, one that is not sold to sleep in.",
)


def _reads_if(concerns: Callable[[Medium], bool]) -> Callable[[Chain], frozenset[Choice]]:
    """Who wears it matters only where a film of the chain is of the kind in question."""

    def reads(chain: Chain) -> frozenset[Choice]:
        if any(concerns(film) for film in chain.layers):
            return frozenset({Choice.METHOD, Choice.BLANK})
        return frozenset({Choice.METHOD})

    return reads


_HARSHER_WHEN_YOUNGER = {
    Wearer.ADULT: Severity.PASSES,
    Wearer.YOUTH: Severity.WARNS,
    Wearer.INFANT: Severity.BLOCKS,
}


_PVC = {
    "none": "The {film} holds no PVC.",
    "adult": "The {film} is PVC, and the garment is for adults.",
    "child": (
        "The {film} is PVC, whose softeners are kept away from {people}; choose a film without PVC."
    ),
}


def _pvc_for_children(facts: Facts) -> Iterable[Reading]:
    wearer = facts.garment.wearer
    for film in facts.chain.layers:
        if film.pvc:
            severity = _HARSHER_WHEN_YOUNGER[wearer]
            said = "adult" if wearer is Wearer.ADULT else "child"
        else:
            severity, said = Severity.PASSES, "none"
        reason = _PVC[said].format(film=film.name, people=_PEOPLE[wearer])
        measured = "PVC" if film.pvc else "no PVC"
        yield Reading(severity, reason, measured, "no PVC for children", "film")


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
    reasons=_PVC,
    reads_on=_reads_if(lambda film: film.pvc),
    ways_out="A method whose films hold no PVC.",
)


_PARTS = {
    "none": "Nothing comes loose from the {film}.",
    "adult": "Grains may come off the {film}, and the garment is for adults.",
    "youth": (
        "Grains may come off the {film}: on children's wear it is a risk to small ones who put "
        "things in their mouths. A film that sheds nothing is the way out."
    ),
    "infant": (
        "Grains may come off the {film}, and infants swallow or breathe in what comes loose, so we "
        "do not put it on infants' wear. Choose a film that sheds nothing."
    ),
}


def _small_parts(facts: Facts) -> Iterable[Reading]:
    wearer = facts.garment.wearer
    for film in facts.chain.layers:
        sheds = film.sheds_small_parts
        severity = _HARSHER_WHEN_YOUNGER[wearer] if sheds else Severity.PASSES
        reason = _PARTS[wearer if sheds else "none"].format(film=film.name)
        measured = "sheds small parts" if sheds else "sheds nothing"
        yield Reading(severity, reason, measured, "nothing that comes loose for infants", "film")


SMALL_PARTS = Rule(
    id="small-parts-for-infants",
    title="Nothing that comes loose on infants' wear",
    explanation=(
        "Loose glitter, stones and studs come off in wear and wash, and a child under three puts "
        "them in the mouth. The shop refuses films that shed on infants' wear and warns of them on "
        "older children's. This is a caution and no statement on what any law asks; a film that is "
        "not marked as shedding has not been tested for it here."
    ),
    source=(
        "16 CFR 1501 (under three years) and Regulation (EC) No 1907/2006, Annex XVII, entry 78 "
        "(loose glitter), both from memory; refusing is common practice, no source"
    ),
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_small_parts,
    reasons=_PARTS,
    reads_on=_reads_if(lambda film: film.sheds_small_parts),
    ways_out="A method whose films shed nothing.",
)


_ARTICLE = {
    "adult": "The garment is for adults.",
    "child": (
        "This is wear for {people}, and a print on it is usually held to limits on lead and "
        "plasticisers and to tests from which plain cloth is exempt. We have not tested it and "
        "claim nothing; ask what your local code wants before it is sold."
    ),
}


def _childrens_article(facts: Facts) -> Iterable[Reading]:
    wearer = facts.garment.wearer
    adult = wearer is Wearer.ADULT
    severity = Severity.PASSES if adult else Severity.NOTES
    reason = _ARTICLE["adult" if adult else "child"].format(people=_PEOPLE[wearer])
    yield Reading(severity, reason, f"{wearer} wear", "adult wear", "garment")


CHILDRENS_ARTICLE = Rule(
    id="childrens-article",
    title="Prints on children's wear bring duties",
    explanation=(
        "An article for children of twelve and under is commonly held to limits on lead and on "
        "plasticisers. Plain textiles are exempt from the tests for lead, but prints and transfers "
        "on them are not. Who sells the garment answers for it. This is a caution and no statement "
        "on what any law asks; local codes and licensed practice come first."
    ),
    source="16 CFR 1500.91; 15 USC 1278a; 15 USC 2057c",
    reads=frozenset({Choice.BLANK}),
    evaluate=_childrens_article,
    reasons=_ARTICLE,
    may_block=False,
    ways_out="An adult garment; or tests by a laboratory, on the seller's account.",
)


PLAIN_EXEMPT_G_M2 = 88.2
"""Plain-surface cloth from this weight (2.6 oz/yd2) is exempt from testing: 16 CFR 1610."""

EXEMPT_FIBRES = frozenset(
    {
        Fibre.ACRYLIC,
        Fibre.MODACRYLIC,
        Fibre.POLYAMIDE,
        Fibre.POLYPROPYLENE,
        Fibre.POLYETHYLENE,
        Fibre.POLYESTER,
        Fibre.WOOL,
    }
)
"""Cloth wholly of these is exempt at any weight: 16 CFR 1610, which names nylon and olefin."""

_BURNING = {
    "fibre": (
        "Cloth of {content} is of the fibres usually exempt from tests of burning; we test nothing."
    ),
    "weight": (
        "Smooth cloth of {weight:g} g/m² is usually exempt from tests of burning; we test nothing."
    ),
    "light": (
        "This cloth of {content} weighs {weight:g} g/m²: below {limit:g} g/m² it may burn fast, "
        "and neither it nor a print on it has been tested by us. Keep it from flames."
    ),
    "raised": (
        "This brushed cloth of {content} has a raised surface, which may burn fast, and neither it "
        "nor a print on it has been tested by us. Keep it from flames."
    ),
}


def _flammability(facts: Facts) -> Iterable[Reading]:
    garment = facts.garment
    weight, limit = garment.weight_g_m2, PLAIN_EXEMPT_G_M2
    severity = Severity.PASSES
    if all(share.fibre in EXEMPT_FIBRES for share in garment.whole.shares):
        said = "fibre"
    elif garment.finish is Finish.BRUSHED:
        severity, said = Severity.NOTES, "raised"
    elif weight >= limit:
        said = "weight"
    else:
        severity, said = Severity.NOTES, "light"
    reason = _BURNING[said].format(content=garment.whole.words(), weight=weight, limit=limit)
    yield Reading(severity, reason, weight, limit, "g/m²")


FLAMMABILITY = Rule(
    id="light-cloth-flammability",
    title="Light and brushed cloth may burn fast",
    explanation=(
        "Smooth cloth of at least 88.2 g/m² and cloth wholly of acrylic, modacrylic, nylon, "
        "olefin, polyester or wool are exempt from the usual test of how fast clothing burns. "
        "Lighter cloth and cloth with a raised surface of other fibres are not. This is a caution "
        "and no statement on what any law asks or on how the printed garment burns."
    ),
    source="16 CFR 1610",
    reads=frozenset({Choice.BLANK}),
    evaluate=_flammability,
    reasons=_BURNING,
    may_block=False,
    ways_out="Heavier or smooth cloth, or cloth of the fibres named.",
)
