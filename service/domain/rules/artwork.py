"""Rules on the picture: its colours, sharpness, edges, background and the right to it."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.chain import Chain
from service.domain.colour import chroma, lab_from_srgb_hex
from service.domain.measuring import NEAR_WHITE_LIGHTNESS
from service.domain.media import Medium
from service.domain.rules.contract import Facts, Reading, Rule, Severity, WidthLimits
from service.domain.rules.geometry import ANY_WIDTH, SLACK_MM, in_mm
from service.domain.rules.outlines import media_cut, media_printed
from service.domain.wishes import Choice

_READS = frozenset({Choice.METHOD, Choice.ARTWORK})


def _only_cut(chain: Chain) -> bool:
    return bool(media_cut(chain)) and not media_printed(chain)


_VISIBLE_REASONS = {
    "shows": "The picture shows: {percent:.3g} % of its area is more than a trace of colour.",
    "empty": (
        "The picture is almost wholly see-through: {percent:.3g} % of its area shows, and under "
        "{limit:.3g} % nothing would be seen on the garment. Upload it in solid colours, without "
        "stray dots far from it."
    ),
}


def _visible(facts: Facts) -> Iterable[Reading]:
    artwork, limit = facts.decoration.artwork, facts.policy.visible_share
    share, unit = artwork.opaque_share + artwork.soft_alpha_share, "% of the picture that shows"
    severity, name = (Severity.BLOCKS, "empty") if share < limit else (Severity.PASSES, "shows")
    reason = _VISIBLE_REASONS[name].format(percent=100 * share, limit=100 * limit)
    yield Reading(severity, reason, 100 * share, 100 * limit, unit)


ARTWORK_VISIBLE = Rule(
    id="artwork-visible",
    title="There is something to see in the picture",
    explanation=(
        "A picture may be saved so faint, or with so little in it, that nothing would show once it "
        "is made. Pixels that are all but clear do not count; the share that must show is the "
        "shop's policy."
    ),
    source="common practice, no source (the share is a design choice)",
    reads=frozenset({Choice.ARTWORK}),
    evaluate=_visible,
    reasons=_VISIBLE_REASONS,
    policy=("visible_share",),
    ways_out="Upload the picture in solid colours, cropped to what is to be made.",
)


_COLOURS_SHOWN_REASONS = {
    "printed": "The artwork is printed, so it may have any number of colours.",
    "shown": "The film shows the artwork's {count} colour{s}.",
    "too-many": (
        "Cut film shows one colour a film, {shown} here, and the artwork has {count}; a printed "
        "method shows them all."
    ),
}


def _colours_shown(facts: Facts) -> Iterable[Reading]:
    unit, reasons = "colours", _COLOURS_SHOWN_REASONS
    least_share = facts.policy.colour_counts_from_share
    palette = facts.decoration.artwork.palette
    count = max(1, sum(colour.share >= least_share for colour in palette))
    if media_printed(facts.chain):
        yield Reading(Severity.PASSES, reasons["printed"], count, "any number", unit)
        return
    shown = max(1, len(media_cut(facts.chain)))
    if count <= shown:
        reason = reasons["shown"].format(count=count, s="" if count == 1 else "s")
        yield Reading(Severity.PASSES, reason, count, shown, unit)
    else:
        reason = reasons["too-many"].format(shown=shown, count=count)
        yield Reading(Severity.BLOCKS, reason, count, shown, unit)


COLOURS_SHOWN = Rule(
    id="colours-shown",
    title="The method shows all the artwork's colours",
    explanation=(
        "A film that is only cut has one colour throughout. An artwork of several colours is "
        "printed, on film or with dye, or made of as many films. Colours that cover less than the "
        "share in the shop's policy do not count."
    ),
    source="common practice, no source",
    reads=_READS,
    evaluate=_colours_shown,
    reasons=_COLOURS_SHOWN_REASONS,
    policy=("colour_counts_from_share",),
    ways_out="Choose a printed method, or upload the picture in fewer colours.",
)


_PHOTO_REASONS = {
    "flat": "The picture's colours lie flat, so a blade can follow them.",
    "photo": (
        "Cut film has one flat colour, and in this picture colours run into each other as in a "
        "photograph; a printed method or a dye print shows them."
    ),
    "unknown": (
        "Whether this picture's colours run into each other was not measured, and cut film has "
        "flat colours only. Upload the picture again and it will be."
    ),
}


def _photo_on_cut(facts: Facts) -> Iterable[Reading]:
    if not _only_cut(facts.chain):
        return
    severity, name, measured = {
        True: (Severity.BLOCKS, "photo", "colours that run"),
        False: (Severity.PASSES, "flat", "flat colours"),
        None: (Severity.WARNS, "unknown", "not measured"),
    }[facts.decoration.artwork.photo_like]
    yield Reading(severity, _PHOTO_REASONS[name], measured, "flat colours", "picture")


PHOTO_ON_CUT = Rule(
    id="photograph-on-cut-film",
    title="No photograph on cut film",
    explanation=(
        "A blade follows the edges of flat areas. Where colours run into each other, as in "
        "photographs and gradients, there is no edge to follow and one film has one colour, so "
        "such a picture is printed."
    ),
    source="common practice, no source (trade guides agree)",
    reads=_READS,
    evaluate=_photo_on_cut,
    reasons=_PHOTO_REASONS,
    reads_on=lambda chain: _READS if _only_cut(chain) else frozenset({Choice.METHOD}),
    ways_out="Choose a printed method, or upload the picture redrawn in flat colours.",
)


_RESOLUTION_REASONS = {
    "full": "Printed {width} mm wide the picture has {ppi} pixels per inch: sharp.",
    "fair": (
        "Printed {width} mm wide the picture has {ppi} pixels per inch, a little under the "
        "{limit:g} of a fully sharp print."
    ),
    "soft": (
        "Printed {width} mm wide the picture has {ppi} pixels per inch, and under "
        "{limit:g} it looks soft close by. Up to {widest} mm wide it does not; or upload it in "
        "more pixels."
    ),
    "coarse": (
        "Printed {width} mm wide the picture has {ppi} pixels per inch, and at least "
        "{limit:g} are needed. Print it at most {widest} mm wide, or upload it in more pixels."
    ),
    "outline": "The outline is cut from {ppi} pixels per inch, which is enough.",
    "outline-coarse": (
        "The outline is cut from {ppi} pixels per inch; under {limit:g} curves may show steps "
        "and are smoothed by hand."
    ),
    "outline-lost": (
        "Cut {width} mm wide the outline has {ppi} pixels per inch, and under {limit:g} a blade "
        "cuts steps and not the shape. Cut it at most {widest} mm wide, or upload it in more "
        "pixels."
    ),
}


def _in_words(ppi: float) -> str:
    """Pixels per inch to five digits, and whole however many they are."""
    return f"{ppi:.0f}" if ppi >= 1_000 else f"{ppi:.5g}"


def _resolution_band(facts: Facts) -> tuple[Severity, str, float]:
    """Severity, name of the reason, and the pixels per inch that decide."""
    policy, least = facts.policy, facts.policy.resolution_least_ppi
    if media_printed(facts.chain):
        enough, enough_ppi = "full", policy.resolution_full_ppi
        bands: tuple[tuple[float, Severity, str], ...] = (
            (least, Severity.BLOCKS, "coarse"),
            (policy.resolution_fair_ppi, Severity.WARNS, "soft"),
            (enough_ppi, Severity.NOTES, "fair"),
        )
    else:
        enough, enough_ppi = "outline", least
        bands = (
            (policy.resolution_cut_least_ppi, Severity.BLOCKS, "outline-lost"),
            (least, Severity.NOTES, "outline-coarse"),
        )
    art = facts.decoration.artwork
    for limit, severity, name in bands:
        if facts.decoration.width_mm > art.widest_mm_at(limit) + SLACK_MM:
            return severity, name, limit
    return Severity.PASSES, enough, enough_ppi


def _resolution(facts: Facts) -> Iterable[Reading]:
    if not facts.chain.worked:
        return
    width, art = facts.decoration.width_mm, facts.decoration.artwork
    ppi = art.resolution_ppi_at(width)
    severity, name, limit = _resolution_band(facts)
    widest = in_mm(art.widest_mm_at(limit))
    reason = _RESOLUTION_REASONS[name].format(
        width=in_mm(width), ppi=_in_words(ppi), limit=limit, widest=widest
    )
    yield Reading(severity, reason, ppi, limit, "pixels per inch")


def _resolution_widths(facts: Facts) -> WidthLimits:
    if not facts.chain.worked:
        return ANY_WIDTH
    policy, printed = facts.policy, bool(media_printed(facts.chain))
    least = policy.resolution_least_ppi if printed else policy.resolution_cut_least_ppi
    return 0.0, facts.decoration.artwork.widest_mm_at(least)


def _full_widths(facts: Facts) -> WidthLimits:
    """Widths with pixels enough for all bands to be passed."""
    if not facts.chain.worked:
        return ANY_WIDTH
    policy = facts.policy
    enough = max(policy.resolution_least_ppi, policy.resolution_cut_least_ppi)
    if media_printed(facts.chain):
        enough = policy.resolution_full_ppi
    return 0.0, facts.decoration.artwork.widest_mm_at(enough)


RESOLUTION = Rule(
    id="resolution",
    title="Enough pixels for the size",
    explanation=(
        "Pixels per inch of print width: 300 is the usual ideal, 200 and more look sharp, 150 "
        "still do on cloth, under that a print looks soft, and under 100 pixels are seen. The "
        "bands are the shop's policy. A cut outline forgives more: under 100 it is noted, and "
        "refused only where its pixels are too coarse to follow."
    ),
    source="common practice, no source (five trade guides; the bands are design choices)",
    reads=frozenset({Choice.METHOD, Choice.ARTWORK, Choice.WIDTH}),
    evaluate=_resolution,
    reasons=_RESOLUTION_REASONS,
    policy=(
        "resolution_full_ppi",
        "resolution_fair_ppi",
        "resolution_least_ppi",
        "resolution_cut_least_ppi",
    ),
    widths=_resolution_widths,
    quiet=_full_widths,
    ways_out="Print it smaller, or upload the picture in more pixels.",
)


_SOFT_REASONS = {
    "hard": "The picture's edges are hard, as the {film} needs.",
    "halo": (
        "{percent:.3g} % of the picture is half see-through, and above {limit:.3g} % soft edges, "
        "glows and shadows get a pale rim on the {film}, which is opaque. Hard edges avoid it."
    ),
    "cut-hard": (
        "{percent:.3g} % of the picture is half see-through, and a blade cuts one hard edge: above "
        "{limit:.3g} % glows and shadows are lost or become solid {film}."
    ),
    "cut-lost": (
        "{percent:.3g} % of the picture is half see-through, and above {limit:.3g} % a blade finds "
        "no edge to cut in the {film}. A printed method shows what fades; or upload the picture "
        "with hard edges."
    ),
}


def _hard_edged(chain: Chain) -> Medium | None:
    """What cannot fade out: the first opaque film, or the film that is cut and not printed."""
    opaque = next((worked.medium for worked in chain.worked if worked.medium.opaque), None)
    return media_cut(chain)[0] if opaque is None and _only_cut(chain) else opaque


def _soft_edges(facts: Facts) -> Iterable[Reading]:
    film, policy = _hard_edged(facts.chain), facts.policy
    if film is None:
        return
    share, limit = facts.decoration.artwork.soft_alpha_share, policy.soft_alpha_share
    severity, name = Severity.PASSES, "hard"
    if share > policy.soft_alpha_cut_share and _only_cut(facts.chain):
        severity, name, limit = Severity.BLOCKS, "cut-lost", policy.soft_alpha_cut_share
    elif share > limit:
        severity, name = Severity.WARNS, "cut-hard" if _only_cut(facts.chain) else "halo"
    reason = _SOFT_REASONS[name].format(film=film.name, percent=100 * share, limit=100 * limit)
    yield Reading(severity, reason, 100 * share, 100 * limit, "% of the picture half see-through")


SOFT_EDGES = Rule(
    id="soft-edges",
    title="Hard edges on film",
    explanation=(
        "Film is there or not: it cannot fade out. Where a picture is half see-through, as in "
        "glows, shadows and soft edges, opaque film shows a pale rim or a hard step, and where far "
        "more of it is, a blade has no edge to cut. Smoothed edges of ordinary drawings stay under "
        "both shares in the shop's policy."
    ),
    source="common practice, no source (two trade guides; the shares are design choices)",
    reads=_READS,
    evaluate=_soft_edges,
    reasons=_SOFT_REASONS,
    policy=("soft_alpha_share", "soft_alpha_cut_share"),
    reads_on=lambda chain: _READS if _hard_edged(chain) else frozenset({Choice.METHOD}),
    ways_out="Upload the picture with hard edges, or choose a printed method.",
)


_BACKGROUND_REASONS = {
    "none": "The picture has no background of its own.",
    "unknown": (
        "Whether the picture stands on a background was not measured; if it does, the whole box is "
        "made. Upload the picture again and it will be."
    ),
    "box": (
        "The picture stands on a plain background ({srgb}), which is made too, as a box around it. "
        "Upload it with a clear background if you do not want the box."
    ),
    "vanishes": (
        "The picture's white background takes no dye, so the cloth shows there and no box is seen."
    ),
}


def _background_box(facts: Facts) -> Iterable[Reading]:
    artwork = facts.decoration.artwork
    srgb, limit, unit = artwork.background_srgb, "clear background", "background"
    if srgb is None:
        known = artwork.shapes is not None
        severity, name = (Severity.PASSES, "none") if known else (Severity.WARNS, "unknown")
        measured = limit if known else "not measured"
        yield Reading(severity, _BACKGROUND_REASONS[name], measured, limit, unit)
    elif _dyes_cloth(facts.chain) and _is_white(srgb, facts.policy.white_chroma):
        yield Reading(Severity.NOTES, _BACKGROUND_REASONS["vanishes"], srgb, limit, unit)
    else:
        reason = _BACKGROUND_REASONS["box"].format(srgb=srgb)
        yield Reading(Severity.WARNS, reason, srgb, limit, unit)


def _dyes_cloth(chain: Chain) -> bool:
    """True when all that reaches the garment is dye in its cloth."""
    return bool(chain.dye) and not chain.layers


def _is_white(srgb: str, chroma_max: float) -> bool:
    lab = lab_from_srgb_hex(srgb)
    return lab.lightness > NEAR_WHITE_LIGHTNESS and chroma(lab) <= chroma_max


BACKGROUND_BOX = Rule(
    id="background-box",
    title="No unwanted box around the picture",
    explanation=(
        "A picture saved without a clear background brings its background along: film or ink fills "
        "a box around it. Under dye a white box is left undyed and vanishes into the cloth."
    ),
    source="common practice, no source (trade guides agree); L* is CIELAB, ISO/CIE 11664-4",
    reads=_READS,
    evaluate=_background_box,
    reasons=_BACKGROUND_REASONS,
    may_block=False,
    policy=("white_chroma",),
    ways_out="Upload the picture with a clear background.",
)


_RIGHTS_REASONS = {
    "declared": "You have declared that you may have this picture made.",
    "missing": (
        "Nobody has declared the right to have this picture made; it may be someone's mark or "
        "work. Declare your right to it when you upload it."
    ),
}


def _rights(facts: Facts) -> Iterable[Reading]:
    declared = facts.decoration.rights_declared
    severity = Severity.PASSES if declared else Severity.BLOCKS
    measured = "declared" if declared else "not declared"
    reason = _RIGHTS_REASONS["declared" if declared else "missing"]
    yield Reading(severity, reason, measured, "declared", "right to the picture")


RIGHTS = Rule(
    id="rights-declared",
    title="The right to the picture is declared",
    explanation=(
        "Pictures may be protected as marks or as works. Whoever uploads one declares the right to "
        "have it made; without that it is not made. The shop takes the declaration and judges no "
        "rights."
    ),
    source="common practice, no source",
    reads=frozenset({Choice.ARTWORK}),
    evaluate=_rights,
    reasons=_RIGHTS_REASONS,
    ways_out="Declare the right to the picture when uploading it.",
)
