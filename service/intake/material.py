"""The day everything a ticket takes can be in the house: on the shelf, on its way, or ordered now.

An order's tickets look one after the other, and each leaves what it takes to no other.

What nobody keeps in the ledger, no move and no delivery ever, counts as bought in for the order;
ink of which that holds counts as there. A delivery whose day is over and that has not come is not
counted on: it is waited for as long as for one ordered now.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
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
from service.intake.stock_rows import entries_by_item, gone_entry, item_of
from service.store.core import table_of
from service.store.stock_sums import sums_of
from service.store.tables import StockHold, StockIncoming

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
    *needs: Iterable[Need],
    start: datetime,
    now: datetime,
    quoted: Catalogue | None = None,
) -> MaterialDay:
    """The day all of it is there for work that may begin at ``start``; the slowest is named.

    ``needs`` are those of each ticket, in their order; of tickets that take from the same the first
    has it first, so that the last to find too little is the one that waits. What open tickets need
    and quotes hold ``now`` is spoken for. What is gone from the catalogue takes as long to come as
    in the ``quoted`` one.
    """
    wanted = [wanted_of(each) for each in needs]
    shelf = shelf_of(session, set(chain.from_iterable(wanted)), catalogue, now)
    return shelf.material(wanted, catalogue, start=start, quoted=quoted)


def wanted_of(needs: Iterable[Need]) -> dict[StockItem, int]:
    """How much of each thing that is in all."""
    wanted: dict[StockItem, int] = {}
    for need in needs:
        wanted[need.item] = wanted.get(need.item, 0) + need.quantity
    return wanted


@dataclass(slots=True)
class Shelf:
    """What is on hand of some things, spoken for and on its way, the earliest day first.

    Read once by :func:`shelf_of`; what is accepted then takes from it. ``needed`` is what open
    tickets need, ``kept`` what quotes hold. A thing of which all that is on its way is overdue has
    an empty list.
    """

    on_hand: dict[StockItem, int] = field(default_factory=dict)
    needed: dict[StockItem, int] = field(default_factory=dict)
    kept: dict[StockItem, int] = field(default_factory=dict)
    coming: dict[StockItem, list[Expected]] = field(default_factory=dict)

    def take(self, wanted: Mapping[StockItem, int]) -> None:
        """Let an order's tickets need so much more."""
        for item, quantity in wanted.items():
            self.needed[item] = self.needed.get(item, 0) + quantity

    def keep(self, held: Mapping[StockItem, int]) -> None:
        """Let a quote hold so much more."""
        for item, quantity in held.items():
            self.kept[item] = self.kept.get(item, 0) + quantity

    def give_back(self, held: Mapping[StockItem, int]) -> None:
        """End a hold of so much."""
        self.keep({item: -quantity for item, quantity in held.items()})

    def material(
        self,
        wanted: Sequence[Mapping[StockItem, int]],
        catalogue: Catalogue,
        *,
        start: datetime,
        quoted: Catalogue | None = None,
    ) -> MaterialDay:
        """The day all that each ticket wants is there, as :func:`material_of` has it.

        Nothing is taken from the shelf.
        """
        calendar, first = catalogue.calendar, first_work_day(catalogue.calendar, start)
        catalogues = (catalogue,) if quoted is None else (catalogue, quoted)
        found: list[MaterialDay] = []
        before: dict[StockItem, int] = {}
        for mine in wanted:
            latest = MaterialDay(first, "")
            for level in self._levels(mine, before, catalogues):
                item = level.entry.item
                day = material_day(level, mine[item], today=first, calendar=calendar)
                latest = max(latest, MaterialDay(day, _name(level.entry)), key=_slowest)
                before[item] = before.get(item, 0) + mine[item]
            found.append(latest if latest.day > first else MaterialDay(first, ""))
        return MaterialDay.of_order(found)

    def _levels(
        self,
        wanted: Iterable[StockItem],
        before: Mapping[StockItem, int],
        catalogues: Sequence[Catalogue],
    ) -> Iterator[StockLevel]:
        """How each thing stands, as the first of the catalogues that has it tells of it.

        What tickets of the same order before want is spoken for as well.
        """
        known = [entries_by_item(one) for one in catalogues]
        for item in wanted:
            if item.kind is StockKind.INK and item not in self.on_hand and item not in self.coming:
                continue
            yield StockLevel(
                entry=next((one[item] for one in known if item in one), None) or gone_entry(item),
                moved=Moved(on_hand=self.on_hand.get(item, 0)),
                held=self.needed.get(item, 0) + self.kept.get(item, 0) + before.get(item, 0),
                incoming=self.coming.get(item, ()),
                by=_NO_REORDERING,
            )


def shelf_of(
    session: Session, wanted: Collection[StockItem], catalogue: Catalogue, now: datetime
) -> Shelf:
    """How those things stand ``now``, when what quotes no longer hold is free."""
    shelf = Shelf()
    if not wanted:
        return shelf
    today = now.astimezone(ZoneInfo(catalogue.calendar.time_zone)).date()
    for item, sums in sums_of(session, wanted).items():
        shelf.needed[item] = sums.needed
        if sums.moves:
            shelf.on_hand[item] = sums.on_hand
    asked = {"items": sorted({one.item for one in wanted}), "now": now}
    for part, kind, name, colour, size, unit, quantity, day in session.connection().execute(
        _KEPT_AND_COMING, asked
    ):
        item, count = item_of(kind, name, colour, size, unit), int(quantity)
        if part == _COMING:
            coming = shelf.coming.setdefault(item, [])
            if day >= today:
                coming.append(Expected("", count, day))
        else:
            shelf.kept[item] = count
    for coming in shelf.coming.values():
        coming.sort(key=lambda one: one.day)
    return shelf


def _slowest(material: MaterialDay) -> tuple[object, str]:
    return material.day, material.waits_for


def _name(entry: StockEntry) -> str:
    """What people call it: its name, colour and size, a colour in the name not told twice."""
    colour = entry.colour_name.lower()
    parts = (entry.name, "" if colour in entry.name.lower() else colour, entry.item.size)
    return ", ".join(part for part in parts if part)


_KEPT, _COMING = range(2)


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


def _kept_and_coming() -> CompoundSelect[Any]:
    """Kept and on its way of some things, in one statement."""
    holds, incoming = table_of(StockHold), table_of(StockIncoming)
    kept = _summed(_KEPT, holds).where(holds.c.expires_at > bindparam("now"))
    coming = _part(_COMING, incoming, incoming.c.quantity, incoming.c.expected_on)
    return union_all(kept, coming.where(incoming.c.state == "expected"))


_KEPT_AND_COMING: Final = _kept_and_coming()
