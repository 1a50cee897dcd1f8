"""A ticket's rows read and locked: what it counts up to, what is legal, and its answer."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime

from pydantic import BaseModel
from sqlmodel import Session, col, select

from service.domain.errors import Conflict, NotFound
from service.domain.pieces import PieceCount, PieceEvent, PieceEventKind, SpoilReason, replay
from service.domain.replanning import steps_left
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import Move, TicketState, legal_moves
from service.intake.answers import (
    PieceCountAnswer,
    PieceEntryAnswer,
    RunPlaceAnswer,
    TickAnswer,
    TickEntryAnswer,
    TicketAnswer,
    TicketHead,
    TicketMoveAnswer,
    TicketNoteAnswer,
    TicketSummary,
)
from service.store.tables import (
    Order,
    Run,
    RunActRow,
    RunActTicket,
    RunClaim,
    Ticket,
    TicketMove,
    TicketNote,
    TicketPiece,
    TicketTick,
)


def find_ticket(session: Session, number: str) -> Ticket:
    """The ticket of that number; ``NotFound`` if there is none."""
    ticket = session.exec(select(Ticket).where(Ticket.number == number)).first()
    if ticket is None:
        raise _no_such_ticket(number)
    return ticket


def _locked_ticket(session: Session, number: str) -> tuple[Order, Ticket]:
    """Lock the order and then the ticket: everyone in this order, so that nobody deadlocks."""
    order_id = session.exec(select(Ticket.order_id).where(Ticket.number == number)).first()
    if order_id is None:
        raise _no_such_ticket(number)
    # Their keys stay as they are, so whoever refers to them need not wait when it commits.
    order = select(Order).where(Order.id == order_id).with_for_update(key_share=True)
    ticket = select(Ticket).where(Ticket.number == number)
    return (
        session.exec(order).one(),
        session.exec(ticket.with_for_update(of=Ticket, key_share=True)).one(),
    )


def _no_such_ticket(number: str) -> NotFound:
    return NotFound("ticket-not-found", f"There is no ticket '{number}'.")


def ticket_to_change(
    session: Session, number: str, allowed_versions: Collection[int] | None
) -> tuple[Order, Ticket]:
    """Lock order and ticket, for whoever looked at one of those versions of the ticket.

    None allows every version; for another one ``ticket-changed`` says who changed it and how.
    """
    order, ticket = _locked_ticket(session, number)
    if allowed_versions is not None and ticket.version not in allowed_versions:
        raise Conflict(
            "ticket-changed",
            f"Since you looked at ticket {number}, {_last_act(session, ticket)}. Look again, then "
            "decide.",
        )
    return order, ticket


def _last_act(session: Session, ticket: Ticket) -> str:
    """Who did what last: the entry that made the version, and if there is none, the last move."""
    by_id = col(TicketPiece.id).desc()
    of_version = (TicketPiece.ticket_id == ticket.id, TicketPiece.version == ticket.version)
    piece = session.exec(select(TicketPiece).where(*of_version).order_by(by_id)).first()
    if piece is not None:
        return f"{piece.who} entered {piece.count} of size {piece.size} as {piece.kind}"
    tick = session.exec(
        select(TicketTick).where(
            TicketTick.ticket_id == ticket.id, TicketTick.version == ticket.version
        )
    ).first()
    if tick is not None:
        verb = "ticked off" if tick.done else "took back the tick of"
        return f"{tick.who} {verb} the step '{tick.step_key}'"
    note = session.exec(
        select(TicketNote).where(
            TicketNote.ticket_id == ticket.id, TicketNote.version == ticket.version
        )
    ).first()
    if note is not None:
        return f"{note.who} wrote a note"
    on_run = _run_act(session, ticket)
    if on_run is not None:
        return on_run
    moves = select(TicketMove).where(TicketMove.ticket_id == ticket.id)
    move = session.exec(moves.order_by(col(TicketMove.id).desc()).limit(1)).first()
    return f"{move.who} made the move '{move.move}'" if move else "it changed"


def _run_act(session: Session, ticket: Ticket) -> str | None:
    """What was done to a run, where that made the ticket's version."""
    found = session.exec(
        select(RunActRow, Run.number)
        .join(RunActTicket, col(RunActTicket.act_id) == col(RunActRow.id))
        .join(Run, col(Run.id) == col(RunActRow.run_id))
        .where(RunActTicket.ticket_id == ticket.id, RunActTicket.version == ticket.version)
    ).first()
    if found is None:
        return None
    act, number = found
    return f"{act.who} made the act '{act.act}' on run {number}, which holds pieces of it"


