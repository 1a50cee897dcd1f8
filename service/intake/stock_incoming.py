"""Deliveries on their way: announced, listed and called off. Receiving one closes it.

A delivery is no move: nothing is on hand before it has come.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from sqlmodel import Session, col, or_, select

from service.domain.errors import BadInput, FieldFault, NotFound
from service.domain.short_material import Supply
from service.domain.stock_items import StockEntry
from service.intake.cursors import Cursor
from service.intake.services import Services
from service.intake.short_material import note_fallen
from service.intake.stock import (
    as_said,
    close_delivery,
    entry_of,
    must_be_expected,
    shop_day,
    thing,
)
from service.intake.stock_answers import IncomingAnswer, IncomingPage
from service.intake.stock_requests import CallOffRequest, IncomingRequest
from service.intake.stock_rows import amount_of, entries_by_item, item_of
from service.store.database import lock_shop
from service.store.tables import StockIncoming

MOST_AHEAD_DAYS = 1_096


@dataclass(frozen=True, slots=True)
class FoundIncoming:
    """A page of deliveries; ``following`` is where the next one starts."""

    page: IncomingPage
    following: Cursor | None


def expect_delivery(
    services: Services, session: Session, request: IncomingRequest
) -> IncomingAnswer:
    """Enter a delivery, within the caller's transaction.

    Raises ``BadInput`` as :func:`service.intake.stock_rows.amount_of`, and for a day that is past
    or more than three years ahead.
    """
    today = shop_day(services)
    if not today <= request.day <= today + timedelta(days=MOST_AHEAD_DAYS):
        last = today + timedelta(days=MOST_AHEAD_DAYS)
        detail = f"Name a day from {today.isoformat()} to {last.isoformat()}."
        fault = FieldFault(detail, path=("day",), code="out-of-range")
        raise BadInput("fields-refused", detail, faults=[fault])
    entry, quantity = amount_of(session, services.catalogues.current.catalogue, request)
    row = StockIncoming(
        **entry.item._asdict(),
        id=services.new_id("delivery"),
        quantity=quantity,
        expected_on=request.day,
        state="expected",
        who=request.who,
        note=request.note,
        at=services.clock(),
    )
    session.add(row)
    session.flush()
    return _answer(row, entry)


def call_off(
    services: Services,
    session: Session,
    incoming_id: str,
    request: CallOffRequest,
    *,
    trace_id: str = "",
) -> IncomingAnswer:
    """A delivery that does not come, within the caller's transaction.

    Orders that rested on it are planned anew, and told where they pass their promise.

    Raises ``stock-delivery-not-found``, and ``stock-delivery-over`` for one that was received or
    called off before.
    """
    lock_shop(session)
    wanted = select(StockIncoming).where(StockIncoming.id == incoming_id)
    row = session.exec(wanted.with_for_update()).first()
    if row is None:
        raise NotFound("stock-delivery-not-found", f"There is no delivery '{incoming_id}'.")
    must_be_expected(row)
    close_delivery(services, session, row, "called_off", request.who, request.note)
    item = item_of(row.kind, row.item, row.colour, row.size, row.unit)
    fallen = {item: [Supply(row.expected_on, row.quantity)]}
    note_fallen(services, session, fallen, trace_id=trace_id)
    return _answer(row, entry_of(entries_by_item(services.catalogues.current.catalogue), row))


def list_incoming(
    services: Services, *, state: str = "expected", limit: int, cursor: Cursor | None = None
) -> FoundIncoming:
    """Deliveries of a state, the earliest day first."""

    def look(session: Session) -> FoundIncoming:
        statement = select(StockIncoming).where(StockIncoming.state == state)
        day, seq = col(StockIncoming.expected_on), col(StockIncoming.seq)
        if cursor is not None:
            later = or_(day > cursor.day, (day == cursor.day) & (seq > cursor.id))
            statement = statement.where(later)
        rows = session.exec(statement.order_by(day, seq).limit(limit + 1)).all()
        shown = rows[:limit]
        known = entries_by_item(services.catalogues.current.catalogue)
        more = len(rows) > limit
        following = Cursor(shown[-1].expected_on, shown[-1].seq or 0) if more else None
        page = IncomingPage(incoming=tuple(_answer(row, entry_of(known, row)) for row in shown))
        return FoundIncoming(page, following)

    return services.database.read(look)


def _answer(row: StockIncoming, entry: StockEntry) -> IncomingAnswer:
    return IncomingAnswer(
        **thing(entry),
        id=row.id,
        quantity=as_said(row.quantity, entry),
        day=row.expected_on,
        state=row.state,
        who=row.who,
        note=row.note,
        at=row.at,
        closed_by=row.closed_by,
        closed_note=row.closed_note,
        closed_at=row.closed_at,
    )
