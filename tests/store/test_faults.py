"""What a store that is away looks like to a caller."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import text
from sqlalchemy.exc import (
    DBAPIError,
    IntegrityError,
    NoResultFound,
    OperationalError,
    SQLAlchemyError,
)
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlmodel import Session

from service.domain.errors import Unavailable
from service.store import migrate
from service.store.database import WRITE_ATTEMPTS_MAX, Database
from service.store.faults import is_away
from tests.store.rows import stored_answer
from tests.store.servers import PostgresDatabases


def _sqlite_error(code: int) -> DBAPIError:
    cause = sqlite3.OperationalError("something")
    cause.sqlite_errorcode = code
    return OperationalError("SELECT 1", {}, cause)


def _postgresql_error(state: str) -> DBAPIError:
    return DBAPIError("SELECT 1", {}, psycopg.errors.lookup(state)("something"))


# Codes of the SQLite manual's "Result and Error Codes" and of the PostgreSQL manual's appendix A,
# from memory.
@pytest.mark.parametrize(
    ("error", "away_reading", "away_writing"),
    [
        (_sqlite_error(5), True, True),  # SQLITE_BUSY
        (_sqlite_error(517), True, True),  # SQLITE_BUSY_SNAPSHOT
        (_sqlite_error(13), True, True),  # SQLITE_FULL
        (_sqlite_error(14), True, True),  # SQLITE_CANTOPEN
        (_sqlite_error(266), True, True),  # SQLITE_IOERR_READ
        (_sqlite_error(8), False, True),  # SQLITE_READONLY: a read that tried to write
        (_sqlite_error(1), False, False),  # SQLITE_ERROR: no such table
        (_sqlite_error(2067), False, False),  # SQLITE_CONSTRAINT_UNIQUE
        (_postgresql_error("08006"), True, True),  # connection_failure
        (_postgresql_error("53300"), True, True),  # too_many_connections
        (_postgresql_error("57P01"), True, True),  # admin_shutdown
        (_postgresql_error("57014"), True, True),  # query_canceled
        (_postgresql_error("58030"), True, True),  # io_error
        (_postgresql_error("55P03"), True, True),  # lock_not_available
        (_postgresql_error("40P01"), True, True),  # deadlock_detected
        (_postgresql_error("25006"), False, True),  # read_only_sql_transaction
        (_postgresql_error("42P01"), False, False),  # undefined_table
        (_postgresql_error("23505"), False, False),  # unique_violation
        (DBAPIError("", {}, psycopg.OperationalError("no connection")), True, True),
        (PoolTimeoutError(), True, True),
        (NoResultFound(), False, False),
    ],
)
def test_which_errors_mean_that_the_store_is_away(
    error: SQLAlchemyError, *, away_reading: bool, away_writing: bool
) -> None:
    """Out of reach, out of room and too busy; never a mistake of the program."""
    assert is_away(error, writing=False) is away_reading
    assert is_away(error, writing=True) is away_writing


def _unreachable(store: str, tmp_path: Path) -> str:
    if store == "sqlite":
        return f"sqlite:///{tmp_path / 'no-such-folder' / 'intake.sqlite3'}"
    # Port 1 of this machine: nothing listens there.
    return "postgresql+psycopg://nobody@127.0.0.1:1/nothing"


def test_a_store_out_of_reach_is_unavailable(store: str, tmp_path: Path) -> None:
    """Reads, writes and readiness say so in one way, without the address."""
    database = Database.open(_unreachable(store, tmp_path))
    for run in (database.read, database.write):
        with pytest.raises(Unavailable) as refusal:
            run(lambda session: session.connection())
        assert refusal.value.code == "store-unavailable"
        assert refusal.value.retry_after_s > 0
    assert database.ready() == (False, "The store cannot be reached just now.")
    database.close()


def test_a_migration_of_a_store_out_of_reach_is_unavailable(tmp_path: Path) -> None:
    """The command that migrates can say the same."""
    url = _unreachable("postgresql", tmp_path)
    for run in (migrate.upgrade, migrate.current_revision):
        with pytest.raises(Unavailable):
            run(url)


def test_a_store_without_tables_is_not_ready(bare_store_url: str) -> None:
    """Readiness asks for the newest migration, not only for a connection."""
    database = Database.open(bare_store_url)
    assert database.ready() == (
        False,
        f"migrations stand at none, not at {migrate.head_revision()}",
    )
    database.close()


def test_a_store_that_another_program_holds_is_unavailable(
    tmp_path: Path, migrated_sqlite_file: Path
) -> None:
    """A writer waits only so long for one outside its queue."""
    file = tmp_path / "held.sqlite3"
    file.write_bytes(migrated_sqlite_file.read_bytes())
    database = Database.open(f"sqlite:///{file}?timeout=0.001")
    holder = sqlite3.connect(file, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(Unavailable):
        database.write(lambda session: session.add(stored_answer()))
    holder.execute("ROLLBACK")
    holder.close()
    database.write(lambda session: session.add(stored_answer()))
    database.close()


def test_a_writer_whose_turn_does_not_come_is_told_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wait in the queue of this program is bounded as well."""
    database = Database.open(f"sqlite:///{tmp_path / 'queue.sqlite3'}")
    inside, may_end = threading.Event(), threading.Event()

    def hold(_: Session) -> None:
        inside.set()
        may_end.wait(5)

    holder = threading.Thread(target=database.write, args=(hold,))
    holder.start()
    assert inside.wait(5)
    monkeypatch.setattr("service.store.database.BUSY_TIMEOUT_S", 0.01)
    with pytest.raises(Unavailable, match="busy"):
        database.write(lambda _: None)
    may_end.set()
    holder.join(5)
    database.close()


