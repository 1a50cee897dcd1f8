"""Rules on the outline: what a blade cuts, a hand weeds, and a print still shows."""

from __future__ import annotations

import math
from collections.abc import Iterable

from service.domain.chain import Chain
from service.domain.media import Medium
from service.domain.methods import OperationKind
from service.domain.rules.contract import Facts, Reading, Rule, Severity, WidthLimits
from service.domain.rules.geometry import ANY_WIDTH, NO_WIDTH, SLACK_MM, in_mm
from service.domain.wishes import Choice

REVERSED_LINES = 2.0
"""A clear line in a print needs this many times the width of a printed one (1 point against 2
points); common practice, no source (three trade guides agree)."""

_READS = frozenset({Choice.METHOD, Choice.ARTWORK})


def media_cut(chain: Chain) -> tuple[Medium, ...]:
    """What the chain cuts, once for each cut."""
    return _media(chain, OperationKind.CUT)


def media_printed(chain: Chain) -> tuple[Medium, ...]:
    """What the chain prints on, once for each print."""
    return _media(chain, OperationKind.PRINT)


def _media(chain: Chain, kind: OperationKind) -> tuple[Medium, ...]:
    return tuple(worked.medium for worked in chain.worked if worked.kind is kind)


_CUT_COLOURS_REASONS = {
    "few": "The method cuts {count} film{s}.",
    "many": (
        "The method cuts {count} films. Each is cut, weeded and laid in turn, which costs more, "
        "and may lie a little off the others; above {limit} we advise a printed method."
    ),
}


def _cut_colours(facts: Facts) -> Iterable[Reading]:
    count, limit = len(media_cut(facts.chain)), facts.policy.cut_colours_advised
    if not count:
        return
    severity = Severity.PASSES if count <= limit else Severity.WARNS
    template = _CUT_COLOURS_REASONS["few" if severity is Severity.PASSES else "many"]
    reason = template.format(count=count, limit=limit, s="" if count == 1 else "s")
    yield Reading(severity, reason, count, limit, "films cut")


CUT_COLOURS = Rule(
    id="cut-colour-count",
    title="Few cut films a print",
    explanation=(
        "Each colour of cut film is cut, weeded and laid by itself: cost grows with every one, and "
        "by hand each lies up to about a millimetre off. Above the number in the shop's policy a "
        "printed method is the better choice."
    ),
    source="common practice, no source (a trade article: each colour adds work)",
    reads=frozenset({Choice.METHOD}),
    evaluate=_cut_colours,
    reasons=_CUT_COLOURS_REASONS,
    may_block=False,
    policy=("cut_colours_advised",),
    ways_out="Choose a printed method.",
)


def _detail_reasons(what: str) -> dict[str, str]:
    """What a rule on the finest ``what`` of a picture may say."""
    at_width = f"Printed {{width}} mm wide, the picture's {what} is {{measured:.4g}} mm"
    unknown = f"The picture's {what} was not measured"
    return {
        "cut": at_width + ", enough for the {medium} to be cut and weeded ({limit:.3g} mm).",
        "cut-too-fine": at_width + (
            ", and the {medium} needs {limit:.3g} mm to be cut, weeded and held. Print it at "
            "least {least} mm wide, or choose a finer film or a method without cutting."
        ),
        "cut-unknown": unknown + (
            ", and the {medium} needs {limit:.3g} mm to be cut and held. Upload the picture again "
            "and it will be."
        ),
        "printed": at_width + ", enough to print ({limit:.3g} mm).",
        "printed-too-fine": at_width + (
            ", and below {limit:.3g} mm it may break up or fill in. It prints clearly from "
            "{least} mm wide."
        ),
        "printed-unknown": unknown + (
            ", and below {limit:.3g} mm it may break up or fill in. Upload the picture again and "
            "it will be."
        ),
    }  # fmt: skip


