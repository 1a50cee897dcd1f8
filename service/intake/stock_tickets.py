"""What tickets take from stock, and when.

Blanks are taken, spares among them, when a ticket is first started. When it is finished, film and
paper that lie on no run and the ink are taken as its document tells them, and blanks that were
neither made well nor spoiled are given back; so are all of them when it is cancelled. A ticket that
goes back to the bench takes nothing a second time but the further blanks that it uses up. Film of
runs is booked with the run (:mod:`service.intake.runs`). What is spoiled beyond that, off a run, is
seen by a count. A ticket takes what it needs whether or not the shelf has it: on hand may fall
below 0, which tells that the ledger is wrong.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import and_, delete
from sqlalchemy import select as sum_up
from sqlmodel import Session, col, func, select

from service.domain.stock import MoveReason
from service.domain.stock_items import StockItem, StockKind
from service.domain.stock_needs import Need
from service.domain.ticket_states import Move
from service.intake.requests import MoveRequest
from service.intake.stock_rows import item_of, key_of
from service.intake.ticket_rows import document_of, piece_count, piece_rows
from service.store.many_rows import write_tables
from service.store.new_orders import rows_of_needs
from service.store.stock_sums import book_move, note_needed
from service.store.tables import Run, RunClaim, StockMove, Ticket, TicketNeed


def write_needs(session: Session, ticket: Ticket, needs: Collection[Need]) -> None:
    """Write what a new ticket needs; it has its id already."""
    rows = need_rows(ticket.id or 0, needs)
    write_tables(session.connection(), [rows_of_needs(rows)])
    note_needed(session, [(one.item, one.quantity) for one in needs])


def need_rows(ticket_id: int, needs: Iterable[Need]) -> list[dict[str, Any]]:
    """What a ticket needs as it is written: one row of a thing and a decoration."""
    needed: dict[tuple[StockItem, int], int] = {}
    for need in needs:
        key = need.item, need.decoration
        needed[key] = needed.get(key, 0) + need.quantity
    return [
        {
            "ticket_id": ticket_id,
            "decoration": decoration,
            "quantity": quantity,
            **item._asdict(),
        }
        for (item, decoration), quantity in needed.items()
    ]


def book_ticket(session: Session, ticket: Ticket, request: MoveRequest, at: datetime) -> None:
    """Take from stock or give back what a move of a locked ticket asks for."""
    if request.move is Move.START:
        _take(session, ticket, _needs(session, ticket, blanks=True), request, at)
    elif request.move is Move.FINISH:
        on_runs = _on_runs(session, ticket)
        needs = _needs(session, ticket, blanks=False)
        taken = [one for one in needs if (one.decoration, one.item, one.kind) not in on_runs]
        _take(session, ticket, taken, request, at)
        _clear(session, ticket, on_runs)
        _settle_blanks(session, ticket, _used_blanks(session, ticket), request, at)
    elif request.move is Move.CANCEL:
        _clear(session, ticket, _on_runs(session, ticket))
        _settle_blanks(session, ticket, {}, request, at)


def _needs(session: Session, ticket: Ticket, *, blanks: bool) -> list[TicketNeed]:
    is_blank = col(TicketNeed.kind) == StockKind.BLANK
    statement = select(TicketNeed).where(
        TicketNeed.ticket_id == ticket.id, is_blank if blanks else ~is_blank
    )
    order = (col(TicketNeed.kind), col(TicketNeed.item), col(TicketNeed.colour))
    return list(
        session.exec(
            statement.order_by(*order, col(TicketNeed.size), col(TicketNeed.decoration))
        ).all()
    )


def _on_runs(session: Session, ticket: Ticket) -> set[tuple[int, str, str]]:
    claims = select(RunClaim.decoration, RunClaim.medium).where(
        RunClaim.ticket_id == ticket.id, RunClaim.first_piece == 1
    )
    return {(index, medium, StockKind.MEDIUM) for index, medium in session.exec(claims).all()}


def _take(
    session: Session,
    ticket: Ticket,
    needs: Iterable[TicketNeed],
    request: MoveRequest,
    at: datetime,
) -> None:
    for need in needs:
        item = item_of(need.kind, need.item, need.colour, need.size, need.unit)
        _book(session, ticket, item, -need.quantity, request, at)
        note_needed(session, [(item, -need.quantity)])
        session.delete(need)
    session.flush()


def _clear(session: Session, ticket: Ticket, on_runs: Collection[tuple[int, str, str]]) -> None:
    """Strike what the ticket still needs; what of it is on a run was not needed any more."""
    gone = (
        delete(TicketNeed)
        .where(col(TicketNeed.ticket_id) == ticket.id)
        .returning(*key_of(TicketNeed), col(TicketNeed.decoration), col(TicketNeed.quantity))
    )
    for *thing, decoration, quantity in session.connection().execute(gone):
        item = item_of(*thing)
        if (decoration, item.item, item.kind) not in on_runs:
            note_needed(session, [(item, -quantity)])


def needs_on_run(session: Session, run: Run) -> list[tuple[StockItem, int]]:
    """What open tickets need that lies on the run by its claims, without pieces made anew."""
    key = key_of(TicketNeed)
    claimed = (
        sum_up(*key, func.sum(TicketNeed.quantity))
        .join_from(
            RunClaim,
            TicketNeed,
            and_(
                col(RunClaim.ticket_id) == col(TicketNeed.ticket_id),
                col(RunClaim.decoration) == col(TicketNeed.decoration),
                col(RunClaim.medium) == col(TicketNeed.item),
            ),
        )
        .where(
            col(RunClaim.run_id) == run.id,
            col(RunClaim.first_piece) == 1,
            col(TicketNeed.kind) == StockKind.MEDIUM,
        )
        .group_by(*key)
    )
    rows = session.connection().execute(claimed)
    return [(item_of(*row[:5]), int(row[5])) for row in rows]


def _used_blanks(session: Session, ticket: Ticket) -> dict[str, int]:
    count = piece_count(document_of(ticket), piece_rows(session, ticket))
    return {one.size: one.good + one.lost for one in count.sizes}


def _settle_blanks(
    session: Session, ticket: Ticket, used: dict[str, int], request: MoveRequest, at: datetime
) -> None:
    """Make the blanks that the ticket has taken those that it used up; by size.

    A ticket that was started before stock was kept took none, and gives none back.
    """
    key = key_of(StockMove)
    taken = (
        sum_up(*key, func.sum(StockMove.quantity))
        .where(col(StockMove.ticket_id) == ticket.id, col(StockMove.kind) == StockKind.BLANK)
        .group_by(*key)
        .order_by(*key)
    )
    for row in session.connection().execute(taken):
        item = item_of(*row[:5])
        _book(session, ticket, item, -int(row[5]) - used.get(item.size, 0), request, at)


def _book(
    session: Session,
    ticket: Ticket,
    item: StockItem,
    quantity: int,
    request: MoveRequest,
    at: datetime,
) -> None:
    if not quantity:
        return
    reason = MoveReason.TICKET if quantity < 0 else MoveReason.TICKET_BACK
    book_move(
        session,
        StockMove(
            **item._asdict(),
            quantity=quantity,
            reason=reason,
            ticket_id=ticket.id,
            who=request.who,
            note=request.note,
            at=at,
        ),
    )
