"""Tickets of the demo shop made to measure, each decoration by the method it names. Invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

from service.domain.garments import Garment
from service.domain.ticket import TicketDocument, write_ticket
from service.domain.ticket_steps import StepKind, TicketStep
from service.domain.verdict import DecorationVerdict, judge
from service.domain.wishes import Decoration, Line
from service.domain.work import line_work
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop

# A cloth that each method of the demo shop is made for, as fibre percentages and a colour.
CLOTH_FOR: dict[str, Garment] = {
    "dye-transfer": cloth("#ffffff", polyester=100),
    "printed-film": cloth("#141414", cotton=100),
    "cut-film": cloth("#141414", cotton=100),
    "low-heat-cut-film": cloth("#b01020", polyester=100),
    "blocker-film": cloth("#b01020", polyester=100),
    "stretch-cut-film": cloth("#ffffff", cotton=92, elastane=8),
    "thick-cut-film": cloth("#ffffff", cotton=100),
    "nylon-cut-film": cloth("#203060", polyamide=100),
    "reflective-cut-film": cloth("#ffffff", cotton=100),
    "dye-on-glitter-film": cloth("#141414", cotton=100),
    "dye-on-flock-film": cloth("#141414", cotton=100),
    "dye-on-white-film": cloth("#141414", cotton=100),
}


def ticket_of(
    garment: Garment, *decorations: Decoration, sizes: Mapping[str, int] | None = None
) -> TicketDocument:
    """The ticket of a line, five of size M unless told otherwise.

    Each decoration is made as it asks, whether the shop would make it so or not.
    """
    shop = demo_shop()
    line = Line(garment, dict(sizes or {"M": 5}), decorations)
    verdicts = []
    for wished in decorations:
        made = judge(shop, line, wished, wished.method_id or "")
        verdicts.append(DecorationVerdict(wished, (made,), made, {}))
    return write_ticket(shop, line, verdicts, line_work(shop.catalogue, line))


@cache
def ticket_by(method_id: str) -> TicketDocument:
    """The ticket of one decoration by that method, on a cloth the method is made for."""
    return ticket_of(CLOTH_FOR[method_id], decoration(method_id, art=artwork("#ffffff")))


def stocked(blank_id: str, colour_id: str) -> Garment:
    """A blank of the demo shop in one of its colours."""
    return demo_shop().garments[blank_id, colour_id]


def at(placement_id: str, method_id: str, *, width_mm: float = 80) -> Decoration:
    """A decoration by that method at that placement, half as high as wide."""
    return replace(decoration(method_id, width_mm=width_mm), placement_id=placement_id)


def steps_of(document: TicketDocument, kind: StepKind) -> list[TicketStep]:
    """The steps of that kind, in order."""
    return [step for step in document.steps if step.kind is kind]


def kinds_of(document: TicketDocument) -> list[str]:
    """What every step is, in order."""
    return [step.kind.value for step in document.steps]
