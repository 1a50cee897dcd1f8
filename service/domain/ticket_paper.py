"""What a ticket's sheet and labels are made from: the ticket, where it stands, and its pictures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from service.domain.ticket import TicketDocument
from service.domain.ticket_states import Move, TicketState


@dataclass(frozen=True, slots=True)
class PaperPicture:
    """A decoration's proof as a PNG file; ``png`` is None where ``reason`` says why."""

    png: bytes | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PaperNote:
    """What someone wrote, by itself or beside a move; ``at`` is in the zone it is told in."""

    at: datetime
    who: str
    move: Move | None
    words: str


@dataclass(frozen=True, slots=True)
class PaperRun:
    """Where pieces lie on an accepted run, from the first to the last place in its cut order."""

    run: str
    medium: str
    first_place: int
    last_place: int

    def words(self) -> str:
        """Such as ``R000012, cut 3 to 9``."""
        if self.first_place == self.last_place:
            return f"{self.run}, cut {self.first_place}"
        return f"{self.run}, cut {self.first_place} to {self.last_place}"


@dataclass(frozen=True, slots=True)
class TicketPaper:
    """One ticket as it goes onto paper; ``notes`` in the order in which they were written.

    ``line`` counts the order's lines from 1, ``pictures`` stand in the order of the document's
    decorations, ``runs`` are those on which its pieces lie, and ``bench_url`` is what the square
    code opens.
    """

    number: str
    promised_day: date
    state: TicketState
    order_id: str
    reference: str
    line: int
    document: TicketDocument
    bench_url: str
    notes: tuple[PaperNote, ...] = ()
    pictures: tuple[PaperPicture, ...] = ()
    runs: tuple[PaperRun, ...] = ()

    def picture(self, decoration: int) -> PaperPicture:
        """That decoration's picture, or that there is none."""
        if decoration < len(self.pictures):
            return self.pictures[decoration]
        return PaperPicture(reason="none was asked for")
