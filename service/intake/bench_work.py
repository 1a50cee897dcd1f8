"""What is entered at the bench: pieces made or spoiled, steps ticked off, notes.

Each act runs in the caller's transaction under the ticket's lock, is kept as a row that nothing
deletes, and raises the ticket's version by one, so that two people never overwrite each other.

Of spoiled pieces the customer's side is told once they are more than the spares (``ticket.short``),
for then the promised day is at stake; of good pieces, ticks and notes it is not. Opening a remake
is an act of its own (:mod:`service.intake.remakes`): until someone decides, a mistaken entry can
be taken back without station time having been booked, and several spoiled pieces make one ticket.
"""

from __future__ import annotations

from collections.abc import Collection

from sqlmodel import Session

from service.domain.errors import BadInput, Conflict, FieldFault
from service.domain.pieces import PieceCount, PieceEvent, PieceLimit, record
from service.domain.ticket_states import TicketState
from service.intake.answers import TicketAnswer
from service.intake.bench_queue import QueuePage, bench_queue, picking_of_day
from service.intake.names import unknown_name
from service.intake.requests import NoteRequest, PiecesRequest, TickRequest
from service.intake.services import Services
from service.intake.ticket_events import ticket_event
from service.intake.ticket_rows import (
    document_of,
    legal_now,
    locked_ticket,
    next_station,
    piece_count,
    piece_rows,
    refuse_stale,
    ticket_answer,
    ticks_of,
)
from service.store.tables import Ticket, TicketNote, TicketPiece, TicketTick

__all__ = [
    "QueuePage",
    "add_note",
    "bench_queue",
    "picking_of_day",
    "record_pieces",
    "refuse_elsewhere",
    "tick_step",
]

AT_THE_PRESS = (TicketState.ON_BENCH,)
"""Where pieces are entered and remakes opened."""

IN_HAND = (TicketState.ON_BENCH, TicketState.MADE, TicketState.CHECKED)
"""Where steps are ticked: those that check, fold and pack come after the ticket is made."""


def record_pieces(
    services: Services,
    session: Session,
    number: str,
    request: PiecesRequest,
    *,
    allowed_versions: Collection[int] | None = None,
    trace_id: str = "",
) -> tuple[TicketAnswer, int]:
    """Enter pieces, and return the ticket and its new version.

    Raises ``bench-work-not-legal`` off the bench, ``piece-limit`` for more than there can be,
    ``BadInput`` for a size the ticket has none of, ``ticket-changed`` for another version.
    """
    order, ticket = locked_ticket(session, number)
    refuse_stale(session, ticket, allowed_versions)
    count = piece_count(document_of(ticket), piece_rows(session, ticket))
    refuse_elsewhere(ticket, count, AT_THE_PRESS, "Pieces are entered")
    after = _recorded(count, request.event())
    ticket.version += 1
    session.add_all([ticket, _row(services, ticket, request)])
    session.flush()
    if sum(after.to_remake.values()) > sum(count.to_remake.values()):
        more = {"to_remake": after.to_remake}
        ticket_event(services, session, order, ticket, "ticket.short", trace_id, more)
    return ticket_answer(session, ticket), ticket.version


def _recorded(count: PieceCount, event: PieceEvent) -> PieceCount:
    try:
        return record(count, event)
    except KeyError:
        sizes = [one.size for one in count.sizes]
        detail = unknown_name("size", event.size, sizes, " on this ticket")
        fault = FieldFault(detail, path=("size",), code="unknown-name")
        raise BadInput("fields-refused", detail, faults=[fault]) from None
    except PieceLimit as over:
        said = str(over)
        raise Conflict(
            "piece-limit",
            f"{said[0].upper()}{said[1:]}.",
            extra={"size": event.size, "count": event.count, "limit": over.limit},
        ) from over


def _row(services: Services, ticket: Ticket, request: PiecesRequest) -> TicketPiece:
    return TicketPiece(
        ticket_id=ticket.id or 0,
        kind=request.kind,
        size=request.size,
        count=request.count,
        reason=request.reason,
        undoes=request.undoes,
        note=request.note,
        who=request.who,
        at=services.clock(),
        version=ticket.version,
    )


def tick_step(
    services: Services,
    session: Session,
    number: str,
    request: TickRequest,
    *,
    allowed_versions: Collection[int] | None = None,
    trace_id: str = "",  # noqa: ARG001 - as all acts have it; of ticks nobody is told
) -> tuple[TicketAnswer, int]:
    """Tick a step off or take its tick back, and return the ticket and its version.

    A step that stands so already stays its first ticker's, and nothing is written. The ticket goes
    on to the station of the next step. Errors are as :func:`record_pieces` has them; ``BadInput``
    for a key that is no step's.
    """
    _, ticket = locked_ticket(session, number)
    refuse_stale(session, ticket, allowed_versions)
    document = document_of(ticket)
    count = piece_count(document, piece_rows(session, ticket))
    refuse_elsewhere(ticket, count, IN_HAND, "Steps are ticked off")
    _refuse_unknown_step(request.step_key, [step.key for step in document.steps])
    ticked = set(ticks_of(session, ticket))
    if request.done != (request.step_key in ticked):
        ticket.version += 1
        ticket.station = next_station(document, ticked ^ {request.step_key})
        tick = TicketTick(
            ticket_id=ticket.id or 0,
            step_key=request.step_key,
            done=request.done,
            who=request.who,
            at=services.clock(),
            version=ticket.version,
        )
        session.add_all([ticket, tick])
        session.flush()
    return ticket_answer(session, ticket), ticket.version


def _refuse_unknown_step(key: str, known: Collection[str]) -> None:
    if key not in known:
        detail = unknown_name("step", key, known, " on this ticket")
        fault = FieldFault(detail, path=("step_key",), code="unknown-name")
        raise BadInput("fields-refused", detail, faults=[fault])


def add_note(
    services: Services,
    session: Session,
    number: str,
    request: NoteRequest,
    *,
    allowed_versions: Collection[int] | None = None,
    trace_id: str = "",  # noqa: ARG001 - as all acts have it; of notes nobody is told
) -> tuple[TicketAnswer, int]:
    """Write a note on a ticket in whatever state, and return the ticket and its new version.

    Raises ``ticket-changed`` for another version than those allowed.
    """
    _, ticket = locked_ticket(session, number)
    refuse_stale(session, ticket, allowed_versions)
    ticket.version += 1
    note = TicketNote(
        ticket_id=ticket.id or 0,
        text=request.text,
        who=request.who,
        at=services.clock(),
        version=ticket.version,
    )
    session.add_all([ticket, note])
    session.flush()
    return ticket_answer(session, ticket), ticket.version


def refuse_elsewhere(
    ticket: Ticket, count: PieceCount, states: Collection[TicketState], what: str
) -> None:
    """Raise ``bench-work-not-legal`` unless the ticket is in one of the states.

    ``what`` begins the sentence that says so, and the answer names the moves open to the ticket.
    """
    if TicketState(ticket.state) in states:
        return
    legal = legal_now(ticket, count)
    open_moves = ", ".join(legal) if legal else "none, it is finished"
    raise Conflict(
        "bench-work-not-legal",
        f"{what} while a ticket is {' or '.join(states)}; {ticket.number} is '{ticket.state}'. "
        f"Moves open to it: {open_moves}.",
        extra={"state": ticket.state, "legal_states": list(states), "legal_moves": list(legal)},
    )
