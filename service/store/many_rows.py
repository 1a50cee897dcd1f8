"""Many rows of a table written by one statement, whatever their number.

On PostgreSQL the rows go as one JSON document, so that the statement is always the same: it is
prepared once, and one answer is waited for. SQLite is handed the rows one by one.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    Connection,
    CursorResult,
    Executable,
    Table,
    Text,
    bindparam,
    cast,
    column,
    func,
    select,
)
from sqlalchemy.dialects import postgresql, sqlite

StoreInsert = postgresql.Insert | sqlite.Insert
"""An insert of either store; both know a row that is there already by the same methods."""

Finish = Callable[[StoreInsert], Executable]
"""What an insert does with a row that is there already, or gives back."""


def plain(insert: StoreInsert) -> Executable:
    """Nothing besides."""
    return insert


def write_rows(
    connection: Connection,
    table: Table,
    rows: Sequence[Mapping[str, Any]],
    finish: Finish = plain,
) -> CursorResult[Any]:
    """Write one row at least; all of them name the same columns, of texts, numbers and times.

    ``finish`` is a function of a module, so that the statement is made once.
    """
    if connection.dialect.name == "postgresql":
        document = json.dumps([*rows], default=str)
        return connection.execute(_of_document(table, tuple(rows[0]), finish), {_ROWS: document})
    return connection.execute(_row_by_row(table, finish), [*rows])


_ROWS = "rows"


@lru_cache(maxsize=64)
def _row_by_row(table: Table, finish: Finish) -> Executable:
    return finish(sqlite.insert(table))


@lru_cache(maxsize=64)
def _of_document(table: Table, names: tuple[str, ...], finish: Finish) -> Executable:
    columns = (column(name, table.c[name].type) for name in names)
    document = cast(bindparam(_ROWS, type_=Text), postgresql.JSON)
    given = func.json_to_recordset(document).table_valued(*columns)
    rows = select(*given.render_derived(with_types=True).c)
    return finish(postgresql.insert(table).from_select(list(names), rows))
