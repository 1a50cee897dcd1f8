"""Stock: how it stands, and what is received, counted and thrown away.

Whoever reads what is on hand to decide by it holds the shop's lock, so that nothing is thrown away
twice and no move gets lost under a count.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from service.domain.calendar import working_days_between
from service.domain.errors import BadInput, Conflict, FieldFault, NotFound
from service.domain.short_material import EVER, Supply
from service.domain.stock import USE_WINDOW_DAYS, Moved, MoveReason, Reordering, StockLevel
from service.domain.stock_items import SAID, StockEntry, StockItem, StockKind, said
from service.intake.cursors import Cursor
from service.intake.services import Services
from service.intake.short_material import note_less
from service.intake.stock_answers import (
    ExpectedAnswer,
    StockMoveAnswer,
    StockMoved,
    StockMovesPage,
    StockPage,
    StockRow,
)
from service.intake.stock_requests import StockAct, StockMoveRequest
from service.intake.stock_rows import (
    amount_of,
    entries_by_item,
    expected,
    gone_entry,
    held,
    is_of,
    item_of,
    moved,
    on_hand_of,
)
from service.store.database import lock_shop
from service.store.stock_sums import book_move
from service.store.tables import Run, StockIncoming, StockMove, Ticket

_RATE_DIGITS = 3
_DAY_DIGITS = 1


@dataclass(frozen=True, slots=True)
class FoundStock:
    """A page of stock; ``following`` is where the next one starts."""

    page: StockPage
    following: Cursor | None


@dataclass(frozen=True, slots=True)
class FoundMoves:
    """A page of moves; ``following`` is where the next one starts."""

    page: StockMovesPage
    following: Cursor | None


def list_stock(
    services: Services,
    *,
    kind: StockKind | None = None,
    below_reorder: bool = False,
    limit: int,
    cursor: Cursor | None = None,
) -> FoundStock:
    """How everything stands; of one kind or only what is to be ordered, where that is asked for."""
    by, levels = _levels(services, kind)
    catalogue = services.catalogues.current.catalogue
    known = entries_by_item(catalogue)
    wanted = [
        one for one in levels if not below_reorder or (one.to_order and one.entry.item in known)
    ]
    start = cursor.id if cursor is not None else 0
    shown = wanted[start : start + limit]
    end = start + len(shown)
    following = Cursor(shop_day(services), end) if end < len(wanted) else None
    return FoundStock(
        StockPage(
            stock=tuple(_row(one, in_catalogue=one.entry.item in known) for one in shown),
            count=len(wanted),
            window_days=by.window_days,
            safety_days=by.safety_days,
            order_days=by.order_days,
        ),
        following,
    )


def shop_day(services: Services) -> date:
    """The shop's present day."""
    zone = ZoneInfo(services.catalogues.current.catalogue.calendar.time_zone)
    return services.clock().astimezone(zone).date()


def _levels(services: Services, kind: StockKind | None) -> tuple[Reordering, list[StockLevel]]:
    """Every thing of the catalogue in its order, then what is left of those that are gone."""
    catalogue = services.catalogues.current.catalogue
    calendar, today = catalogue.calendar, shop_day(services)
    window = timedelta(days=USE_WINDOW_DAYS)
    by = Reordering(
        window_days=working_days_between(calendar, today - window, today),
        safety_days=catalogue.policy.stock_safety_days,
        order_days=catalogue.policy.stock_order_days,
    )
    since = services.clock() - window
    sums, needed, coming = services.database.read(
        lambda session: (moved(session, since, kind), held(session, kind), expected(session, kind))
    )
    every = entries_by_item(catalogue)
    entries = [one for one in every.values() if kind is None or one.item.kind is kind]
    left = {item for item, one in sums.items() if one.on_hand} | needed.keys() | coming.keys()
    gone = sorted(left - every.keys())
    return by, [
        StockLevel(
            entry=entry,
            moved=sums.get(entry.item, Moved()),
            held=needed.get(entry.item, 0),
            incoming=coming.get(entry.item, ()),
            by=by,
        )
        for entry in [*entries, *map(gone_entry, gone)]
    ]


