"""Rules on care: what the print makes of the garment's care label."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.blanks import CareLabel
from service.domain.care import (
    GARMENT,
    IRON_DOT_C,
    IRON_DOTS_MAX,
    MergedCare,
    cared_for,
    merged_care,
)
from service.domain.chain import Chain
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.rules.stock import stocked_blank
from service.domain.wishes import Choice

_WASH = {
    "kept": "The print bears the {wash_c} °C wash of the garment's own label.",
    "falls": (
        "Wash it at {wash_c} °C at most, inside out: the {because} bears no more, and the "
        "garment's own label says {own_c} °C."
    ),
    "too-cool": (
        "Wash it at {wash_c} °C at most, inside out: the {because} bears no more. The garment's "
        "own label says {own_c} °C, and below {least_c} °C everyday wear hardly comes clean. A "
        "method whose film bears more is the way out."
    ),
    "unknown": (
        "Wash it at {wash_c} °C at most, inside out, which is what the {because} bears, and never "
        "hotter than your garment's own label says."
    ),
    "unknown-too-cool": (
        "Wash it at {wash_c} °C at most, inside out, which is what the {because} bears, and never "
        "hotter than your garment's own label says. Below {least_c} °C everyday wear hardly comes "
        "clean; a method whose film bears more is the way out."
    ),
}


def _wash_limit(facts: Facts) -> Iterable[Reading]:
    media = cared_for(facts.chain)
    if not media:
        return
    own, least_c = _own_care(facts), facts.policy.wash_least_c
    care = merged_care(own, media)
    severity, said = _wash_severity(care, own, least_c)
    reason = _WASH[said].format(
        wash_c=care.wash_c,
        because=care.wash_because,
        own_c=own.wash_c if own else None,
        least_c=least_c,
    )
    yield Reading(severity, reason, care.wash_c, least_c, "°C wash")


def _wash_severity(care: MergedCare, own: CareLabel | None, least_c: int) -> tuple[Severity, str]:
    too_cool = care.wash_c < least_c
    if own is None:
        if too_cool:
            return Severity.WARNS, "unknown-too-cool"
        return Severity.NOTES, "unknown"
    if care.wash_because == GARMENT:
        return Severity.PASSES, "kept"
    return (Severity.WARNS, "too-cool") if too_cool else (Severity.NOTES, "falls")


def _own_care(facts: Facts) -> CareLabel | None:
    blank = stocked_blank(facts)
    return blank.care if blank is not None else None


def _care_reads(chain: Chain) -> frozenset[Choice]:
    return frozenset({Choice.METHOD, Choice.BLANK} if cared_for(chain) else {Choice.METHOD})


_CARE_SOURCE = (
    "ISO 3758 (a label states the most severe treatment that does no harm); what film and dye bear "
    "is common practice, no source, and the data sheet comes first"
)

WASH_LIMIT = Rule(
    id="wash-limit",
    title="Washed as cool as film and dye need",
    explanation=(
        "A printed garment is washed at the lowest of what the garment's label, each film and the "
        "dye bear; inside out, and not in the first 24 hours. The shop's policy says below which "
        "temperature it warns. The label of a garment you bring is not known here: then both it "
        "and the print's limit apply."
    ),
    source=_CARE_SOURCE,
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_wash_limit,
    reasons=_WASH,
    may_block=False,
    policy=("wash_least_c",),
    reads_on=_care_reads,
    ways_out="A method whose film bears a warmer wash.",
)


_IRON = {
    "kept": "The print bears an iron with {dots} on its reverse, as the garment's own label says.",
    "falls": (
        "Iron it with {dots} at most, on the reverse and never on the print: the {because} bears "
        "no more, and the garment's own label allows {own_dots}."
    ),
    "unknown": (
        "Iron it with {dots} at most, on the reverse and never on the print, which is what the "
        "{because} bears, and never hotter than your garment's own label says."
    ),
    "do-not": "Do not iron it: the {because} does not bear an iron.",
}
_DOTS = {
    1: f"one dot ({IRON_DOT_C[1]} °C)",
    2: f"two dots ({IRON_DOT_C[2]} °C)",
    3: f"three dots ({IRON_DOT_C[3]} °C)",
}


def _iron_limit(facts: Facts) -> Iterable[Reading]:
    media = cared_for(facts.chain)
    if not media:
        return
    own = _own_care(facts)
    care = merged_care(own, media)
    severity, said = _iron_severity(care, own)
    reason = _IRON[said].format(
        dots=_DOTS.get(care.iron_dots),
        because=care.iron_because,
        own_dots=_DOTS.get(own.iron_dots) if own else None,
    )
    limit = own.iron_dots if own else IRON_DOTS_MAX
    yield Reading(severity, reason, care.iron_dots, limit, "dots of the iron")


def _iron_severity(care: MergedCare, own: CareLabel | None) -> tuple[Severity, str]:
    if care.iron_dots == 0:
        return Severity.NOTES, "do-not"
    if own is None:
        return Severity.NOTES, "unknown"
    kept = care.iron_because == GARMENT
    return (Severity.PASSES, "kept") if kept else (Severity.NOTES, "falls")


IRON_LIMIT = Rule(
    id="iron-limit",
    title="Ironed as cool as film and dye need",
    explanation=(
        "A printed garment is ironed at the fewest dots that the garment's label, each film and "
        "the dye bear, on its reverse and never on the print; where one of them bears no iron, "
        "none is used. One, two and three dots are 110, 150 and 200 °C."
    ),
    source=_CARE_SOURCE,
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_iron_limit,
    reasons=_IRON,
    may_block=False,
    reads_on=_care_reads,
    ways_out="A method whose film bears more heat, or a garment that needs no iron.",
)
