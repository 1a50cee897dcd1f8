"""Many rows written by one statement, whatever their number.

On PostgreSQL the rows of a table go as one JSON document, so that the statement is always the same:
it is prepared once, and one answer is waited for, of several tables too. SQLite is handed the rows
one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from pydantic_core import to_json
from sqlalchemy import (
    Connection,
    CursorResult,
    Executable,
    Insert,
    Table,
    Text,
    bindparam,
    cast,
    column,
    func,
    literal,
    select,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.sql.schema import ScalarElementColumnDefault

StoreInsert = postgresql.Insert | sqlite.Insert
"""An insert of either store; both know a row that is there already by the same methods."""

Finish = Callable[[StoreInsert], Insert]
"""What an insert does with a row that is there already, or gives back."""


def plain(insert: StoreInsert) -> Insert:
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
        statement = _of_document(table, tuple(rows[0]), finish, _ROWS)
        return connection.execute(statement, {_ROWS: _document(rows)})
    return connection.execute(_row_by_row(table, finish), [*rows])


class TableRows(NamedTuple):
    """Rows of one table, none or more, as :func:`write_rows` takes them."""

    table: Table
    rows: Sequence[Mapping[str, Any]]
    finish: Finish = plain


def write_tables(connection: Connection, parts: Iterable[TableRows]) -> None:
    """Write rows of several tables, each told once and nothing given back."""
    some = [part for part in parts if part.rows]
    if connection.dialect.name == "postgresql" and some:
        shapes = tuple((part.table, tuple(part.rows[0]), part.finish) for part in some)
        given = {f"{_ROWS}_{at}": _document(part.rows) for at, part in enumerate(some)}
        connection.execute(_of_documents(shapes), given).close()
        return
    for part in some:
        write_rows(connection, *part)


_ROWS = "rows"


def _document(rows: Sequence[Mapping[str, Any]]) -> str:
    return to_json([*rows]).decode()


@lru_cache(maxsize=64)
def _row_by_row(table: Table, finish: Finish) -> Insert:
    return finish(sqlite.insert(table))


@lru_cache(maxsize=64)
def _of_documents(shapes: tuple[tuple[Table, tuple[str, ...], Finish], ...]) -> Executable:
    """An insert for each, by a document of its own, in one statement.

    All see the store as it was before; references are judged when the transaction ends.
    """
    inserts = (_of_document(*shape, f"{_ROWS}_{at}") for at, shape in enumerate(shapes))
    written = (insert.cte(f"written_{at}") for at, insert in enumerate(inserts))
    return select(literal(1)).add_cte(*written)


@lru_cache(maxsize=64)
def _of_document(table: Table, names: tuple[str, ...], finish: Finish, given: str) -> Insert:
    columns = (column(name, table.c[name].type) for name in names)
    document = cast(bindparam(given, type_=Text), postgresql.JSON)
    told = func.json_to_recordset(document).table_valued(*columns)
    # The library adds defaults only to a statement of one table.
    others = {
        one.name: literal(one.default.arg, one.type)
        for one in table.c
        if one.name not in names and isinstance(one.default, ScalarElementColumnDefault)
    }
    rows = select(*told.render_derived(with_types=True).c, *others.values())
    insert = postgresql.insert(table)
    return finish(insert.from_select([*names, *others], rows, include_defaults=False))
