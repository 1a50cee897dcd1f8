"""Material that falls away: tickets that it was for wait for what comes instead, and are told of.

A delivery is called off, brings less or does not come, less is counted than there was, some is
thrown away: where what is left no longer covers what open tickets need by their planned days, the
least urgent of them (:mod:`service.domain.short_material`) are planned anew behind the day a quote
would tell now, and whose order passes its promise is told. What quotes hold gives way to tickets.

Film that a begun ticket has used is in the ledger until the ticket is finished, so such a ticket
comes first and is not moved. Material that is back moves nothing forward: the bench goes by
urgency, and the order is on time again when its work is done.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import exists, func, literal, or_, union_all
from sqlalchemy import select as sa_select
from sqlmodel import Session, col, select

from service.domain.calendar import add_working_days, first_work_day, next_working_day
from service.domain.replanning import Why
from service.domain.short_material import EVER, Supply, Waiting, ready_days
from service.domain.stock_items import StockItem, StockKind
from service.domain.ticket_states import TicketState
from service.intake.order_days import refresh_days
from service.intake.replanning import TicketPlace, move_on, places_by_id, put_off_aside, shop_day
from service.intake.services import Services
from service.intake.stock_rows import entries_by_item, expected, is_of, item_of
from service.intake.ticket_works import planned_works
from service.store.ledger import OpenShare, open_shares, tickets_begun
from service.store.tables import Order, RunClaim, StockIncoming, StockMove, TicketNeed

Fallen = Mapping[StockItem, Sequence[Supply]]
"""What was counted on of each thing and is not any more."""

_BATCH = 500


@dataclass(frozen=True, slots=True)
class _Line:
    """The tickets that still need any of some things, and what is booked of them."""

    places: Mapping[int, TicketPlace]
    shares: Mapping[int, list[OpenShare]]
    begun: frozenset[int]
    zone: ZoneInfo

    def waiting(self, needs: Mapping[int, int], today: date) -> Iterator[Waiting]:
        """Them as they wait for one thing, of which each needs so much."""
        for ticket_id, quantity in needs.items():
            place = self.places[ticket_id]
            days = [one.day for one in self.shares.get(ticket_id) or place.aside]
            yield Waiting(
                ticket_id,
                quantity,
                max(today, min(days, default=today)),
                place.promised_day,
                ticket_id in self.begun,
                place.created_at.astimezone(self.zone).date(),
            )


def note_less(
    services: Services, session: Session, item: StockItem, less: Supply, *, trace_id: str = ""
) -> None:
    """So ``less`` of a thing is there than was counted on; as :func:`note_fallen`."""
    if less.quantity > 0:
        note_fallen(services, session, {item: [less]}, trace_id=trace_id)


def note_overdue(services: Services, session: Session, *, trace_id: str = "") -> None:
    """Deliveries whose day is over and that have not come are counted on no more.

    Who waits for one is put off anew each day, as long as it is neither received nor called off.
    Who was accepted after its day never waited for it.
    """
    overdue = select(StockIncoming).where(
        StockIncoming.state == "expected", StockIncoming.expected_on < shop_day(services)
    )
    fallen: dict[StockItem, list[Supply]] = {}
    for row in session.exec(overdue.order_by(col(StockIncoming.seq))).all():
        item = item_of(row.kind, row.item, row.colour, row.size, row.unit)
        fallen.setdefault(item, []).append(Supply(row.expected_on, row.quantity))
    note_fallen(services, session, fallen, trace_id=trace_id)


def note_fallen(
    services: Services, session: Session, fallen: Fallen, *, trace_id: str = ""
) -> None:
    """Plan anew whose material is later than their work now that this has fallen away, and tell.

    Under the shop's lock, with the rows written by which it fell away. Of a thing of which all that
    is needed lies on the shelf this is one look into two indexes.
    """
    short = {item: shelf for item in fallen if (shelf := _shelf(session, item)).lacks}
    if not short:
        return
    zone = ZoneInfo(services.catalogues.current.catalogue.calendar.time_zone)
    line = _line(session, {one for shelf in short.values() for one in shelf.needs}, zone)
    coming = _coming(services, session, short)
    ready: dict[int, date] = {}
    for item, shelf in short.items():
        if item.kind is StockKind.INK and shelf.on_hand is None and item not in coming:
            continue  # Ink that the ledger tells nothing of counts as there, as it does for quotes.
        there = [Supply(EVER, shelf.on_hand or 0), *coming.get(item, ())]
        waiting = line.waiting(shelf.needs, shop_day(services))
        ordered = _ordered(services, session, item, [line.places[one] for one in shelf.needs])
        for ticket_id, day in ready_days(waiting, there, fallen[item], ordered=ordered).items():
            ready[ticket_id] = max(day, ready.get(ticket_id, day))
    if ready:
        _put_off(services, session, [line.places[one] for one in sorted(ready)], line, ready)
        orders = {line.places[one].order_id for one in ready}
        refresh_days(services, session, orders, Why.MATERIAL, trace_id=trace_id)


class _Shelf(NamedTuple):
    """What lies there of a thing, None where none ever moved, and what each open ticket takes."""

    on_hand: int | None
    needs: Mapping[int, int]

    @property
    def lacks(self) -> bool:
        """True where less lies there than is needed."""
        return (self.on_hand or 0) < sum(self.needs.values())


def _shelf(session: Session, item: StockItem) -> _Shelf:
    """By one statement, for whoever starts a ticket takes of both without the shop's lock.

    Film that lies on an accepted run was taken by that.
    """
    on_run = exists().where(
        col(RunClaim.ticket_id) == col(TicketNeed.ticket_id),
        col(RunClaim.decoration) == col(TicketNeed.decoration),
        col(RunClaim.medium) == col(TicketNeed.item),
        col(RunClaim.first_piece) == 1,
    )
    moved = sa_select(literal(0), func.sum(col(StockMove.quantity)))
    needed = sa_select(col(TicketNeed.ticket_id), func.sum(col(TicketNeed.quantity)))
    free = or_(col(TicketNeed.kind) != StockKind.MEDIUM, ~on_run)
    rows = session.connection().execute(
        union_all(
            moved.where(*is_of(StockMove, item)),
            needed.where(*is_of(TicketNeed, item), free).group_by(col(TicketNeed.ticket_id)),
        )
    )
    found: dict[int, Any] = {row[0]: row[1] for row in rows}
    on_hand = found.pop(0)
    needs = {ticket_id: int(total) for ticket_id, total in found.items()}
    return _Shelf(None if on_hand is None else int(on_hand), needs)


def _coming(
    services: Services, session: Session, items: Iterable[StockItem]
) -> dict[StockItem, list[Supply]]:
    """What is on its way of things, and from which day on it can be worked with."""
    calendar, today = services.catalogues.current.catalogue.calendar, shop_day(services)
    found: dict[StockItem, list[Supply]] = {}
    for item, deliveries in expected(session, items={one.item for one in items}).items():
        days = [(one.day, one.quantity) for one in deliveries if one.day >= today]
        if days:
            found[item] = [Supply(next_working_day(calendar, day), many) for day, many in days]
    return found


def _line(session: Session, ticket_ids: Iterable[int], zone: ZoneInfo) -> _Line:
    ids = sorted(ticket_ids)
    shares: dict[int, list[OpenShare]] = {}
    for share in open_shares(session, ids):
        shares.setdefault(share.ticket_id, []).append(share)
    places = {place.id: place for place in places_by_id(session, ids)}
    return _Line(places, shares, frozenset(tickets_begun(session, ids)), zone)


def _ordered(
    services: Services, session: Session, item: StockItem, places: Sequence[TicketPlace]
) -> date:
    """The day on which more of it is there, if it is ordered now."""
    calendar = services.catalogues.current.catalogue.calendar
    lead_days = _lead_days(services, session, item, places)
    return add_working_days(calendar, first_work_day(calendar, services.clock()), lead_days)


def _lead_days(
    services: Services, session: Session, item: StockItem, places: Sequence[TicketPlace]
) -> int:
    """Working days from ordering it; what is gone from the catalogue takes as long as quoted."""
    entry = entries_by_item(services.catalogues.current.catalogue).get(item)
    if entry is not None or not places:
        return entry.lead_days if entry is not None else 0
    latest = max(places, key=lambda one: one.id)
    works = planned_works(session, [(latest.id, latest.order_id, latest.line_index)])
    quoted = services.catalogues.of_version(session, works[latest.id].catalogue_version)
    entry = entries_by_item(quoted.catalogue).get(item)
    return entry.lead_days if entry is not None else 0


def _put_off(
    services: Services,
    session: Session,
    places: Sequence[TicketPlace],
    line: _Line,
    ready: Mapping[int, date],
) -> None:
    """Plan what is left of those tickets behind their day; what a halt keeps waits for it too."""
    _lock_orders(session, sorted({one.order_id for one in places}))
    for place in places:
        if place.state == TicketState.HALTED and place.aside:
            put_off_aside(session, place, ready[place.id])
    shares = [share for place in places for share in line.shares.get(place.id, ())]
    move_on(services, session, places, shares, ready=ready)


def _lock_orders(session: Session, orders: Sequence[str]) -> None:
    """Before anything of their tickets is touched, as locks are taken everywhere."""
    for start in range(0, len(orders), _BATCH):
        some = orders[start : start + _BATCH]
        locked = select(col(Order.id)).where(col(Order.id).in_(some)).order_by(col(Order.id))
        session.exec(locked.with_for_update()).all()
