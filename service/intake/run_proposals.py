"""Runs proposed from what waits: read, then laid out by the domain, then written down.

Laying out takes up to seconds, so it is done between two transactions. Meanwhile tickets may move:
a proposal binds nothing, and what it holds is looked at again when it is accepted.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count

from sqlmodel import Session, col, select

from service.domain.roll import Strip
from service.domain.run_document import RunDocument
from service.domain.run_states import RunAct, RunState
from service.domain.runs import LeftOut, Proposed, propose_runs
from service.domain.shop import Catalogue
from service.domain.ticket_states import TicketState
from service.domain.waiting_prints import OnStrip, WaitingPrint, envelope_of, prints_of
from service.domain.work import strip_on
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.run_answers import LeftOutAnswer, ProposedAnswer, RunSummary
from service.intake.run_requests import RunsRequest
from service.intake.run_rows import (
    claims_of,
    next_run,
    read_prints,
    run_number,
    run_summary,
    ticked_keys,
)
from service.intake.services import Services
from service.store.database import lock_shop
from service.store.tables import Run, RunActRow, RunReprint, Ticket

FREE_STATES = (TicketState.WAITING, TicketState.ON_BENCH)
"""Tickets of which something may still be printed and cut."""

MOST_TICKETS = 1_000
"""So many are ganged at once, the most urgent; the others are for the next proposal."""

_PAGE_TICKETS = 500


@dataclass(frozen=True, slots=True)
class Waiting:
    """What waits to be ganged, what cannot be, and whether there is more, less urgent."""

    prints: tuple[OnStrip, ...]
    left_out: tuple[LeftOut, ...]
    more: bool
    catalogue: Catalogue


def waiting_prints(services: Services, request: RunsRequest) -> Waiting:
    """Every print that waits and lies on no accepted run. Waits for the store."""
    catalogue = services.catalogues.current.catalogue
    found, more = services.database.read(lambda session: _waiting(session, request))
    wanted = {one.artwork_id for one in found if isinstance(one, WaitingPrint)}
    artworks = services.database.read(lambda session: services.artworks.fetch(session, wanted))
    prints: list[OnStrip] = []
    left_out: list[LeftOut] = []
    for one in found:
        if isinstance(one, LeftOut):
            left_out.append(one)
        elif request.medium is None or one.medium == request.medium:
            laid = _on_strip(catalogue, one, artworks)
            if isinstance(laid, LeftOut):
                left_out.append(laid)
            else:
                prints.append(laid)
    return Waiting(tuple(prints), tuple(left_out), more, catalogue)


def _waiting(session: Session, request: RunsRequest) -> tuple[list[WaitingPrint | LeftOut], bool]:
    """What waits of the most urgent tickets, and whether there are more."""
    found: list[WaitingPrint | LeftOut] = []
    tickets = 0
    for rows in _pages(session, request):
        for of_ticket in _prints(session, rows):
            tickets += bool(of_ticket)
            if tickets > MOST_TICKETS:
                return found, True
            found += of_ticket
    return found, False


def _pages(session: Session, request: RunsRequest) -> Iterator[Sequence[Ticket]]:
    """Tickets of which something may wait, the most urgent first."""
    statement = select(Ticket).where(col(Ticket.state).in_(FREE_STATES))
    if request.until is not None:
        statement = statement.where(col(Ticket.promised_day) <= request.until)
    statement = statement.order_by(col(Ticket.promised_day), col(Ticket.id)).limit(_PAGE_TICKETS)
    for start in count(step=_PAGE_TICKETS):
        rows = session.exec(statement.offset(start)).all()
        yield rows
        if len(rows) < _PAGE_TICKETS:
            return


def _prints(session: Session, rows: Sequence[Ticket]) -> Iterator[list[WaitingPrint | LeftOut]]:
    """What waits of each ticket; of most of those on the bench nothing does."""
    ids = [row.id or 0 for row in rows]
    ticked = ticked_keys(session, ids)
    claimed = {(one.ticket_id, one.decoration, one.medium) for one in claims_of(session, ids)}
    reprints = _open_reprints(session, ids)
    for row in rows:
        document, ticket_id = read_prints(row), row.id or 0
        if document.is_old:
            why = "It was written before runs were made; print and cut it by itself."
            yield [LeftOut(row.number, None, None, why)]
            continue
        of_ticket: list[WaitingPrint | LeftOut] = []
        for one in prints_of(row.number, row.promised_day, document):
            key = ticket_id, one.decoration, one.medium
            if key not in claimed and not one.begun(ticked.get(ticket_id, frozenset())):
                of_ticket.append(one)
            of_ticket += [
                one.again(again.pieces, again.first_piece, again.id or 0)
                for again in reprints.get(key, ())
            ]
        yield of_ticket


def _open_reprints(
    session: Session, ticket_ids: Sequence[int]
) -> dict[tuple[int, int, str], list[RunReprint]]:
    rows = select(RunReprint).where(
        col(RunReprint.ticket_id).in_(ticket_ids), col(RunReprint.done_by_run_id).is_(None)
    )
    found: dict[tuple[int, int, str], list[RunReprint]] = {}
    for row in session.exec(rows.order_by(col(RunReprint.id))).all():
        found.setdefault((row.ticket_id, row.decoration, row.medium), []).append(row)
    return found


def _on_strip(
    catalogue: Catalogue, one: WaitingPrint, artworks: Mapping[str, ShelvedArtwork]
) -> OnStrip | LeftOut:
    """The print with what its medium leaves to lie on, by the catalogue now in force."""
    medium = catalogue.medium_by_id.get(one.medium)
    if medium is None:
        why = f"The catalogue has lost the medium '{one.medium}'."
        return LeftOut(one.ticket, one.decoration, one.medium, why)
    method = catalogue.method_by_id.get(one.method)
    strip = Strip.of(medium) if method is None else strip_on(catalogue, method, medium)
    artwork = artworks.get(one.artwork_id)
    envelope_um = None if artwork is None else envelope_of(one, artwork.measures)
    return OnStrip(one, strip, medium.name, envelope_um)


def lay_runs(waiting: Waiting) -> Proposed:
    """The runs; called off the event loop, for it takes up to seconds."""
    catalogue = waiting.catalogue
    found = propose_runs(waiting.prints, catalogue.policy, catalogue.calendar)
    return Proposed(found.runs, (*waiting.left_out, *found.left_out))


def write_runs(
    services: Services,
    session: Session,
    request: RunsRequest,
    proposed: Proposed,
    *,
    more: bool,
) -> tuple[ProposedAnswer, bool]:
    """Write the runs down, and whether any is new: one proposed before is not written again.

    Runs in the caller's transaction.
    """
    lock_shop(session)
    standing = _standing(session, proposed.runs)
    seq, before = next_run(session), len(standing)
    answers: list[RunSummary] = []
    for document in proposed.runs:
        text = document.model_dump_json()
        if text not in standing:
            standing[text] = _write(services, session, request, document, text, seq)
            seq += 1
        answers.append(run_summary(standing[text], document))
    session.flush()
    told = ProposedAnswer(
        runs=tuple(answers), left_out=_left_out(proposed.left_out), more_wait=more
    )
    return told, len(standing) > before


def _standing(session: Session, documents: Iterable[RunDocument]) -> dict[str, Run]:
    """Runs still proposed by their documents, of those lengths."""
    lengths = {document.length_um for document in documents}
    rows = select(Run).where(Run.state == RunState.PROPOSED, col(Run.length_um).in_(lengths))
    return {row.document_json: row for row in session.exec(rows).all()}


def _write(
    services: Services,
    session: Session,
    request: RunsRequest,
    document: RunDocument,
    text: str,
    seq: int,
) -> Run:
    run = Run(
        seq=seq,
        id=services.new_id("run"),
        number=run_number(seq),
        medium=document.medium,
        colour=document.colour,
        state=RunState.PROPOSED,
        document_json=text,
        length_um=document.length_um,
        created_at=services.clock(),
        who=request.who,
    )
    act = RunActRow(
        run_id=run.id, act=RunAct.PROPOSE, who=request.who, at=services.clock(), version=1
    )
    session.add_all([run, act])
    return run


def _left_out(found: Iterable[LeftOut]) -> tuple[LeftOutAnswer, ...]:
    return tuple(
        LeftOutAnswer(ticket=one.ticket, decoration=one.decoration, medium=one.medium, why=one.why)
        for one in found
    )
