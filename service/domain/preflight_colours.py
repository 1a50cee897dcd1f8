"""Remarks on a picture's colours: how many, how they run, and which cannot be printed."""

from __future__ import annotations

import numpy as np

from service.domain.colour import (
    bt2020_from_srgb,
    delta_e_2000,
    lab_from_srgb_hex,
    srgb_from_hex,
)
from service.domain.gamut import printed_on_film
from service.domain.remarks import (
    NOT_MEASURED,
    NOTHING_TO_DO,
    REMEASURE,
    Level,
    Remark,
    Shown,
)

_RUNNING = (
    "Its colours run into each other, as in a photograph. That rules out film that is only cut, "
    "smooth, glitter or flock, which has one colour and a hard edge."
)


def colours_remark(shown: Shown) -> Remark:
    """How many films the picture would need if it were cut."""
    policy = shown.policy
    shares = [colour.share for colour in shown.measures.palette]
    count = max(1, sum(share >= policy.colour_counts_from_share for share in shares))
    level, limit, do = Level.LOOK, 1, "Choose a printed method, or upload it in one colour."
    words = f"It has {count} colours, and cut film has one: it is printed"
    if count == 1:
        level, words, do = Level.GOOD, "It has one colour, as cut film has.", NOTHING_TO_DO
    elif count <= policy.cut_colours_advised:
        words += ", or made of as many films, laid one by one."
    else:
        limit = policy.cut_colours_advised
        words += f"; we advise no more than {limit} films."
    return Remark(
        id="colours",
        level=level,
        title="Number of colours",
        words=words,
        measured=count,
        limit=limit,
        unit="colours",
        what_to_do=do,
    )


def photograph_remark(shown: Shown) -> Remark:
    """Whether colours run into each other, which no blade can follow."""
    level, words, measured, do = {
        False: (Level.GOOD, "Its colours lie flat.", "flat colours", NOTHING_TO_DO),
        True: (
            Level.LOOK,
            _RUNNING,
            "colours that run",
            "Choose a printed method or a dye print, or upload it redrawn in flat colours.",
        ),
        None: (Level.LOOK, "Whether its colours run was not measured.", NOT_MEASURED, REMEASURE),
    }[shown.measures.photo_like]
    return Remark(
        id="photograph",
        level=level,
        title="Photograph or flat colours",
        words=words,
        measured=measured,
        limit="flat colours",
        unit="picture",
        what_to_do=do,
    )


def near_white_remark(shown: Shown) -> Remark:
    """How much of the picture is white, which dye cannot print."""
    share, limit = shown.measures.near_white_share, shown.policy.near_white_share
    white = share > limit
    return Remark(
        id="near-white",
        level=Level.LOOK if white else Level.GOOD,
        title="White parts",
        words=(
            f"{100 * share:.3g} % of it is white. Dye has no white: there the cloth shows. On "
            "opaque film it is white."
            if white
            else "It has no white parts to speak of."
        ),
        measured=100 * share,
        limit=100 * limit,
        unit="% of the ink that is white",
        what_to_do=(
            "Take white cloth or a film for it, or clear the white away if it is background."
            if white
            else NOTHING_TO_DO
        ),
    )


def gamut_remark(shown: Shown) -> Remark:
    """Whether a colour that counts lies far outside what ink can print on film."""
    least, limit = shown.policy.colour_counts_from_share, shown.policy.colour_near_delta_e
    palette = shown.measures.palette
    counted = [colour.srgb for colour in palette if colour.share >= least] or [palette[0].srgb]
    wanted = np.array([lab_from_srgb_hex(srgb) for srgb in counted])
    light = bt2020_from_srgb(np.array([srgb_from_hex(srgb) for srgb in counted], np.uint8))
    apart = delta_e_2000(printed_on_film(light, shown.solids), wanted)
    worst = int(np.argmax(apart))
    far = float(apart[worst]) > limit
    return Remark(
        id="printable-colours",
        level=Level.LOOK if far else Level.GOOD,
        title="Colours in print",
        words=(
            f"The colour {counted[worst]} is stronger than ink on film can print: it comes out "
            "duller than on the screen."
            if far
            else "Ink on white film comes near all its colours."
        ),
        measured=float(apart[worst]),
        limit=limit,
        unit="CIEDE2000, the colour farthest off",
        what_to_do=(
            "Look at the proof, and choose a less strong colour if that matters."
            if far
            else NOTHING_TO_DO
        ),
    )
