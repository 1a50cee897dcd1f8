"""Rows of minutes read: what jobs took, by cell, and what was accepted since."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col
from sqlmodel import select as select_rows

from service.domain.learning import Cell
from service.domain.shop import Catalogue
from service.domain.standard_minutes import (
    AcceptedMinutes,
    OperationName,
    StandardMinutes,
    all_operations,
    plain,
)
from service.store.tables import AcceptedStandard, RecordedMinutes

MOST_ENTRIES = 500
"""The newest entries of a cell that are read: after so many jobs one counts a thousandth."""

_MS_PER_MIN = 60_000
_PARTS = 10_000


def ms_of(minutes: Decimal) -> int:
    """Minutes of up to four decimals as milliseconds, exactly."""
    return int(minutes * _MS_PER_MIN)


def minutes_of(milliseconds: int) -> Decimal:
    """Milliseconds as minutes, to four decimals and without needless zeros."""
    return plain((Decimal(milliseconds) / _MS_PER_MIN).quantize(Decimal("0.0001")))


def parts_of(share: Decimal) -> int:
    """A share of up to four decimals in ten-thousandths."""
    return int(share * _PARTS)


def share_of(parts: int) -> Decimal:
    """Ten-thousandths as a share."""
    return plain(Decimal(parts) / _PARTS)


def accepted_minutes(session: Session) -> list[AcceptedMinutes]:
    """Everything that was accepted, the latest last."""
    rows = session.exec(select_rows(AcceptedStandard).order_by(col(AcceptedStandard.id))).all()
    return [
        AcceptedMinutes(
            name=OperationName(row.method, row.operation),
            station=row.station,
            written=StandardMinutes(minutes_of(row.written_each_ms), share_of(row.written_weed_e4)),
            accepted=StandardMinutes(minutes_of(row.each_ms), share_of(row.weed_e4)),
        )
        for row in rows
    ]


class _Entry(NamedTuple):
    """An entry that counts; ``written`` is each in milliseconds and share in ten-thousandths."""

    id: int
    job: tuple[int, str]
    name: OperationName
    cell: Cell
    taken_ms: int
    written_ms: int
    written: tuple[int, int]


def jobs_before(
    session: Session,
    moment: datetime,
    catalogue: Catalogue,
    written: Mapping[OperationName, StandardMinutes],
) -> dict[Cell, list[float]]:
    """Taken over written minutes of each job, by cell and the oldest first, as of ``moment``.

    A job is a ticket's step with all its entries, but for interrupted and corrected ones. What was
    entered while the files said something else, or of an operation that is gone, is left out.
    """
    cells = {one.name: one.cell for one in all_operations(catalogue)}
    figures = {
        name: (ms_of(one.each_min), parts_of(one.weed_share)) for name, one in written.items()
    }
    jobs: dict[tuple[int, str], list[_Entry]] = {}
    for entry in _entries(session, moment):
        if cells.get(entry.name) == entry.cell and figures[entry.name] == entry.written:
            jobs.setdefault(entry.job, []).append(entry)
    found: dict[Cell, list[float]] = {}
    for entries in jobs.values():  # by their first entries, the oldest first
        found.setdefault(entries[0].cell, []).append(_ratio(entries))
    return found


def _ratio(entries: Sequence[_Entry]) -> float:
    taken_ms = sum(one.taken_ms for one in entries)
    return taken_ms / sum(one.written_ms for one in entries)


def _entries(session: Session, moment: datetime) -> Iterator[_Entry]:
    """The newest entries of each cell that count as of the moment, the oldest first."""
    row = RecordedMinutes
    corrected = (
        select(col(row.corrects_id))
        .where(col(row.corrects_id).is_not(None), col(row.at) < moment)
        .scalar_subquery()
    )
    back = func.row_number().over(
        partition_by=(col(row.method), col(row.kind), col(row.station)),
        order_by=col(row.id).desc(),
    )
    counted = (
        select(col(row.id).label("id"), back.label("back"))
        .where(
            col(row.interrupted).is_(False),
            col(row.at) < moment,
            col(row.id).not_in(corrected),
        )
        .subquery()
    )
    found = session.connection().execute(
        select(
            *(col(row.id), col(row.ticket_id), col(row.step_key), col(row.method)),
            *(col(row.operation), col(row.kind), col(row.station), col(row.taken_ms)),
            *(col(row.written_ms), col(row.written_each_ms), col(row.written_weed_e4)),
        )
        .join(counted, counted.c.id == row.id)
        .where(counted.c.back <= MOST_ENTRIES)
        .order_by(col(row.id))
    )
    for id_, ticket, step, method, operation, kind, station, taken, planned, *written in found:
        yield _Entry(
            id=id_ or 0,
            job=(ticket, step),
            name=OperationName(method, operation),
            cell=Cell(method, kind, station),
            taken_ms=taken,
            written_ms=planned,
            written=(written[0], written[1]),
        )
