"""Rules on size: the placement, the chest, the platen, the roll or sheet, and the least size."""

from __future__ import annotations

import math
from collections.abc import Iterable

from service.domain.blanks import Obstacle, PlacementArea, Style
from service.domain.machines import Press
from service.domain.rules.contract import Facts, Reading, Rule, Severity, WidthLimits
from service.domain.rules.stock import stocked_blank
from service.domain.wishes import Choice
from service.domain.work import misfits, widest_on_media

SLACK_MM = 0.05
"""Less than a hand can place: how far outside a rule's ``widths`` a print may lie.

It keeps a print that is exactly as wide as allowed from failing.
"""

ANY_WIDTH: WidthLimits = (0.0, math.inf)
"""No width is blocked."""

NO_WIDTH: WidthLimits = (math.inf, 0.0)
"""Every width is blocked."""


def in_mm(length_mm: float) -> str:
    """The length in words, to a tenth of a millimetre; below that to two digits, never as 0."""
    if 0 < length_mm < 0.1:
        return f"{length_mm:.2g}"
    return f"{length_mm:.1f}".removesuffix(".0")


def _aspect(facts: Facts) -> float:
    """Height of the print as a share of its width."""
    return facts.decoration.artwork.height_mm_at(1.0)


_AREA_REASONS = {
    "fits": "The print fits the {placement} of size {size}.",
    "wide": (
        "The print is {width} mm wide, and size {size} has {limit} mm at the {placement}; "
        "print it narrower."
    ),
    "high": (
        "The print is {height} mm high, and size {size} has {limit} mm at the {placement}; "
        "print it smaller."
    ),
}


def _area_widths(area: PlacementArea, aspect: float) -> tuple[float, float]:
    """Up to which print width the print is narrow enough, and up to which low enough."""
    return area.width_mm, area.height_mm / aspect


def _placement_area(facts: Facts) -> Iterable[Reading]:
    decoration, aspect = facts.decoration, _aspect(facts)
    placement = facts.garment.placements[decoration.placement_id]
    width, height, name = decoration.width_mm, decoration.height_mm, placement.name
    for size in facts.line.pieces_by_size:
        area = placement.areas[size]
        narrow_to, low_to = _area_widths(area, aspect)
        wide, high = width > narrow_to + SLACK_MM, width > low_to + SLACK_MM
        if wide:
            limit = area.width_mm
            reason = _AREA_REASONS["wide"].format(
                width=in_mm(width), size=size, limit=in_mm(limit), placement=name
            )
            yield Reading(Severity.BLOCKS, reason, width, limit, "mm wide", size=size)
        if high:
            limit = area.height_mm
            reason = _AREA_REASONS["high"].format(
                height=in_mm(height), size=size, limit=in_mm(limit), placement=name
            )
            yield Reading(Severity.BLOCKS, reason, height, limit, "mm high", size=size)
        if not (wide or high):
            reason = _AREA_REASONS["fits"].format(placement=name, size=size)
            yield Reading(Severity.PASSES, reason, width, area.width_mm, "mm wide", size=size)


def _placement_area_widths(facts: Facts) -> WidthLimits:
    areas, aspect = facts.garment.placements[facts.decoration.placement_id].areas, _aspect(facts)
    limits = [min(_area_widths(areas[size], aspect)) for size in facts.line.pieces_by_size]
    return 0.0, min(limits, default=math.inf)


PLACEMENT_AREA = Rule(
    id="placement-area",
    title="The print fits its placement in every size",
    explanation=(
        "Each placement of a blank has an area by size. The same print goes on every size of a "
        "line, so the smallest size ordered decides."
    ),
    source="common practice, no source (measures of the shop's own blanks)",
    reads=frozenset({Choice.BLANK, Choice.PLACEMENT, Choice.SIZES, Choice.WIDTH, Choice.ARTWORK}),
    evaluate=_placement_area,
    reasons=_AREA_REASONS,
    widths=_placement_area_widths,
    quiet=_placement_area_widths,
    ways_out="Print it smaller, choose a larger placement, or order the small sizes apart.",
)


_CHEST_REASONS = {
    "fits": (
        "The print is {width} mm wide; size {size} carries up to {limit} mm, {percent:.3g} "
        "% of its half chest."
    ),
    "wide": (
        "The print is {width} mm wide, and on size {size} it would reach round the sides: at "
        "most {limit} mm, {percent:.3g} % of its half chest of {chest} mm. Print it "
        "narrower."
    ),
    "no-chest": "A bag has no chest, so only the area of its placement counts.",
}


def _chest_limits(facts: Facts) -> dict[str, float] | None:
    """Widest print in mm by size ordered; None for what has no chest."""
    blank = stocked_blank(facts)
    if blank is not None and blank.style is Style.TOTE:
        return None
    share, chests = facts.policy.print_share_of_half_chest, facts.garment.half_chest_mm
    return {size: share * chests[size] for size in facts.line.pieces_by_size}