def test_a_new_file_that_another_program_is_setting_up_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite may refuse at once, so the change to WAL is asked for again."""
    file = tmp_path / "new.sqlite3"
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    pauses: list[float] = []

    def pause(seconds: float) -> None:
        pauses.append(seconds)
        if len(pauses) == 2:
            other.execute("ROLLBACK")

    monkeypatch.setattr("service.store.engine.time.sleep", pause)
    database = Database.open(f"sqlite:///{file}?timeout=0")
    journal_mode = database.read(
        lambda session: session.connection().exec_driver_sql("PRAGMA journal_mode").scalar_one()
    )
    assert (journal_mode, len(pauses)) == ("wal", 2)
    other.close()
    database.close()


def test_a_connection_lost_while_idle_is_replaced(
    postgres_databases: PostgresDatabases,
) -> None:
    """A server that was restarted between two writes costs no caller an error."""
    url = postgres_databases.emptied()
    database = Database.open(url, pool_size=1)
    database.write(lambda session: session.add(stored_answer(key="before")))
    postgres_databases.end_connections()
    database.write(lambda session: session.add(stored_answer(key="after")))
    database.close()


def test_a_connection_lost_in_the_middle_is_unavailable_and_not_run_again(
    postgres_databases: PostgresDatabases,
) -> None:
    """Work that had begun may have had effects, so only the caller may try again."""
    database = Database.open(postgres_databases.emptied())
    runs = 0

    def work(session: Session) -> None:
        nonlocal runs
        runs += 1
        session.connection().execute(text("SELECT pg_terminate_backend(pg_backend_pid())"))

    with pytest.raises(Unavailable):
        database.write(work)
    assert runs == 1
    database.close()


@pytest.mark.parametrize("failures", [WRITE_ATTEMPTS_MAX - 1, WRITE_ATTEMPTS_MAX])
def test_a_serialization_failure_is_tried_again_a_bounded_number_of_times(
    postgres_databases: PostgresDatabases, failures: int
) -> None:
    """Work that may pass next time is run again with its rows undone, until it is too often."""
    database = Database.open(postgres_databases.emptied())
    runs = 0

    def work(session: Session) -> str:
        nonlocal runs
        runs += 1
        session.add(stored_answer())
        session.flush()
        if runs <= failures:
            raising = "DO $$ BEGIN RAISE EXCEPTION 'x' USING ERRCODE = '40001'; END $$"
            session.connection().execute(text(raising))
        return "done"

    if failures < WRITE_ATTEMPTS_MAX:
        assert database.write(work) == "done"
    else:
        with pytest.raises(Unavailable):
            database.write(work)
    assert runs == WRITE_ATTEMPTS_MAX
    database.close()


def test_a_broken_rule_of_the_tables_is_not_taken_for_an_absence(database: Database) -> None:
    """A caller is not told to come back for what will never be accepted."""
    database.write(lambda session: session.add(stored_answer()))
    with pytest.raises(IntegrityError):
        database.write(lambda session: session.add(stored_answer()))


def test_an_error_of_the_store_shows_no_stored_value(database: Database) -> None:
    """The parameters of a statement, which may be personal, stay out of messages and logs."""
    row = stored_answer(status=7, body_json="a person's address")
    with pytest.raises(IntegrityError) as refusal:
        database.write(lambda session: session.add(row))
    assert "a person's address" not in str(refusal.value).partition("DETAIL:")[0]