def _detail_limit(facts: Facts, printed_mm: float) -> tuple[float, str] | None:
    """Least detail in mm, of the coarsest film cut, else of print; and the medium's name."""
    cut = media_cut(facts.chain)
    media = cut or media_printed(facts.chain)
    if not media:
        return None
    coarsest = max(media, key=lambda medium: medium.smallest_feature_mm)
    limit_mm = coarsest.smallest_feature_mm
    return (limit_mm if cut else max(limit_mm, printed_mm)), coarsest.name


def _detail(
    facts: Facts, share: float | None, printed_mm: float, reasons: dict[str, str], unit: str
) -> Iterable[Reading]:
    """Weigh the finest detail, a ``share`` of the print's width, None if it was not measured."""
    found = _detail_limit(facts, printed_mm)
    if found is None:
        return
    (limit, medium), width = found, facts.decoration.width_mm
    way = "cut" if media_cut(facts.chain) else "printed"
    short = Severity.BLOCKS if way == "cut" else Severity.WARNS
    if share is None:
        reason = reasons[f"{way}-unknown"].format(medium=medium, limit=limit)
        yield Reading(short, reason, "not measured", limit, unit)
        return
    least, measured = limit / share, share * width
    fine = width < least - SLACK_MM
    reason = reasons[f"{way}-too-fine" if fine else way].format(
        width=in_mm(width), measured=measured, medium=medium, limit=limit, least=in_mm(least)
    )
    yield Reading(short if fine else Severity.PASSES, reason, measured, limit, unit)


def _detail_widths(facts: Facts, share: float | None, printed_mm: float) -> WidthLimits:
    return _fine_widths(facts, share, printed_mm) if media_cut(facts.chain) else ANY_WIDTH


def _fine_widths(facts: Facts, share: float | None, printed_mm: float) -> WidthLimits:
    """Widths at which the finest detail is neither refused nor warned of."""
    found = _detail_limit(facts, printed_mm)
    if found is None:
        return ANY_WIDTH
    return (found[0] / share, math.inf) if share is not None else NO_WIDTH


_FEATURE_REASONS = _detail_reasons("finest part")


def _feature_share(facts: Facts) -> float | None:
    shapes = facts.decoration.artwork.shapes
    return shapes.smallest_feature if shapes else None


def _smallest_feature(facts: Facts) -> Iterable[Reading]:
    printed_mm, unit = facts.policy.printed_line_mm, "mm of the finest part"
    return _detail(facts, _feature_share(facts), printed_mm, _FEATURE_REASONS, unit)


SMALLEST_FEATURE = Rule(
    id="smallest-feature",
    title="Every part is wide enough to make",
    explanation=(
        "A blade tears parts that are too narrow, and what is left does not hold on the cloth: "
        "about 1 mm for smooth film, 2 mm for glitter and flock; the film's data sheet says. Where "
        "several films are cut the coarsest decides. In print, lines under about a point (0.35 mm) "
        "break up, which is warned of."
    ),
    source="common practice, no source (three trade guides on printed lines; films: from memory)",
    reads=frozenset({Choice.METHOD, Choice.ARTWORK, Choice.WIDTH}),
    evaluate=_smallest_feature,
    reasons=_FEATURE_REASONS,
    policy=("printed_line_mm",),
    widths=lambda facts: _detail_widths(facts, _feature_share(facts), facts.policy.printed_line_mm),
    quiet=lambda facts: _fine_widths(facts, _feature_share(facts), facts.policy.printed_line_mm),
    ways_out="Print it wider, choose a finer film or a method without cutting.",
)


_GAP_REASONS = {**_detail_reasons("narrowest gap"), "none": "The picture has no gaps."}


def _gap_share(facts: Facts) -> float | None:
    shapes = facts.decoration.artwork.shapes
    return shapes.smallest_gap if shapes else None


def _smallest_gap(facts: Facts) -> Iterable[Reading]:
    share, unit = _gap_share(facts), "mm of the narrowest gap"
    if share is not None and share >= 1:
        yield Reading(Severity.PASSES, _GAP_REASONS["none"], "no gap", "any", unit)
        return
    printed_mm = facts.policy.printed_line_mm * REVERSED_LINES
    yield from _detail(facts, share, printed_mm, _GAP_REASONS, unit)