def _chest_share(facts: Facts) -> Iterable[Reading]:
    limits, width, unit = _chest_limits(facts), facts.decoration.width_mm, "mm wide"
    if limits is None:
        yield Reading(Severity.PASSES, _CHEST_REASONS["no-chest"], width, "no chest", unit)
        return
    percent = 100 * facts.policy.print_share_of_half_chest
    for size, limit in limits.items():
        fits = width <= limit + SLACK_MM
        reason = _CHEST_REASONS["fits" if fits else "wide"].format(
            width=in_mm(width),
            size=size,
            limit=in_mm(limit),
            percent=percent,
            chest=in_mm(facts.garment.half_chest_mm[size]),
        )
        severity = Severity.PASSES if fits else Severity.BLOCKS
        yield Reading(severity, reason, width, limit, unit, size=size)


def _chest_widths(facts: Facts) -> WidthLimits:
    limits = _chest_limits(facts)
    return 0.0, min((limits or {}).values(), default=math.inf)


CHEST_SHARE = Rule(
    id="chest-share",
    title="The print stays clear of the sides",
    explanation=(
        "Half chest is the garment's width laid flat. A print much over half of it wraps round the "
        "body, meets seams and looks crooked when worn. The share allowed is the shop's policy; "
        "the smallest size ordered decides. Bags have no chest and are not measured so."
    ),
    source="common practice, no source (the share is a design choice)",
    reads=frozenset({Choice.BLANK, Choice.SIZES, Choice.WIDTH}),
    evaluate=_chest_share,
    reasons=_CHEST_REASONS,
    policy=("print_share_of_half_chest",),
    widths=_chest_widths,
    quiet=_chest_widths,
    ways_out="Print it narrower, or order the small sizes apart.",
)


_NEVER_UNDER_A_PLATEN = frozenset({Obstacle.ZIP, Obstacle.BUTTONS})

_OBSTACLE_REASONS = {
    "flat": "The {placement} lies flat.",
    "hard": (
        "The {placement} crosses {obstacle}: the platen cannot lie flat and what is hot and hard "
        "is pressed into the cloth. Choose another placement."
    ),
    "ridge": (
        "The {placement} crosses a {obstacle}: it is pressed on a pad, and the print may show a "
        "ridge there."
    ),
}


def _obstacles(facts: Facts) -> Iterable[Reading]:
    placement = facts.garment.placements[facts.decoration.placement_id]
    limit, unit = "nothing raised", "what the placement crosses"
    for obstacle in placement.crosses:
        hard = obstacle in _NEVER_UNDER_A_PLATEN
        reason = _OBSTACLE_REASONS["hard" if hard else "ridge"].format(
            placement=placement.name,
            obstacle="a zip" if obstacle is Obstacle.ZIP else obstacle,
        )
        yield Reading(Severity.BLOCKS if hard else Severity.WARNS, reason, obstacle, limit, unit)
    if not placement.crosses:
        reason = _OBSTACLE_REASONS["flat"].format(placement=placement.name)
        yield Reading(Severity.PASSES, reason, "nothing raised", limit, unit)


PLACEMENT_OBSTACLES = Rule(
    id="placement-obstacles",
    title="The placement lies flat on the platen",
    explanation=(
        "Zips and buttons keep the platen off the print and scorch or break. A seam or pocket edge "
        "is pressed on a pad, and film over it shows a ridge."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.BLANK, Choice.PLACEMENT}),
    evaluate=_obstacles,
    reasons=_OBSTACLE_REASONS,
    ways_out="Choose a placement clear of zips and buttons.",
)


_PLATEN_REASONS = {
    "fits": "The print fits the usable platen of {limit} mm.",
    "turned": (
        "The print of {measured} mm fits the usable platen of {limit} mm with the garment turned a "
        "quarter."
    ),
    "large": (
        "The print of {measured} mm is larger than the usable platen of {limit} mm, turned or not, "
        "and is never pressed in two goes. Print it smaller."
    ),
}


def _platen_widths(press: Press, aspect: float) -> tuple[float, float]:
    """Up to which print width the print fits straight, and up to which turned a quarter."""
    width, length = press.usable_mm
    return min(width, length / aspect), min(length, width / aspect)


def _platen(facts: Facts) -> Iterable[Reading]:
    width, height, aspect = facts.decoration.width_mm, facts.decoration.height_mm, _aspect(facts)
    measured = f"{in_mm(width)} x {in_mm(height)}"
    for press in facts.chain.presses:
        straight_to, turned_to = _platen_widths(press, aspect)
        usable_width, usable_length = press.usable_mm
        limit = f"{in_mm(usable_width)} x {in_mm(usable_length)}"
        severity, name = Severity.BLOCKS, "large"
        if width <= straight_to + SLACK_MM:
            severity, name = Severity.PASSES, "fits"
        elif width <= turned_to + SLACK_MM:
            severity, name = Severity.NOTES, "turned"
        reason = _PLATEN_REASONS[name].format(measured=measured, limit=limit)
        yield Reading(severity, reason, measured, limit, "mm x mm")


