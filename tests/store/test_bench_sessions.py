"""Sessions at the bench: what is kept, who is let in, and when it ends."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from service.store.bench_sessions import (
    SESSION_LASTS,
    SignedIn,
    end_session,
    format_secret,
    live_session,
    open_session,
)
from service.store.database import Database
from service.store.keys import format_key, new_key, revoke_key
from service.store.tables import BenchSession
from tests.conftest import FakeClock

KEY = format_key(b"k" * 30)
SECRET = format_secret(b"\xff" * 32)


def _key(database: Database, now: datetime, scope: str = "staff", **changes: Any) -> None:
    known = {"holder": "workroom", "label": "", "secret": KEY, "key_id": "key_1"}
    database.write(lambda session: new_key(session, now=now, scope=scope, **{**known, **changes}))


def _open(database: Database, now: datetime, secret: str = SECRET, key: str = KEY) -> bool:
    def work(session: Session) -> bool:
        return open_session(session, presented_key=key, who="Ada", now=now, secret=secret)

    return database.write(work)


def _live(database: Database, now: datetime, secret: str = SECRET) -> SignedIn | None:
    return database.read(lambda session: live_session(session, secret, now))


def test_a_secret_can_stand_in_a_cookie() -> None:
    """RFC 4648 section 5, from memory: 32 bytes of ones are 42 underscores and a last letter."""
    assert SECRET == "_" * 42 + "8"
    with pytest.raises(ValueError, match="32 random bytes"):
        format_secret(b"\x00" * 31)


def test_who_signed_in_is_known_by_the_secret_alone(database: Database, clock: FakeClock) -> None:
    """The session names person, key and end, and no other secret finds it."""
    _key(database, clock())
    assert _open(database, clock())
    ends = clock() + SESSION_LASTS
    assert _live(database, clock()) == SignedIn("Ada", "key_1", "workroom", ends)
    assert _live(database, clock(), format_secret(b"\x00" * 32)) is None
    assert _live(database, clock(), SECRET + "'") is None


def test_only_the_hash_of_a_secret_is_kept(database: Database, clock: FakeClock) -> None:
    """Whoever reads the store cannot sit down at the bench with what is found there."""
    _key(database, clock())
    _open(database, clock())
    row = database.read(lambda session: session.exec(select(BenchSession)).one())
    assert row.secret_sha256 == hashlib.sha256(SECRET.encode()).hexdigest()
    assert SECRET not in repr(row.model_dump())


@pytest.mark.parametrize("scope", ["staff", "owner"])
def test_keys_of_the_shop_open_the_bench(database: Database, clock: FakeClock, scope: str) -> None:
    """Staff and the owner may sign in."""
    _key(database, clock(), scope)
    assert _open(database, clock())


def test_other_keys_open_nothing(database: Database, clock: FakeClock) -> None:
    """A storefront's key, an unknown one and a text that is no key leave no session."""
    _key(database, clock(), "storefront")
    for key in (KEY, format_key(b"x" * 30), "", "gik_"):
        assert not _open(database, clock(), key=key)
    assert _live(database, clock()) is None


def test_a_withdrawn_key_ends_its_sessions_at_once(database: Database, clock: FakeClock) -> None:
    """No cache lets a session outlive its key."""
    _key(database, clock())
    _open(database, clock())
    database.write(lambda session: revoke_key(session, "key_1", clock()))
    assert _live(database, clock()) is None
    assert not _open(database, clock(), format_secret(b"\x01" * 32))


def test_a_session_ends_in_time(database: Database, clock: FakeClock) -> None:
    """After its twelve hours, or with its key if that is earlier; then it is forgotten."""
    _key(database, clock(), expires_at=clock() + timedelta(hours=1))
    _open(database, clock())
    clock.advance(minutes=59)
    assert _live(database, clock()) is not None
    clock.advance(minutes=1)
    assert _live(database, clock()) is None
    _open(database, clock(), format_secret(b"\x02" * 32))
    assert database.read(lambda session: session.exec(select(BenchSession)).all()) == []


def test_signing_out_ends_that_session_alone(database: Database, clock: FakeClock) -> None:
    """The same person at another tablet stays signed in."""
    other = format_secret(b"\x03" * 32)
    _key(database, clock())
    _open(database, clock())
    _open(database, clock(), other)
    database.write(lambda session: end_session(session, SECRET))
    database.write(lambda session: end_session(session, "none"))
    assert _live(database, clock()) is None
    assert _live(database, clock(), other) is not None
