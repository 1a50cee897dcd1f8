"""A run's rows read and locked: what is legal, what stands in its way, and its answer."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from sqlmodel import Session, col, func, select

from service.domain.errors import Conflict, NotFound
from service.domain.run_document import RunDocument
from service.domain.run_states import RunAct, RunState, legal_acts
from service.domain.ticket_states import TicketState
from service.domain.waiting_prints import TicketPrints, WaitingPrint, prints_of
from service.intake.run_answers import (
    ReprintAnswer,
    RunActAnswer,
    RunAnswer,
    RunPieceAnswer,
    RunPrintAnswer,
    RunSummary,
)
from service.store.tables import Run, RunActRow, RunClaim, RunReprint, Ticket, TicketTick

_RUN_DIGITS = 6
_UM_PER_MM = 1_000


def find_run(session: Session, run_id: str, *, lock: bool = False) -> Run:
    """The run of that id; ``NotFound`` if there is none."""
    statement = select(Run).where(Run.id == run_id)
    run = session.exec(statement.with_for_update() if lock else statement).first()
    if run is None:
        raise NotFound("run-not-found", f"There is no run '{run_id}'.")
    return run


def run_to_change(
    session: Session, run_id: str, allowed_versions: Collection[int] | None, act: RunAct
) -> tuple[Run, RunDocument]:
    """Lock the run for an act that is legal now; the caller holds the shop's lock.

    Raises ``run-changed`` for another version than those allowed, None allowing every one, and
    ``run-not-legal`` naming what may be done.
    """
    run = find_run(session, run_id, lock=True)
    if allowed_versions is not None and run.version not in allowed_versions:
        raise Conflict(
            "run-changed",
            f"Since you looked at run {run.number}, {_last_act(session, run)}. Look again, then "
            "decide.",
        )
    document = run_document(run)
    begun = begun_words(session, run, document)
    legal = legal_acts(RunState(run.state), begun=bool(begun))
    if act not in legal:
        raise _illegal(run, act, legal, begun)
    return run, document


def _last_act(session: Session, run: Run) -> str:
    acts = select(RunActRow).where(RunActRow.run_id == run.id)
    last = session.exec(acts.order_by(col(RunActRow.id).desc()).limit(1)).first()
    return f"{last.who} made the act '{last.act}'" if last else "it changed"


def _illegal(run: Run, act: RunAct, legal: Sequence[RunAct], begun: str) -> Conflict:
    why = f" {begun}" if begun and act is RunAct.DISSOLVE else ""
    open_acts = ", ".join(legal) if legal else "none, it is over"
    return Conflict(
        "run-not-legal",
        f"Run {run.number} is '{run.state}', where '{act}' is not possible.{why} "
        f"Acts open to it: {open_acts}.",
        extra={"state": run.state, "legal_acts": list(legal)},
    )


def run_document(run: Run) -> RunDocument:
    """The run's document."""
    return RunDocument.model_validate_json(run.document_json)


def next_run(session: Session) -> int:
    """The number after the last run's; the caller holds the shop's lock."""
    return (session.exec(select(func.max(Run.seq))).one() or 0) + 1


def run_number(seq: int) -> str:
    """``R000001``."""
    return f"R{seq:0{_RUN_DIGITS}d}"


_MADE = frozenset({TicketState.MADE, TicketState.CHECKED, TicketState.SENT})


def begun_words(session: Session, run: Run, document: RunDocument) -> str:
    """What was done of an accepted run, in words; empty for nothing."""
    if run.state != RunState.ACCEPTED:
        return ""
    if session.exec(select(RunReprint.id).where(RunReprint.run_id == run.id)).first() is not None:
        return "Pieces of it were spoiled, so its film is cut."
    tickets = tickets_of(session, document.tickets)
    waiting = prints_by_key(tickets.values())
    ticked = ticked_keys(session, [row.id or 0 for row in tickets.values()])
    for one in document.prints:
        ticket = tickets[one.ticket]
        if (ticket.halted_from or ticket.state) in _MADE:
            return f"Ticket {one.ticket} is made, so its film is used."
        found = waiting.get((one.ticket, one.decoration, document.medium))
        if one.reprint is not None or found is None:
            continue
        if found.begun(ticked.get(tickets[one.ticket].id or 0, frozenset())):
            return f"Printing or cutting for ticket {one.ticket} is ticked off."
    return ""


def tickets_of(
    session: Session, numbers: Iterable[str], *, lock: bool = False
) -> dict[str, Ticket]:
    """The tickets of those numbers by number; locked in the order of their ids."""
    statement = select(Ticket).where(col(Ticket.number).in_(list(numbers)))
    statement = statement.order_by(col(Ticket.id))
    rows = session.exec(statement.with_for_update(of=Ticket) if lock else statement).all()
    return {row.number: row for row in rows}


def prints_by_key(tickets: Iterable[Ticket]) -> dict[tuple[str, int, str], WaitingPrint]:
    """Every print of the tickets by ticket, decoration and medium, begun or not."""
    return {
        (one.ticket, one.decoration, one.medium): one
        for row in tickets
        for one in prints_of(row.number, row.promised_day, read_prints(row))
    }


