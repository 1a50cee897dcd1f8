"""The ticket that makes pieces anew: an earlier ticket's work, for fewer pieces.

Settings, steps, drawings and cautions stay as they were quoted; only what depends on the count is
written again. Spares are added as for any line, so a remake can spoil one too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from service.domain.pieces import blanks_to_take
from service.domain.stock_needs import uses_of
from service.domain.ticket import TicketDocument, TicketMaterial
from service.domain.ticket_steps import StepKind, TicketStep
from service.domain.ticket_words import gather_words, gathered_from
from service.domain.work import LineWork


def remake_document(document: TicketDocument, before: LineWork, now: LineWork) -> TicketDocument:
    """The document for the pieces of ``now``, from one that was written for those of ``before``.

    Both are accounts of one line. Where a medium is used in several colours, each takes its share
    of the new length. The remake is given a roll and a run of its own. ValueError when ``now`` has
    a size that the document has not.
    """
    missing = {size: now.pieces_by_size.get(size, 0) for size in document.pieces_by_size}
    wanted = {size: count for size, count in missing.items() if count}
    if wanted != dict(now.pieces_by_size):
        raise ValueError(f"{dict(now.pieces_by_size)} are not all sizes of this ticket")
    supplied = document.supplied_by_customer
    starts = wanted if supplied else blanks_to_take(wanted, now.starts)
    materials = tuple(_scaled(one, before, now) for one in document.materials)
    again = document.model_copy(
        update={
            "pieces_by_size": wanted,
            "starts_by_size": starts,
            "pieces_to_start": now.starts,
            "materials": materials,
            "uses": uses_of(now, [one.film_colours for one in document.decorations]),
        }
    )
    return again.model_copy(update={"steps": _steps(again, materials)})


def _scaled(material: TicketMaterial, before: LineWork, now: LineWork) -> TicketMaterial:
    medium = material.medium
    length = _exact(now.lengths_mm[medium]) / _exact(before.lengths_mm[medium])
    sheets, pieces = material.sheets, material.pieces
    if sheets is not None:
        sheets = math.ceil(Fraction(sheets * _sheets(now, medium), _sheets(before, medium)))
    if pieces is not None:
        pieces = pieces * now.starts // before.starts
    return material.model_copy(
        update={
            "length_mm": float(_exact(material.length_mm) * length),
            "sheets": sheets,
            "pieces": pieces,
            "roll": None,
            "run": None,
        }
    )


def _exact(length_mm: float) -> Fraction:
    return Fraction(str(length_mm))


def _sheets(work: LineWork, medium: str) -> int:
    return sum(use.layout.sheets or 0 for use in work.media if use.medium == medium)


def _steps(document: TicketDocument, materials: Sequence[TicketMaterial]) -> tuple[TicketStep, ...]:
    """The same steps; the one that gathers says the new counts and lengths."""
    said = gather_words(
        f"{document.garment}, {document.colour}",
        gathered_from(document.pick_location, supplied=document.supplied_by_customer),
        document.starts_by_size,
        document.spares,
        tuple(material.words() for material in materials),
    )
    return tuple(
        step.model_copy(update={"words": said.do}) if step.kind is StepKind.GATHER else step
        for step in document.steps
    )
