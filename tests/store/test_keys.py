"""API keys: what is shown once, what is kept, and who is let in."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import pytest
from sqlmodel import Session, select

from service.domain.errors import BadInput, NotFound
from service.store.database import Database
from service.store.keys import (
    find_key,
    format_key,
    key_is_live,
    list_keys,
    new_key,
    revoke_key,
)
from service.store.tables import ApiKey
from tests.conftest import FakeClock

# RFC 4648 section 5, from memory: URL-safe, so 30 bytes of all ones are 40 underscores.
SECRET = format_key(b"\xff" * 30)


def _make(session: Session, now: datetime, **changes: Any) -> str:
    known = {"holder": "corner-shop", "scope": "storefront", "label": "checkout"}
    rest = {"secret": SECRET, "key_id": "key_1", "now": now}
    return new_key(session, **{**known, **rest, **changes})


def test_a_key_is_url_safe_text_of_its_bytes() -> None:
    """It can stand in a header, a shell and a settings file without quoting."""
    assert SECRET == "gik_" + "_" * 40
    assert format_key(b"\x00" * 32) == "gik_" + "A" * 43


@pytest.mark.parametrize("length", [0, 29, 91])
def test_a_key_too_short_to_be_safe_or_too_long_is_refused(length: int) -> None:
    """Fewer than 240 random bits are not enough for a fast hash."""
    with pytest.raises(ValueError, match="30 to 90"):
        format_key(b"\x00" * length)


def test_only_the_hash_of_a_key_is_kept(database: Database, clock: FakeClock) -> None:
    """Whoever reads the store cannot call the service with what is found there."""
    assert database.write(lambda session: _make(session, clock())) == SECRET
    row = database.read(lambda session: session.exec(select(ApiKey)).one())
    assert row.secret_sha256 == hashlib.sha256(SECRET.encode()).hexdigest()
    assert SECRET not in repr(row.model_dump())
    assert (row.holder, row.scope, row.label) == ("corner-shop", "storefront", "checkout")
    assert row.created_at == clock()


def test_a_key_is_found_by_what_its_caller_presents(database: Database, clock: FakeClock) -> None:
    """The whole of it, with nothing before or after."""
    database.write(lambda session: _make(session, clock()))
    found = database.read(lambda session: find_key(session, SECRET))
    assert found is not None
    assert found.id == "key_1"
    for wrong in (
        "",
        SECRET[4:],
        SECRET + "\n",
        " " + SECRET,
        SECRET[:-1] + "A",
        "gik_ü" + "a" * 40,
    ):
        assert database.read(partial(find_key, presented=wrong)) is None


def test_a_key_lives_until_its_end(database: Database, clock: FakeClock) -> None:
    """At its end it is over; before it, it is not."""
    end = clock() + timedelta(days=30)
    database.write(lambda session: _make(session, clock(), expires_at=end))
    key = database.read(lambda session: find_key(session, SECRET))
    assert key is not None
    assert key_is_live(key, clock())
    assert key_is_live(key, end - timedelta(microseconds=1))
    assert not key_is_live(key, end)


def test_a_key_without_an_end_lives_until_it_is_revoked(
    database: Database, clock: FakeClock
) -> None:
    """Revoking ends it for good, and a second revocation leaves the first moment."""
    database.write(lambda session: _make(session, clock()))
    revoked_at = clock.advance(hours=1)
    database.write(lambda session: revoke_key(session, "key_1", revoked_at))
    clock.advance(hours=1)
    key = database.write(lambda session: revoke_key(session, "key_1", clock()))
    assert key.revoked_at == revoked_at
    assert not key_is_live(key, revoked_at)
    assert not key_is_live(key, clock())


def test_revoking_a_key_that_is_not_there(database: Database, clock: FakeClock) -> None:
    """It is named in the answer; an id is no secret."""
    with pytest.raises(NotFound, match="key_9"):
        database.write(lambda session: revoke_key(session, "key_9", clock()))


def test_keys_are_listed_oldest_first(database: Database, clock: FakeClock) -> None:
    """All of them, or one holder's, the ended ones included."""
    for number, holder in enumerate(["corner-shop", "market-stall", "corner-shop"]):
        secret = format_key(bytes([number]) * 30)
        changes: dict[str, Any] = {"holder": holder, "secret": secret}
        changes["key_id"] = f"key_{3 - number}"
        database.write(partial(_make, now=clock(), **changes))
        clock.advance(seconds=1)
    database.write(lambda session: revoke_key(session, "key_3", clock()))
    everyone = database.read(list_keys)
    corner = database.read(lambda session: list_keys(session, "corner-shop"))
    assert [key.id for key in everyone] == ["key_3", "key_2", "key_1"]
    assert [key.id for key in corner] == ["key_3", "key_1"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"holder": ""}, "holder"),
        ({"holder": "Corner Shop"}, "holder"),
        ({"holder": "corner--shop"}, "holder"),
        ({"holder": "corner-shop\n"}, "holder"),
        ({"holder": "a" * 49}, "holder"),
        ({"scope": "admin"}, "scope"),
        ({"label": "x" * 81}, "label"),
        ({"label": "two\nlines"}, "label"),
        ({"label": "nul\x00"}, "label"),
        ({"expires_at": datetime.fromisoformat("2026-03-02T09:00:00Z")}, "expires_at"),
    ],
)
def test_a_key_that_cannot_be_made_names_the_field(
    database: Database, clock: FakeClock, changes: dict[str, Any], field: str
) -> None:
    """Each fault with its field, and nothing is written."""
    with pytest.raises(BadInput) as refusal:
        database.write(lambda session: _make(session, clock(), **changes))
    assert [fault.parameter for fault in refusal.value.faults] == [field]
    assert database.read(list_keys) == []


def test_all_faults_of_a_key_are_told_at_once(database: Database, clock: FakeClock) -> None:
    """Collected, not first-fail."""
    with pytest.raises(BadInput) as refusal:
        database.write(lambda session: _make(session, clock(), holder="", scope="", label="\t"))
    assert [fault.parameter for fault in refusal.value.faults] == ["holder", "scope", "label"]


def test_a_secret_of_another_making_is_refused(database: Database, clock: FakeClock) -> None:
    """A short or memorable secret would not be safe under a fast hash."""
    with pytest.raises(ValueError, match="format_key"):
        database.write(lambda session: _make(session, clock(), secret="letmein"))
