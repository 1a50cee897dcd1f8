"""Rows that go in one statement are read back as they were, on either store."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session, select

from service.store.core import table_of
from service.store.database import Database
from service.store.many_rows import write_rows
from service.store.tables import StoredAnswer

ODD = (
    "",
    "plain",
    'say "yes"',
    "back\\slash",
    "two\nlines\ttab",
    "{}[],:",
    "\u00e9\u2603\U0001f455",
    "NULL",
)
AT = datetime(2026, 3, 2, 9, 30, 0, 123_456, tzinfo=UTC)


TEXTS = st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")))


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=TEXTS)
def test_texts_numbers_and_times_come_back(database: Database, texts: list[str]) -> None:
    """Whatever the text; a time in another zone is the same moment."""
    bodies = [*ODD, *texts]
    rows = [
        {
            "caller": "invented",
            "key": f"key-{index}",
            "fingerprint": "f" * 64,
            "status": 100 + index,
            "headers_json": "{}",
            "body_json": body,
            "created_at": AT.astimezone(timezone(timedelta(hours=5))),
            "expires_at": AT + timedelta(hours=index),
        }
        for index, body in enumerate(bodies)
    ]

    def write_and_read(session: Session) -> list[tuple[int, str, datetime, datetime]]:
        session.connection().execute(table_of(StoredAnswer).delete())
        write_rows(session.connection(), table_of(StoredAnswer), rows)
        kept = session.exec(select(StoredAnswer)).all()
        return sorted((one.status, one.body_json, one.created_at, one.expires_at) for one in kept)

    assert database.write(write_and_read) == [
        (100 + index, body, AT, AT + timedelta(hours=index)) for index, body in enumerate(bodies)
    ]
