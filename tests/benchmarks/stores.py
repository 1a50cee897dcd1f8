"""Fresh, durable stores of both kinds, gone when their context ends."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg

from service.store.migrate import upgrade
from tests.store.servers import PostgresDatabases, embedded_postgres

RELOAD_TURNS = 100


@dataclass(frozen=True, slots=True)
class Store:
    """A kind of store: its name and version, and two empty databases, the real one migrated."""

    kind: str
    version: str
    real_url: str
    bare_url: str


@contextmanager
def fresh_stores(kind: str, folder: Path) -> Iterator[Store]:
    """Databases of one kind, ``sqlite`` or ``postgresql``, with files in ``folder``."""
    with ExitStack() as stack:
        if kind == "sqlite":
            real, bare = (f"sqlite:///{folder / name}.sqlite3" for name in ("real", "bare"))
            version = f"SQLite {sqlite3.sqlite_version} (WAL, synchronous FULL)"
        else:
            # The package keeps a lock in this folder; so it goes with all the rest.
            os.environ["XDG_RUNTIME_DIR"] = str(folder)
            server_url = stack.enter_context(embedded_postgres())
            version = _made_durable(server_url)
            databases = PostgresDatabases(server_url, "benchmark")
            real, bare = databases.fresh(), databases.fresh()
        upgrade(real)
        yield Store(kind, version, real, bare)


def _made_durable(server_url: str) -> str:
    """Take back the settings that make tests quick; gives the server's version in words."""
    with psycopg.connect(server_url, autocommit=True) as connection:
        connection.execute("ALTER SYSTEM RESET ALL")
        connection.execute("SELECT pg_reload_conf()")
        for _ in range(RELOAD_TURNS):  # the server reads its settings when it comes to it
            if _shown(connection, "fsync") == "on":
                break
            connection.execute("SELECT pg_sleep(0.05)")
        version, fsync, commit = (
            _shown(connection, name) for name in ("server_version", "fsync", "synchronous_commit")
        )
    return f"PostgreSQL {version} (fsync {fsync}, synchronous_commit {commit})"


def _shown(connection: psycopg.Connection, setting: str) -> str:
    row = connection.execute("SELECT current_setting(%s)", (setting,)).fetchone()
    return str(row[0]) if row else "?"
