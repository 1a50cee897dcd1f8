"""What tickets were planned to take: their works, as they are kept with the quote."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.machines import Station
from service.domain.promising import StationWork
from service.intake.services import Services
from service.store.tables import Order, Quote

_BATCH = 100
"""Plans read at once: each holds the documents of its tickets."""


class PlannedWorks(NamedTuple):
    """The works of a line as it was quoted, by a version of the catalogue.

    Of a ticket that makes pieces anew they are those of the pieces' first ticket: the same
    stations in the same order.
    """

    works: tuple[StationWork, ...]
    catalogue_version: str


def planned_works(
    session: Session, tickets: Sequence[tuple[int, str, int]]
) -> dict[int, PlannedWorks]:
    """The works of tickets, each given by its id, its order's id and its line, by ticket id."""
    orders = sorted({order_id for _, order_id, _ in tickets})
    by_order: dict[str, tuple[list[tuple[StationWork, ...]], str]] = {}
    for start in range(0, len(orders), _BATCH):
        by_order |= dict(_of_orders(session, orders[start : start + _BATCH]))
    found: dict[int, PlannedWorks] = {}
    for ticket_id, order_id, line in tickets:
        lines, version = by_order.get(order_id, ([], ""))
        works = lines[line] if line < len(lines) else ()
        found[ticket_id] = PlannedWorks(works, version)
    return found


def _of_orders(
    session: Session, orders: Sequence[str]
) -> Iterator[tuple[str, tuple[list[tuple[StationWork, ...]], str]]]:
    rows = session.connection().execute(
        sa_select(col(Order.id), col(Quote.plan_json), col(Quote.catalogue_version))
        .join(Quote, col(Quote.id) == col(Order.quote_id))
        .where(col(Order.id).in_(orders))
    )
    for order_id, plan_json, version in rows:
        planned = json.loads(plan_json).get("tickets", [])
        lines = [tuple(StationWork(*work) for work in one.get("works", ())) for one in planned]
        yield order_id, (lines, version)


def stations_for(
    services: Services, session: Session, works: Sequence[PlannedWorks], needed: set[str]
) -> Mapping[str, Station]:
    """The stations in force, and of those that are gone from the catalogue as they were quoted."""
    known = dict(services.catalogues.current.catalogue.station_by_id)
    for version in sorted({one.catalogue_version for one in works if one.catalogue_version}):
        if needed <= known.keys():
            break
        quoted = services.catalogues.of_version(session, version).catalogue
        known = {**quoted.station_by_id, **known}
    return known
