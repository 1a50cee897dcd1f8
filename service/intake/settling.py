"""Settling the day: what was left over is planned anew by whoever writes first on a shop day.

No job has to run. :func:`settle_day` is called at the head of whatever books, moves or promises
station time; on a day that is settled it is one look into an index. It is also done anew when
another catalogue was put in force since, whose days may have less room.

Quotes without a hold settle the day too, so that nobody is promised time which yesterday's
leftovers need.

Within the day :func:`settle_when_due` finds what can no longer be done by its promised day's
dispatch (:mod:`service.intake.still_in_time`); whoever writes is not kept waiting for that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from sqlalchemy import bindparam
from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.calendar import StationHours
from service.domain.replanning import Why
from service.domain.shop import Catalogue
from service.domain.station_load import BookedShare, without_room
from service.domain.ticket_states import TicketState
from service.intake.order_days import refresh_days, soonest_day
from service.intake.remake_plans import orders_short
from service.intake.replanning import (
    TicketPlace,
    move_on,
    places_by_id,
    places_of,
    set_aside,
    shop_day,
)
from service.intake.services import Services
from service.intake.short_material import note_overdue
from service.intake.still_in_time import too_late
from service.intake.urgency import find_all_anew
from service.store.catalogue_versions import version_in_force
from service.store.database import lock_shop
from service.store.ledger import note_worked, open_shares, take_up, tickets_left_over
from service.store.station_margins import forget_margins
from service.store.tables import Booking, OrderPromise, SettledDay, StationDay, Ticket

MOVABLE = frozenset({TicketState.WAITING, TicketState.ON_BENCH, TicketState.MADE})
"""Tickets whose work is still to come and may be planned anew."""

_SETTLED = (
    sa_select(col(SettledDay.day), col(SettledDay.catalogue_version))
    .where(col(SettledDay.day) >= bindparam("today"))
    .order_by(col(SettledDay.day).desc())
    .limit(1)
)
"""Asked by whoever writes, so it is made once."""

_OVER = frozenset({TicketState.CHECKED, TicketState.SENT})


def settle_day(services: Services, session: Session, *, trace_id: str = "") -> None:
    """Plan anew what was not done before today, once a shop day; call it before any row is locked.

    Takes the shop's lock where there is something to settle. A clock that goes back settles
    nothing: a later day is settled already.
    """
    today = shop_day(services)
    if _is_settled(services, session, today):
        return
    lock_shop(session)
    if _is_settled(services, session, today):
        return
    version = services.catalogues.current.version
    by_version = _last_version(session) != version
    left_over = _left_over(session, today)
    crowded = _crowded(services, session, today) if by_version else []
    _move(services, session, left_over, crowded)
    note_overdue(services, session, trace_id=trace_id)
    _tell(services, session, left_over, crowded, trace_id)
    if by_version:
        find_all_anew(services, session)
    forget_margins(session, today)
    session.merge(SettledDay(day=today, at=services.clock(), catalogue_version=version))
    session.flush()


def settle_when_due(services: Services) -> bool:
    """Settle the day if nobody has, and tell who can no longer be in time; to be called often.

    In a shop in which nobody writes, late orders are told by this: before their dispatch, as soon
    as what is left cannot be done by then. Two looks into indexes where nothing is due. True where
    something was.
    """
    today = shop_day(services)
    settled, late = services.database.read(
        lambda session: (_is_settled(services, session, today), too_late(services, session))
    )
    if settled and not late:
        return False
    services.database.write(lambda session: _settle_now(services, session))
    return True


def _settle_now(services: Services, session: Session) -> None:
    """The same under the shop's lock, of what another process has left to do."""
    lock_shop(session)
    settle_day(services, session)
    late = too_late(services, session)
    movable = [one for one in late if one.state in MOVABLE]
    # Booked anew, or what is told as the new day would be given to others until tomorrow.
    _move(services, session, movable, ())
    on_hold = {one.order_id for one in late if one.state == TicketState.HALTED}
    refresh_days(services, session, on_hold, Why.HALTED)
    refresh_days(services, session, {one.order_id for one in late} - on_hold, Why.NOT_DONE)


def _is_settled(services: Services, session: Session, today: date) -> bool:
    """By the catalogue in force; one of a process that has not heard of a newer one counts not."""
    row = session.connection().execute(_SETTLED, {"today": today}).first()
    if row is None:
        return False
    version = services.catalogues.current.version
    if row[0] > today or row[1] == version:
        return True
    newest = version_in_force(session)
    return newest is not None and newest.version != version