def _row(level: StockLevel, *, in_catalogue: bool) -> StockRow:
    unit = level.entry.item.unit
    cover = level.cover_days
    return StockRow(
        **thing(level.entry),
        on_hand=as_said(level.on_hand, level.entry),
        held=as_said(level.held, level.entry),
        free=as_said(level.free, level.entry),
        incoming=tuple(
            ExpectedAnswer(id=one.id, quantity=as_said(one.quantity, level.entry), day=one.day)
            for one in level.incoming
        ),
        use_per_day=round(float(level.use_per_day / SAID[unit][1]), _RATE_DIGITS),
        cover_days=None if cover is None else round(float(cover), _DAY_DIGITS),
        supplier_lead_days=level.entry.lead_days,
        reorder_point=as_said(level.reorder_point, level.entry),
        reorder_to=as_said(level.reorder_to, level.entry),
        to_order=as_said(level.to_order, level.entry) if in_catalogue else 0,
        in_catalogue=in_catalogue,
    )


def thing(entry: StockEntry) -> dict[str, str]:
    """What every answer says of a thing."""
    return {
        "kind": entry.item.kind,
        "item": entry.item.item,
        "name": entry.name,
        "colour": entry.colour_id,
        "colour_name": entry.colour_name,
        "size": entry.item.size,
        "unit": SAID[entry.item.unit][0],
    }


def as_said(quantity: int, entry: StockEntry) -> float:
    """A quantity of the ledger as answers give it."""
    return float(said(quantity, entry.item.unit))


def find_stock(
    services: Services, kind: StockKind, item: str, colour: str, size: str
) -> tuple[StockItem, StockRow]:
    """How one thing stands, by the ids of the catalogue; ``NotFound`` where there is none."""
    _, levels = _levels(services, kind)
    known = entries_by_item(services.catalogues.current.catalogue)
    for level in levels:
        found = level.entry
        named = found.item.kind, found.item.item, found.colour_id, found.item.size
        if named == (kind, item, colour, size):
            return found.item, _row(level, in_catalogue=found.item in known)
    raise NotFound("not-found", "The shop has no such thing in stock.")


def move_stock(
    services: Services,
    session: Session,
    request: StockMoveRequest,
    *,
    last_seen: int | None = None,
    trace_id: str = "",
) -> StockMoved:
    """Receive, count or waste, within the caller's transaction.

    Where less is there now than open tickets count on, they are planned anew and their orders told.

    ``last_seen`` is the last move of the thing that whoever decided knew of, 0 for none; where
    another came since, ``stock-changed`` says which. None asks for no such thing.

    Raises ``BadInput`` as :func:`service.intake.stock_rows.amount_of` and for a delivery that is
    not of this thing, ``stock-short`` for more waste than is on hand, ``stock-delivery-over`` for a
    delivery that was received or called off before.
    """
    lock_shop(session)
    catalogue = services.catalogues.current.catalogue
    counting = request.act is StockAct.COUNT
    entry, quantity = amount_of(session, catalogue, request, zero=counting)
    delivery = _delivery(session, request, entry)
    if last_seen is not None:
        _must_be_last(session, entry, last_seen)
    before = on_hand_of(session, entry.item)
    change = {
        StockAct.RECEIVE: quantity,
        StockAct.COUNT: quantity - before,
        StockAct.WASTE: -quantity,
    }[request.act]
    if request.act is StockAct.WASTE and quantity > before:
        raise _short(entry, before)
    move = StockMove(
        **entry.item._asdict(),
        quantity=change,
        reason=MoveReason(request.act),
        who=request.who,
        note=request.note,
        at=services.clock(),
    )
    book_move(session, move)
    session.flush()
    if delivery is not None:
        close_delivery(services, session, delivery, "received", request.who, request.note)
        delivery.move_id = move.id
    less = Supply(EVER, -change)
    if delivery is not None:
        less = Supply(delivery.expected_on, delivery.quantity - change)
    note_less(services, session, entry.item, less, trace_id=trace_id)
    return StockMoved(
        **_move_answer(move, entry, None, None).model_dump(),
        on_hand=as_said(before + change, entry),
    )


def _must_be_last(session: Session, entry: StockEntry, last_seen: int) -> None:
    moves = select(StockMove).where(*is_of(StockMove, entry.item))
    last = session.exec(moves.order_by(col(StockMove.id).desc()).limit(1)).first()
    if last is not None and last.id != last_seen:
        change = said(last.quantity, entry.item.unit)
        unit = SAID[entry.item.unit][0]
        raise Conflict(
            "stock-changed",
            f"Since you looked, {last.who} booked {change:+} {unit} ({last.reason}). Nothing of "
            "yours was booked. Look again, then decide.",
        )


