"""The documents of tickets, kept once under the SHA-256 of their text."""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256
from typing import Final

from sqlalchemy import Insert
from sqlmodel import Session

from service.store.core import table_of
from service.store.many_rows import StoreInsert, write_rows
from service.store.tables import KeptDocument

_DOCUMENTS: Final = table_of(KeptDocument)


def document_name(document_json: str) -> str:
    """What a document is kept under: the SHA-256 of its text in UTF-8, in hex."""
    return sha256(document_json.encode()).hexdigest()


def keep_documents(session: Session, documents: Iterable[str]) -> None:
    """Keep documents by their names; those that are there already stay as they are."""
    named = {document_name(text): text for text in documents}
    # In one order, so that no two that keep the same ones wait for each other.
    rows = [{"sha256": name, "document_json": named[name]} for name in sorted(named)]
    if rows:
        write_rows(session.connection(), _DOCUMENTS, rows, _unless_there)


def _unless_there(insert: StoreInsert) -> Insert:
    return insert.on_conflict_do_nothing(index_elements=["sha256"])
