"""Runs: list and show them, accept, dissolve, and have spoiled pieces made anew.

Each act runs in the caller's transaction under the shop's lock, is kept as a row that nothing
deletes, and raises the versions of the run and of the tickets whose place on a roll it changes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from sqlalchemy import delete
from sqlmodel import Session, col, func, select

from service.domain.errors import BadInput, Conflict, FieldFault
from service.domain.run_document import RunDocument, RunPrint
from service.domain.run_states import RunAct, RunState
from service.intake.cursors import Cursor
from service.intake.names import unknown_name
from service.intake.run_answers import RunAnswer, RunPage
from service.intake.run_proposals import FREE_STATES
from service.intake.run_requests import ReprintRequest, RunActRequest
from service.intake.run_rows import (
    claims_of,
    find_run,
    prints_by_key,
    run_answer,
    run_summary,
    run_to_change,
    ticked_keys,
    tickets_of,
)
from service.intake.run_setups import give_back_setups, take_setups_again
from service.intake.services import Services
from service.intake.settling import settle_day
from service.intake.stock_tickets import needs_on_run
from service.store.database import lock_shop
from service.store.stock_sums import book_move, note_needed
from service.store.tables import (
    Run,
    RunActRow,
    RunActTicket,
    RunClaim,
    RunReprint,
    StockMove,
    Ticket,
)


@dataclass(frozen=True, slots=True)
class FoundRuns:
    """A page of runs; ``following`` is where the next one starts."""

    page: RunPage
    following: Cursor | None


def list_runs(
    services: Services, *, states: Collection[RunState], limit: int, cursor: Cursor | None
) -> FoundRuns:
    """Runs, the newest first; of all states where none is named."""

    def look(session: Session) -> FoundRuns:
        statement = select(Run)
        if states:
            statement = statement.where(col(Run.state).in_(states))
        if cursor is not None:
            statement = statement.where(col(Run.seq) < cursor.id)
        rows = session.exec(statement.order_by(col(Run.seq).desc()).limit(limit + 1)).all()
        page, more = rows[:limit], len(rows) > limit
        following = Cursor(page[-1].created_at.date(), page[-1].seq or 0) if more else None
        counts = select(Run.state, func.count()).group_by(col(Run.state)).order_by(col(Run.state))
        return FoundRuns(
            RunPage(
                runs=tuple(run_summary(run) for run in page),
                states={RunState(state): count for state, count in session.exec(counts).all()},
            ),
            following,
        )

    return services.database.read(look)


def get_run(services: Services, run_id: str) -> tuple[RunAnswer, int]:
    """The run and its version, for an ETag; ``NotFound`` if there is none of that id."""

    def look(session: Session) -> tuple[RunAnswer, int]:
        run = find_run(session, run_id)
        return run_answer(session, run), run.version

    return services.database.read(look)


def accept_run(
    services: Services,
    session: Session,
    run_id: str,
    request: RunActRequest,
    *,
    allowed_versions: Collection[int] | None = None,
) -> tuple[RunAnswer, int]:
    """Accept a proposed run: its prints are claimed, its film is booked, and set-ups given back.

    Raises ``run-ticket-taken`` when something of it is meanwhile on another run, printed or cut, or
    its ticket not to be made any more; ``run-not-legal`` and ``run-changed``.
    """
    lock_shop(session)
    settle_day(services, session)
    run, document = run_to_change(session, run_id, allowed_versions, RunAct.ACCEPT)
    tickets = tickets_of(session, document.tickets, lock=True)
    _refuse_taken(session, run, document, tickets)
    for one, first_place, last_place in document.places():
        claim = RunClaim(
            ticket_id=tickets[one.ticket].id or 0,
            decoration=one.decoration,
            medium=document.medium,
            first_piece=one.first_piece,
            pieces=one.pieces,
            first_place=first_place,
            last_place=last_place,
            run_id=run.id,
        )
        session.add(claim)
        if one.reprint is not None:
            session.get_one(RunReprint, one.reprint).done_by_run_id = run.id
    run.state = RunState.ACCEPTED
    session.flush()
    note_needed(session, [(item, -of_it) for item, of_it in needs_on_run(session, run)])
    _book(services, session, run, document, request, sign=-1)
    give_back_setups(services, session, run, document, tickets)
    _note_act(services, session, run, RunAct.ACCEPT, request, tickets)
    return run_answer(session, run), run.version


def _refuse_taken(
    session: Session, run: Run, document: RunDocument, tickets: Mapping[str, Ticket]
) -> None:
    taken = list(_taken(session, document, tickets))
    if taken:
        said = "; ".join(why for _, why in taken)
        raise Conflict(
            "run-ticket-taken",
            f"Run {run.number} cannot be accepted any more: {said}. Nothing was booked. Propose "
            "anew.",
            extra={"tickets": list(dict.fromkeys(number for number, _ in taken))},
        )


def _taken(
    session: Session, document: RunDocument, tickets: Mapping[str, Ticket]
) -> Iterator[tuple[str, str]]:
    """Tickets of which something is no longer free, and why."""
    ids = [row.id or 0 for row in tickets.values()]
    on_runs = {
        (one.ticket_id, one.decoration, one.medium, one.first_piece): one.run_id
        for one in claims_of(session, ids)
    }
    known, ticked = prints_by_key(tickets.values()), ticked_keys(session, ids)
    for one in document.prints:
        row = tickets[one.ticket]
        ticket_id = row.id or 0
        other = on_runs.get((ticket_id, one.decoration, document.medium, one.first_piece))
        waiting = known[one.ticket, one.decoration, document.medium]
        if row.state not in FREE_STATES:
            yield one.ticket, f"ticket {one.ticket} is '{row.state}'"
        elif other is not None:
            number = find_run(session, other).number
            yield one.ticket, f"ticket {one.ticket} is on run {number}"
        elif one.reprint is None and waiting.begun(ticked.get(ticket_id, frozenset())):
            yield one.ticket, f"printing or cutting of ticket {one.ticket} is ticked off"


def dissolve_run(
    services: Services,
    session: Session,
    run_id: str,
    request: RunActRequest,
    *,
    allowed_versions: Collection[int] | None = None,
) -> tuple[RunAnswer, int]:
    """Dissolve a run: its prints wait again, and film that was booked is given back.

    Set-ups are booked again where there is room; the note of the act says where there is none.
    Raises ``run-not-legal`` once work has begun on an accepted one, and ``run-changed``.
    """
    lock_shop(session)
    settle_day(services, session)
    run, document = run_to_change(session, run_id, allowed_versions, RunAct.DISSOLVE)
    tickets: Mapping[str, Ticket] = {}
    if run.state == RunState.ACCEPTED:
        tickets = tickets_of(session, document.tickets, lock=True)
        note_needed(session, needs_on_run(session, run))
        session.exec(delete(RunClaim).where(col(RunClaim.run_id) == run.id))
        carried = select(RunReprint).where(RunReprint.done_by_run_id == run.id)
        for row in session.exec(carried).all():
            row.done_by_run_id = None
        _book(services, session, run, document, request, sign=1)
        without_room = take_setups_again(services, session, run, tickets)
        note = " ".join(filter(None, (request.note, without_room)))
        request = RunActRequest.model_construct(who=request.who, note=note)
    run.state = RunState.DISSOLVED
    _note_act(services, session, run, RunAct.DISSOLVE, request, tickets)
    return run_answer(session, run), run.version


def reprint_pieces(
    services: Services,
    session: Session,
    run_id: str,
    request: ReprintRequest,
    *,
    allowed_versions: Collection[int] | None = None,
) -> tuple[RunAnswer, int]:
    """Ask for spoiled pieces anew; they join the next proposal as pieces of their ticket.

    Raises ``BadInput`` for a ticket or decoration that is not on the run and for more pieces than
    lie there, ``run-ticket-taken`` when the ticket is not to be made any more; ``run-not-legal``
    and ``run-changed``.
    """
    lock_shop(session)
    run, document = run_to_change(session, run_id, allowed_versions, RunAct.REPRINT)
    wanted = _print_to_redo(document, request)
    (ticket,) = tickets_of(session, [request.ticket], lock=True).values()
    if ticket.state not in FREE_STATES:
        raise Conflict(
            "run-ticket-taken",
            f"Ticket {ticket.number} is '{ticket.state}': nothing is printed or cut for it any "
            "more. Put it back on the bench first.",
            extra={"tickets": [ticket.number]},
        )
    own = prints_by_key([ticket])[ticket.number, wanted.decoration, document.medium]
    reprint = RunReprint(
        run_id=run.id,
        ticket_id=ticket.id or 0,
        decoration=request.decoration,
        medium=document.medium,
        pieces=request.pieces,
        first_piece=own.pieces + 1 + _asked_before(session, ticket, wanted, document.medium),
        who=request.who,
        note=request.note,
        at=services.clock(),
        version=run.version + 1,
    )
    said = RunActRequest(who=request.who, note=request.note)
    session.add(reprint)
    _note_act(services, session, run, RunAct.REPRINT, said, {})
    return run_answer(session, run), run.version


def _print_to_redo(document: RunDocument, request: ReprintRequest) -> RunPrint:
    of_ticket = [one for one in document.prints if one.ticket == request.ticket]
    if not of_ticket:
        detail = unknown_name("ticket", request.ticket, document.tickets, " on this run")
        raise _refused("ticket", "unknown-name", detail)
    of_decoration = [one for one in of_ticket if one.decoration == request.decoration]
    if not of_decoration:
        there = ", ".join(str(one.decoration) for one in of_ticket)
        detail = f"Of ticket {request.ticket} this run holds decoration {there}, counted from 0."
        raise _refused("decoration", "unknown-name", detail)
    most = sum(one.pieces for one in of_decoration)
    if request.pieces > most:
        detail = f"{request.pieces} pieces cannot be spoiled of the {most} that lie on this run."
        raise _refused("pieces", "too-large", detail)
    return of_decoration[0]


def _refused(field: str, code: str, detail: str) -> BadInput:
    fault = FieldFault(detail, path=(field,), code=code)
    return BadInput("fields-refused", detail, faults=[fault])


def _asked_before(session: Session, ticket: Ticket, wanted: RunPrint, medium: str) -> int:
    """Pieces of the print that were asked for anew before, on whatever run."""
    pieces = select(func.coalesce(func.sum(RunReprint.pieces), 0)).where(
        RunReprint.ticket_id == ticket.id,
        RunReprint.decoration == wanted.decoration,
        RunReprint.medium == medium,
    )
    return int(session.exec(pieces).one())


def _book(
    services: Services,
    session: Session,
    run: Run,
    document: RunDocument,
    request: RunActRequest,
    *,
    sign: int,
) -> None:
    """Take the run's film from stock, or with ``sign`` 1 give it back."""
    taken = len(document.parts_um) if document.sheets else document.length_um
    book_move(
        session,
        StockMove(
            kind="medium",
            item=document.medium,
            colour=document.colour,
            quantity=sign * taken,
            unit="sheets" if document.sheets else "um",
            reason="run" if sign < 0 else "run_dissolved",
            run_id=run.id,
            who=request.who,
            note=request.note,
            at=services.clock(),
        ),
    )


def _note_act(
    services: Services,
    session: Session,
    run: Run,
    act: RunAct,
    request: RunActRequest,
    tickets: Mapping[str, Ticket],
) -> None:
    """Keep the act, and raise the versions of the run and of the tickets it changed."""
    run.version += 1
    row = RunActRow(
        run_id=run.id,
        act=act,
        who=request.who,
        note=request.note,
        at=services.clock(),
        version=run.version,
    )
    session.add_all([run, row])
    session.flush()
    for ticket in tickets.values():
        ticket.version += 1
        session.add(ticket)
        changed = RunActTicket(ticket_id=ticket.id or 0, version=ticket.version, act_id=row.id or 0)
        session.add(changed)
    session.flush()
