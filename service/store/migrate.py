"""Migrations, run by the program itself: no configuration file, one runner at a time."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection

from service.store.engine import dialect_of, migration_engine, parse_url
from service.store.faults import store_faults

LOCATION = Path(__file__).with_name("migrations")
"""Where the migrations lie, also in an installed package."""

_LOCK_KEY = 4_201_002
_LOCK_TIMEOUT_S = 4
"""How long a change of a table waits for those who use it, and makes them wait behind it."""


def upgrade(url: str, revision: str = "head") -> None:
    """Bring the database at ``url`` up to ``revision``; a SQLite file is made if there is none.

    The whole way is one transaction: all of it happens or nothing. Two runners follow each other.
    Raises :class:`Unavailable` when the store is away or its tables stay in use, and
    :class:`ValueError` for a URL that is not a store's.
    """
    _run(url, lambda config: command.upgrade(config, revision))


def downgrade(url: str, revision: str) -> None:
    """Take the database at ``url`` back to ``revision``; ``base`` drops every table and its rows.

    Raises as :func:`upgrade` does.
    """
    _run(url, lambda config: command.downgrade(config, revision))


def draft_revision(url: str, message: str) -> list[Path]:
    """Write a new migration from what the tables have and the database at ``url`` has not.

    For developers: read it, give each constraint its name, and let the tests compare.
    """
    before = set(LOCATION.glob("versions/*.py"))
    _run(url, lambda config: command.revision(config, message, autogenerate=True))
    return sorted(set(LOCATION.glob("versions/*.py")) - before)


def current_revision(url: str) -> str | None:
    """The revision of the database at ``url``; None when no migration has been run."""
    parsed = parse_url(url)
    if dialect_of(parsed) == "sqlite" and not Path(parsed.database or "").exists():
        return None
    engine = migration_engine(parsed)
    try:
        with store_faults(writing=False), engine.connect() as connection:
            return revision_of(connection)
    finally:
        engine.dispose()


@cache
def head_revision() -> str:
    """The newest revision this program has."""
    head = ScriptDirectory.from_config(_config()).get_current_head()
    if head is None:
        raise RuntimeError(f"no migrations in {LOCATION.name}")
    return head


def revision_of(connection: Connection) -> str | None:
    """The revision of the database behind ``connection``; None when no migration has been run."""
    return MigrationContext.configure(connection).get_current_revision()


def _run(url: str, step: Callable[[Config], object]) -> None:
    parsed = parse_url(url)
    _make_folder(parsed)
    engine = migration_engine(parsed)
    try:
        with store_faults(writing=True), engine.begin() as connection:
            _wait_for_other_runners(connection)
            step(_config(connection))
            _refuse_broken_references(connection)
    finally:
        engine.dispose()


def _config(connection: Connection | None = None) -> Config:
    config = Config(attributes={"connection": connection})
    # The option parser reads a percent sign as the start of a reference.
    config.set_main_option("script_location", str(LOCATION).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def _make_folder(url: URL) -> None:
    if dialect_of(url) == "sqlite":
        Path(url.database or "").absolute().parent.mkdir(parents=True, exist_ok=True)


def _wait_for_other_runners(connection: Connection) -> None:
    # On SQLite BEGIN IMMEDIATE has waited already.
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK_KEY})")
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_LOCK_TIMEOUT_S}s'")


def _refuse_broken_references(connection: Connection) -> None:
    # On SQLite references are not watched while a migration rebuilds tables.
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if broken:
            tables = sorted({str(row[0]) for row in broken})
            raise RuntimeError(f"the migration leaves broken references in {', '.join(tables)}")