def read_prints(row: Ticket) -> TicketPrints:
    """What of a ticket's document a run needs."""
    return TicketPrints.model_validate_json(row.document_json)


def ticked_keys(session: Session, ticket_ids: Collection[int]) -> dict[int, frozenset[str]]:
    """The keys of the steps that are ticked off, by ticket."""
    ticks = select(TicketTick).where(col(TicketTick.ticket_id).in_(ticket_ids))
    last: dict[tuple[int, str], bool] = {}
    for tick in session.exec(ticks.order_by(col(TicketTick.id))).all():
        last[tick.ticket_id, tick.step_key] = tick.done
    found: dict[int, set[str]] = {}
    for (ticket_id, key), done in last.items():
        if done:
            found.setdefault(ticket_id, set()).add(key)
    return {ticket_id: frozenset(keys) for ticket_id, keys in found.items()}


def claims_of(session: Session, ticket_ids: Collection[int]) -> list[RunClaim]:
    """Every claim on the tickets."""
    claims = select(RunClaim).where(col(RunClaim.ticket_id).in_(ticket_ids))
    return list(session.exec(claims).all())


def run_summary(run: Run, document: RunDocument | None = None) -> RunSummary:
    """The run's row in a list."""
    known = document or run_document(run)
    first_day, last_day = known.days
    return RunSummary(
        id=run.id,
        number=run.number,
        state=RunState(run.state),
        medium=known.medium,
        medium_name=known.medium_name,
        colour=known.colour,
        print_mirrored=known.print_mirrored,
        cut_mirrored=known.cut_mirrored,
        tickets=known.tickets,
        pieces=len(known.pieces),
        first_day=first_day,
        last_day=last_day,
        length_mm=_mm(known.length_um),
        parts=len(known.parts_um),
        sheets=known.sheets,
        bound_mm=_mm(known.bound_um),
        by_envelopes=known.by_envelopes,
        saving_mm=_mm(known.saving_um),
        saving_share=round(known.saving_share, 4),
        created_at=run.created_at,
        who=run.who,
    )


def run_answer(session: Session, run: Run) -> RunAnswer:
    """The whole run, worked out from its rows."""
    document = run_document(run)
    tickets = tickets_of(session, document.tickets)
    begun = bool(begun_words(session, run, document))
    return RunAnswer(
        **run_summary(run, document).model_dump(),
        version=run.version,
        legal_acts=legal_acts(RunState(run.state), begun=begun),
        recipe=document.recipe,
        width_mm=_mm(document.width_um),
        margin_mm=_mm(document.margin_um),
        gap_mm=_mm(document.gap_um),
        parts_mm=tuple(map(_mm, document.parts_um)),
        alone_mm=_mm(document.alone_um),
        prints=tuple(_prints(document, tickets)),
        pieces_placed=tuple(_pieces(document)),
        acts=_acts(session, run),
        reprints=_reprints(session, run),
    )


def _mm(length_um: int) -> float:
    return length_um / _UM_PER_MM


def _prints(document: RunDocument, tickets: Mapping[str, Ticket]) -> Iterator[RunPrintAnswer]:
    for one, first_place, last_place in document.places():
        yield RunPrintAnswer(
            ticket=one.ticket,
            state=TicketState(tickets[one.ticket].state),
            decoration=one.decoration,
            placement=one.placement,
            promised_day=one.promised_day,
            artwork_id=one.artwork_id,
            width_mm=_mm(one.width_um),
            height_mm=_mm(one.height_um),
            pieces=one.pieces,
            first_piece=one.first_piece,
            first_place=first_place,
            last_place=last_place,
        )


def _pieces(document: RunDocument) -> Iterator[RunPieceAnswer]:
    for piece in document.pieces:
        yield RunPieceAnswer(
            key=piece.key,
            ticket=piece.ticket,
            decoration=piece.decoration,
            piece=piece.piece,
            part=piece.part + 1,
            x_mm=_mm(piece.x_um),
            y_mm=_mm(piece.y_um),
            width_mm=_mm(piece.width_um),
            height_mm=_mm(piece.height_um),
            turned=piece.turned,
            turn_deg=piece.turn_deg,
        )


def _acts(session: Session, run: Run) -> tuple[RunActAnswer, ...]:
    acts = select(RunActRow).where(RunActRow.run_id == run.id)
    return tuple(
        RunActAnswer(act=RunAct(row.act), who=row.who, note=row.note, at=row.at)
        for row in session.exec(acts.order_by(col(RunActRow.id))).all()
    )


def _reprints(session: Session, run: Run) -> tuple[ReprintAnswer, ...]:
    rows = session.exec(
        select(RunReprint, Ticket.number, Run.number)
        .join(Ticket, col(Ticket.id) == col(RunReprint.ticket_id))
        .join(Run, col(Run.id) == col(RunReprint.done_by_run_id), isouter=True)
        .where(RunReprint.run_id == run.id)
        .order_by(col(RunReprint.id))
    ).all()
    return tuple(
        ReprintAnswer(
            ticket=ticket,
            decoration=row.decoration,
            pieces=row.pieces,
            first_piece=row.first_piece,
            who=row.who,
            note=row.note,
            at=row.at,
            done_by=done_by,
        )
        for row, ticket, done_by in rows
    )
