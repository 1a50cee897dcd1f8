"""Sessions of people who are signed in at the bench: who, by which key, and until when.

A session's secret is 256 random bits, so that its SHA-256 is enough to keep it by, as with keys.
A session opens nothing once its key does not.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import delete
from sqlmodel import Session, col, select

from service.store.keys import find_key, key_is_live
from service.store.tables import ApiKey, BenchSession

SESSION_LASTS: Final = timedelta(hours=12)
"""A long shift; whoever works longer signs in again."""

SECRET_BYTES: Final = 32
BENCH_SCOPES: Final = ("staff", "owner")

_SECRET: Final = re.compile(r"[A-Za-z0-9_-]{43}", re.ASCII)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A live session: the person, the key's id and holder, and the session's end in UTC."""

    who: str
    key_id: str
    holder: str
    expires_at: datetime


def format_secret(secret_bytes: bytes) -> str:
    """The secret as a cookie carries it: unpadded URL-safe base64 of 32 random bytes.

    ValueError for fewer or more.
    """
    if len(secret_bytes) != SECRET_BYTES:
        raise ValueError(f"a session's secret is made of {SECRET_BYTES} random bytes")
    return base64.urlsafe_b64encode(secret_bytes).decode("ascii").rstrip("=")


def opens_bench(session: Session, presented_key: str, now: datetime) -> bool:
    """Whether the key is a live one of staff or the owner."""
    key = find_key(session, presented_key)
    return key is not None and _opens_bench(key, now)


def open_session(
    session: Session, *, presented_key: str, who: str, now: datetime, secret: str
) -> bool:
    """Sign ``who`` in by a key of staff or the owner; False when the key opens no bench.

    ``secret`` comes from :func:`format_secret`. Sessions that are over are forgotten by the way.
    """
    session.exec(delete(BenchSession).where(col(BenchSession.expires_at) <= now))
    key = find_key(session, presented_key)
    if key is None or not _opens_bench(key, now):
        return False
    ends = now + SESSION_LASTS
    session.add(
        BenchSession(
            secret_sha256=_hash(secret),
            key_id=key.id,
            who=who,
            created_at=now,
            expires_at=ends if key.expires_at is None else min(ends, key.expires_at),
        )
    )
    return True


def live_session(session: Session, secret: str, now: datetime) -> SignedIn | None:
    """The session of that secret; None when there is none, or it or its key is over at ``now``."""
    if not _SECRET.fullmatch(secret):
        return None
    row = session.get(BenchSession, _hash(secret))
    if row is None or not hmac.compare_digest(row.secret_sha256, _hash(secret)):
        return None
    key = session.exec(select(ApiKey).where(ApiKey.id == row.key_id)).one()
    if now >= row.expires_at or not _opens_bench(key, now):
        return None
    return SignedIn(row.who, key.id, key.holder, row.expires_at)


def end_session(session: Session, secret: str) -> None:
    """Sign out; nothing happens when there is no such session."""
    if _SECRET.fullmatch(secret):
        session.exec(delete(BenchSession).where(col(BenchSession.secret_sha256) == _hash(secret)))


def _opens_bench(key: ApiKey, now: datetime) -> bool:
    return key.scope in BENCH_SCOPES and key_is_live(key, now)


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("ascii")).hexdigest()
