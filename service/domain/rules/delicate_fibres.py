"""Rules on fibres that a little heat spoils: low melters, elastane, blends of three fibres."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from service.domain.fibres import FIBRE_FACTS, Fibre, FibreContent
from service.domain.recipe import StrikeSettings, elastane_counts, low_melters
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.rules.heat import (
    ALL_SETTINGS_READ,
    settings_read,
    stated_percent,
    strike_name,
)
from service.domain.wishes import Choice

_LOW_REASONS = {
    "none": "No fibre of this cloth that counts melts at {low_c:g} °C or below.",
    "cool": (
        "{what} can stay at {bearable:g} °C or below, which the {percent:g} % {fibre} in this "
        "cloth bears; we try a sample first."
    ),
    "melts": (
        "{what} needs a setting of at least {needed:g} °C, and the {percent:g} % {fibre} in this "
        "cloth melts from {melts_c:g} °C on and bears a setting of at most {bearable:g} °C; cloth "
        "without {fibre} is the way out."
    ),
}


def _low_melting(facts: Facts) -> Iterable[Reading]:
    policy, content = facts.policy, facts.garment.whole
    found = low_melters(content, policy)
    if not found:
        percent = sum(stated_percent(content, fibre) for fibre in _melting_low(facts))
        reason = _LOW_REASONS["none"].format(low_c=policy.low_melting_c)
        limit = float(policy.low_melter_percent)
        yield Reading(Severity.PASSES, reason, percent, limit, "% of fibres that melt low")
        return
    for settings in facts.settings:
        yield _on_low_melter(settings, content, found[0])


def _melting_low(facts: Facts) -> Iterable[Fibre]:
    for share in facts.garment.whole.shares:
        melts_c = FIBRE_FACTS[share.fibre].melts_c
        if melts_c is not None and melts_c <= facts.policy.low_melting_c:
            yield share.fibre


def _on_low_melter(settings: StrikeSettings, content: FibreContent, fibre: Fibre) -> Reading:
    facts = FIBRE_FACTS[fibre]
    needed = settings.min_set_c
    bearable = facts.press_ceiling_c - settings.strike.press.temp_error_k
    stays_cool = needed <= bearable
    reason = _LOW_REASONS["cool" if stays_cool else "melts"].format(
        what=strike_name(settings),
        needed=needed,
        bearable=bearable,
        percent=stated_percent(content, fibre),
        fibre=fibre,
        melts_c=facts.melts_c,
    )
    severity = Severity.WARNS if stays_cool else Severity.BLOCKS
    return Reading(severity, reason, needed, bearable, "°C set", settings.strike.step)


LOW_MELTING_FIBRE = Rule(
    id="low-melting-fibre",
    title="A little of a low-melting fibre spoils the cloth",
    explanation=(
        "Polypropylene and a few other fibres melt near 160 °C, soften well below that, and stick "
        "to platen and paper. Other fibres matter from 5 % of the cloth on; of these, 1 % is "
        "enough. No stroke goes above the ceiling of the fibre, less the press's error. Share and "
        "melting point are the shop's policy."
    ),
    source=(
        "common practice, no source (one trade guide gives 160 to 170 °C for polypropylene); the "
        "other melting points and the ceilings are from memory"
    ),
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_low_melting,
    reasons=_LOW_REASONS,
    policy=("low_melter_percent", "low_melting_c"),
    ways_out="Cloth without the low-melting fibre.",
)


_ELASTANE_REASONS = {
    "none": "This cloth has {percent:g} % elastane; it counts from {limit:g} % on.",
    "gentle": "No stroke goes above {warm_c:g} °C or {longest:g} s, which elastane bears.",
    "warm": (
        "{what} is set to {set_c:g} °C, and above {warm_c:g} °C the {percent:g} % elastane in "
        "this cloth may lose its stretch; a sample is tried first, or a cooler method chosen."
    ),
    "long": (
        "{what} takes {dwell:g} s, and after {longest:g} s of heat the {percent:g} % elastane in "
        "this cloth may lose its stretch; a method with shorter strokes avoids it."
    ),
}


def _elastane_heat(facts: Facts) -> Iterable[Reading]:
    policy, content = facts.policy, facts.garment.whole
    percent = stated_percent(content, Fibre.ELASTANE)
    if not elastane_counts(content, policy):
        limit = float(policy.ceiling_min_percent)
        reason = _ELASTANE_REASONS["none"].format(percent=percent, limit=limit)
        yield Reading(Severity.PASSES, reason, percent, limit, "% elastane by mass")
        return
    warm_c, longest = policy.elastane_warm_c, policy.elastane_dwell_s
    warned = False
    for settings in facts.settings:
        set_c, dwell, step = settings.asked_c, settings.dwell_s, settings.strike.step
        name = strike_name(settings)
        if set_c > warm_c:
            warned = True
            reason = _ELASTANE_REASONS["warm"].format(
                what=name, set_c=set_c, warm_c=warm_c, percent=percent
            )
            yield Reading(Severity.WARNS, reason, set_c, warm_c, "°C set", step)
        if dwell > longest:
            warned = True
            reason = _ELASTANE_REASONS["long"].format(
                what=name, dwell=dwell, longest=longest, percent=percent
            )
            yield Reading(Severity.WARNS, reason, dwell, longest, "s", step)
    if not warned:
        hottest = max((settings.asked_c for settings in facts.settings), default=0.0)
        reason = _ELASTANE_REASONS["gentle"].format(warm_c=warm_c, longest=longest)
        yield Reading(Severity.PASSES, reason, hottest, warm_c, "°C set")


ELASTANE_HEAT = Rule(
    id="elastane-heat",
    title="Elastane tires with heat",
    explanation=(
        "Heat takes the spring out of elastane. Up to 20 % of it the rest of the cloth sets the "
        "ceiling, but above 165 °C or 45 s we warn; above 20 % elastane sets the ceiling itself. "
        "Both limits are the shop's policy."
    ),
    source="common practice, no source; from memory",
    reads=ALL_SETTINGS_READ,
    evaluate=_elastane_heat,
    reasons=_ELASTANE_REASONS,
    may_block=False,
    policy=("ceiling_min_percent", "elastane_dwell_s", "elastane_warm_c"),
    reads_on=settings_read,
    ways_out="A method that is pressed cooler and shorter, or cloth without elastane.",
)


TRI_BLEND_PERCENT = Decimal(10)
"""The share of each fibre from which a blend counts as one of three; a design choice."""

_REGENERATED = frozenset({Fibre.VISCOSE, Fibre.MODAL, Fibre.LYOCELL})

_TRI_REASONS = {
    "none": "This cloth is no blend of polyester, cotton and viscose, modal or lyocell.",
    "cool": "No stroke goes above {limit:g} °C, which a blend of three fibres bears.",
    "scorch": (
        "{what} is set to {set_c:g} °C, and cloth of polyester, cotton and {regenerated} scorches "
        "easily above {limit:g} °C; a sample is tried first, or a cooler method chosen."
    ),
}


def _tri_blend(facts: Facts) -> Iterable[Reading]:
    limit = facts.policy.tri_blend_c
    least, regenerated = _three_fibres(facts.garment.whole)
    if least < TRI_BLEND_PERCENT:
        unit = "% of the least of the three fibres"
        reason, needed = _TRI_REASONS["none"], float(TRI_BLEND_PERCENT)
        yield Reading(Severity.PASSES, reason, float(least), needed, unit)
        return
    hottest = max((settings.asked_c for settings in facts.settings), default=0.0)
    if hottest <= limit:
        reason = _TRI_REASONS["cool"].format(limit=limit)
        yield Reading(Severity.PASSES, reason, hottest, limit, "°C set")
        return
    for settings in facts.settings:
        set_c = settings.asked_c
        if set_c > limit:
            reason = _TRI_REASONS["scorch"].format(
                what=strike_name(settings), set_c=set_c, limit=limit, regenerated=regenerated
            )
            yield Reading(Severity.WARNS, reason, set_c, limit, "°C set", settings.strike.step)


def _three_fibres(content: FibreContent) -> tuple[Decimal, Fibre | None]:
    """The least percentage of polyester, cotton and regenerated fibres together; and of these one.

    The one is the first stated, None where there is none.
    """
    polyester = cotton = regenerated = Decimal(0)
    named: Fibre | None = None
    for share in content.shares:
        if share.fibre is Fibre.POLYESTER:
            polyester += share.percent
        elif share.fibre is Fibre.COTTON:
            cotton += share.percent
        elif share.fibre in _REGENERATED:
            regenerated += share.percent
            named = named or share.fibre
    return min(polyester, cotton, regenerated), named


TRI_BLEND_SCORCH = Rule(
    id="tri-blend-scorch",
    title="Blends of three fibres scorch easily",
    explanation=(
        "Knits of polyester, cotton and viscose, modal or lyocell mark and scorch sooner than any "
        "of the three alone; transfers pressed at 138 °C or below are advised. It counts from "
        "10 % of each; the temperature is the shop's policy."
    ),
    source="common practice, no source (advice in one trade magazine)",
    reads=ALL_SETTINGS_READ,
    evaluate=_tri_blend,
    reasons=_TRI_REASONS,
    may_block=False,
    policy=("tri_blend_c",),
    reads_on=settings_read,
    ways_out="A film that is pressed at 138 °C or below.",
)
