"""The sums of stock reckoned anew from all rows, to hold those that are kept against."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from sqlalchemy import exists, or_
from sqlalchemy import select as sum_up
from sqlmodel import Session, col, func

from service.store.tables import RunClaim, StockMove, StockSum, TicketNeed
from tests.web.shop.door import ShopDoor

Sums = dict[tuple[str, ...], tuple[int, int, int]]
"""On hand, by how many moves, and needed, by kind, item, colour, size and unit."""


def assert_sums_are_those_of_rows(shop: ShopDoor) -> None:
    """What is kept of each thing is what its rows come to."""
    kept, reckoned = shop.read(lambda session: (_kept(session), _reckoned(session)))
    assert kept == reckoned


def _kept(session: Session) -> Sums:
    """Of things with any move or need; the sums of others have to be nothing, and are left out."""
    sums = col(StockSum.on_hand), col(StockSum.moves), col(StockSum.needed)
    rows = session.connection().execute(sum_up(*_thing(StockSum), *sums))
    return {tuple(row[:5]): tuple(row[5:]) for row in rows if any(row[5:])}


def _reckoned(session: Session) -> Sums:
    on_run = exists().where(
        col(RunClaim.ticket_id) == col(TicketNeed.ticket_id),
        col(RunClaim.decoration) == col(TicketNeed.decoration),
        col(RunClaim.medium) == col(TicketNeed.item),
        col(RunClaim.first_piece) == 1,
    )
    moved = sum_up(*_thing(StockMove), func.sum(StockMove.quantity), func.count())
    needed = sum_up(*_thing(TicketNeed), func.sum(TicketNeed.quantity))
    needed = needed.where(or_(col(TicketNeed.kind) != "medium", ~on_run))
    found: defaultdict[tuple[str, ...], tuple[int, int, int]] = defaultdict(lambda: (0, 0, 0))
    for row in session.connection().execute(moved.group_by(*_thing(StockMove))):
        found[tuple(row[:5])] = int(row[5]), row[6], 0
    for row in session.connection().execute(needed.group_by(*_thing(TicketNeed))):
        found[tuple(row[:5])] = (*found[tuple(row[:5])][:2], int(row[5]))
    return dict(found)


def _thing(table: type[StockMove | TicketNeed | StockSum]) -> tuple[Any, ...]:
    return (
        col(table.kind),
        col(table.item),
        col(table.colour),
        col(table.size),
        col(table.unit),
    )
