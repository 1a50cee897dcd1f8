"""What of a ticket is still to be printed or cut: one print for each decoration and medium."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from pydantic import BaseModel, ConfigDict

from service.domain.artwork import ArtworkMeasures
from service.domain.envelope import ring_at
from service.domain.nesting.outlines import Ring
from service.domain.roll import Strip, micrometres
from service.domain.ticket_steps import PressSettings, StepKind

MAKING = (StepKind.PRINT, StepKind.CUT)
"""Steps in which film or paper is used up."""


class _Read(BaseModel):
    # What a run needs of a ticket's document; the rest is skipped, which is far quicker.
    model_config = ConfigDict(frozen=True)


class _Step(_Read):
    kind: StepKind
    key: str = ""
    decoration: int | None = None
    medium_id: str | None = None
    film_colour: str = ""
    mirrored: bool | None = None
    settings: PressSettings | None = None


class _Decoration(_Read):
    placement: str
    artwork_id: str
    width_mm: float
    height_mm: float
    method_id: str = ""


class TicketPrints(_Read):
    """The part of a ticket's document that tells what is printed and cut."""

    pieces_to_start: int
    decorations: tuple[_Decoration, ...]
    steps: tuple[_Step, ...]

    @property
    def is_old(self) -> bool:
        """Whether it was written before steps named their medium, so that no run can take it."""
        return any(step.kind in MAKING and step.medium_id is None for step in self.steps)


@dataclass(frozen=True, slots=True)
class WaitingPrint:
    """Equal pieces of one decoration, to be laid on one medium.

    ``making`` are the keys of the steps that print and cut it. ``mirrored`` is for printing and for
    cutting, None for what is not done. ``first_piece`` and ``reprint`` as a run's print has them.
    """

    ticket: str
    promised_day: date
    decoration: int
    placement: str
    method: str
    medium: str
    film_colour: str
    artwork_id: str
    width_um: int
    height_um: int
    pieces: int
    print_mirrored: bool | None
    cut_mirrored: bool | None
    recipe: tuple[PressSettings, ...]
    making: tuple[str, ...]
    first_piece: int = 1
    reprint: int | None = None

    @property
    def urgency(self) -> tuple[date, str, int, int]:
        """By promised day, then as tickets were written."""
        return self.promised_day, self.ticket, self.decoration, self.first_piece

    def again(self, pieces: int, first_piece: int, reprint: int) -> WaitingPrint:
        """So many pieces of it anew."""
        return replace(self, pieces=pieces, first_piece=first_piece, reprint=reprint)

    def begun(self, ticked: Collection[str]) -> bool:
        """Whether one of its steps is ticked off."""
        return any(key in ticked for key in self.making)


@dataclass(frozen=True, slots=True)
class OnStrip:
    """A print with the strip that it is to lie on, and the medium's name.

    ``envelope_um`` is the closed line around a piece as it is worked on, from the upper left corner
    of its box, to be nested by where boxes waste much; None for a piece that lies in its box.
    """

    print: WaitingPrint
    strip: Strip
    medium_name: str
    envelope_um: Ring | None = None


def envelope_of(one: WaitingPrint, measures: ArtworkMeasures) -> Ring | None:
    """The line that other pieces on a roll keep clear of, as the print is worked on.

    None for what no plotter cuts out, and where only the box is known or nothing lies outside it.
    """
    if one.cut_mirrored is None or measures.envelopes is None:
        return None
    printed = one.print_mirrored is not None
    ring = measures.envelopes.inked if printed else measures.envelopes.figure
    mirrored = bool(one.print_mirrored or one.cut_mirrored)
    return ring_at(ring, one.width_um, one.height_um, mirrored=mirrored)


def prints_of(ticket: str, promised_day: date, document: TicketPrints) -> Iterator[WaitingPrint]:
    """Every print of a ticket, begun or not, in the order of its steps."""
    making: dict[tuple[int, str], list[_Step]] = {}
    for step in document.steps:
        if step.kind in MAKING and step.medium_id is not None and step.decoration is not None:
            making.setdefault((step.decoration, step.medium_id), []).append(step)
    for (index, medium), steps in making.items():
        decoration = document.decorations[index]
        yield WaitingPrint(
            ticket=ticket,
            promised_day=promised_day,
            decoration=index,
            placement=decoration.placement,
            method=decoration.method_id,
            medium=medium,
            film_colour=steps[0].film_colour,
            artwork_id=decoration.artwork_id,
            width_um=micrometres(decoration.width_mm),
            height_um=micrometres(decoration.height_mm),
            pieces=document.pieces_to_start,
            print_mirrored=_mirrored(steps, StepKind.PRINT),
            cut_mirrored=_mirrored(steps, StepKind.CUT),
            recipe=tuple(
                step.settings
                for step in document.steps
                if (step.decoration, step.medium_id) == (index, medium) and step.settings
            ),
            making=tuple(step.key for step in steps),
        )


def _mirrored(steps: Iterable[_Step], kind: StepKind) -> bool | None:
    return next((step.mirrored for step in steps if step.kind is kind), None)
