"""Rows that go in one statement are read back as they were, on either store."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Insert
from sqlmodel import Session, select

from service.store.core import table_of
from service.store.database import Database
from service.store.many_rows import StoreInsert, TableRows, write_rows, write_tables
from service.store.tables import StationDay, StationMargin, StoredAnswer

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


def _counting_on(insert: StoreInsert) -> Insert:
    booked = table_of(StationDay).c.booked_s + insert.excluded.booked_s
    return insert.on_conflict_do_update(
        index_elements=["station", "day"], set_={"booked_s": booked}
    )


def test_several_tables_at_once(database: Database) -> None:
    """Each row is there with the defaults of its columns, and one that was there is changed."""
    days = [date(2026, 3, 2), date(2026, 3, 3)]
    booked = [{"station": "press", "day": day, "booked_s": 60} for day in days]
    margin = {"station": "press", "day": days[0], "rush": True, "margin_s": 600, "courses": 7}

    def write(session: Session) -> None:
        connection = session.connection()
        write_tables(connection, [TableRows(table_of(StationDay), booked[:1])])
        parts = [
            TableRows(table_of(StationDay), booked, _counting_on),
            TableRows(table_of(StoredAnswer), []),
            TableRows(table_of(StationMargin), [margin]),
        ]
        write_tables(connection, parts)
        write_tables(connection, parts[1:2])

    database.write(write)

    def read(session: Session) -> tuple[list[tuple[date, int, int]], list[StationMargin]]:
        kept = session.exec(select(StationDay)).all()
        return (
            sorted((one.day, one.booked_s, one.freed_s) for one in kept),
            list(session.exec(select(StationMargin)).all()),
        )

    times, margins = database.read(read)
    assert times == [(days[0], 120, 0), (days[1], 60, 0)]
    assert [one.model_dump() for one in margins] == [margin]