def _all_platens_widths(facts: Facts) -> WidthLimits:
    aspect = _aspect(facts)
    limits = [max(_platen_widths(press, aspect)) for press in facts.chain.presses]
    return 0.0, min(limits, default=math.inf)


def _straight_widths(facts: Facts) -> WidthLimits:
    aspect = _aspect(facts)
    limits = [_platen_widths(press, aspect)[0] for press in facts.chain.presses]
    return 0.0, min(limits, default=math.inf)


PLATEN = Rule(
    id="platen",
    title="The print fits the platen in one go",
    explanation=(
        "A print is pressed in one stroke: where two strokes meet, dye ghosts and film marks. The "
        "usable platen is the platen less an edge on each side; the garment may be turned a "
        "quarter."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.METHOD, Choice.WIDTH, Choice.ARTWORK}),
    evaluate=_platen,
    reasons=_PLATEN_REASONS,
    widths=_all_platens_widths,
    quiet=_straight_widths,
    ways_out="Print it smaller.",
)


_MEDIUM_REASONS = {
    "fits": "The print fits every roll and sheet it is made on, up to {limit} mm wide.",
    "large": (
        "The print of {width} x {height} mm needs {measured} mm of the {medium}, and "
        "between its margins there are {limit} mm. Print it smaller."
    ),
}


def _medium_size(facts: Facts) -> Iterable[Reading]:
    decoration, method = facts.decoration, facts.chain.method
    width, height = decoration.width_mm, decoration.height_mm
    widest = widest_on_media(facts.catalogue, method, _aspect(facts))
    if math.isinf(widest):
        return
    found = misfits(facts.catalogue, method, width, height) if width > widest else ()
    for misfit in found:
        reason = _MEDIUM_REASONS["large"].format(
            width=in_mm(width),
            height=in_mm(height),
            measured=in_mm(misfit.value_mm),
            medium=facts.catalogue.medium_by_id[misfit.medium].name,
            limit=in_mm(misfit.limit_mm),
        )
        unit = "mm of the medium"
        yield Reading(Severity.BLOCKS, reason, misfit.value_mm, misfit.limit_mm, unit)
    if not found:
        reason = _MEDIUM_REASONS["fits"].format(limit=in_mm(widest))
        yield Reading(Severity.PASSES, reason, width, widest, "mm wide")


def _medium_widths(facts: Facts) -> WidthLimits:
    return 0.0, widest_on_media(facts.catalogue, facts.chain.method, _aspect(facts))


MEDIUM_SIZE = Rule(
    id="medium-size",
    title="The print fits the roll or sheet",
    explanation=(
        "A print is made in one piece, so it fits between the margins of every roll or sheet it "
        "is printed on or cut from, and in the machines. Where nap or sparkle has a direction the "
        "piece may not be turned."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.METHOD, Choice.WIDTH, Choice.ARTWORK}),
    evaluate=_medium_size,
    reasons=_MEDIUM_REASONS,
    widths=_medium_widths,
    quiet=_medium_widths,
    ways_out="Print it smaller, or choose a method with a wider or turnable medium.",
)


_TINY_REASONS = {
    "enough": "The print's larger side of {side} mm is enough to make.",
    "tiny": (
        "The print of {width} x {height} mm is smaller than a hand can place and a press can hold: "
        "its larger side needs {limit} mm at least. Print it {least} mm wide or wider."
    ),
}


def _tiny_widths(facts: Facts) -> WidthLimits:
    return facts.policy.print_least_mm / max(1.0, _aspect(facts)), math.inf


def _tiny_print(facts: Facts) -> Iterable[Reading]:
    width, height = facts.decoration.width_mm, facts.decoration.height_mm
    limit, side, unit = facts.policy.print_least_mm, max(width, height), "mm, the larger side"
    least, _ = _tiny_widths(facts)
    if width < least - SLACK_MM:
        reason = _TINY_REASONS["tiny"].format(
            width=in_mm(width), height=in_mm(height), limit=in_mm(limit), least=in_mm(least)
        )
        yield Reading(Severity.BLOCKS, reason, side, limit, unit)
    else:
        reason = _TINY_REASONS["enough"].format(side=in_mm(side))
        yield Reading(Severity.PASSES, reason, side, limit, unit)


TINY_PRINT = Rule(
    id="tiny-print",
    title="The print is large enough to make",
    explanation=(
        "A print of a few millimetres is a dot: film that small is not weeded, placed or held, and "
        "nothing in it can be seen. The larger side counts; the least is the shop's policy."
    ),
    source="common practice, no source (the least size is a design choice)",
    reads=frozenset({Choice.WIDTH, Choice.ARTWORK}),
    evaluate=_tiny_print,
    reasons=_TINY_REASONS,
    policy=("print_least_mm",),
    widths=_tiny_widths,
    quiet=_tiny_widths,
    ways_out="Print it larger.",
)
