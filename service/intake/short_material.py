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
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import exists, func, or_
from sqlalchemy import select as sa_select
from sqlmodel import Session, col, select

from service.domain.calendar import add_working_days, first_work_day, next_working_day
from service.domain.replanning import Why
from service.domain.short_material import EVER, Supply, Waiting, ready_days
from service.domain.stock_items import StockItem, StockKind
from service.domain.ticket_states import TicketState
from service.intake.material import Shelf, shelf_of
from service.intake.order_days import refresh_days
from service.intake.replanning import TicketPlace, move_on, places_by_id, put_off_aside, shop_day
from service.intake.services import Services
from service.intake.stock_rows import entries_by_item, held, is_of, item_of
from service.intake.ticket_works import planned_works
from service.store.ledger import OpenShare, open_shares, tickets_begun
from service.store.tables import Order, RunClaim, StockIncoming, TicketNeed

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
    services: Services,
    session: Session,
    item: StockItem,
    less: Supply,
    *,
    on_hand: int,
    trace_id: str = "",
) -> None:
    """So ``less`` of a thing is there than was counted on; ``on_hand`` is what there is now.

    Under the shop's lock, with the move written. Where all that is needed lies on the shelf this is
    one look into an index, and none where it is not less.
    """
    if less.quantity <= 0 or on_hand >= held(session, item.kind, items=[item.item]).get(item, 0):
        return
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

    Under the shop's lock, with the rows written by which it fell away.
    """
    catalogue = services.catalogues.current.catalogue
    shelf = shelf_of(session, fallen.keys(), catalogue, services.clock())
    needs = {item: _needs(session, item) for item in fallen if _is_kept(shelf, item)}
    short = {
        item: of_tickets
        for item, of_tickets in needs.items()
        if shelf.on_hand.get(item, 0) < sum(of_tickets.values())
    }
    if not short:
        return
    tickets = {ticket_id for one in short.values() for ticket_id in one}
    line = _line(session, tickets, ZoneInfo(catalogue.calendar.time_zone))
    ready: dict[int, date] = {}
    for item, of_tickets in short.items():
        found = _ready_days(services, session, item, of_tickets, fallen[item], shelf, line)
        for ticket_id, day in found.items():
            ready[ticket_id] = max(day, ready.get(ticket_id, day))
    if ready:
        _put_off(services, session, [line.places[one] for one in sorted(ready)], line, ready)
        orders = {line.places[one].order_id for one in ready}
        refresh_days(services, session, orders, Why.MATERIAL, trace_id=trace_id)


def _is_kept(shelf: Shelf, item: StockItem) -> bool:
    """Ink of which the ledger tells nothing counts as there, as it does for quotes."""
    return item.kind is not StockKind.INK or item in shelf.on_hand or item in shelf.coming


def _needs(session: Session, item: StockItem) -> dict[int, int]:
    """How much of it each open ticket still takes, but for film that lies on an accepted run."""
    on_run = exists().where(
        col(RunClaim.ticket_id) == col(TicketNeed.ticket_id),
        col(RunClaim.decoration) == col(TicketNeed.decoration),
        col(RunClaim.medium) == col(TicketNeed.item),
        col(RunClaim.first_piece) == 1,
    )
    needed = sa_select(col(TicketNeed.ticket_id), func.sum(col(TicketNeed.quantity))).where(
        *is_of(TicketNeed, item), or_(col(TicketNeed.kind) != StockKind.MEDIUM, ~on_run)
    )
    rows: Iterable[Any] = session.connection().execute(needed.group_by(col(TicketNeed.ticket_id)))
    return {ticket_id: int(quantity) for ticket_id, quantity in rows}


def _line(session: Session, ticket_ids: Iterable[int], zone: ZoneInfo) -> _Line:
    ids = sorted(ticket_ids)
    shares: dict[int, list[OpenShare]] = {}
    for share in open_shares(session, ids):
        shares.setdefault(share.ticket_id, []).append(share)
    places = {place.id: place for place in places_by_id(session, ids)}
    return _Line(places, shares, frozenset(tickets_begun(session, ids)), zone)


def _ready_days(
    services: Services,
    session: Session,
    item: StockItem,
    needs: Mapping[int, int],
    fallen: Sequence[Supply],
    shelf: Shelf,
    line: _Line,
) -> dict[int, date]:
    """The tickets that lack it by their planned day, and when they can have it."""
    calendar = services.catalogues.current.catalogue.calendar

    def usable(one: Supply) -> Supply:
        return one if one.day == EVER else Supply(next_working_day(calendar, one.day), one.quantity)

    coming = [Supply(one.day, one.quantity) for one in shelf.coming.get(item, ())]
    there = [Supply(EVER, shelf.on_hand.get(item, 0)), *map(usable, coming)]
    places = [line.places[ticket_id] for ticket_id in needs]
    lead_days = _lead_days(services, session, item, places)
    first = first_work_day(calendar, services.clock())
    return ready_days(
        line.waiting(needs, shop_day(services)),
        there,
        [usable(one) for one in fallen],
        ordered=add_working_days(calendar, first, lead_days),
    )


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
