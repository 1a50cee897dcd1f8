"""Remarks on a picture's pixels, its sharpness, and the box it stands in."""

from __future__ import annotations

from service.domain.artwork import USUAL_EDGE_PX
from service.domain.remarks import (
    NOT_MEASURED,
    NOTHING_TO_DO,
    REMEASURE,
    SMALL_PRINT_MM,
    USUAL_PRINT_MM,
    Level,
    Remark,
    Shown,
)
from service.domain.rules.geometry import SLACK_MM, in_mm
from service.domain.sharpness import ENLARGED_EDGE_PX

NEARLY_EMPTY_SHARE = 0.05
"""Below this share of its box, stray dots far off are likelier than a picture; a design choice."""

MARGIN_SHARE = 0.5
NARROW_TIMES = 6.0
"""Share of the picture that is clear margin, and length over breadth, from which on a print may
come out of another size than thought; design choices, no source."""


def visible_remark(shown: Shown) -> Remark:
    """Whether there is enough in the picture's box to see."""
    share = shown.measures.opaque_share + shown.measures.soft_alpha_share
    limit = NEARLY_EMPTY_SHARE
    level, do, says = Level.GOOD, NOTHING_TO_DO, "There is something to see in it"
    if share < NEARLY_EMPTY_SHARE:
        level, says = Level.LOOK, "Hardly anything shows in the box around all that is not clear"
        do = "Check for stray dots or a faint veil far from the picture, and clear them away."
    if share < shown.policy.visible_share:
        limit = shown.policy.visible_share
        level, says = Level.ACT, "The picture is almost wholly see-through: it will not be made"
        do = "Upload it in solid colours, cropped to what is to be made."
    return Remark(
        id="visible",
        level=level,
        title="Something to see",
        words=f"{says}: {100 * share:.3g} % of it shows.",
        measured=100 * share,
        limit=100 * limit,
        unit="% of the ink box that shows",
        what_to_do=do,
    )


def resolution_remark(shown: Shown) -> Remark:
    """Pixels for the size: the bands of the rule, or how wide a print may be."""
    return _largest(shown) if shown.width_mm is None else _resolution_at(shown, shown.width_mm)


def _widths_in_words(shown: Shown) -> str:
    policy, widest = shown.policy, shown.measures.widest_mm_at
    return (
        f"It prints fully sharp up to {in_mm(widest(policy.resolution_full_ppi))} mm wide, looks "
        f"good up to {in_mm(widest(policy.resolution_fair_ppi))} mm, and is not printed wider than "
        f"{in_mm(widest(policy.resolution_least_ppi))} mm."
    )


_MORE_PIXELS = (
    "Print it smaller, or upload it in more pixels: the first file, not one that was enlarged."
)


def _largest(shown: Shown) -> Remark:
    fair_ppi, widest = shown.policy.resolution_fair_ppi, shown.measures.widest_mm_at
    box, level = shown.measures.ink_box, Level.ACT
    if widest(fair_ppi) >= USUAL_PRINT_MM:
        level = Level.GOOD
    elif widest(shown.policy.resolution_least_ppi) >= SMALL_PRINT_MM:
        level = Level.LOOK
    return Remark(
        id="resolution",
        level=level,
        title="Size and resolution",
        words=f"The picture is {box.width} x {box.height} pixels. {_widths_in_words(shown)}",
        measured=widest(fair_ppi),
        limit=USUAL_PRINT_MM,
        unit=f"mm wide at {fair_ppi:g} pixels per inch",
        what_to_do=NOTHING_TO_DO if level is Level.GOOD else _MORE_PIXELS,
    )


def _resolution_at(shown: Shown, width_mm: float) -> Remark:
    policy, measures = shown.policy, shown.measures
    level, limit, says = Level.GOOD, policy.resolution_full_ppi, "sharp"
    for below, worse, words in (
        (policy.resolution_full_ppi, Level.GOOD, "a little under a fully sharp print"),
        (policy.resolution_fair_ppi, Level.LOOK, "soft from close by"),
        (policy.resolution_cut_least_ppi, Level.LOOK, "too coarse to cut along"),
        (policy.resolution_least_ppi, Level.ACT, "too coarse to print"),
    ):
        if width_mm > measures.widest_mm_at(below) + SLACK_MM:
            level, limit, says = worse, below, words
    ppi = measures.resolution_ppi_at(width_mm)
    return Remark(
        id="resolution",
        level=level,
        title="Size and resolution",
        words=(
            f"Printed {in_mm(width_mm)} mm wide it has {ppi:.5g} pixels per inch: {says}. "
            f"{_widths_in_words(shown)}"
        ),
        measured=ppi,
        limit=limit,
        unit="pixels per inch",
        what_to_do=NOTHING_TO_DO if level is Level.GOOD else _MORE_PIXELS,
    )


