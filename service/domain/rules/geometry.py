"""Rules on size: the placement's area, the press's platen, and the roll or sheet."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.blanks import Obstacle
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice
from service.domain.work import misfits

SLACK_MM = 0.05
"""Less than a hand can place; keeps a print that is exactly as wide as allowed from failing."""


def _placement_area(facts: Facts) -> Iterable[Reading]:
    decoration = facts.decoration
    placement = facts.garment.placements[decoration.placement_id]
    width, height = decoration.width_mm, decoration.height_mm
    for size in facts.line.pieces_by_size:
        area = placement.areas[size]
        if width > area.width_mm + SLACK_MM:
            reason = (
                f"The print is {width:.0f} mm wide, and size {size} has {area.width_mm:.0f} mm at "
                f"the {placement.name}."
            )
            yield Reading(Severity.BLOCKS, reason, width, area.width_mm, "mm wide", size=size)
        if height > area.height_mm + SLACK_MM:
            reason = (
                f"The print is {height:.0f} mm high, and size {size} has {area.height_mm:.0f} mm "
                f"at the {placement.name}."
            )
            yield Reading(Severity.BLOCKS, reason, height, area.height_mm, "mm high", size=size)
        if width <= area.width_mm + SLACK_MM and height <= area.height_mm + SLACK_MM:
            reason = f"The print fits the {placement.name} of size {size}."
            yield Reading(Severity.PASSES, reason, width, area.width_mm, "mm wide", size=size)


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
)


_NEVER_UNDER_A_PLATEN = frozenset({Obstacle.ZIP, Obstacle.BUTTONS})


def _obstacles(facts: Facts) -> Iterable[Reading]:
    placement = facts.garment.placements[facts.decoration.placement_id]
    limit, unit = "nothing raised", "what the placement crosses"
    for obstacle in placement.crosses:
        if obstacle in _NEVER_UNDER_A_PLATEN:
            severity = Severity.BLOCKS
            reason = (
                f"The {placement.name} crosses {obstacle}: the platen cannot lie flat and what is "
                "hot and hard is pressed into the cloth. Choose another placement."
            )
        else:
            severity = Severity.WARNS
            reason = (
                f"The {placement.name} crosses a {obstacle}: it is pressed on a pad, and the print "
                "may show a ridge there."
            )
        yield Reading(severity, reason, obstacle, limit, unit)
    if not placement.crosses:
        reason = f"The {placement.name} lies flat."
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
)


def _platen(facts: Facts) -> Iterable[Reading]:
    width, height = facts.decoration.width_mm, facts.decoration.height_mm
    for press in facts.chain.presses:
        usable_width, usable_length = press.usable_mm
        room = f"{usable_width:.0f} x {usable_length:.0f} mm"
        straight = width <= usable_width and height <= usable_length
        turned = height <= usable_width and width <= usable_length
        unit = "mm x mm"
        measured = f"{width:.0f} x {height:.0f}"
        limit = f"{usable_width:.0f} x {usable_length:.0f}"
        if straight:
            reason = f"The print fits the usable platen of {room}."
            yield Reading(Severity.PASSES, reason, measured, limit, unit)
        elif turned:
            reason = (
                f"The print of {measured} mm fits the usable platen of {room} with the garment "
                "turned a quarter."
            )
            yield Reading(Severity.NOTES, reason, measured, limit, unit)
        else:
            reason = (
                f"The print of {measured} mm is larger than the usable platen of {room}, turned or "
                "not, and is never pressed in two goes."
            )
            yield Reading(Severity.BLOCKS, reason, measured, limit, unit)


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
)


def _medium_size(facts: Facts) -> Iterable[Reading]:
    decoration, method = facts.decoration, facts.chain.method
    width, height = decoration.width_mm, decoration.height_mm
    unit = "mm across the medium"
    found = misfits(facts.catalogue, method, width, height)
    for misfit in found:
        name = facts.catalogue.medium_by_id[misfit.medium].name
        reason = (
            f"The print of {width:.0f} x {height:.0f} mm needs {misfit.value_mm:.0f} mm of the "
            f"{name}, and between its margins there are {misfit.limit_mm:.0f} mm."
        )
        yield Reading(Severity.BLOCKS, reason, misfit.value_mm, misfit.limit_mm, unit)
    if not found:
        reason = "The print fits every roll and sheet it is made on."
        used = {operation.medium for operation in method.operations if operation.medium}
        widths = [facts.catalogue.medium_by_id[id_].width_mm for id_ in used]
        narrowest = min(widths, default=0.0)
        yield Reading(Severity.PASSES, reason, width, narrowest, unit)


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
)
