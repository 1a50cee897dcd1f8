"""Rules on heat: what the cloth bears, and what heat drives out of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import takewhile

from service.domain.chain import Chain
from service.domain.fibres import Fibre, FibreContent
from service.domain.recipe import LimitKind, StrikeSettings, bleeding_percent, may_bleed
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice


def settings_read(chain: Chain) -> frozenset[Choice]:
    """The choices on which the settings of the chain's strikes depend.

    Dye rising out of coloured cloth limits a strike only under film that does not block it. Where
    such a film has several colours and none is asked for, the artwork decides which it is.
    """
    exposed = list(takewhile(lambda film: not film.blocks_dye, chain.layers))
    reads = {Choice.METHOD, Choice.BLANK}
    if exposed:
        reads.add(Choice.COLOUR)
    if any(len(film.colours) > 1 for film in exposed):
        reads.add(Choice.FILM_COLOUR)
    return frozenset(reads)


ALL_SETTINGS_READ = frozenset({Choice.METHOD, Choice.BLANK, Choice.COLOUR, Choice.FILM_COLOUR})
"""What :func:`settings_read` may name."""


def strike_name(settings: StrikeSettings) -> str:
    """What a strike presses, to begin a sentence with."""
    medium = settings.strike.medium
    return f"The {medium.name}" if medium else "The pre-press"


def stated_percent(content: FibreContent, fibre: Fibre) -> float:
    """The percentage of the mass that the fibre content states for one fibre."""
    return float(sum(share.percent for share in content.shares if share.fibre is fibre))


_WINDOW_REASONS = {
    "room": (
        "{what} can be set between {needed:g} and {bearable:g} °C on this cloth, allowing for a "
        "press that is up to {error:g} K off."
    ),
    "empty": (
        "{what} finds no temperature on this cloth: {intervals}. With a press up to {error:g} K "
        "off it needs a setting of at least {needed:g} °C, and at most {bearable:g} °C is allowed "
        "by {because}; a method pressed cooler or a cloth that bears more heat is the way out."
    ),
    "shorter": (
        "{what} is pressed for {dwell:g} s instead of {best:g} s, as the elastane in this cloth "
        "bears no more than {longest:g} s."
    ),
    "too_long": (
        "{what} takes at least {least:g} s under the press, and the elastane in this cloth bears "
        "at most {longest:g} s; a method with shorter strokes or a cloth without elastane is the "
        "way out."
    ),
}


def _heat_window(facts: Facts) -> Iterable[Reading]:
    for settings in facts.settings:
        yield _temperature(settings)
        if settings.max_dwell_s is not None:
            yield from _dwell(settings, settings.max_dwell_s)


def _temperature(settings: StrikeSettings) -> Reading:
    tightest = settings.tightest(migration=False)
    needed, bearable = settings.min_set_c, tightest.max_set_c
    name, error = strike_name(settings), settings.strike.press.temp_error_k
    if needed <= bearable:
        severity = Severity.PASSES
        reason = _WINDOW_REASONS["room"].format(
            what=name, needed=needed, bearable=bearable, error=error
        )
    else:
        severity = Severity.BLOCKS
        reason = _WINDOW_REASONS["empty"].format(
            what=name,
            intervals=", ".join(each.words() for each in settings.intervals(migration=False)),
            error=error,
            needed=needed,
            because=tightest.because,
            bearable=bearable,
        )
    return Reading(severity, reason, needed, bearable, "°C set", settings.strike.step)


def _dwell(settings: StrikeSettings, longest: float) -> Iterator[Reading]:
    window, step = settings.strike.window, settings.strike.step
    if not settings.dwell_has_room:
        reason = _WINDOW_REASONS["too_long"].format(
            what=strike_name(settings), least=window.dwell_min_s, longest=longest
        )
        yield Reading(Severity.BLOCKS, reason, window.dwell_min_s, longest, "s", step)
    elif window.best_dwell_s > longest:
        reason = _WINDOW_REASONS["shorter"].format(
            what=strike_name(settings),
            dwell=settings.dwell_s,
            best=window.best_dwell_s,
            longest=longest,
        )
        yield Reading(Severity.NOTES, reason, settings.dwell_s, longest, "s", step)


HEAT_WINDOW = Rule(
    id="heat-window",
    title="Every strike inside what the cloth bears",
    explanation=(
        "Each closing of the press must be hot enough for what it fixes and cool enough for the "
        "weakest fibre that makes up at least 5 % of the cloth, for every film already on it and "
        "for the press itself. The press may be off by some kelvin, so the setting keeps that far "
        "inside every limit. Ceilings of fibres are for strokes of up to 60 seconds. Up to 20 % "
        "elastane sets no ceiling, but keeps each stroke short. The percentages are the shop's "
        "policy."
    ),
    source="common practice, no source; ceilings are starting points, the data sheet comes first",
    reads=frozenset({Choice.METHOD, Choice.BLANK}),
    evaluate=_heat_window,
    reasons=_WINDOW_REASONS,
    policy=("ceiling_min_percent", "elastane_dwell_s"),
    ways_out="A method that is pressed cooler or shorter, or a cloth that bears more heat.",
)


CEILINGS_HOLD_S = 60.0
"""What fibres bear is stated for strokes up to so many seconds."""

_LONG_REASONS = {
    "far": (
        "{what} takes {dwell:g} s at {set_c:g} °C. {because} bears {bears:g} °C for up to {held:g} "
        "s; up to {limit:g} °C a longer stroke keeps clear of that."
    ),
    "near": (
        "{what} takes {dwell:g} s at {set_c:g} °C. {because} bears {bears:g} °C for up to {held:g} "
        "s, and above {limit:g} °C a longer stroke may scorch it: a sample is pressed first. A "
        "method with shorter or cooler strokes avoids it."
    ),
}

_OF_THE_CLOTH = frozenset({LimitKind.CLOTH, LimitKind.LOW_MELTER})


def _long_strike(facts: Facts) -> Iterable[Reading]:
    for settings in facts.settings:
        set_c, dwell = settings.set_c, settings.dwell_s
        # Where there is no setting, the heat window or a rule beside it refuses the stroke.
        if set_c is None or dwell <= CEILINGS_HOLD_S:
            continue
        cloth = next(limit for limit in settings.limits if limit.kind in _OF_THE_CLOTH)
        limit = cloth.bears_c - facts.policy.long_strike_margin_k
        near = set_c > limit
        reason = _LONG_REASONS["near" if near else "far"].format(
            what=strike_name(settings),
            dwell=dwell,
            set_c=set_c,
            because=f"{cloth.because[0].upper()}{cloth.because[1:]}",
            bears=cloth.bears_c,
            held=CEILINGS_HOLD_S,
            limit=limit,
        )
        severity = Severity.WARNS if near else Severity.PASSES
        yield Reading(severity, reason, set_c, limit, "°C set", settings.strike.step)


LONG_STRIKE = Rule(
    id="long-strike",
    title="Long strokes keep clear of what the cloth bears",
    explanation=(
        "What a fibre bears is known for strokes of up to 60 seconds. A longer stroke heats the "
        "cloth through, so one that is set close to that ceiling may scorch or glaze it. How close "
        "is the shop's policy; a sample on the same cloth tells."
    ),
    source="common practice, no source (how near counts is a design choice)",
    reads=ALL_SETTINGS_READ,
    evaluate=_long_strike,
    reasons=_LONG_REASONS,
    may_block=False,
    policy=("ceiling_min_percent", "long_strike_margin_k", "low_melter_percent", "low_melting_c"),
    reads_on=settings_read,
    ways_out="A method with shorter or cooler strokes, or a cloth that bears more heat.",
)


MIGRATION_HOLD_H = 24
"""Hours for which a sample is held, to see dye that rises late: common practice, no source."""

_MIGRATION_REASONS = {
    "blocked": "The {film} blocks dye, so nothing that rises out of the cloth shows.",
    "little": (
        "This cloth has {percent:g} % polyester; its dye rises into film only from {limit:g} % on."
    ),
    "light": "This cloth is light (L* {lightness:.1f}), so nothing that would show rises from it.",
    "shielded": (
        "Dye may rise out of this {colour} cloth, but the film is dark, so none of it shows."
    ),
    "held": (
        "{what} is set to {onset:g} °C at most, so that the dye of this {colour} cloth "
        "({percent:g} % polyester) does not rise into the light film; a sample is held for "
        "24 hours."
    ),
    "rises": (
        "{what} needs at least {needed:g} °C, and above {onset:g} °C the dye of this {colour} "
        "cloth ({percent:g} % polyester) rises into the light film and tints it. A film pressed "
        "cooler, a dark film or one that blocks dye is the way out."
    ),
}


def _dye_migration(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.layers:
        return
    lowest = facts.chain.layers[0]
    if lowest.blocks_dye:
        reason = _MIGRATION_REASONS["blocked"].format(film=lowest.name)
        yield Reading(Severity.PASSES, reason, "blocks dye", "dark, or blocks dye", "film")
        return
    percent = float(bleeding_percent(facts.garment))
    bleeding = False
    for settings in facts.settings:
        rising = next((limit for limit in settings.limits if limit.migration), None)
        if rising is None:
            continue
        bleeding = True
        needed, onset = settings.min_set_c, rising.max_set_c
        stays_cool = needed <= onset
        reason = _MIGRATION_REASONS["held" if stays_cool else "rises"].format(
            what=strike_name(settings),
            needed=needed,
            onset=onset,
            colour=facts.garment.colour_name,
            percent=percent,
        )
        severity = Severity.WARNS if stays_cool else Severity.BLOCKS
        hold_h = MIGRATION_HOLD_H if stays_cool else 0
        step = settings.strike.step
        yield Reading(severity, reason, needed, onset, "°C set", step, hold_h=hold_h)
    if not bleeding:
        yield _no_bleeding(facts, percent)


def _no_bleeding(facts: Facts, percent: float) -> Reading:
    policy, garment = facts.policy, facts.garment
    limit = float(policy.migration_polyester_percent)
    if percent < limit:
        reason = _MIGRATION_REASONS["little"].format(percent=percent, limit=limit)
        return Reading(Severity.PASSES, reason, percent, limit, "% polyester by mass")
    if not may_bleed(garment, policy):
        lightness = garment.lab.lightness
        reason = _MIGRATION_REASONS["light"].format(lightness=lightness)
        unit = "CIELAB L* of the cloth"
        return Reading(Severity.PASSES, reason, lightness, policy.light_lightness, unit)
    reason = _MIGRATION_REASONS["shielded"].format(colour=garment.colour_name)
    return Reading(Severity.PASSES, reason, "dark", "dark, or blocks dye", "film")


def _migration_reads(chain: Chain) -> frozenset[Choice]:
    if not chain.layers or chain.layers[0].blocks_dye:
        return frozenset({Choice.METHOD})
    return settings_read(chain)


DYE_MIGRATION = Rule(
    id="dye-migration",
    title="Coloured polyester bleeds under hot film",
    explanation=(
        "The dye of coloured polyester starts to move at about 138 °C and tints light film pressed "
        "on it, at once or within days. Cloth with at least half polyester that is not light is at "
        "risk. A low-temperature film, a dark film or a film that blocks dye is the way out."
    ),
    source="common practice, no source (three trade texts agree on about 138 °C)",
    reads=ALL_SETTINGS_READ,
    evaluate=_dye_migration,
    reasons=_MIGRATION_REASONS,
    policy=(
        "light_lightness",
        "migration_film_lightness",
        "migration_onset_c",
        "migration_polyester_percent",
    ),
    reads_on=_migration_reads,
    # Of the cloth's colour, settings depend only on whether it may bleed.
    of_colour=may_bleed,
    ways_out="A film pressed below the onset, a dark film, a film that blocks dye, or light cloth.",
)
