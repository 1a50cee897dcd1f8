"""Rules on heat: what the cloth bears, and what heat drives out of it."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.recipe import StrikeSettings
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice


def _what(settings: StrikeSettings) -> str:
    medium = settings.strike.medium
    return f"The {medium.name}" if medium else "The pre-press"


def _heat_window(facts: Facts) -> Iterable[Reading]:
    for settings in facts.settings:
        tightest = settings.tightest(migration=False)
        needed, bearable = settings.min_set_c, tightest.max_set_c
        error = settings.strike.press.temp_error_k
        if needed <= bearable:
            severity = Severity.PASSES
            reason = (
                f"{_what(settings)} can be set between {needed:g} and {bearable:g} °C on this "
                f"cloth, allowing for a press that is up to {error:g} K off."
            )
        else:
            severity = Severity.BLOCKS
            reason = (
                f"{_what(settings)} needs at least {needed:g} °C, and {tightest.because} bears at "
                f"most {bearable:g} °C, allowing for a press that is up to {error:g} K off."
            )
        yield Reading(severity, reason, needed, bearable, "°C set", settings.strike.step)


HEAT_WINDOW = Rule(
    id="heat-window",
    title="Every strike inside what the cloth bears",
    explanation=(
        "Each closing of the press must be hot enough for what it fixes and cool enough for the "
        "weakest fibre that makes up at least 5 % of the cloth, for every film already on it and "
        "for the press itself. The press may be off by some kelvin, so the setting keeps that far "
        "inside every limit. Ceilings of fibres are for strokes of up to 60 seconds."
    ),
    source="common practice, no source; ceilings are starting points, the data sheet comes first",
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_heat_window,
)


def _dye_migration(facts: Facts) -> Iterable[Reading]:
    for settings in facts.settings:
        rising = next((limit for limit in settings.limits if limit.migration), None)
        if rising is None:
            continue
        needed, onset = settings.min_set_c, rising.max_set_c
        colour = facts.garment.colour_name
        if needed <= onset:
            severity = Severity.WARNS
            reason = (
                f"{_what(settings)} stays at or below {onset:g} °C here, so that the {colour} "
                "polyester does not bleed into it; a sample is held for 24 hours."
            )
        else:
            severity = Severity.BLOCKS
            reason = (
                f"{_what(settings)} needs at least {needed:g} °C, and above {onset:g} °C the dye "
                f"of this {colour} polyester rises into a light film and tints it. A film pressed "
                "cooler or one that blocks dye avoids it."
            )
        yield Reading(severity, reason, needed, onset, "°C set", settings.strike.step)


DYE_MIGRATION = Rule(
    id="dye-migration",
    title="Coloured polyester bleeds under hot film",
    explanation=(
        "The dye of coloured polyester starts to move at about 138 °C and tints light film pressed "
        "on it, at once or within days. Cloth with at least half polyester that is not light is at "
        "risk. A low-temperature film, a dark film or a film that blocks dye is the way out."
    ),
    source="common practice, no source (three trade texts agree on about 138 °C)",
    reads=frozenset({Choice.METHOD, Choice.BLANK, Choice.COLOUR, Choice.FILM_COLOUR}),
    evaluate=_dye_migration,
)
