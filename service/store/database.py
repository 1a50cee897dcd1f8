"""The database: whole transactions, run to their end before anything is answered."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from sqlalchemy import func, select
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlmodel import Session

from service.domain.errors import ServiceError, Unavailable
from service.store.engine import (
    BUSY_TIMEOUT_S,
    Dialect,
    Engines,
    dialect_of,
    open_engines,
    parse_url,
)
from service.store.fair_lock import FairLock
from service.store.faults import is_away, may_pass_next_time, store_faults, store_unavailable
from service.store.migrate import head_revision, revision_of

T = TypeVar("T")

WRITE_ATTEMPTS_MAX = 5
"""Times a write that fell to another transaction is run in all (PostgreSQL)."""

CONNECT_ATTEMPTS_MAX = 3
"""Times a write asks for a connection before its work begins (PostgreSQL)."""

_SHOP_LOCK_KEY = 4_201_001
_SHOP_LOCKED = "shop locked"
_AT_LAST = "done at last"


class Database:
    """One database, SQLite or PostgreSQL, shared by threads.

    A unit of work is a function of a session. It may be run more than once, so it changes nothing
    but its session, and it does not call :meth:`write` or :meth:`read` again: one use case is one
    transaction. Rows it returns keep their values after the session has ended.
    """

    def __init__(self, engines: Engines, dialect: Dialect) -> None:
        """Use :meth:`open`."""
        self.dialect: Dialect = dialect
        self._engines = engines
        self._writers = FairLock()
        self._inside = threading.local()

    @classmethod
    def open(cls, url: str, *, pool_size: int = 8) -> Database:
        """The database at ``url``, with up to ``pool_size`` connections; nothing connects yet.

        Raises :class:`ValueError` for an in-memory database and for any other kind of store.
        """
        parsed = parse_url(url)
        return cls(open_engines(parsed, pool_size), dialect_of(parsed))

    def write(self, work: Callable[[Session], T]) -> T:
        """Run ``work`` in a transaction that is committed before its result is given back.

        Any exception rolls everything back. On PostgreSQL, work that fell to another transaction
        (serialization failure, deadlock) is run again, up to ``WRITE_ATTEMPTS_MAX`` times in all.
        Raises :class:`Unavailable` when the store is away; where the connection broke during the
        commit itself, the outcome is unknown.
        """
        with self._alone(), store_faults(writing=True), self._turn():
            for _ in range(WRITE_ATTEMPTS_MAX - 1):
                try:
                    return self._write_once(work)
                except DBAPIError as error:
                    if not may_pass_next_time(error):
                        raise
            return self._write_once(work)

    def read(self, work: Callable[[Session], T]) -> T:
        """Run ``work`` on one unchanging snapshot; the transaction is ended before the return.

        Writing in it fails on both stores. Raises :class:`Unavailable` when the store is away.
        """
        with (
            self._alone(),
            store_faults(writing=False),
            Session(self._engines.reader, expire_on_commit=False) as session,
        ):
            try:
                result = work(session)
            except ServiceError:
                # Refused by what was read; nothing failed in the store.
                session.commit()
                raise
            # Nothing was written; but a rollback would make the driver forget the statements that
            # it has prepared on this connection.
            session.commit()
            return result

    def ready(self) -> tuple[bool, str]:
        """Whether the database answers and its tables are those of this program, and why not."""
        try:
            with store_faults(writing=False), self._engines.probe.connect() as connection:
                applied = revision_of(connection)
        except Unavailable as error:
            return False, error.detail
        if applied != head_revision():
            return False, f"migrations stand at {applied or 'none'}, not at {head_revision()}"
        return True, "ready"

    def close(self) -> None:
        """Close every connection that is not in use."""
        self._engines.dispose()

    def _write_once(self, work: Callable[[Session], T]) -> T:
        with Session(self._engines.writer, expire_on_commit=False) as session:
            self._begin(session)
            result = work(session)
            _do_what_comes_last(session)
            self._commit(session)
            return result

    def _commit(self, session: Session) -> None:
        driver = session.connection().connection.driver_connection
        try:
            session.commit()
        except DBAPIError:
            # SQLite keeps a transaction open whose commit it refused, as for a dangling reference,
            # and the connection would carry it into the next one's.
            if self.dialect == "sqlite" and driver is not None:
                driver.rollback()
            raise

    def _begin(self, session: Session) -> None:
        # Nothing has been done yet, so a lost connection may be replaced without doubt.
        attempts = CONNECT_ATTEMPTS_MAX if self.dialect == "postgresql" else 1
        for _ in range(attempts - 1):
            try:
                session.connection()
            except OperationalError as error:
                if not is_away(error, writing=True):
                    raise
                session.rollback()
            else:
                return
        session.connection()

    @contextmanager
    def _turn(self) -> Iterator[None]:
        """This thread's turn to write: SQLite's own wait sleeps, and its tail is a second long."""
        if self.dialect == "postgresql":
            yield
            return
        if not self._writers.acquire(BUSY_TIMEOUT_S):
            raise store_unavailable("The store is busy just now.")
        try:
            yield
        finally:
            self._writers.release()

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Refuse a transaction inside a transaction, which could wait for itself for ever."""
        if getattr(self._inside, "transaction", False):
            raise RuntimeError("a transaction was opened inside another: pass the session on")
        self._inside.transaction = True
        try:
            yield
        finally:
            self._inside.transaction = False


def lock_shop(session: Session) -> None:
    """Let one transaction at a time promise the shop's time; held until this transaction ends.

    SQLite needs nothing: its writers are alone from the beginning. On PostgreSQL this is an
    advisory lock, and what is read after it sees all that its earlier holders committed. Whoever
    holds it may ask for it again. Not for a savepoint, whose end would let go of it unnoticed.
    """
    if session.get_bind().dialect.name == "postgresql" and not session.info.get(_SHOP_LOCKED):
        session.connection().execute(select(func.pg_advisory_xact_lock(_SHOP_LOCK_KEY)))
        # A session is one transaction's.
        session.info[_SHOP_LOCKED] = True


def do_last(session: Session, work: Callable[[Session], None]) -> None:
    """Have ``work`` done once, when all else of the transaction is written.

    For rows that many transactions change: they are locked for the shortest time, by one that waits
    for nothing more. ``work`` is a function of a module.
    """
    session.info.setdefault(_AT_LAST, {})[work] = True


def _do_what_comes_last(session: Session) -> None:
    if _AT_LAST in session.info:
        session.flush()
        for work in session.info.pop(_AT_LAST):
            work(session)