def _short(entry: StockEntry, on_hand: int) -> Conflict:
    there = said(on_hand, entry.item.unit)
    unit = SAID[entry.item.unit][0]
    return Conflict(
        "stock-short",
        f"Of {entry.name} {there} {unit} are on hand; more cannot be thrown away. Count what lies "
        "there if that is not so.",
        extra={"on_hand": float(there), "unit": unit},
    )


def _delivery(
    session: Session, request: StockMoveRequest, entry: StockEntry
) -> StockIncoming | None:
    """The expected delivery that is received."""
    if request.incoming_id is None:
        return None
    if request.act is not StockAct.RECEIVE:
        raise _refused_delivery("foreign-value", "Only goods received close a delivery.")
    row = session.exec(
        select(StockIncoming).where(StockIncoming.id == request.incoming_id).with_for_update()
    ).first()
    if row is None:
        raise _refused_delivery("unknown-name", f"There is no delivery '{request.incoming_id}'.")
    if item_of(row.kind, row.item, row.colour, row.size, row.unit) != entry.item:
        raise _refused_delivery("foreign-value", f"That delivery is not of {entry.name} like this.")
    must_be_expected(row)
    return row


def _refused_delivery(code: str, detail: str) -> BadInput:
    fault = FieldFault(detail, path=("incoming_id",), code=code)
    return BadInput("fields-refused", detail, faults=[fault])


def must_be_expected(row: StockIncoming) -> None:
    """Raises ``stock-delivery-over`` for a delivery that is not awaited any more."""
    if row.state != "expected":
        how = {"received": "received", "called_off": "called off"}[row.state]
        raise Conflict(
            "stock-delivery-over",
            f"Delivery {row.id} was {how} by {row.closed_by}. Nothing was booked.",
            extra={"state": row.state},
        )


def close_delivery(
    services: Services, session: Session, row: StockIncoming, state: str, who: str, note: str
) -> None:
    """A delivery that came, or does not come."""
    row.state = state
    row.closed_by, row.closed_note, row.closed_at = who, note, services.clock()
    session.add(row)
    session.flush()


def list_moves(
    services: Services,
    *,
    kind: StockKind | None = None,
    item: str | None = None,
    only: StockItem | None = None,
    limit: int,
    cursor: Cursor | None = None,
) -> FoundMoves:
    """What was booked, the newest first; of a kind, of an item, or only of one thing."""

    def look(session: Session) -> FoundMoves:
        statement = (
            select(StockMove, Ticket.number, Run.number)
            .join(Ticket, col(Ticket.id) == col(StockMove.ticket_id), isouter=True)
            .join(Run, col(Run.id) == col(StockMove.run_id), isouter=True)
        )
        if kind is not None:
            statement = statement.where(StockMove.kind == kind)
        if item is not None:
            statement = statement.where(StockMove.item == item)
        if only is not None:
            statement = statement.where(*is_of(StockMove, only))
        if cursor is not None:
            statement = statement.where(col(StockMove.id) < cursor.id)
        rows = session.exec(statement.order_by(col(StockMove.id).desc()).limit(limit + 1)).all()
        known = entries_by_item(services.catalogues.current.catalogue)
        answers = tuple(
            _move_answer(move, entry_of(known, move), ticket, run)
            for move, ticket, run in rows[:limit]
        )
        more = len(rows) > limit
        following = Cursor(shop_day(services), answers[-1].id) if more else None
        return FoundMoves(StockMovesPage(moves=answers), following)

    return services.database.read(look)


def entry_of(known: Mapping[StockItem, StockEntry], row: StockMove | StockIncoming) -> StockEntry:
    """What a row is about, also where the catalogue has it no more."""
    item = item_of(row.kind, row.item, row.colour, row.size, row.unit)
    return known.get(item) or gone_entry(item)


def _move_answer(
    move: StockMove, entry: StockEntry, ticket: str | None, run: str | None
) -> StockMoveAnswer:
    return StockMoveAnswer(
        **thing(entry),
        id=move.id or 0,
        reason=MoveReason(move.reason),
        quantity=as_said(move.quantity, entry),
        ticket=ticket,
        run=run,
        who=move.who,
        note=move.note,
        at=move.at,
    )
