"""The day everything an order takes can be in the house: on the shelf, on its way, or ordered now.

What nobody keeps in the ledger, no move and no delivery ever, counts as bought in for the order;
ink of which that holds counts as there. A delivery whose day is over and that has not come is not
counted on: it is waited for as long as for one ordered now.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from sqlalchemy import (
    ColumnElement,
    CompoundSelect,
    Select,
    Table,
    bindparam,
    func,
    literal_column,
    null,
    select,
    union_all,
)
from sqlalchemy import cast as sql_cast
from sqlmodel import Session

from service.domain.calendar import first_work_day
from service.domain.promising import MaterialDay
from service.domain.shop import Catalogue
from service.domain.stock import Expected, Moved, Reordering, StockLevel, material_day
from service.domain.stock_items import StockEntry, StockItem, StockKind
from service.domain.stock_needs import Need
from service.intake.stock_rows import entries_by_item, gone_entry, held, item_of
from service.store.core import table_of
from service.store.tables import StockHold, StockIncoming, StockMove

_NO_REORDERING = Reordering(window_days=1, safety_days=0, order_days=1)


def needs_written(needs: Iterable[Need]) -> list[list[str | int]]:
    """Needs as they are kept with a quote's plan; one row of a thing and a decoration."""
    found: dict[tuple[StockItem, int], int] = {}
    for need in needs:
        key = need.item, need.decoration
        found[key] = found.get(key, 0) + need.quantity
    return [[*item, decoration, quantity] for (item, decoration), quantity in found.items()]


def needs_read(rows: Iterable[Sequence[str | int]]) -> list[Need]:
    """Needs as :func:`needs_written` wrote them."""
    return [
        Need(
            item=item_of(*(str(part) for part in row[:5])),
            decoration=int(row[5]),
            quantity=int(row[6]),
        )
        for row in rows
    ]


def material_of(
    session: Session,
    catalogue: Catalogue,
    needs: Iterable[Need],
    *,
    start: datetime,
    now: datetime,
    quoted: Catalogue | None = None,
) -> MaterialDay:
    """The day all of it is there for work that may begin at ``start``; the slowest is named.

    What open tickets need and quotes hold ``now`` is spoken for. What is gone from the catalogue
    takes as long to come as in the ``quoted`` one.
    """
    wanted: dict[StockItem, int] = {}
    for need in needs:
        wanted[need.item] = wanted.get(need.item, 0) + need.quantity
    calendar = catalogue.calendar
    first = first_work_day(calendar, start)
    latest = MaterialDay(first, "")
    catalogues = (catalogue,) if quoted is None else (catalogue, quoted)
    for level in _levels(session, catalogues, wanted, now):
        day = material_day(level, wanted[level.entry.item], today=first, calendar=calendar)
        latest = max(latest, MaterialDay(day, _name(level.entry)), key=_slowest)
    return latest if latest.day > first else MaterialDay(first, "")


def _slowest(material: MaterialDay) -> tuple[object, str]:
    return material.day, material.waits_for


def _name(entry: StockEntry) -> str:
    """What people call it: its name, colour and size, a colour in the name not told twice."""
    colour = entry.colour_name.lower()
    parts = (entry.name, "" if colour in entry.name.lower() else colour, entry.item.size)
    return ", ".join(part for part in parts if part)


def _levels(
    session: Session,
    catalogues: Sequence[Catalogue],
    wanted: Collection[StockItem],
    now: datetime,
) -> Iterable[StockLevel]:
    """How each thing stands, as the first of the catalogues that has it tells of it."""
    if not wanted:
        return
    items = sorted({one.item for one in wanted})
    today = now.astimezone(ZoneInfo(catalogues[0].calendar.time_zone)).date()
    there = _there(session, items, now, today)
    on_hand, kept, coming = there.on_hand, there.kept, there.coming
    # Where nothing lies on the shelf or is on its way, it does not matter who else needs it.
    needed = held(session, items=items) if there.anything else {}
    known = [entries_by_item(one) for one in catalogues]
    for item in wanted:
        if item.kind is StockKind.INK and item not in on_hand and item not in coming:
            continue
        yield StockLevel(
            entry=next((one[item] for one in known if item in one), None) or gone_entry(item),
            moved=Moved(on_hand=on_hand.get(item, 0)),
            held=needed.get(item, 0) + kept.get(item, 0),
            incoming=coming.get(item, ()),
            by=_NO_REORDERING,
        )


@dataclass(slots=True)
class _There:
    """What is on hand, kept for quotes and on its way, the earliest day first.

    A thing of which all that is on its way is overdue has an empty list.
    """

    on_hand: dict[StockItem, int] = field(default_factory=dict)
    kept: dict[StockItem, int] = field(default_factory=dict)
    coming: dict[StockItem, list[Expected]] = field(default_factory=dict)

    @property
    def anything(self) -> bool:
        """Whether some of it lies there or comes."""
        return bool(self.coming) or any(quantity > 0 for quantity in self.on_hand.values())


def _there(session: Session, items: Collection[str], now: datetime, today: date) -> _There:
    found = _There()
    asked = {"items": items, "now": now}
    for part, kind, name, colour, size, unit, quantity, day in session.connection().execute(
        _THERE, asked
    ):
        item, count = item_of(kind, name, colour, size, unit), int(quantity)
        if part == _COMING:
            coming = found.coming.setdefault(item, [])
            if day >= today:
                coming.append(Expected("", count, day))
        elif part == _KEPT:
            found.kept[item] = count
        else:
            found.on_hand[item] = count
    for coming in found.coming.values():
        coming.sort(key=lambda one: one.day)
    return found


_ON_HAND, _KEPT, _COMING = range(3)


def _part(
    part: int, table: Table, quantity: ColumnElement[Any], day: ColumnElement[Any]
) -> Select[Any]:
    thing = [table.c[name] for name in StockItem._fields]
    of_these = table.c.item.in_(bindparam("items", expanding=True))
    return select(literal_column(str(part)), *thing, quantity, day).where(of_these)


def _summed(part: int, table: Table) -> Select[Any]:
    thing = [table.c[name] for name in StockItem._fields]
    no_day = sql_cast(null(), table_of(StockIncoming).c.expected_on.type)
    return _part(part, table, func.sum(table.c.quantity), no_day).group_by(*thing)


def _all_there() -> CompoundSelect[Any]:
    """On hand, kept and on its way of some things, in one statement."""
    moves, holds, incoming = table_of(StockMove), table_of(StockHold), table_of(StockIncoming)
    kinds: list[ColumnElement[str]] = [literal_column(f"'{kind}'") for kind in StockKind]
    on_hand = _summed(_ON_HAND, moves).where(moves.c.kind.in_(kinds))
    kept = _summed(_KEPT, holds).where(holds.c.expires_at > bindparam("now"))
    coming = _part(_COMING, incoming, incoming.c.quantity, incoming.c.expected_on)
    return union_all(on_hand, kept, coming.where(incoming.c.state == "expected"))


_THERE: Final = _all_there()
