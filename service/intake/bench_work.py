"""What is entered at the bench: pieces made or spoiled, steps ticked off, notes.

Each act runs in the caller's transaction under the ticket's lock, is kept as a row that nothing
deletes, and raises the ticket's version by one, so that two people never overwrite each other.

Of spoiled pieces the customer's side is told once they are more than the spares (``ticket.short``),
for then the promised day is at stake, and ``order.late`` at once if a remake opened now could not
keep it; of good pieces, ticks and notes it is not. Opening a remake is an act of its own
(:mod:`service.intake.remakes`): until someone decides, a mistaken entry can be taken back without
station time having been booked, and several spoiled pieces make one ticket.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlmodel import Session

from service.domain.errors import BadInput, Conflict, FieldFault
from service.domain.pieces import PieceCount, PieceEvent, PieceEventKind, PieceLimit, record
from service.domain.replanning import Why
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import TicketState
from service.intake.answers import TicketAnswer
from service.intake.bench_queue import QueuePage, bench_queue, picking_of_day
from service.intake.names import unknown_name
from service.intake.order_days import refresh_days
from service.intake.replanning import note_told
from service.intake.requests import NoteRequest, PiecesRequest, TickRequest
from service.intake.services import Services
from service.intake.settling import settle_day
from service.intake.ticket_events import ticket_event
from service.intake.ticket_rows import (
    document_of,
    legal_now,
    next_station,
    piece_count,
    piece_rows,
    standing_ticks,
    tick_rows,
    ticket_answer,
    ticket_to_change,
)
from service.store.database import lock_shop
from service.store.tables import Order, Ticket, TicketNote, TicketPiece, TicketTick

__all__ = [
    "QueuePage",
    "add_note",
    "at_bench",
    "bench_queue",
    "picking_of_day",
    "record_pieces",
    "tick_step",
]

AT_THE_PRESS = (TicketState.ON_BENCH,)
"""Where pieces are entered and remakes opened."""

IN_HAND = (TicketState.ON_BENCH, TicketState.MADE, TicketState.CHECKED)
"""Where steps are ticked: those that check, fold and pack come after the ticket is made."""


@dataclass(frozen=True, slots=True)
class AtBench:
    """A locked ticket that is worked on: its order, its document, and its pieces so far."""

    order: Order
    ticket: Ticket
    document: TicketDocument
    count: PieceCount


def at_bench(
    session: Session,
    number: str,
    allowed_versions: Collection[int] | None,
    states: Collection[TicketState],
    what: str,
) -> AtBench:
    """Lock the ticket for an act that is possible in the states alone.

    Raises ``ticket-changed`` for another version than those allowed, and ``bench-work-not-legal``
    in another state: ``what`` begins the sentence that says so, and the answer names the moves
    open to the ticket.
    """
    order, ticket = ticket_to_change(session, number, allowed_versions)
    document = document_of(ticket)
    count = piece_count(document, piece_rows(session, ticket))
    _refuse_elsewhere(ticket, count, states, what)
    return AtBench(order, ticket, document, count)


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
    ``BadInput`` for a size the ticket has none of, ``ticket-changed`` for another version. What
    changes how many are to be made anew changes the order's day, so it takes the shop's lock.
    """
    may_be_short = PieceEventKind(request.kind) is not PieceEventKind.DONE
    if may_be_short:
        lock_shop(session)
        settle_day(services, session, trace_id=trace_id)
    bench = at_bench(session, number, allowed_versions, AT_THE_PRESS, "Pieces are entered")
    order, ticket, count = bench.order, bench.ticket, bench.count
    after = _recorded(count, request.event())
    ticket.version += 1
    session.add_all([ticket, _row(services, ticket, request)])
    session.flush()
    if sum(after.to_remake.values()) > sum(count.to_remake.values()):
        more = {"to_remake": after.to_remake}
        ticket_event(services, session, order, ticket, "ticket.short", trace_id, more)
    if may_be_short and after.to_remake != count.to_remake:
        refresh_days(services, session, [order.id], Why.REMAKE, trace_id=trace_id)
        session.flush()
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
    trace_id: str = "",
) -> tuple[TicketAnswer, int]:
    """Tick a step off or take its tick back, and return the ticket and its version.

    A step that stands so already stays its first ticker's, and nothing is written. The ticket goes
    on to the station of the next step. With its last step at a station the station's time is
    worked, and what was booked for later days given back; a tick taken back books nothing again.
    Of ticks nobody is told, only of a day that they change. Errors are as :func:`record_pieces`
    has them; ``BadInput`` for a key that is no step's.
    """
    lock_shop(session)
    settle_day(services, session, trace_id=trace_id)
    bench = at_bench(session, number, allowed_versions, IN_HAND, "Steps are ticked off")
    ticket, document = bench.ticket, bench.document
    _refuse_unknown_step(request.step_key, [step.key for step in document.steps])
    ticked = set(standing_ticks(tick_rows(session, ticket)))
    if request.done != (request.step_key in ticked):
        ticket.version += 1
        ticked ^= {request.step_key}
        ticket.station = next_station(document, ticked, TicketState(ticket.state))
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
        if request.done and note_told(services, session, ticket, document, ticked):
            refresh_days(services, session, [ticket.order_id], Why.NOT_DONE, trace_id=trace_id)
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
    _, ticket = ticket_to_change(session, number, allowed_versions)
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


def _refuse_elsewhere(
    ticket: Ticket, count: PieceCount, states: Collection[TicketState], what: str
) -> None:
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
