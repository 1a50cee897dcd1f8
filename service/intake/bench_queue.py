"""What waits at the bench: the queue by station and urgency, and what to fetch for a day."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Select, func, union_all
from sqlalchemy import select as sa_select
from sqlmodel import Session, col, exists, or_, select

from service.domain.picking import PickingList, picking_list
from service.domain.slack import ShopHours, from_epoch_s
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import Move, TicketState
from service.intake.answers import TicketSummary
from service.intake.cursors import MomentCursor
from service.intake.services import Services
from service.intake.ticket_rows import summary
from service.intake.urgency import OPEN_STATES
from service.store.tables import KeptDocument, Ticket, TicketMove

_S_PER_MIN = 60


@dataclass(frozen=True, slots=True)
class QueuePage:
    """A page of tickets, the most urgent first; ``following`` is where the next one starts.

    ``stations`` counts the tickets of the asked states by station, those at other stations too.
    """

    tickets: tuple[TicketSummary, ...]
    stations: Mapping[str, int]
    following: MomentCursor | None


def bench_queue(
    services: Services,
    *,
    station: str | None,
    states: Collection[TicketState],
    limit: int,
    cursor: MomentCursor | None,
) -> QueuePage:
    """Tickets by slack, the least first (:mod:`service.domain.slack`), then as they were written.

    Of all stations and states where none is named. A ticket waits at the station of its next step.
    """
    wanted = tuple(dict.fromkeys(states)) or tuple(TicketState)
    catalogue, now = services.catalogues.current.catalogue, services.clock()
    hours = ShopHours(catalogue.calendar, catalogue.stations)

    def look(session: Session) -> QueuePage:
        rows = _most_urgent(session, station, wanted, limit + 1, cursor)
        page, more = rows[:limit], len(rows) > limit
        following = MomentCursor(page[-1].latest_start_s, page[-1].id or 0) if more else None
        told = tuple(_told(row, hours, now) for row in page)
        return QueuePage(told, _by_station(session, wanted), following)

    return services.database.read(look)


def _told(row: Ticket, hours: ShopHours, now: datetime) -> TicketSummary:
    if TicketState(row.state) not in OPEN_STATES:
        return summary(row)
    latest_start = from_epoch_s(row.latest_start_s)
    return summary(row, latest_start, hours.slack_s(now, latest_start) // _S_PER_MIN)


def _most_urgent(
    session: Session,
    station: str | None,
    states: Collection[TicketState],
    limit: int,
    cursor: MomentCursor | None,
) -> list[Ticket]:
    """The first tickets of all the states, in order."""
    # Of each state an index holds start and id in this order, and no row need be read for them.
    firsts = [_first_of(state, station, limit, cursor).subquery() for state in states]
    merged = union_all(*(sa_select(one.c.latest_start_s, one.c.id) for one in firsts)).subquery()
    ids = sa_select(merged.c.id).order_by(merged.c.latest_start_s, merged.c.id).limit(limit)
    found = session.connection().execute(ids).scalars().all()
    rows = select(Ticket).where(col(Ticket.id).in_(found))
    return sorted(session.exec(rows).all(), key=lambda row: (row.latest_start_s, row.id or 0))


def _first_of(
    state: TicketState, station: str | None, limit: int, cursor: MomentCursor | None
) -> Select[int, int | None]:
    statement = sa_select(col(Ticket.latest_start_s), col(Ticket.id)).where(
        col(Ticket.state) == state
    )
    if station is not None:
        statement = statement.where(col(Ticket.station) == station)
    if cursor is not None:
        later = col(Ticket.latest_start_s) > cursor.at_s
        same = (col(Ticket.latest_start_s) == cursor.at_s) & (col(Ticket.id) > cursor.id)
        statement = statement.where(or_(later, same))
    return statement.order_by(col(Ticket.latest_start_s), col(Ticket.id)).limit(limit)


def _by_station(session: Session, states: Collection[TicketState]) -> dict[str, int]:
    counts = (
        select(Ticket.station, func.count())
        .where(col(Ticket.state).in_(states), Ticket.station != "")
        .group_by(col(Ticket.station))
        .order_by(col(Ticket.station))
    )
    return dict(session.exec(counts).all())


def picking_of_day(services: Services, day: date) -> PickingList:
    """What to fetch for the tickets never begun that are promised up to that day.

    Those are the waiting ones that nobody has started yet: of a ticket that was started and put
    back the blanks are fetched already, and one set aside is not to be fetched for. What is
    overdue counts.
    """
    begun = exists().where(
        col(TicketMove.ticket_id) == Ticket.id, col(TicketMove.move) == Move.START
    )
    tickets = (
        select(Ticket.number, KeptDocument.document_json)
        .join(KeptDocument, col(KeptDocument.sha256) == col(Ticket.document_sha256))
        .where(Ticket.state == TicketState.WAITING, col(Ticket.promised_day) <= day, ~begun)
    )
    rows = services.database.read(lambda session: session.exec(tickets).all())
    return picking_list(
        (number, TicketDocument.model_validate_json(document)) for number, document in rows
    )
