"""Rules on several decorations of one garment: they lie apart, and share every strike's heat."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from service.domain.chain import Chain
from service.domain.media import Medium
from service.domain.recipe import StrikeSettings, may_bleed
from service.domain.rules.contract import Facts, Neighbour, Reading, Rule, Severity
from service.domain.rules.heat import ALL_SETTINGS_READ, settings_read, strike_name
from service.domain.wishes import Choice

REFUSED_AT_TIMES = 2
"""How many times the shop's limit on heat is refused instead of warned of; a design choice."""


_HEAT_REASONS = {
    "dwell": "The press heats this garment for {seconds:g} s in all; up to {limit:g} s is usual.",
    "dwell_over": (
        "The press heats this garment for {seconds:g} s in all; above {limit:g} s cloth may yellow "
        "and shrink, and from {refused:g} s we refuse. Fewer decorations, or methods with shorter "
        "strokes, avoid it."
    ),
    "strikes": "The press closes {count} times on this garment; up to {limit} times is usual.",
    "strikes_over": (
        "The press closes {count} times on this garment; above {limit} times its marks may stay "
        "in the cloth, and from {refused} we refuse. Fewer decorations, or methods with fewer "
        "strokes, avoid it."
    ),
}


def _accumulated_heat(facts: Facts) -> Iterable[Reading]:
    every = [facts.settings, *(neighbour.settings for neighbour in facts.neighbours)]
    seconds = sum(settings.dwell_s for strikes in every for settings in strikes)
    longest = facts.policy.heated_s_max
    severity, ending = _gravity(seconds, longest)
    reason = _HEAT_REASONS[f"dwell{ending}"].format(
        seconds=seconds, limit=longest, refused=longest * REFUSED_AT_TIMES
    )
    yield Reading(severity, reason, seconds, longest, "s under the press")
    count, most = sum(len(strikes) for strikes in every), facts.policy.strikes_max
    severity, ending = _gravity(count, most)
    reason = _HEAT_REASONS[f"strikes{ending}"].format(
        count=count, limit=most, refused=most * REFUSED_AT_TIMES
    )
    yield Reading(severity, reason, count, most, "strikes")


def _gravity(measured: float, limit: float) -> tuple[Severity, str]:
    """Severity, and the ending of the reason's name."""
    if measured <= limit:
        return Severity.PASSES, ""
    refused = measured >= REFUSED_AT_TIMES * limit
    return Severity.BLOCKS if refused else Severity.WARNS, "_over"


ACCUMULATED_HEAT = Rule(
    id="accumulated-heat",
    title="Not too much heat on one garment",
    explanation=(
        "Each stroke heats the cloth and all that is already on it, whatever it is for. Over all "
        "decorations of a garment the seconds under the press and the number of strokes are "
        "added up: above the shop's limits we warn, from twice the limits on we refuse."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.METHOD, Choice.BLANK, Choice.OTHER_DECORATIONS}),
    evaluate=_accumulated_heat,
    reasons=_HEAT_REASONS,
    policy=("heated_s_max", "strikes_max"),
    ways_out="Fewer decorations on the garment, or methods with fewer and shorter strokes.",
)


@dataclass(frozen=True, slots=True)
class _Reheating:
    """A strike that heats an earlier dye print.

    ``dyed`` and ``where`` are words for the print and for the strike's place, ``own`` says that
    both are of the decoration that is judged, ``dyes`` that the strike transfers dye itself.
    ``step`` is None for a neighbour's strike.
    """

    settings: StrikeSettings
    dyed: str
    where: str
    own: bool
    dyes: bool
    step: int | None


_REHEAT_REASONS = {
    "last": "Nothing is pressed after the dye, so no later heat moves it.",
    "cool": (
        "What is pressed after the dye is set to {set_c:g} °C at most; up to {moves_c:g} °C dye "
        "stays where it is."
    ),
    "moves": (
        "{what}{where} is set to {set_c:g} °C and pressed after {dyed}; above {moves_c:g} °C dye "
        "moves again, and the print may blur or pale. A method that is pressed cooler avoids it."
    ),
    "covered": (
        "{what}{where} is set to {set_c:g} °C and pressed after {dyed}, and above {stains_c:g} °C "
        "dye turns to gas again: the first print is covered with fresh paper and may still pale."
    ),
    "pales": (
        "{what}{where} is set to {set_c:g} °C and pressed after {dyed}, and above {stains_c:g} °C "
        "dye turns to gas again and the print pales. A method that is pressed cooler avoids it."
    ),
    "stains": (
        "{what}{where} is set to {set_c:g} °C and pressed after {dyed}, and above {stains_c:g} °C "
        "dye turns to gas again and stains the film. A film pressed cooler, or another method for "
        "one of the two, is the way out."
    ),
}


