"""Telling a store that cannot be reached just now from a mistake of ours."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from service.domain.errors import Unavailable

RETRY_AFTER_S = 5
"""When a caller may ask again after the store could not be reached."""

_SQLITE_AWAY = frozenset(
    {
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_PROTOCOL,
    }
)
_POSTGRESQL_AWAY_CLASSES = ("08", "53", "57", "58")
"""SQLSTATE classes (PostgreSQL manual, appendix A, from memory): connection exception,
insufficient resources, operator intervention, system error."""

_POSTGRESQL_LOCK_TIMED_OUT = "55P03"
_POSTGRESQL_READ_ONLY = "25006"
_POSTGRESQL_TRY_AGAIN = frozenset({"40001", "40P01"})
"""SQLSTATEs of a serialization failure and of a deadlock: the same work may pass next time."""


def store_unavailable(detail: str = "The store cannot be reached just now.") -> Unavailable:
    """The answer while the store is away."""
    return Unavailable("store-unavailable", detail, retry_after_s=RETRY_AFTER_S)


@contextmanager
def store_faults(*, writing: bool) -> Iterator[None]:
    """Turn a store that is away into :class:`Unavailable`; every other error passes unchanged.

    ``writing`` says that a store which only lets itself be read counts as away too.
    """
    try:
        yield
    except SQLAlchemyError as error:
        if is_away(error, writing=writing):
            raise store_unavailable() from error
        raise


def is_away(error: SQLAlchemyError, *, writing: bool) -> bool:
    """Whether ``error`` says that the store is out of reach, full, or too busy."""
    if isinstance(error, PoolTimeoutError):
        return True
    if not isinstance(error, DBAPIError):
        return False
    cause = error.orig
    if isinstance(cause, sqlite3.Error):
        return _sqlite_away(cause, writing=writing)
    return isinstance(cause, psycopg.Error) and (
        error.connection_invalidated or _postgresql_away(cause, writing=writing)
    )


def may_pass_next_time(error: DBAPIError) -> bool:
    """Whether the transaction fell to another one and may simply be run again."""
    return getattr(error.orig, "sqlstate", None) in _POSTGRESQL_TRY_AGAIN


def _sqlite_away(cause: sqlite3.Error, *, writing: bool) -> bool:
    # The low byte of an extended result code is its primary code (SQLite manual, "rescode").
    code = getattr(cause, "sqlite_errorcode", sqlite3.SQLITE_OK) & 0xFF
    return code in _SQLITE_AWAY or (writing and code == sqlite3.SQLITE_READONLY)


def _postgresql_away(cause: psycopg.Error, *, writing: bool) -> bool:
    state = cause.sqlstate
    if state is None:
        # A connection that could not be made or broke has no SQLSTATE.
        return isinstance(cause, psycopg.OperationalError)
    return (
        state.startswith(_POSTGRESQL_AWAY_CLASSES)
        or state in _POSTGRESQL_TRY_AGAIN
        or state == _POSTGRESQL_LOCK_TIMED_OUT
        or (writing and state == _POSTGRESQL_READ_ONLY)
    )