def _last_version(session: Session) -> str | None:
    """The catalogue by which a day was settled last; None before the first."""
    latest = sa_select(col(SettledDay.catalogue_version)).order_by(col(SettledDay.day).desc())
    return session.connection().execute(latest.limit(1)).scalar_one_or_none()


def _left_over(session: Session, today: date) -> list[TicketPlace]:
    """Tickets to be planned anew; what only seems left over is tidied away.

    What is checked is done as promises count it, though nobody told of its packing. A ticket that
    was halted or cancelled before these gave everything back still holds past days.
    """
    found = []
    for one in places_by_id(session, tickets_left_over(session, today)):
        if one.state in MOVABLE:
            found.append(one)
        elif one.state in _OVER:
            note_worked(session, one.id, today)
        elif one.state == TicketState.HALTED:
            set_aside(session, session.get_one(Ticket, one.id))
        else:
            take_up(session, one.id)
    return found


def _crowded(services: Services, session: Session, today: date) -> list[TicketPlace]:
    """The least urgent tickets of station-days that no longer have the room for all."""
    catalogue = services.catalogues.current.catalogue
    over = _over_full(catalogue, session, today)
    lost: set[str] = set()
    for (station, day), (booked_s, room_s) in over.items():
        shares = list(_shares(session, station, day))
        urgent = sorted(shares, key=lambda share: (share.promised_day, share.place))
        lost.update(without_room(urgent, booked_s, room_s))
    return places_of(session, col(Ticket.number).in_(sorted(lost))) if lost else []


def _over_full(
    catalogue: Catalogue, session: Session, today: date
) -> dict[tuple[str, date], tuple[int, int]]:
    """Station-days from today on with more booked than they have; both in seconds.

    What stands at a station that is gone from the catalogue stays there, and is flagged.
    """
    hours = StationHours(catalogue.calendar)
    rows = session.connection().execute(
        sa_select(col(StationDay.station), col(StationDay.day), col(StationDay.booked_s))
        .where(col(StationDay.day) >= today, col(StationDay.booked_s) > 0)
        .order_by(col(StationDay.day), col(StationDay.station))
    )
    found = {}
    for name, day, booked_s in rows:
        station = catalogue.station_by_id.get(name)
        if station is None:
            continue
        room_s = hours.day_s(station, day) * station.machines
        if booked_s > room_s:
            found[name, day] = booked_s, room_s
    return found


def _shares(session: Session, station: str, day: date) -> Iterable[BookedShare]:
    rows = session.connection().execute(
        sa_select(
            col(Booking.seconds),
            col(Ticket.number),
            col(Ticket.order_id),
            col(Ticket.promised_day),
            col(Ticket.id),
        )
        .join(Ticket, col(Ticket.id) == col(Booking.ticket_id))
        .where(
            col(Booking.station) == station,
            col(Booking.day) == day,
            ~col(Booking.worked),
            col(Ticket.state).in_(MOVABLE),
        )
    )
    for seconds, number, order_id, promised_day, place in rows:
        yield BookedShare(
            station, day, seconds, number, order_id, promised_day, place or 0, unfinished=True
        )


def _move(
    services: Services,
    session: Session,
    left_over: Sequence[TicketPlace],
    crowded: Sequence[TicketPlace],
) -> None:
    places = {one.id: one for one in [*left_over, *crowded]}
    tickets = [places[ticket_id] for ticket_id in sorted(places)]
    if tickets:
        move_on(services, session, tickets, open_shares(session, [one.id for one in tickets]))


def _tell(
    services: Services,
    session: Session,
    left_over: Sequence[TicketPlace],
    crowded: Sequence[TicketPlace],
    trace_id: str,
) -> None:
    """Whose days have changed: first by lost room, then what the night alone made late."""
    by_room = {one.order_id for one in crowded}
    refresh_days(services, session, by_room, Why.CAPACITY, trace_id=trace_id)
    halted = places_of(session, col(Ticket.state) == TicketState.HALTED)
    on_hold = {one.order_id for one in halted} - by_room
    refresh_days(services, session, on_hold, Why.HALTED, trace_id=trace_id)
    # What is not made anew yet can be done a day later than yesterday.
    short = orders_short(session) - by_room - on_hold
    refresh_days(services, session, short, Why.REMAKE, trace_id=trace_id)
    overdue = session.connection().execute(
        sa_select(col(OrderPromise.order_id)).where(
            ~col(OrderPromise.closed), col(OrderPromise.expected_day) < soonest_day(services)
        )
    )
    waiting = {one.order_id for one in left_over}.union(overdue.scalars())
    told = by_room | on_hold | short
    refresh_days(services, session, waiting - told, Why.NOT_DONE, trace_id=trace_id)