def _dye_reheated(facts: Facts) -> Iterable[Reading]:
    dyed_before = _dyed_before(facts)
    if not facts.chain.dye and dyed_before is None:
        return
    later = [*_own_strikes(facts, dyed_before), *_later_strikes(facts)]
    moves_c = facts.policy.dye_moves_from_c
    hot = [reheating for reheating in later if reheating.settings.asked_c > moves_c]
    for reheating in hot:
        yield _reheated(reheating, facts)
    if not hot:
        yield _harmless(later, moves_c)


def _dyed_before(facts: Facts) -> Neighbour | None:
    return next((other for other in facts.neighbours if other.earlier and other.chain.dye), None)


def _own_strikes(facts: Facts, dyed_before: Neighbour | None) -> Iterator[_Reheating]:
    """Strikes of the decoration itself that come after its own dye, or after a neighbour's."""
    dye_steps = _dye_steps(facts.chain)
    for settings in facts.settings:
        step = settings.strike.step
        dyes = step in dye_steps
        if any(dyed < step for dyed in dye_steps):
            yield _Reheating(settings, "its own dye", "", own=True, dyes=dyes, step=step)
        elif dyed_before is not None:
            dyed = f"the dye print at the {_place(facts, dyed_before)}"
            yield _Reheating(settings, dyed, "", own=False, dyes=dyes, step=step)


def _later_strikes(facts: Facts) -> Iterator[_Reheating]:
    """Strikes of neighbours that come after the dye of the decoration itself."""
    for other in facts.neighbours if facts.chain.dye else ():
        if not other.earlier:
            dye_steps = _dye_steps(other.chain)
            where = f" at the {_place(facts, other)}"
            for settings in other.settings:
                dyes = settings.strike.step in dye_steps
                yield _Reheating(settings, "this dye print", where, own=False, dyes=dyes, step=None)


def _dye_steps(chain: Chain) -> tuple[int, ...]:
    return tuple(transfer.step for transfer in chain.dye)


def _place(facts: Facts, other: Neighbour) -> str:
    return _place_name(facts, other.decoration.placement_id)


def _place_name(facts: Facts, id_: str) -> str:
    placement = facts.garment.placements.get(id_)
    return placement.name.lower() if placement else id_


def _reheated(reheating: _Reheating, facts: Facts) -> Reading:
    policy, strike = facts.policy, reheating.settings.strike
    set_c = reheating.settings.asked_c
    limit = policy.dye_stains_from_c
    if set_c <= limit:
        severity, name, limit = Severity.WARNS, "moves", policy.dye_moves_from_c
    elif reheating.own or (strike.medium is not None and strike.medium.stays_on_cloth):
        severity, name = Severity.BLOCKS, "stains"
    elif reheating.dyes:
        severity, name = Severity.WARNS, "covered"
    else:
        severity, name = Severity.WARNS, "pales"
    reason = _REHEAT_REASONS[name].format(
        what=strike_name(reheating.settings),
        where=reheating.where,
        set_c=set_c,
        dyed=reheating.dyed,
        moves_c=policy.dye_moves_from_c,
        stains_c=policy.dye_stains_from_c,
    )
    return Reading(severity, reason, set_c, limit, "°C set after the dye", reheating.step)


def _harmless(later: list[_Reheating], moves_c: float) -> Reading:
    unit = "°C set after the dye"
    if not later:
        return Reading(Severity.PASSES, _REHEAT_REASONS["last"], "nothing", moves_c, unit)
    hottest = max(reheating.settings.asked_c for reheating in later)
    reason = _REHEAT_REASONS["cool"].format(set_c=hottest, moves_c=moves_c)
    return Reading(Severity.PASSES, reason, hottest, moves_c, unit)


def _reheat_reads(chain: Chain) -> frozenset[Choice]:
    """A neighbour that is pressed after dye has settings of its own, which the cloth decides."""
    after_dye = {Choice.BLANK, Choice.COLOUR} if chain.dye else set()
    return settings_read(chain) | {Choice.OTHER_DECORATIONS} | after_dye


DYE_REHEATED = Rule(
    id="dye-reheated",
    title="Nothing hot is pressed after dye",
    explanation=(
        "Dye in cloth or film moves again in any later heat: above 150 °C the print may blur, "
        "above 170 °C dye turns to gas again and stains film pressed on or beside it. So the shop "
        "presses decorations with dye last. Where two have dye, the first print is covered with "
        "fresh paper under the second stroke, and we warn. Both temperatures are settings of the "
        "press and the shop's policy."
    ),
    source="common practice, no source",
    reads=ALL_SETTINGS_READ | {Choice.OTHER_DECORATIONS},
    evaluate=_dye_reheated,
    reasons=_REHEAT_REASONS,
    policy=("dye_moves_from_c", "dye_stains_from_c"),
    reads_on=_reheat_reads,
    # Of the cloth's colour, settings depend only on whether it may bleed.
    of_colour=may_bleed,
    ways_out="A film pressed cooler beside the dye print, or another method for one of the two.",
)


