"""Remarks on a picture's outline: what a blade cuts, a hand weeds, and a print still shows."""

from __future__ import annotations

from service.domain.remarks import (
    NOT_MEASURED,
    NOTHING_TO_DO,
    REMEASURE,
    Level,
    Remark,
    Shown,
)
from service.domain.rules.geometry import SLACK_MM, in_mm
from service.domain.rules.outlines import REVERSED_LINES
from service.domain.weeding import Weeding


def soft_edges_remark(shown: Shown) -> Remark:
    """How much of the picture fades out, which film cannot."""
    share, policy = shown.measures.soft_alpha_share, shown.policy
    level, limit, do = Level.GOOD, policy.soft_alpha_share, NOTHING_TO_DO
    words = f"Its edges are hard: {100 * share:.3g} % of it is half see-through."
    if share > limit:
        level = Level.LOOK
        words = (
            f"{100 * share:.3g} % of it is half see-through: soft edges, a glow or a shadow. "
            "Opaque film gives them a pale rim or a hard step."
        )
        do = "Upload it with hard edges, or choose a printed method on light cloth."
    if share > policy.soft_alpha_cut_share:
        level, limit = Level.ACT, policy.soft_alpha_cut_share
        words += " There is too much of it for a blade to find an edge: it cannot be cut from film."
    return Remark(
        id="soft-edges",
        level=level,
        title="Soft edges and glows",
        words=words,
        measured=100 * share,
        limit=100 * limit,
        unit="% of the picture half see-through",
        what_to_do=do,
    )


def feature_remark(shown: Shown) -> Remark:
    """Whether the finest part can be cut and printed."""
    shapes = shown.measures.shapes
    share = shapes.smallest_feature if shapes else None
    title = "Finest part"
    return _detail(shown, "small-features", title, share, shown.policy.printed_line_mm)


def gap_remark(shown: Shown) -> Remark:
    """Whether the narrowest gap can be weeded and printed."""
    shapes, title = shown.measures.shapes, "Narrowest gap"
    if shapes is not None and shapes.smallest_gap >= 1:
        return Remark(
            id="small-gaps",
            level=Level.GOOD,
            title=title,
            words="It has no gaps.",
            measured="no gap",
            limit="any",
            unit="mm",
        )
    share, printed_mm = None, shown.policy.printed_line_mm * REVERSED_LINES
    if shapes is not None:
        share = shapes.smallest_gap
    return _detail(shown, "small-gaps", title, share, printed_mm)


def _detail(shown: Shown, id_: str, title: str, share: float | None, printed_mm: float) -> Remark:
    """Weigh the finest detail, a ``share`` of the print's width, None if it was not measured."""
    most = max((film.smallest_feature_mm for film in shown.films), default=printed_mm)
    level, limit, do = Level.LOOK, most, REMEASURE
    words = f"The {title.lower()} was not measured."
    if share is not None:
        level, do = Level.GOOD, NOTHING_TO_DO
        words = _detail_in_words(shown, share, printed_mm)
        if shown.judged_mm < most / share - SLACK_MM:
            level, do = Level.LOOK, "Print it wider, or choose a finer film or a printed method."
        if shown.judged_mm < printed_mm / share - SLACK_MM:
            level, limit = Level.ACT, printed_mm
            do = "Print it wider, or upload it with bolder lines and gaps."
    return Remark(
        id=id_,
        level=level,
        title=title,
        words=words,
        measured=NOT_MEASURED if share is None else share * shown.judged_mm,
        limit=limit,
        unit="mm",
        what_to_do=do,
    )


def _detail_in_words(shown: Shown, share: float, printed_mm: float) -> str:
    words = f"{shown.at} it is {share * shown.judged_mm:.3g} mm. It prints clearly from "
    words += f"{in_mm(printed_mm / share)} mm wide"
    limits = [film.smallest_feature_mm for film in shown.films]
    if limits:
        words += f", and can be cut from {in_mm(min(limits) / share)} mm in the finest film"
        if max(limits) > min(limits):
            words += f", {in_mm(max(limits) / share)} mm in the coarsest"
    return words + "."


def weeding_remark(shown: Shown) -> Remark:
    """How much there is to pick out by hand if the picture is cut."""
    shapes, most = shown.measures.shapes, shown.policy.loose_pieces_max
    at, level, do = shown.measures.at(shown.judged_mm), Level.GOOD, NOTHING_TO_DO
    if shapes is None or at.weed_min is None or at.weeding is None:
        words, pieces = "Its outline was not measured.", None
        level, do = Level.LOOK, REMEASURE
    else:
        pieces = shapes.pieces
        words = (
            f"If it is cut it falls into {pieces} piece{'' if pieces == 1 else 's'} with "
            f"{shapes.holes} hole{'' if shapes.holes == 1 else 's'}. {shown.at}, weeding one takes "
            f"about {at.weed_min:.2g} minutes, which is {at.weeding.value}."
        )
        if pieces > most or at.weeding is Weeding.FINE:
            level, do = Level.LOOK, "Choose a printed method, or upload it in fewer, larger parts."
    return Remark(
        id="weeding",
        level=level,
        title="Pieces and weeding",
        words=words,
        measured=NOT_MEASURED if pieces is None else pieces,
        limit=most,
        unit="separate pieces",
        what_to_do=do,
    )
