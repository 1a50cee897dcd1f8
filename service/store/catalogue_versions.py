"""Versions of the catalogue in the store: kept for ever, the newest in force."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol

from sqlmodel import Session, col, select

from service.store.database import lock_shop
from service.store.tables import CatalogueVersion


class HasVersion(Protocol):
    """A catalogue made ready to be kept."""

    @property
    def version(self) -> str:
        """SHA-256 of ``document_json``, in hex."""

    @property
    def document_json(self) -> str:
        """The catalogue as canonical JSON."""


def store_version(session: Session, loaded: HasVersion, now: datetime) -> CatalogueVersion:
    """Put a catalogue in force and give its row; nothing changes if it is in force already.

    ``now`` is aware and in UTC. A document is written once and never changed: a version that was
    in force earlier comes back by taking the next ``seq``, which says only what is newest, while
    quotes hold on to ``version``. Flushes; the caller commits.
    """
    lock_shop(session)  # two programs may start at once
    in_force = version_in_force(session)
    if in_force is not None and in_force.version == loaded.version:
        return in_force
    # seq is given, not drawn: a counter of the database would not know of versions that returned.
    seq = 1 if in_force is None or in_force.seq is None else in_force.seq + 1
    row = find_version(session, loaded.version)
    if row is None:
        row = CatalogueVersion(
            seq=seq,
            version=loaded.version,
            document_json=loaded.document_json,
            created_at=now,
        )
        session.add(row)
    else:
        row.seq = seq
    session.flush()
    return row


def version_in_force(session: Session) -> CatalogueVersion | None:
    """The newest version, or None in an empty store."""
    newest = select(CatalogueVersion).order_by(col(CatalogueVersion.seq).desc()).limit(1)
    return session.exec(newest).first()


def newest_version(session: Session) -> str | None:
    """The hash of the version in force, None in an empty store; its document is not read."""
    newest = select(CatalogueVersion.version).order_by(col(CatalogueVersion.seq).desc()).limit(1)
    return session.exec(newest).first()


def find_version(session: Session, version: str) -> CatalogueVersion | None:
    """The stored version of that hash, or None."""
    return session.exec(
        select(CatalogueVersion).where(CatalogueVersion.version == version)
    ).one_or_none()