_FILM_REASONS = {
    "bears": "Every film at another place bears what is pressed after it.",
    "too_hot": (
        "{what}{where} is set to {set_c:g} °C and pressed after the {film}{film_where}, which "
        "bears a setting of at most {bears_c:g} °C: we keep that film off the platen and covered. "
        "A method pressed cooler avoids it."
    ),
}


def _film_reheated(facts: Facts) -> Iterable[Reading]:
    pairs = [*_film_pairs(facts)]
    if not pairs:
        return
    fine = True
    for settings, film, where, film_where in pairs:
        bears_c = film.withstands_c - settings.strike.press.temp_error_k
        set_c = settings.asked_c
        if set_c > bears_c:
            fine = False
            reason = _FILM_REASONS["too_hot"].format(
                what=strike_name(settings),
                where=where,
                set_c=set_c,
                film=film.name,
                film_where=film_where,
                bears_c=bears_c,
            )
            step = None if where else settings.strike.step
            yield Reading(Severity.WARNS, reason, set_c, bears_c, "°C set after the film", step)
    if fine:
        hottest = max(settings.asked_c for settings, *_ in pairs)
        coolest = min(film.withstands_c for _, film, *_ in pairs)
        unit = "°C set after the film"
        yield Reading(Severity.PASSES, _FILM_REASONS["bears"], hottest, coolest, unit)


def _film_pairs(facts: Facts) -> Iterator[tuple[StrikeSettings, Medium, str, str]]:
    """Each film with the hottest strike at another place that is pressed after it.

    The last two are words for the place of the strike and of the film, empty for the decoration
    that is judged.
    """
    own = max(facts.settings, key=_asked_c, default=None)
    for other in facts.neighbours:
        where = f" at the {_place(facts, other)}"
        if other.earlier and own is not None:
            yield from ((own, film, "", where) for film in other.chain.layers)
        elif not other.earlier and other.settings:
            hottest = max(other.settings, key=_asked_c)
            yield from ((hottest, film, where, "") for film in facts.chain.layers)


def _asked_c(settings: StrikeSettings) -> float:
    return settings.asked_c


FILM_REHEATED = Rule(
    id="film-reheated",
    title="Film at another place bears the later heat",
    explanation=(
        "A platen covers more than the print it presses. Film that is already on the garment "
        "softens, sticks or loses its edge if a later stroke is hotter than it bears, so it is "
        "kept off the platen and covered. The film's data sheet comes first."
    ),
    source="common practice, no source",
    reads=ALL_SETTINGS_READ | {Choice.OTHER_DECORATIONS},
    evaluate=_film_reheated,
    reasons=_FILM_REASONS,
    may_block=False,
    reads_on=lambda chain: (
        settings_read(chain)
        | {Choice.OTHER_DECORATIONS}
        | ({Choice.BLANK, Choice.COLOUR} if chain.layers else set())
    ),
    ways_out="Methods that are pressed at like temperatures, or a place the platen does not cover.",
)


_APART_REASONS = {
    "apart": "The {here} lies apart from every other decoration of this garment.",
    "overlap": (
        "The {here} and the {there} lie on each other on this garment, so both cannot be "
        "decorated. Combine the two artworks into one, or choose another placement for one of them."
    ),
}


def _placements_apart(facts: Facts) -> Iterable[Reading]:
    here = _place_name(facts, facts.decoration.placement_id)
    touching = [other for other in facts.neighbours if _overlap(facts, other)]
    for other in touching:
        there = _place(facts, other)
        reason = _APART_REASONS["overlap"].format(here=here, there=there)
        yield Reading(Severity.BLOCKS, reason, len(touching), 0, "overlapping decorations")
    if facts.neighbours and not touching:
        reason = _APART_REASONS["apart"].format(here=here)
        yield Reading(Severity.PASSES, reason, 0, 0, "overlapping decorations")


def _overlap(facts: Facts, other: Neighbour) -> bool:
    """Whether either of the two placements names the other as one it lies on."""
    ids = facts.decoration.placement_id, other.decoration.placement_id
    one, two = map(facts.garment.placements.get, ids)
    return (
        one is not None and two is not None and (two.id in one.overlaps or one.id in two.overlaps)
    )


PLACEMENTS_APART = Rule(
    id="placements-apart",
    title="Decorations lie apart",
    explanation=(
        "Some placements of a garment lie on each other, as the left chest lies on the full front. "
        "A print on a print holds badly and hides what is below, so of such placements only one is "
        "decorated. The shop's catalogue says which placements overlap."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.BLANK, Choice.PLACEMENT, Choice.OTHER_DECORATIONS}),
    evaluate=_placements_apart,
    reasons=_APART_REASONS,
    ways_out="Both artworks combined into one, or another placement for one of the two.",
)