def _gap_widths(facts: Facts) -> WidthLimits:
    share = _gap_share(facts)
    if share is not None and share >= 1:
        return ANY_WIDTH
    return _detail_widths(facts, share, facts.policy.printed_line_mm * REVERSED_LINES)


def _gap_quiet(facts: Facts) -> WidthLimits:
    share = _gap_share(facts)
    if share is not None and share >= 1:
        return ANY_WIDTH
    return _fine_widths(facts, share, facts.policy.printed_line_mm * REVERSED_LINES)


SMALLEST_GAP = Rule(
    id="smallest-gap",
    title="Every gap is wide enough to weed",
    explanation=(
        "What lies between and inside the parts of a cut picture is picked out by hand; where a "
        "gap is narrower than the film's finest part, the blade lifts its edges and it closes. In "
        "print a clear line needs twice the width of a printed one, or ink fills it."
    ),
    source="common practice, no source (three trade guides on printed lines; films: from memory)",
    reads=frozenset({Choice.METHOD, Choice.ARTWORK, Choice.WIDTH}),
    evaluate=_smallest_gap,
    reasons=_GAP_REASONS,
    policy=("printed_line_mm",),
    widths=_gap_widths,
    quiet=_gap_quiet,
    ways_out="Print it wider, choose a finer film or a method without cutting.",
)


_LOOSE_REASONS = {
    "held": "The {film}'s carrier holds every piece in its place.",
    "one": "The {film} has no carrier, and the picture is one piece.",
    "some": (
        "The {film} has no carrier: the picture's {pieces} pieces are laid one by one by hand, so "
        "their spacing may be about a millimetre off. Joined on one background they would not."
    ),
    "many": (
        "The {film} has no carrier to hold the picture's {pieces} separate pieces in place, and "
        "laid by hand are at most {limit}. Join them on one background, or choose film with a "
        "carrier."
    ),
    "unknown": (
        "The {film} has no carrier, and how many pieces the picture falls into was not measured. "
        "Upload the picture again and it will be."
    ),
}


def _uncarried(chain: Chain) -> Medium | None:
    return next((film for film in media_cut(chain) if not film.carrier), None)


def _loose_pieces(facts: Facts) -> Iterable[Reading]:
    cut, loose = media_cut(facts.chain), _uncarried(facts.chain)
    shapes, unit = facts.decoration.artwork.shapes, "separate pieces"
    most = facts.policy.loose_pieces_max
    if loose is None:
        for film in cut[:1]:
            reason = _LOOSE_REASONS["held"].format(film=film.name)
            yield Reading(Severity.PASSES, reason, "held by a carrier", "any number", unit)
        return
    if shapes is None:
        reason = _LOOSE_REASONS["unknown"].format(film=loose.name)
        yield Reading(Severity.BLOCKS, reason, "not measured", most, unit)
        return
    severity, name = Severity.BLOCKS, "many"
    if shapes.pieces == 1:
        severity, name = Severity.PASSES, "one"
    elif shapes.pieces <= most:
        severity, name = Severity.WARNS, "some"
    reason = _LOOSE_REASONS[name].format(film=loose.name, pieces=shapes.pieces, limit=most)
    yield Reading(severity, reason, shapes.pieces, most, unit)


LOOSE_PIECES = Rule(
    id="loose-pieces",
    title="Separate pieces stay where they belong",
    explanation=(
        "Most films lie on a carrier that holds every cut piece in its place until it is pressed. "
        "A sheet without one falls apart into its pieces: a few, such as the letters of a short "
        "word, can be laid by hand to about a millimetre; many small ones cannot."
    ),
    source="common practice, no source (no isolated bits on sheets without carrier: from memory)",
    reads=_READS,
    evaluate=_loose_pieces,
    reasons=_LOOSE_REASONS,
    policy=("loose_pieces_max",),
    reads_on=lambda chain: _READS if _uncarried(chain) else frozenset({Choice.METHOD}),
    ways_out="Join the pieces on one background, or choose a film with a carrier.",
)
