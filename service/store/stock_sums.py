"""What the ledger of stock and the needs of open tickets come to, kept by thing.

A promise asks for these sums, so they are kept as rows change, in the same transaction, and never
reckoned from the rows. Whoever moves stock does so by :func:`book_move`; whoever writes needs or
takes them away, or puts them on a run, says so by :func:`note_needed`. Every order and many moves
change the same few sums. So what a transaction has noted is written when all else of it is, in one
statement and in the order of the things: who holds a sum's lock waits for no other row.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any, Final, NamedTuple

from sqlalchemy import ColumnElement, Insert, bindparam, select, tuple_
from sqlmodel import Session

from service.domain.stock_items import StockItem, StockKind, StockUnit
from service.store.core import table_of
from service.store.database import do_last
from service.store.many_rows import StoreInsert, TableRows, write_tables
from service.store.tables import StockMove, StockSum

_TABLE: Final = table_of(StockSum)
_THING: Final = tuple(_TABLE.c[name] for name in StockItem._fields)
_NOTED: Final = "stock sums noted"
_BATCH: Final = 500


class Sums(NamedTuple):
    """Of one thing: what is on hand, by how many moves, and what open tickets need off any run."""

    on_hand: int = 0
    moves: int = 0
    needed: int = 0

    def and_also(self, other: Sums) -> Sums:
        """Both together."""
        return Sums(*(one + more for one, more in zip(self, other, strict=True)))


_SUMS: Final = select(*_THING, *(_TABLE.c[name] for name in Sums._fields))
_OF_THESE: Final = _SUMS.where(tuple_(*_THING).in_(bindparam("things", expanding=True)))


def book_move(session: Session, move: StockMove) -> None:
    """Add a move to the ledger, and to what is on hand."""
    session.add(move)
    item = StockItem(StockKind(move.kind), move.item, move.colour, move.size, StockUnit(move.unit))
    _note(session, item, Sums(on_hand=move.quantity, moves=1))


def note_needed(session: Session, needed: Iterable[tuple[StockItem, int]]) -> None:
    """Note how much more open tickets need of those things off any run; below 0, how much less."""
    for item, quantity in needed:
        _note(session, item, Sums(needed=quantity))


def sums_of(session: Session, items: Iterable[StockItem]) -> dict[StockItem, Sums]:
    """The sums of those things; of what was never moved or needed there is none."""
    _write_noted(session)
    found: dict[StockItem, Sums] = {}
    for some in _batches(sorted(set(items))):
        found.update(_read(session.connection().execute(_OF_THESE, {"things": some})))
    return found


def all_sums(session: Session, *which: ColumnElement[bool]) -> dict[StockItem, Sums]:
    """The sums of all things, or of those that meet the conditions."""
    _write_noted(session)
    return dict(_read(session.connection().execute(_SUMS.where(*which))))


def rows_of_needed(needs: Sequence[Mapping[str, Any]]) -> TableRows:
    """What rows of needs add to the sums, as it is written."""
    needed: dict[StockItem, Sums] = {}
    for row in needs:
        item = StockItem(*(row[name] for name in StockItem._fields))
        needed[item] = needed.get(item, Sums()).and_also(Sums(needed=row["quantity"]))
    return _rows(needed)


def _note(session: Session, item: StockItem, more: Sums) -> None:
    noted: dict[StockItem, Sums] = session.info.setdefault(_NOTED, {})
    noted[item] = noted.get(item, Sums()).and_also(more)
    do_last(session, _write_noted)


def _write_noted(session: Session) -> None:
    noted: dict[StockItem, Sums] | None = session.info.pop(_NOTED, None)
    if noted:
        write_tables(session.connection(), [_rows(noted)])


def _rows(sums: Mapping[StockItem, Sums]) -> TableRows:
    rows = [{**item._asdict(), **more._asdict()} for item, more in sorted(sums.items())]
    return TableRows(_TABLE, rows, _adding)


def _read(rows: Iterable[Sequence[Any]]) -> Iterator[tuple[StockItem, Sums]]:
    for kind, item, colour, size, unit, *sums in rows:
        yield StockItem(StockKind(kind), item, colour, size, StockUnit(unit)), Sums(*sums)


def _adding(insert: StoreInsert) -> Insert:
    """Add to the sums that are there already."""
    return insert.on_conflict_do_update(
        index_elements=[column.name for column in _TABLE.primary_key],
        set_={name: _TABLE.c[name] + insert.excluded[name] for name in Sums._fields},
    )


def _batches(items: Iterable[StockItem]) -> Iterator[list[StockItem]]:
    """So few at once that no store refuses the statement."""
    left = iter(items)
    while some := list(islice(left, _BATCH)):
        yield some
