"""The day an order is done as things stand, and who is told when it passes the promise.

Whoever calls these holds the shop's lock. Orders from before promises were kept have no record:
their work is moved as any other, and nobody is told of their days.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date

from sqlalchemy import func
from sqlalchemy import select as sa_select
from sqlmodel import Session, col, select

from service.domain.conformal import dispatch_day
from service.domain.replanning import News, Why, news_of
from service.domain.ticket_states import OrderState, TicketState
from service.intake.remake_plans import remake_days
from service.intake.replanning import places_of, plan_now
from service.intake.services import Services
from service.intake.still_in_time import soonest_leaves
from service.intake.ticket_events import order_event
from service.store.tables import Booking, Order, OrderPromise, Ticket

_BATCH = 500
_DONE = frozenset({OrderState.READY, OrderState.SENT})


def soonest_day(services: Services) -> date:
    """The first day with whose dispatch anything can leave now."""
    return dispatch_day(services.catalogues.current.catalogue.calendar, services.clock())


def refresh_days(
    services: Services,
    session: Session,
    order_ids: Iterable[str],
    why: Why,
    *,
    trace_id: str = "",
    counted: bool = False,
) -> None:
    """Find the expected day of open orders anew, and tell whose passes the promise, or no longer.

    It is the last day on which anything is booked and not worked, and no day with whose dispatch
    nothing, or not all that is left, can leave any more; nor one on which what is short of blanks
    could not be made anew if that was decided now. Of a halted ticket nobody knows when it
    goes on: the day is not moved forward, and moved back to where its work could be done if it went
    on now. ``counted`` says that the caller raises the orders' versions.
    """
    wanted = sorted(set(order_ids))
    for start in range(0, len(wanted), _BATCH):
        some = wanted[start : start + _BATCH]
        promises = session.exec(
            select(OrderPromise)
            .where(col(OrderPromise.order_id).in_(some), ~col(OrderPromise.closed))
            .order_by(col(OrderPromise.order_id))
        ).all()
        days = expected_days(services, session, promises)
        changed = [one for one in promises if _is_new(one, days[one.order_id])]
        _tell(services, session, changed, days, why, trace_id, counted=counted)


def expected_days(
    services: Services, session: Session, promises: Sequence[OrderPromise]
) -> dict[str, date]:
    """The expected day of those open orders as things stand; nothing is written."""
    if not promises:
        return {}
    ids = [one.order_id for one in promises]
    soonest = soonest_day(services)
    booked, halted = _last_booked(session, ids), _halted(services, session, ids)
    anew = remake_days(services, session, ids)
    leaves: dict[str, date] = {}
    for leave in soonest_leaves(services, session, ids):
        order_id = leave.ticket.order_id
        leaves[order_id] = max(leave.day, leaves.get(order_id, soonest))
    found: dict[str, date] = {}
    for one in promises:
        day = max(soonest, *(days.get(one.order_id, soonest) for days in (booked, leaves, anew)))
        if one.order_id in halted:
            day = max(day, one.expected_day, halted[one.order_id])
        found[one.order_id] = day
    return found


def note_order_state(services: Services, session: Session, order: Order) -> None:
    """Keep when an order was done, or that it is over, or that it is open again."""
    kept = session.get(OrderPromise, order.id)
    if kept is None:
        return
    state = OrderState(order.state)
    if state in _DONE and kept.done_at is None:
        kept.done_at, kept.expected_day = services.clock(), soonest_day(services)
    elif state not in _DONE:
        kept.done_at = None
    kept.closed = state in _DONE or state is OrderState.CANCELLED
    session.add(kept)


def _is_new(kept: OrderPromise, day: date) -> bool:
    return day != kept.expected_day or news_of(kept.promised_day, day, kept.told_day) is not None


def _tell(
    services: Services,
    session: Session,
    changed: Sequence[OrderPromise],
    days: Mapping[str, date],
    why: Why,
    trace_id: str,
    *,
    counted: bool,
) -> None:
    ids = [one.order_id for one in changed]
    rows = select(Order).where(col(Order.id).in_(ids)).order_by(col(Order.id)).with_for_update()
    orders = {order.id: order for order in session.exec(rows)} if ids else {}
    for kept in changed:
        order, day = orders[kept.order_id], days[kept.order_id]
        news = news_of(kept.promised_day, day, kept.told_day)
        kept.expected_day = day
        if news is not None:
            kept.told_day = day if news is News.LATE else None
            more = {"expected_day": day.isoformat()}
            if news is News.LATE:
                more["why"] = why
            order_event(services, session, order, news, trace_id, more)
        session.add(kept)
        if not counted:
            order.version += 1
            session.add(order)


def _last_booked(session: Session, order_ids: Collection[str]) -> dict[str, date]:
    last = (
        sa_select(col(Ticket.order_id), func.max(col(Booking.day)))
        .join(Booking, col(Booking.ticket_id) == col(Ticket.id))
        .where(
            col(Ticket.order_id).in_(order_ids),
            col(Ticket.state) != TicketState.CHECKED,
            ~col(Booking.worked),
        )
        .group_by(col(Ticket.order_id))
    )
    return {row[0]: row[1] for row in session.connection().execute(last)}


def _halted(services: Services, session: Session, order_ids: Collection[str]) -> dict[str, date]:
    """Of orders with halted tickets, the day their work could be done if it went on now."""
    tickets = places_of(
        session,
        col(Ticket.order_id).in_(order_ids),
        col(Ticket.state) == TicketState.HALTED,
    )
    shares = [share for ticket in tickets for share in ticket.aside]
    planned = plan_now(services, session, tickets, shares, booked=False)
    done = {one.ticket_id: one.done_day for one in planned}
    found: dict[str, date] = {}
    for ticket in tickets:
        day = done.get(ticket.id, date.min)
        found[ticket.order_id] = max(day, found.get(ticket.order_id, date.min))
    return found
