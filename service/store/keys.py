"""API keys: long random texts of which the store keeps the SHA-256 alone.

A text of 240 random bits or more cannot be guessed, so a fast hash is enough to keep it by, and
finding it by its hash tells a guesser nothing about any other key.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
from collections.abc import Iterator
from datetime import datetime
from typing import Final

from pydantic import TypeAdapter, ValidationError
from sqlmodel import Session, col, select

from service.domain.errors import BadInput, FieldFault, NotFound
from service.domain.values import Slug
from service.store.tables import SCOPES, ApiKey

KEY_BYTES_MIN: Final = 30
"""Fewest random bytes in a key; 30 bytes are 40 characters of base64."""

LABEL_LENGTH_MAX: Final = 80

_PRESENTED: Final = re.compile(r"gik_[A-Za-z0-9_-]{40,120}", re.ASCII)
_HOLDER: Final = TypeAdapter[str](Slug)


def format_key(secret_bytes: bytes) -> str:
    """The key as presented: ``gik_`` and unpadded URL-safe base64 (RFC 4648, from memory).

    ``secret_bytes`` are 30 to 90 random bytes; raises :class:`ValueError` for fewer or more.
    """
    secret = "gik_" + base64.urlsafe_b64encode(secret_bytes).decode("ascii").rstrip("=")
    if len(secret_bytes) < KEY_BYTES_MIN or not _PRESENTED.fullmatch(secret):
        raise ValueError(f"a key is made of 30 to 90 random bytes, not of {len(secret_bytes)}")
    return secret


def new_key(
    session: Session,
    *,
    holder: str,
    scope: str,
    label: str,
    now: datetime,
    secret: str,
    key_id: str,
    expires_at: datetime | None = None,
) -> str:
    """Keep a new key under ``key_id``; gives ``secret`` back, to be shown once and nowhere else.

    ``secret`` comes from :func:`format_key`; anything else raises :class:`ValueError`. Raises
    :class:`BadInput` for a holder, scope, label or end that cannot be used.
    """
    if not _PRESENTED.fullmatch(secret):
        raise ValueError("a key's secret comes from format_key")
    faults = list(_faults(holder, scope, label, now, expires_at))
    if faults:
        raise BadInput("invalid-key", "The key cannot be made.", faults=faults)
    session.add(
        ApiKey(
            id=key_id,
            holder=holder,
            scope=scope,
            label=label,
            secret_sha256=_hash(secret),
            created_at=now,
            expires_at=expires_at,
        )
    )
    session.flush()
    return secret


def find_key(session: Session, presented: str) -> ApiKey | None:
    """The key that ``presented`` is, live or not; None when it is none of ours."""
    if not _PRESENTED.fullmatch(presented):
        return None
    secret_sha256 = _hash(presented)
    key = session.exec(select(ApiKey).where(ApiKey.secret_sha256 == secret_sha256)).first()
    if key is None or not hmac.compare_digest(key.secret_sha256, secret_sha256):
        return None
    return key


def key_is_live(key: ApiKey, now: datetime) -> bool:
    """Whether ``key`` opens anything at ``now``: neither revoked nor past its end."""
    ends = [end for end in (key.expires_at, key.revoked_at) if end is not None]
    return all(now < end for end in ends)


def revoke_key(session: Session, key_id: str, now: datetime) -> ApiKey:
    """End a key at ``now``; one that was revoked before keeps its first moment.

    Raises :class:`NotFound` when there is no key of that id.
    """
    key = session.get(ApiKey, key_id)
    if key is None:
        raise NotFound("key-not-found", f"There is no key '{key_id}'.")
    if key.revoked_at is None:
        key.revoked_at = now
        session.add(key)
        session.flush()
    return key


def list_keys(session: Session, holder: str | None = None) -> list[ApiKey]:
    """All keys, or those of one holder, oldest first; the ended ones among them."""
    query = select(ApiKey).order_by(col(ApiKey.created_at), col(ApiKey.id))
    if holder is not None:
        query = query.where(ApiKey.holder == holder)
    return list(session.exec(query))


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("ascii")).hexdigest()


def _faults(
    holder: str, scope: str, label: str, now: datetime, expires_at: datetime | None
) -> Iterator[FieldFault]:
    if not _is_slug(holder):
        detail = "Use lower-case words and digits joined by single hyphens, at most 48 characters."
        yield FieldFault(detail, parameter="holder")
    if scope not in SCOPES:
        yield FieldFault(f"Use one of {', '.join(SCOPES)}.", parameter="scope")
    if len(label) > LABEL_LENGTH_MAX or not label.isprintable():
        detail = f"Use at most {LABEL_LENGTH_MAX} printable characters."
        yield FieldFault(detail, parameter="label")
    if expires_at is not None and expires_at <= now:
        yield FieldFault("Use a moment that is still to come.", parameter="expires_at")


def _is_slug(holder: str) -> bool:
    try:
        _HOLDER.validate_python(holder)
    except ValidationError:
        return False
    return True
