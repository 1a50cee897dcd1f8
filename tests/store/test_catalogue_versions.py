"""Stored versions: immutable, one in force, and old ones that may come back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import create_engine
from sqlalchemy.pool import StaticPool
from sqlmodel import Session, SQLModel, select

from service.catalogue.loading import catalogue_from_json, demo_shop_path, load_catalogue
from service.store.catalogue_versions import find_version, store_version, version_in_force
from service.store.tables import CatalogueVersion

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Made:
    """A version made up for a test."""

    version: str
    document_json: str = "{}"


@pytest.fixture
def session() -> Iterator[Session]:
    """A session on an empty table in memory."""
    engine = create_engine("sqlite://", poolclass=StaticPool)
    SQLModel.metadata.create_all(engine)
    with Session(engine) as opened:
        yield opened
    engine.dispose()


def _rows(session: Session) -> list[tuple[str, int | None, str]]:
    rows = session.exec(select(CatalogueVersion).order_by("seq")).all()
    return [(row.version, row.seq, row.document_json) for row in rows]


def test_an_empty_store_has_no_version(session: Session) -> None:
    """Nothing is in force and nothing is found."""
    assert version_in_force(session) is None
    assert find_version(session, "a") is None


def test_a_stored_catalogue_is_read_back_as_it_was(session: Session) -> None:
    """The demonstration shop goes in and comes out equal, under its hash."""
    loaded = load_catalogue(demo_shop_path())
    store_version(session, loaded, NOW)
    session.commit()
    row = find_version(session, loaded.version)
    assert row is not None
    assert catalogue_from_json(row.document_json) == loaded.catalogue
    assert version_in_force(session) == row


def test_storing_what_is_in_force_changes_nothing(session: Session) -> None:
    """A restart with the same files adds no row and moves none."""
    store_version(session, Made("a"), NOW)
    again = store_version(session, Made("a"), NOW + timedelta(days=1))
    assert _rows(session) == [("a", 1, "{}")]
    assert again.created_at.replace(tzinfo=UTC) == NOW


def test_a_new_version_comes_into_force_and_the_old_one_stays(session: Session) -> None:
    """The newest is in force; quotes can still find the one they were made from."""
    store_version(session, Made("a", '{"n":1}'), NOW)
    store_version(session, Made("b", '{"n":2}'), NOW)
    in_force = version_in_force(session)
    assert in_force is not None
    assert in_force.version == "b"
    assert _rows(session) == [("a", 1, '{"n":1}'), ("b", 2, '{"n":2}')]


def test_a_version_that_returns_is_in_force_again(session: Session) -> None:
    """Files put back as they were: the old version moves to the end, its document untouched."""
    for name in ("a", "b", "a", "c", "b"):
        row = store_version(session, Made(name, f'"{name}"'), NOW)
        session.commit()
        assert row.version == name
        assert version_in_force(session) == row
    assert _rows(session) == [("a", 3, '"a"'), ("c", 4, '"c"'), ("b", 5, '"b"')]
