"""Rules on a film as it is worn: its colour, its feel, and whether it gives with the cloth."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from service.domain.blanks import Finish
from service.domain.chain import Chain, Strike
from service.domain.fibres import Fibre
from service.domain.media import Medium, Pressure, Texture
from service.domain.methods import OperationKind
from service.domain.rules.contract import Facts, Reading, Rule, Severity, WidthLimits
from service.domain.rules.geometry import ANY_WIDTH
from service.domain.rules.heat import stated_percent
from service.domain.wishes import Choice
from service.domain.work import inked_share

MM2_PER_CM2 = 100.0

_METHOD_ALONE = frozenset({Choice.METHOD})


def only_with_film(*choices: Choice) -> Callable[[Chain], frozenset[Choice]]:
    """What a rule on films reads: ``choices`` where film stays on the cloth, else the method."""
    reads = frozenset(choices)
    return lambda chain: reads if chain.layers else _METHOD_ALONE


_COLOUR = {
    "stocked": "The {film} is stocked in the colour '{asked}'.",
    "not-stocked": (
        "The {film} is not stocked in the colour '{asked}'. It comes in {stocked}; choose one of "
        "these or another method."
    ),
    "open": "No film colour was asked for, so the {film} takes the one that suits the artwork.",
    "no-film": (
        "This method leaves no film on the cloth, so the film colour '{asked}' does not apply."
    ),
}


def _film_colour_available(facts: Facts) -> Iterable[Reading]:
    asked, unit = facts.decoration.film_colour_id, "film colour"
    if not facts.chain.layers:
        if asked is not None:
            reason = _COLOUR["no-film"].format(asked=asked)
            yield Reading(Severity.NOTES, reason, asked, "no film", unit)
        return
    film = facts.chain.layers[-1]
    stocked = [colour.id for colour in film.colours]
    limit = ", ".join(stocked)
    if asked is None:
        reason = _COLOUR["open"].format(film=film.name)
        yield Reading(Severity.PASSES, reason, "any", limit, unit)
    elif asked in stocked:
        reason = _COLOUR["stocked"].format(film=film.name, asked=asked)
        yield Reading(Severity.PASSES, reason, asked, limit, unit)
    else:
        names = ", ".join(colour.name for colour in film.colours)
        reason = _COLOUR["not-stocked"].format(film=film.name, asked=asked, stocked=names)
        yield Reading(Severity.BLOCKS, reason, asked, limit, unit)


FILM_COLOUR_AVAILABLE = Rule(
    id="film-colour-available",
    title="The film is stocked in the colour asked for",
    explanation=(
        "A film comes in the colours its maker offers and the shop stocks. A colour asked for that "
        "the film on top does not come in is never replaced silently by another. Where none is "
        "asked for, the film takes the stocked colour nearest to the artwork."
    ),
    source="common practice, no source (the shop's own stock)",
    reads=frozenset({Choice.METHOD, Choice.FILM_COLOUR}),
    evaluate=_film_colour_available,
    reasons=_COLOUR,
    ways_out="Another colour of the same film, or a method whose film has the colour.",
)


_ELASTIC = (Fibre.ELASTANE, Fibre.ELASTOMULTIESTER)
"""Fibres that are put into cloth so that it stretches."""

_STRETCH = {
    "gives": "The {film} stretches with the cloth.",
    "little": "This cloth holds {percent:.3g} % {fibres}, too little to crack the {film}.",
    "may-crack": (
        "This cloth holds {percent:.3g} % {fibres} and the {film} does not stretch: from "
        "{limit:g} % on it may crack where the garment is pulled. A stretching film gives with it."
    ),
    "cracks": (
        "This cloth holds {percent:.3g} % {fibres} and the {film} does not stretch: from "
        "{limit:g} % on it cracks in wear. A stretching film, or cloth with less {fibres}, works."
    ),
}


def _film_stretch(facts: Facts) -> Iterable[Reading]:
    content = facts.garment.whole
    percent = sum(stated_percent(content, fibre) for fibre in _ELASTIC)
    held = [fibre for fibre in _ELASTIC if stated_percent(content, fibre)]
    fibres = " and ".join(held or [Fibre.ELASTANE])
    for film in facts.chain.layers:
        severity, said, limit = _stretch_of(facts, film, percent)
        reason = _STRETCH[said].format(film=film.name, percent=percent, fibres=fibres, limit=limit)
        yield Reading(severity, reason, percent, limit, "% elastic fibre by mass")


def _stretch_of(facts: Facts, film: Medium, percent: float) -> tuple[Severity, str, float]:
    warns = float(facts.policy.stretch_warns_percent)
    blocks = float(facts.policy.stretch_blocks_percent)
    if film.stretches:
        return Severity.PASSES, "gives", blocks
    if percent >= blocks:
        return Severity.BLOCKS, "cracks", blocks
    if percent >= warns:
        return Severity.WARNS, "may-crack", warns
    return Severity.PASSES, "little", warns


FILM_STRETCH = Rule(
    id="film-stretch",
    title="The film gives where the cloth does",
    explanation=(
        "Ordinary film cracks once the cloth is drawn out by about 15 to 20 %; stretching film "
        "follows it. How far a cloth will be drawn is not on its label, so the elastane "
        "and elastomultiester in the whole cloth stand for it, and the shares at which the shop "
        "warns and refuses are its policy."
    ),
    source="common practice, no source; from memory",
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_film_stretch,
    reasons=_STRETCH,
    policy=("stretch_warns_percent", "stretch_blocks_percent"),
    reads_on=only_with_film(Choice.METHOD, Choice.BLANK),
    ways_out="A film that stretches, dye where the cloth takes it, or cloth with less elastane.",
)


_COVER = {
    "heavy": "This cloth of {weight:g} g/m² carries {area:.0f} cm² of film.",
    "small": "The film covers {area:.0f} cm², which light cloth carries.",
    "large": (
        "The film covers {area:.0f} cm² of a light cloth of {weight:g} g/m²: above {limit:g} cm² "
        "it feels stiff and clammy. A smaller print, artwork with more gaps, heavier cloth or dye "
        "feels better."
    ),
}


def _film_cover(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.layers:
        return
    policy, weight = facts.policy, facts.garment.weight_g_m2
    area = film_area_cm2(facts)
    severity, said = Severity.PASSES, "small"
    if weight >= policy.light_cloth_g_m2:
        said = "heavy"
    elif area > policy.large_film_cm2:
        severity, said = Severity.WARNS, "large"
    reason = _COVER[said].format(area=area, weight=weight, limit=policy.large_film_cm2)
    yield Reading(severity, reason, area, policy.large_film_cm2, "cm² of film")


def film_area_cm2(facts: Facts) -> float:
    """Area in cm² of the largest film left on the cloth; 0 where none is.

    A film that is cut leaves only what is inked, one that is not leaves the whole box.
    """
    chain, decoration = facts.chain, facts.decoration
    if not chain.layers:
        return 0.0
    box_cm2 = decoration.width_mm * decoration.height_mm / MM2_PER_CM2
    cut = {work.medium.id for work in chain.worked if work.kind is OperationKind.CUT}
    whole = any(film.id not in cut for film in chain.layers)
    return box_cm2 if whole else box_cm2 * float(inked_share(decoration.artwork))


def _small_film_widths(facts: Facts) -> WidthLimits:
    policy, area_cm2 = facts.policy, film_area_cm2(facts)
    if not area_cm2 or facts.garment.weight_g_m2 >= policy.light_cloth_g_m2:
        return ANY_WIDTH
    # A little less than what rounding might carry over the limit.
    times = math.sqrt(policy.large_film_cm2 / area_cm2) * (1 - 1e-9)
    return 0.0, facts.decoration.width_mm * times


FILM_COVER = Rule(
    id="film-cover",
    title="Large film on light cloth feels stiff",
    explanation=(
        "Film lets no air or moisture through and hardly drapes. A large closed area of it on a "
        "light knit feels stiff and clammy and makes the cloth hang badly. Only what stays after "
        "cutting counts. What is large and what is light are the shop's policy; nobody is refused."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.METHOD, Choice.BLANK, Choice.WIDTH, Choice.ARTWORK}),
    evaluate=_film_cover,
    reasons=_COVER,
    may_block=False,
    policy=("large_film_cm2", "light_cloth_g_m2"),
    quiet=_small_film_widths,
    reads_on=only_with_film(Choice.METHOD, Choice.BLANK, Choice.WIDTH, Choice.ARTWORK),
    ways_out="A smaller print, artwork with more gaps, heavier cloth, or dye.",
)


_NAP = {
    "gentle": "No stroke of the press closes firmly, so a nap keeps standing.",
    "flat": "The press closes firmly, on cloth without a nap.",
    "cloth": (
        "The press closes firmly on this brushed cloth: its nap may be crushed and the edge of the "
        "platen may show. A method pressed more lightly is kinder to it."
    ),
    "pile": (
        "The press closes firmly on the {film} already there: its pile may be crushed. A lighter "
        "stroke keeps it standing."
    ),
}


def _nap(facts: Facts) -> Iterable[Reading]:
    strikes = facts.chain.strikes
    firm = [strike for strike in strikes if _is_firm(strike)]
    for strike in firm:
        yield from _firm_stroke(facts, strike)
    if strikes and not firm:
        yield _on_nap(Severity.PASSES, _NAP["gentle"], "no firm stroke", None)


def _firm_stroke(facts: Facts, strike: Strike) -> Iterable[Reading]:
    piled = [film for film in strike.beneath if film.texture is Texture.FLOCK]
    for film in piled:
        reason = _NAP["pile"].format(film=film.name)
        yield _on_nap(Severity.WARNS, reason, "firm on pile", strike.step)
    if facts.garment.finish is Finish.BRUSHED:
        yield _on_nap(Severity.WARNS, _NAP["cloth"], "firm on brushed cloth", strike.step)
    elif not piled:
        yield _on_nap(Severity.PASSES, _NAP["flat"], "firm on flat cloth", strike.step)


def _on_nap(severity: Severity, reason: str, measured: str, step: int | None) -> Reading:
    return Reading(severity, reason, measured, "no firm stroke on a nap", "pressure", step)


def _is_firm(strike: Strike) -> bool:
    return strike.window.pressure is Pressure.FIRM


def _nap_reads(chain: Chain) -> frozenset[Choice]:
    firm = any(_is_firm(strike) for strike in chain.strikes)
    return frozenset({Choice.METHOD, Choice.BLANK}) if firm else _METHOD_ALONE


NAP_UNDER_PRESSURE = Rule(
    id="nap-under-pressure",
    title="A firm press crushes nap and pile",
    explanation=(
        "Brushed cloth and flock film have fibres that stand up. A platen that closes firmly lays "
        "them flat, and its edge leaves a mark on the cloth that may not come out in the wash."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_nap,
    reasons=_NAP,
    may_block=False,
    reads_on=_nap_reads,
    ways_out="A method pressed with light or medium pressure, or cloth that is not brushed.",
)
