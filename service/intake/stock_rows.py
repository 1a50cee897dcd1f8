"""Stock read from its rows: sums by thing, in grouped queries that read no ticket's document."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import select as sum_up
from sqlmodel import Session, col, func, select

from service.domain.errors import BadInput, FieldFault
from service.domain.memo import Same
from service.domain.shop import Catalogue
from service.domain.stock import USES, Expected, Moved
from service.domain.stock_items import (
    SAID,
    StockEntry,
    StockItem,
    StockKind,
    StockUnit,
    counted,
    stock_entries,
)
from service.intake.names import unknown_name
from service.intake.stock_requests import StockAmount
from service.store.stock_sums import Sums, all_sums, sums_of
from service.store.tables import StockIncoming, StockMove, StockSum, TicketNeed

StockSums = dict[StockItem, Moved]


@lru_cache(maxsize=4_096)
def item_of(kind: str, item: str, colour: str, size: str, unit: str) -> StockItem:
    """The thing that a row is about."""
    return StockItem(StockKind(kind), item, colour, size, StockUnit(unit))


def key_of(table: type[StockMove | TicketNeed | StockIncoming]) -> tuple[Any, ...]:
    """The columns that tell one thing from another."""
    return (
        col(table.kind),
        col(table.item),
        col(table.colour),
        col(table.size),
        col(table.unit),
    )


def is_of(table: type[StockMove | TicketNeed | StockIncoming], item: StockItem) -> list[Any]:
    """That a row is about the thing."""
    return [column == value for column, value in zip(key_of(table), item, strict=True)]


def moved(session: Session, since: datetime, kind: StockKind | None = None) -> StockSums:
    """What the ledger says of each thing; its use is told from ``since`` on."""
    key = key_of(StockMove)
    # Not the bare columns, or SQLite walks the whole ledger by their index instead of four weeks.
    apart = [key[0].concat(""), *key[1:]]
    used = sum_up(*apart, func.sum(StockMove.quantity)).group_by(*apart)
    used = used.where(col(StockMove.at) >= since, col(StockMove.reason).in_(USES))
    of_late = {item_of(*row[:5]): -int(row[5]) for row in session.connection().execute(used)}
    return {
        item: Moved(on_hand=sums.on_hand, used=of_late.get(item, 0))
        for item, sums in _sums(session, kind).items()
        if sums.moves
    }


def held(session: Session, kind: StockKind | None = None) -> dict[StockItem, int]:
    """What open tickets still need of each thing, less what lies on an accepted run."""
    sums = _sums(session, kind)
    return {item: one.needed for item, one in sums.items() if one.needed}


def _sums(session: Session, kind: StockKind | None) -> dict[StockItem, Sums]:
    return all_sums(session, *([] if kind is None else [col(StockSum.kind) == kind]))


def expected(
    session: Session, kind: StockKind | None = None, *, items: Collection[str] | None = None
) -> dict[StockItem, list[Expected]]:
    """What is on its way, the earliest day first; of one kind or of those ids, where asked for."""
    statement = select(StockIncoming).where(StockIncoming.state == "expected")
    if kind is not None:
        statement = statement.where(StockIncoming.kind == kind)
    if items is not None:
        statement = statement.where(col(StockIncoming.item).in_(items))
    statement = statement.order_by(col(StockIncoming.expected_on), col(StockIncoming.seq))
    found: dict[StockItem, list[Expected]] = {}
    for row in session.exec(statement).all():
        item = item_of(row.kind, row.item, row.colour, row.size, row.unit)
        found.setdefault(item, []).append(Expected(row.id, row.quantity, row.expected_on))
    return found


def on_hand_of(session: Session, item: StockItem) -> int:
    """What is on hand of one thing; whoever decides by it holds the shop's lock."""
    return sums_of(session, [item]).get(item, Sums()).on_hand


def entries_by_item(catalogue: Catalogue) -> Mapping[StockItem, StockEntry]:
    """All that may be stocked, in the order of the catalogue."""
    return _entries(Same(catalogue))


@lru_cache(maxsize=8)
def _entries(catalogue: Same[Catalogue]) -> Mapping[StockItem, StockEntry]:
    return {entry.item: entry for entry in stock_entries(catalogue.it)}


def gone_entry(item: StockItem) -> StockEntry:
    """What stands for a thing that the catalogue has no more."""
    return StockEntry(
        item=item, name=item.item, colour_id=item.colour, colour_name=item.colour, lead_days=0
    )


def amount_of(
    session: Session, catalogue: Catalogue, wanted: StockAmount, *, zero: bool = False
) -> tuple[StockEntry, int]:
    """The thing that is meant, and how much of it in the ledger's unit.

    Raises ``BadInput`` for what the shop does not have, a unit it is not counted in, parts of a
    piece or sheet, and nothing at all unless ``zero``.
    """
    entry = _entry_of(session, catalogue, wanted)
    unit, _ = SAID[entry.item.unit]
    if wanted.unit is not unit:
        raise _refused("unit", "unit-unfit", f"{entry.name} is counted in {unit}.")
    if wanted.quantity == 0 and not zero:
        raise _refused("quantity", "too-small", f"Say how many {unit}, more than 0.")
    quantity = counted(wanted.quantity, entry.item.unit)
    if quantity is None:
        raise _refused("quantity", "not-whole", f"{unit.capitalize()} are counted whole.")
    return entry, quantity


def _entry_of(session: Session, catalogue: Catalogue, wanted: StockAmount) -> StockEntry:
    every = entries_by_item(catalogue).values()
    known = [entry for entry in every if entry.item.kind is wanted.kind]
    gone = _gone(session, wanted, {entry.item for entry in known})
    if gone is not None:
        return gone
    of_item = [entry for entry in known if entry.item.item == wanted.item]
    if not of_item:
        ids = dict.fromkeys(entry.item.item for entry in known)
        kind = "printer" if wanted.kind is StockKind.INK else str(wanted.kind)
        raise _refused("item", "unknown-name", unknown_name(kind, wanted.item, ids))
    name = of_item[0].name
    colours = {entry.colour_id: entry for entry in of_item}
    _must_be_known("colour", wanted.colour, colours, name)
    of_colour = [entry for entry in of_item if entry.colour_id == wanted.colour]
    sizes = {entry.item.size: entry for entry in of_colour}
    _must_be_known("size", wanted.size, sizes, name)
    return sizes[wanted.size]


def _must_be_known(field: str, named: str, known: Mapping[str, object], name: str) -> None:
    if named in known:
        return
    if "" in known:
        raise _refused(field, "unknown-name", f"{name} has no {field}: leave it out.")
    if not named:
        listed = ", ".join(known)
        raise _refused(field, "missing", f"Name a {field} of {name}. Known: {listed}.")
    raise _refused(field, "unknown-name", unknown_name(field, named, known, f" of {name}"))


def _gone(session: Session, wanted: StockAmount, known: Iterable[StockItem]) -> StockEntry | None:
    """A thing that is not in the catalogue any more, of which the ledger still tells."""
    left = all_sums(
        session,
        col(StockSum.kind) == wanted.kind,
        col(StockSum.item) == wanted.item,
        col(StockSum.colour) == wanted.colour,
        col(StockSum.size) == wanted.size,
        col(StockSum.moves) > 0,
    )
    return next(
        (
            gone_entry(item)
            for item in left
            if item not in set(known) and SAID[item.unit][0] is wanted.unit
        ),
        None,
    )


def _refused(field: str, code: str, detail: str) -> BadInput:
    fault = FieldFault(detail, path=(field,), code=code)
    return BadInput("fields-refused", detail, faults=[fault])
