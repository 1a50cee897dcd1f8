"""Checks of blanks: prices, placements, fibre labels, and the numbers that identify them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from service.catalogue.faults import DocumentPath, PathFaults
from service.catalogue.medium_checks import named_twice
from service.domain.blanks import Blank, BlankSize, Placement, PlacementArea
from service.domain.care import IRON_DOT_C
from service.domain.fibre_labels import label_faults
from service.domain.fibres import EU_LABEL_NAMES, FIBRE_FACTS, US_LABEL_NAMES, Fibre
from service.domain.shop import Catalogue, LabelRegime, Policy, SuppliedPlacement

GTIN_LENGTHS = (8, 12, 13, 14)
"""Lengths of a GTIN in digits (GS1 General Specifications; from memory)."""


def blank_faults(catalogue: Catalogue) -> PathFaults:
    """Faults of every blank, and identifying numbers that two of them share."""
    for index, blank in enumerate(catalogue.blanks):
        path = ("blanks", index)
        yield from _size_faults(blank, path)
        for place, placement in enumerate(blank.placements):
            yield from _placement_faults(blank, placement, (*path, "placements", place))
        yield from _content_faults(blank, catalogue.policy.label_regime, path)
        yield from _stock_faults(blank, path)
        yield from _iron_faults(blank, catalogue.policy, path)
        yield from _overlap_faults(
            blank.placements, f"of blank '{blank.id}'", (*path, "placements")
        )
    supplied = catalogue.policy.supplied_placements
    yield from _overlap_faults(supplied, "for supplied garments", ("policy", "supplied_placements"))
    yield from _gtin_faults(catalogue)


def gtin_check_digit(body: str) -> str:
    """The check digit that follows ``body``, all other digits of a GTIN.

    Modulo 10 of GS1 General Specifications: weights 3 and 1 in turn, 3 on the rightmost.
    """
    total = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(reversed(body)))
    return str(-total % 10)


def _size_faults(blank: Blank, path: DocumentPath) -> PathFaults:
    for index, size in enumerate(blank.sizes):
        if size.cost == 0:
            what = f"the price of blank '{blank.id}' in size '{size.size}' is missing"
            yield (*path, "sizes", index, "cost"), what


def _placement_faults(blank: Blank, placement: Placement, path: DocumentPath) -> PathFaults:
    where = f"placement '{placement.id}' of blank '{blank.id}'"
    for size in blank.sizes:
        area = placement.areas.get(size.size)
        if area is None:
            yield (*path, "areas"), f"{where} has no area for size '{size.size}'"
        else:
            yield from _area_faults(where, size, area, (*path, "areas", size.size))
    for field, message in named_twice(where, "crosses", placement.crosses):
        yield (*path, field), message
    for name in placement.areas:
        if blank.size(name) is None:
            yield (*path, "areas", name), f"{where} has an area for '{name}', which is no size"


def _overlap_faults(
    placements: Sequence[Placement | SuppliedPlacement], whose: str, path: DocumentPath
) -> PathFaults:
    """An overlap with no placement of the same garment, with itself, or named twice."""
    known = {placement.id for placement in placements}
    for index, placement in enumerate(placements):
        where = f"placement '{placement.id}' {whose}"
        for place, name in enumerate(placement.overlaps):
            if name == placement.id:
                yield (*path, index, "overlaps", place), f"{where} overlaps itself"
            elif name not in known:
                message = f"{where} overlaps '{name}', which is no placement {whose}"
                yield (*path, index, "overlaps", place), message
        for field, message in named_twice(where, "overlaps", placement.overlaps):
            yield (*path, index, field), message


def _stock_faults(blank: Blank, path: DocumentPath) -> PathFaults:
    for index, colour in enumerate(blank.colours):
        where = (*path, "colours", index, "unobtainable_sizes")
        label = f"colour '{colour.id}' of blank '{blank.id}'"
        for place, name in enumerate(colour.unobtainable_sizes):
            if blank.size(name) is None:
                yield (*where, place), f"{label} lacks size '{name}', which is no size of the blank"
        for _, message in named_twice(label, "", colour.unobtainable_sizes):
            yield where, message


def _iron_faults(blank: Blank, policy: Policy, path: DocumentPath) -> PathFaults:
    """A care label that has the garment ironed hotter than one of its fibres melts."""
    iron_c = IRON_DOT_C.get(blank.care.iron_dots, 0)
    for share in blank.fibre_content.shares:
        melts_c = FIBRE_FACTS[share.fibre].melts_c
        counts = share.percent >= policy.ceiling_min_percent
        if counts and melts_c is not None and iron_c >= melts_c:
            what = (
                f"{blank.care.iron_dots} iron dots mean up to {iron_c} C, and the {share.fibre} "
                f"of blank '{blank.id}' melts from {melts_c:g} C"
            )
            yield (*path, "care", "iron_dots"), what


def _area_faults(
    where: str, size: BlankSize, area: PlacementArea, path: DocumentPath
) -> PathFaults:
    for name, measure, limit, whose in (
        ("width_mm", area.width_mm, size.half_chest_mm, "half chest"),
        ("height_mm", area.height_mm, size.body_length_mm, "body length"),
    ):
        if measure > limit:
            message = (
                f"{where} is {measure:g} mm in size '{size.size}', more than its {whose} of "
                f"{limit:g} mm"
            )
            yield (*path, name), message


def _content_faults(blank: Blank, regime: LabelRegime, path: DocumentPath) -> PathFaults:
    words = US_LABEL_NAMES if regime is LabelRegime.US else EU_LABEL_NAMES
    label = [(words[share.fibre][0], share.percent) for share in blank.fibre_content.shares]
    # Elastane gives stretch at any share, a definite functional significance (16 CFR 303.3).
    for fault in label_faults(label, regime, functional=words[Fibre.ELASTANE]):
        where = () if fault.index is None else (fault.index,)
        says = f"the label of blank '{blank.id}' is not right by {fault.article}: {fault.message}"
        yield (*path, "fibre_content", "shares", *where), f"{says}. {fault.way_out}".rstrip(". ")
    if blank.face_fibre_content is not None:
        whole = {share.fibre for share in blank.fibre_content.shares}
        for index, share in enumerate(blank.face_fibre_content.shares):
            if share.fibre not in whole:
                what = (
                    f"the face of blank '{blank.id}' holds {share.fibre}, which its "
                    "fibre_content does not name"
                )
                yield (*path, "face_fibre_content", "shares", index, "fibre"), what


def _gtin_faults(catalogue: Catalogue) -> PathFaults:
    seen: dict[str, str] = {}
    for blank, path, size, gtin in _gtins(catalogue):
        if blank.size(size) is None:
            yield path, f"blank '{blank.id}' has no size '{size}'"
        yield from ((path, message) for message in _gtin_messages(gtin))
        whole = gtin.zfill(14)  # leading zeros only fill up a shorter number
        if whole in seen:
            yield path, f"'{gtin}' already stands for a size and colour of blank '{seen[whole]}'"
        seen[whole] = blank.id


def _gtin_messages(gtin: str) -> Iterator[str]:
    if len(gtin) not in GTIN_LENGTHS or not gtin.isascii():
        yield f"'{gtin}' is no GTIN: one has 8, 12, 13 or 14 digits from 0 to 9"
    elif gtin_check_digit(gtin[:-1]) != gtin[-1]:
        yield f"'{gtin}' is no GTIN: its check digit would be {gtin_check_digit(gtin[:-1])}"


def _gtins(catalogue: Catalogue) -> Iterator[tuple[Blank, DocumentPath, str, str]]:
    for index, blank in enumerate(catalogue.blanks):
        for place, colour in enumerate(blank.colours):
            for size, gtin in colour.gtins.items():
                path = ("blanks", index, "colours", place, "gtins", size)
                yield blank, path, size, gtin