def document_of(ticket: Ticket) -> TicketDocument:
    """The ticket's document."""
    return TicketDocument.model_validate_json(ticket.document_json)


def piece_rows(session: Session, ticket: Ticket) -> list[TicketPiece]:
    """Every entry of the ticket's count, in the order in which they were made."""
    entries = select(TicketPiece).where(TicketPiece.ticket_id == ticket.id)
    return list(session.exec(entries.order_by(col(TicketPiece.id))).all())


def piece_count(document: TicketDocument, rows: Iterable[TicketPiece]) -> PieceCount:
    """What the entries add up to."""
    events = (_event(row) for row in rows)
    return replay(document.pieces_by_size, document.starts_by_size, events)


def _event(row: TicketPiece) -> PieceEvent:
    return PieceEvent(
        kind=PieceEventKind(row.kind),
        size=row.size,
        count=row.count,
        reason=SpoilReason(row.reason) if row.reason else None,
        undoes=PieceEventKind(row.undoes) if row.undoes else None,
        note=row.note,
    )


def tick_rows(session: Session, ticket: Ticket) -> list[TicketTick]:
    """Every tick of the ticket and every taking back, in the order in which they were made."""
    ticks = select(TicketTick).where(TicketTick.ticket_id == ticket.id)
    return list(session.exec(ticks.order_by(col(TicketTick.id))).all())


def standing_ticks(rows: Iterable[TicketTick]) -> dict[str, TicketTick]:
    """The steps that are ticked off, by key: of each step's ticks the last one counts."""
    last = {tick.step_key: tick for tick in rows}
    return {key: tick for key, tick in last.items() if tick.done}


def next_station(
    document: TicketDocument,
    ticked: Collection[str],
    state: TicketState = TicketState.WAITING,
) -> str:
    """The station of the first step still to do in that state and not ticked off; empty if none."""
    left = steps_left(document.steps, state)
    return next((step.station for step in left if step.key not in ticked), "")


def legal_now(ticket: Ticket, count: PieceCount) -> tuple[Move, ...]:
    """The moves open to the ticket as it stands.

    It is finished only when every piece is good or given to a remake. It is cancelled only while no
    piece was entered; a remake never is by itself, for its pieces are owed.
    """
    halted_from = TicketState(ticket.halted_from) if ticket.halted_from else None
    moves = legal_moves(TicketState(ticket.state), halted_from)
    begun = any(one.good or one.lost or one.moved for one in count.sizes)
    shut = set() if count.finished else {Move.FINISH}
    if begun or ticket.remake_of is not None:
        shut.add(Move.CANCEL)
    return tuple(move for move in moves if move not in shut)


class _Blank(BaseModel):
    """What a list tells of a ticket's document; the rest is skipped, which is far quicker."""

    garment: str = ""
    colour: str = ""


def summary(
    row: Ticket, latest_start: datetime | None = None, slack_min: int | None = None
) -> TicketSummary:
    """The ticket's row in a list; start and slack are those of one that is still to be done."""
    blank = _Blank.model_validate_json(row.document_json)
    return TicketSummary(
        **_head(row).model_dump(),
        pieces=row.pieces,
        garment=blank.garment,
        colour=blank.colour,
        latest_start=latest_start,
        slack_min=slack_min,
    )


