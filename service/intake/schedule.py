"""The schedule: load of each station by day, exceptions, and what has lost its room."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from sqlalchemy import or_
from sqlalchemy import select as sa_select
from sqlmodel import Session, col, select

from service.domain.errors import BadInput, FieldFault
from service.domain.station_load import (
    BookedShare,
    DayLoad,
    OrderAtRisk,
    StationLoad,
    day_loads,
    orders_at_risk,
    span,
)
from service.domain.ticket_states import TicketState
from service.intake.answers import Answer, Moment
from service.intake.order_days import soonest_day
from service.intake.services import Services
from service.store.tables import Booking, OrderPromise, StationDay, Ticket

MOST_DAYS = 62
MOST_LATE = 200
"""Late orders that are named."""
USUAL_DAYS = 14
FIRST_DAY = date(2000, 1, 1)
LAST_DAY = date(2999, 12, 31)

_UNFINISHED = frozenset({TicketState.WAITING, TicketState.ON_BENCH, TicketState.HALTED})
"""Tickets whose pieces are not all made."""

_TO_WORK = _UNFINISHED | {TicketState.MADE}
"""Tickets of which what is not worked may still be moved."""


@dataclass(frozen=True, slots=True)
class LateOrder:
    """An open order that will be, or is, past its promised day, and its tickets that are open.

    ``told_day`` is the late day that was last told, None where none was.
    """

    order_id: str
    promised_day: date
    expected_day: date
    told_day: date | None
    tickets: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Schedule:
    """The load of a span of days, in the shop's own zone, and whose tickets lost their room.

    So many orders are late in all; those promised first are named.
    """

    time_zone: str
    days: tuple[DayLoad, ...]
    orders_at_risk: tuple[OrderAtRisk, ...]
    late_orders: tuple[LateOrder, ...]
    late_order_count: int


class ExceptionAnswer(Answer):
    """Why a station works other minutes than usual; both count all its machines."""

    usual_min: int
    why: str


class StationLoadAnswer(Answer):
    """A station's day, in whole minutes of all its machines.

    ``free_min`` is what may still be promised, with what is kept for rush, today of what is left of
    the day.
    ``over_capacity_min`` is booked and does not fit. ``tickets`` counts the unfinished ones booked
    here; ``due_tickets`` are those of them promised for this day. ``at_risk`` are those without
    room: what is made counts first, then what is promised earliest. ``done_at`` is when all that is
    booked on this day would be done, begun at the opening and with nothing else booked.
    """

    station: str
    name: str
    capacity_min: int
    booked_min: int
    free_min: int
    over_capacity_min: int
    exception: ExceptionAnswer | None
    tickets: int
    due_tickets: tuple[str, ...]
    at_risk: tuple[str, ...]
    done_at: Moment | None


class DayLoadAnswer(Answer):
    """A day of the schedule; ``closed`` says why the shop does not work, None where it does.

    ``due_tickets`` are the unfinished ones promised for the day, wherever they are booked.
    """

    day: date
    closed: str | None
    opens_at: Moment | None
    due_tickets: tuple[str, ...]
    stations: tuple[StationLoadAnswer, ...]


class OrderAtRiskAnswer(Answer):
    """An order with tickets booked on a day that no longer has the room for them."""

    order_id: str
    promised_day: date
    tickets: tuple[str, ...]


class LateOrderAnswer(Answer):
    """An open order that is expected after its promised day, or that the day has passed.

    ``tickets`` are those of it that are neither checked nor cancelled. ``told_day`` is the late day
    that the customer's side was last told, None where it was told of none; that is made up for with
    the shop's next booking or move.
    """

    order_id: str
    promised_day: date
    expected_day: date
    told_day: date | None
    tickets: tuple[str, ...]


class ScheduleAnswer(Answer):
    """Load by day and station. Days are the shop's own, in ``time_zone``.

    ``late_orders`` are late whatever days are asked for, the earliest promised first;
    ``late_order_count`` counts those too that are left out of a long list.
    """

    time_zone: str
    days: tuple[DayLoadAnswer, ...]
    orders_at_risk: tuple[OrderAtRiskAnswer, ...]
    late_orders: tuple[LateOrderAnswer, ...]
    late_order_count: int


def look_at_schedule(services: Services, from_day: date | None, days: int) -> Schedule:
    """The schedule of so many days, from today on unless another day is asked for.

    Station days, bookings and tickets are read by the range of days alone. Raises ``BadInput`` for
    a day outside ``FIRST_DAY`` to ``LAST_DAY`` or a number outside 1 to ``MOST_DAYS``.
    """
    catalogue, now = services.catalogues.current.catalogue, services.clock()
    zone = catalogue.calendar.time_zone
    first = now.astimezone(ZoneInfo(zone)).date() if from_day is None else from_day
    _check(first, days)
    asked = span(first, days)

    soonest = soonest_day(services)
    booked_s, shares, due, late = services.database.read(
        lambda session: (
            _booked(session, first, asked[-1]),
            _shares(session, first, asked[-1]),
            _due(session, first, asked[-1]),
            _late(session, soonest),
        )
    )
    loads = day_loads(catalogue, booked_s, shares, due=due, days=asked, now=now)
    return Schedule(zone, loads, orders_at_risk(loads, shares), *late)


def _check(first: date, days: int) -> None:
    faults = []
    if not FIRST_DAY <= first <= LAST_DAY:
        what = f"A schedule is drawn from {FIRST_DAY} to {LAST_DAY}, not from {first}."
        faults.append(FieldFault(what, parameter="from"))
    if not 1 <= days <= MOST_DAYS:
        what = f"A schedule holds 1 to {MOST_DAYS} days, not {days}; ask again for later ones."
        faults.append(FieldFault(what, parameter="days"))
    if faults:
        raise BadInput("fields-refused", "No such schedule can be drawn.", faults=faults)


def _booked(session: Session, first: date, last: date) -> dict[tuple[str, date], int]:
    rows = select(StationDay).where(col(StationDay.day).between(first, last))
    return {(row.station, row.day): row.booked_s for row in session.exec(rows) if row.booked_s}


def _shares(session: Session, first: date, last: date) -> list[BookedShare]:
    rows = (
        sa_select(
            col(Booking.station),
            col(Booking.day),
            col(Booking.seconds),
            col(Ticket.number),
            col(Ticket.order_id),
            col(Ticket.promised_day),
            col(Ticket.id),
            col(Ticket.state),
            col(Booking.worked),
        )
        .join(Ticket, col(Ticket.id) == col(Booking.ticket_id))
        .where(col(Booking.day).between(first, last))
    )
    return [
        BookedShare(*row[:6], place=row[6] or 0, unfinished=row[7] in _TO_WORK and not row[8])
        for row in session.connection().execute(rows)
    ]


def _due(session: Session, first: date, last: date) -> dict[date, list[str]]:
    rows = (
        sa_select(col(Ticket.promised_day), col(Ticket.number))
        .where(col(Ticket.state).in_(_UNFINISHED), col(Ticket.promised_day).between(first, last))
        .order_by(col(Ticket.promised_day), col(Ticket.id))
    )
    found: dict[date, list[str]] = defaultdict(list)
    for day, number in session.connection().execute(rows):
        found[day].append(number)
    return found


def _late(session: Session, soonest: date) -> tuple[tuple[LateOrder, ...], int]:
    """Open orders that are late, and how many; one whose day is over leaves ``soonest``."""
    rows = (
        sa_select(
            col(OrderPromise.order_id),
            col(OrderPromise.promised_day),
            col(OrderPromise.expected_day),
            col(OrderPromise.told_day),
        )
        .where(
            ~col(OrderPromise.closed),
            or_(
                col(OrderPromise.expected_day) > col(OrderPromise.promised_day),
                col(OrderPromise.promised_day) < soonest,
            ),
        )
        .order_by(col(OrderPromise.promised_day), col(OrderPromise.order_id))
    )
    found = session.connection().execute(rows).all()
    named = found[:MOST_LATE]
    tickets = _open_tickets(session, [row[0] for row in named])
    return tuple(
        LateOrder(
            order_id,
            promised_day,
            max(expected_day, soonest),
            told_day,
            tuple(tickets[order_id]),
        )
        for order_id, promised_day, expected_day, told_day in named
    ), len(found)


def _open_tickets(session: Session, order_ids: list[str]) -> dict[str, list[str]]:
    rows = (
        sa_select(col(Ticket.order_id), col(Ticket.number))
        .where(col(Ticket.order_id).in_(order_ids), col(Ticket.state).in_(_TO_WORK))
        .order_by(col(Ticket.id))
    )
    found: dict[str, list[str]] = defaultdict(list)
    if order_ids:
        for order_id, number in session.connection().execute(rows):
            found[order_id].append(number)
    return found


def schedule_answer(schedule: Schedule) -> ScheduleAnswer:
    """The schedule as it is told."""
    return ScheduleAnswer(
        time_zone=schedule.time_zone,
        days=tuple(
            DayLoadAnswer(
                day=load.day,
                closed=load.closed or None,
                opens_at=None if load.closed else load.opens_at,
                due_tickets=load.due,
                stations=tuple(map(_station, load.stations)),
            )
            for load in schedule.days
        ),
        orders_at_risk=tuple(_orders(schedule.orders_at_risk)),
        late_orders=tuple(
            LateOrderAnswer(
                order_id=one.order_id,
                promised_day=one.promised_day,
                expected_day=one.expected_day,
                told_day=one.told_day,
                tickets=one.tickets,
            )
            for one in schedule.late_orders
        ),
        late_order_count=schedule.late_order_count,
    )


def _station(load: StationLoad) -> StationLoadAnswer:
    return StationLoadAnswer(
        station=load.station,
        name=load.name,
        capacity_min=load.capacity_min,
        booked_min=load.booked_min,
        free_min=load.free_min,
        over_capacity_min=load.over_capacity_min,
        exception=(
            ExceptionAnswer(usual_min=load.usual_min, why=load.why) if load.excepted else None
        ),
        tickets=load.tickets,
        due_tickets=load.due,
        at_risk=load.at_risk,
        done_at=load.done_at,
    )


def _orders(orders: Iterable[OrderAtRisk]) -> Iterable[OrderAtRiskAnswer]:
    return (
        OrderAtRiskAnswer(
            order_id=order.order_id, promised_day=order.promised_day, tickets=order.tickets
        )
        for order in orders
    )