def sharpness_remark(shown: Shown) -> Remark:
    """Whether the pixels hold the detail they could, or were only multiplied."""
    edge, level, do = shown.measures.edge_width_px, Level.GOOD, NOTHING_TO_DO
    if edge is None:
        words = "It has too few hard edges to tell how sharp it is, as glows and gradients have."
        if shown.measures.ink is None:
            level, words, do = Level.LOOK, "How sharp it is was not measured.", REMEASURE
    elif edge <= ENLARGED_EDGE_PX:
        words = f"Its steepest edges are {edge:.2g} pixels wide: it is as sharp as its pixels."
    else:
        level = _level_of_enlarged(shown)
        alike = shown.measures.ink_box.width * USUAL_EDGE_PX / edge
        words = (
            f"Its steepest edges are {edge:.2g} pixels wide, in sharp pictures 1 to 2. It looks "
            f"like one of about {alike:.0f} pixels across that was enlarged, or is out of focus, "
            f"and will look that soft in print."
        )
        do = "Upload the first file, before it was enlarged or copied from a screen; or print it "
        do += "smaller."
    return Remark(
        id="sharpness",
        level=level,
        title="Sharpness",
        words=words,
        measured=NOT_MEASURED if edge is None else edge,
        limit=ENLARGED_EDGE_PX,
        unit="pixels, the width of the steepest edges",
        what_to_do=do,
    )


def _level_of_enlarged(shown: Shown) -> Level:
    """To act on, where what it is worth would not be printed so wide."""
    judged_mm = SMALL_PRINT_MM if shown.width_mm is None else shown.width_mm
    worth_ppi = shown.measures.effective_ppi_at(judged_mm) or 0.0
    return Level.ACT if worth_ppi < shown.policy.resolution_least_ppi else Level.LOOK


def margin_remark(shown: Shown) -> Remark:
    """The clear space around the ink, which no print width counts."""
    measures = shown.measures
    box, whole = measures.ink_box, measures.width_px * measures.height_px
    share = 1 - box.width * box.height / whole
    wide = share > MARGIN_SHARE
    words = "There is no clear space around the picture."
    if share > 0:
        words = (
            f"{100 * share:.3g} % of the picture is clear space around what shows. It is cut off: "
            "a print width is always that of what shows."
        )
    return Remark(
        id="clear-edge",
        level=Level.LOOK if wide else Level.GOOD,
        title="Clear space around the picture",
        words=words,
        measured=100 * share,
        limit=100 * MARGIN_SHARE,
        unit="% of the picture outside the ink box",
        what_to_do=(
            "Check the print width: what shows comes out that wide, without the clear space."
            if wide
            else NOTHING_TO_DO
        ),
    )


def proportions_remark(shown: Shown) -> Remark:
    """How long the picture is beside its breadth, and whether a print of it can be made."""
    box, least_mm = shown.measures.ink_box, shown.policy.print_least_mm
    long, short = max(box.width, box.height), min(box.width, box.height)
    width, height = shown.judged_mm, shown.measures.height_mm_at(shown.judged_mm)
    level, do = Level.GOOD, NOTHING_TO_DO
    if long > NARROW_TIMES * short:
        level, do = Level.LOOK, "Check both sides of the print, and that it fits the placement."
    if width < least_mm / max(1.0, height / width) - SLACK_MM:
        level, do = Level.ACT, f"Print its larger side {in_mm(least_mm)} mm or more."
    return Remark(
        id="proportions",
        level=level,
        title="Shape of the print",
        words=f"{shown.at} it is {in_mm(height)} mm high.",
        measured=long / short,
        limit=NARROW_TIMES,
        unit="times as long as broad",
        what_to_do=do,
    )


def background_remark(shown: Shown) -> Remark:
    """Whether the picture brings a plain box along."""
    srgb, limit = shown.measures.background_srgb, "clear background"
    level, words, measured, do = Level.GOOD, "It brings no box along.", limit, NOTHING_TO_DO
    if srgb is not None:
        level, measured = Level.LOOK, srgb
        words = (
            f"It stands on a plain box ({srgb}), which is printed or cut with it; only under dye "
            "on white cloth a white box is not seen."
        )
        do = "If you do not want the box, upload the picture with a clear background, as PNG."
    elif shown.measures.shapes is None:
        level, measured, do = Level.LOOK, NOT_MEASURED, REMEASURE
        words = "Whether it stands on a box was not measured."
    return Remark(
        id="background",
        level=level,
        title="Background",
        words=words,
        measured=measured,
        limit=limit,
        unit="background",
        what_to_do=do,
    )