def _head(row: Ticket) -> TicketHead:
    return TicketHead(
        number=row.number,
        order_id=row.order_id,
        line=row.line_index,
        state=TicketState(row.state),
        station=row.station,
        promised_day=row.promised_day,
        created_at=row.created_at,
        remake_of=row.remake_of,
    )


def ticket_answer(session: Session, row: Ticket) -> TicketAnswer:
    """The whole ticket, worked out from its rows."""
    document, entries = document_of(row), piece_rows(session, row)
    count = piece_count(document, entries)
    ticks = tick_rows(session, row)
    return TicketAnswer(
        **_head(row).model_dump(),
        version=row.version,
        legal_moves=legal_now(row, count),
        pieces=_counts(count),
        entries=tuple(map(_entry, entries)),
        ticks={
            key: TickAnswer(who=tick.who, at=tick.at) for key, tick in standing_ticks(ticks).items()
        },
        tick_entries=tuple(
            TickEntryAnswer(step_key=one.step_key, done=one.done, who=one.who, at=one.at)
            for one in ticks
        ),
        notes=_notes(session, row),
        remakes=_remakes(session, row),
        runs=run_places(session, row),
        document=document,
        moves=_moves(session, row),
    )


def _counts(count: PieceCount) -> dict[str, PieceCountAnswer]:
    return {
        one.size: PieceCountAnswer(
            wanted=one.wanted,
            started=one.started,
            good=one.good,
            spoiled=one.lost,
            spoiled_by_reason={reason: lost for reason, lost in one.spoiled.items() if lost},
            moved=one.moved,
            remaining=one.remaining,
            to_remake=one.to_remake,
        )
        for one in count.sizes
    }


def _entry(row: TicketPiece) -> PieceEntryAnswer:
    return PieceEntryAnswer(
        kind=PieceEventKind(row.kind),
        size=row.size,
        count=row.count,
        reason=SpoilReason(row.reason) if row.reason else None,
        undoes=PieceEventKind(row.undoes) if row.undoes else None,
        note=row.note,
        who=row.who,
        at=row.at,
    )


def _notes(session: Session, row: Ticket) -> tuple[TicketNoteAnswer, ...]:
    notes = select(TicketNote).where(TicketNote.ticket_id == row.id)
    return tuple(
        TicketNoteAnswer(text=note.text, who=note.who, at=note.at)
        for note in session.exec(notes.order_by(col(TicketNote.id))).all()
    )


def _remakes(session: Session, row: Ticket) -> tuple[str, ...]:
    remakes = select(Ticket.number).where(
        Ticket.order_id == row.order_id,
        Ticket.line_index == row.line_index,
        Ticket.remake_of == row.number,
    )
    return tuple(session.exec(remakes.order_by(col(Ticket.remake))).all())


def run_places(session: Session, row: Ticket) -> tuple[RunPlaceAnswer, ...]:
    """The accepted runs on which the ticket's pieces lie."""
    claims = (
        select(RunClaim, Run.number)
        .join(Run, col(Run.id) == col(RunClaim.run_id))
        .where(RunClaim.ticket_id == row.id)
        .order_by(
            col(RunClaim.decoration), col(Run.seq), col(RunClaim.medium), col(RunClaim.first_piece)
        )
    )
    return tuple(
        RunPlaceAnswer(
            run_id=claim.run_id,
            run=number,
            decoration=claim.decoration,
            medium=claim.medium,
            pieces=claim.pieces,
            first_piece=claim.first_piece,
            first_place=claim.first_place,
            last_place=claim.last_place,
        )
        for claim, number in session.exec(claims).all()
    )


def _moves(session: Session, row: Ticket) -> tuple[TicketMoveAnswer, ...]:
    moves = select(TicketMove).where(TicketMove.ticket_id == row.id)
    return tuple(
        TicketMoveAnswer(
            move=Move(move.move),
            from_state=TicketState(move.from_state),
            to_state=TicketState(move.to_state),
            who=move.who,
            note=move.note,
            at=move.at,
        )
        for move in session.exec(moves.order_by(col(TicketMove.id))).all()
    )
