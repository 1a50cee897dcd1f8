"""What the bench has entered as made and spoiled, by method, and what of it a price may count.

A price counts what was entered before the shop's present day, so that it does not move between
two quotes of one day, and is read once a day. Of a ticket with several decorations it is not known
which of them spoiled a piece; it is not counted. A spoiled piece counts whatever the reason: it
takes a start in any case.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from sqlalchemy import func
from sqlmodel import Session, col, select

from service.domain.pieces import PieceEventKind
from service.domain.spoilage import MOST_MADE, SpoilageSeen
from service.store.tables import Ticket, TicketPiece

_COUNTED = {PieceEventKind.DONE: (1, 0), PieceEventKind.SPOILED: (1, 1)}
"""What an entry adds to the pieces made, and to those spoiled of them."""


class SpoilageShelf:
    """The spoilage of one day at hand, shared by all threads."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self._kept: tuple[tuple[date, str], Mapping[str, SpoilageSeen]] | None = None
        self._lock = threading.Lock()

    def at_hand(self, day: date, time_zone: str) -> Mapping[str, SpoilageSeen] | None:
        """What was seen before that day in that time zone, None where it was not read yet."""
        with self._lock:
            kept = self._kept
        return kept[1] if kept is not None and kept[0] == (day, time_zone) else None

    def fetch(self, session: Session, day: date, time_zone: str) -> Mapping[str, SpoilageSeen]:
        """What was seen before that day began in that time zone, read where it is not at hand."""
        found = self.at_hand(day, time_zone)
        if found is None:
            begins = datetime.combine(day, time(0), ZoneInfo(time_zone)).astimezone(UTC)
            found = spoilage_before(session, begins)
            with self._lock:
                self._kept = (day, time_zone), found
        return found


def spoilage_before(session: Session, moment: datetime) -> dict[str, SpoilageSeen]:
    """Pieces made and spoiled by method, of all that was entered before ``moment``."""
    statement = (
        select(
            Ticket.method,
            TicketPiece.kind,
            TicketPiece.undoes,
            func.sum(TicketPiece.count),
        )
        .join(TicketPiece, col(TicketPiece.ticket_id) == col(Ticket.id))
        .where(Ticket.method != "", col(TicketPiece.at) < moment)
        .group_by(Ticket.method, TicketPiece.kind, col(TicketPiece.undoes))
    )
    rows = session.exec(statement).all()
    return _summed((method, kind, undoes, int(count)) for method, kind, undoes, count in rows)


def _summed(rows: Iterable[tuple[str, str, str | None, int]]) -> dict[str, SpoilageSeen]:
    """Entries taken back before the day are left out; one may take back more than came before."""
    counts: dict[str, list[int]] = {}
    for method, kind, undoes, count in rows:
        made, spoiled = _COUNTED.get(PieceEventKind(undoes or kind), (0, 0))
        sign = -1 if undoes else 1
        total = counts.setdefault(method, [0, 0])
        total[0] += sign * made * count
        total[1] += sign * spoiled * count
    return {method: _seen(made, spoiled) for method, (made, spoiled) in counts.items()}


def _seen(made: int, spoiled: int) -> SpoilageSeen:
    """The counts within the limits of what is reckoned with; the share is kept above them."""
    made, spoiled = max(0, made, spoiled), max(0, spoiled)
    if made > MOST_MADE:
        made, spoiled = MOST_MADE, spoiled * MOST_MADE // made
    return SpoilageSeen(spoiled=spoiled, made=made)
