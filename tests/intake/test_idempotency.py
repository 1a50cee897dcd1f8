"""Doing once: what is kept under a key, what leaves no trace, and what is rolled back."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from pydantic import BaseModel
from sqlmodel import Session, select

from service.domain.errors import (
    BadInput,
    Conflict,
    FieldFault,
    Gone,
    NotFound,
    ServiceError,
    Unavailable,
)
from service.intake.idempotency import KEPT_FOR, Outcome, RequestKey, do_once
from service.intake.services import Services
from service.store.database import Database
from service.store.tables import CatalogueVersion, StoredAnswer
from tests.conftest import FakeClock
from tests.store.rows import catalogue_version

KEY = RequestKey("corner-shop", "a-key-of-a-request", "fingerprint")


class Said(BaseModel):
    """An answer."""

    text: str


class Asked:
    """A use case that writes a row each time it is run, and then does as it is told."""

    def __init__(self, database: Database, clock: FakeClock) -> None:
        self.times = 0
        self.error: Exception | None = None
        self._database = database
        self._services = _services(database, clock)

    def run(self, key: RequestKey | None = KEY) -> Outcome:
        """Ask once more."""
        return do_once(self._services, key, self._work, _refusal)

    def rows(self) -> tuple[int, int]:
        """How many rows the work has left, and how many answers are kept."""

        def count(session: Session) -> tuple[int, int]:
            left = session.exec(select(CatalogueVersion)).all()
            return len(left), len(session.exec(select(StoredAnswer)).all())

        return self._database.read(count)

    def _work(self, session: Session) -> Outcome:
        self.times += 1
        session.add(catalogue_version(version=f"v{self.times}"))
        session.flush()
        if self.error is not None:
            raise self.error
        return Outcome.of(201, Said(text=f"time {self.times}"), location="/somewhere")


def _services(database: Database, clock: FakeClock) -> Services:
    unused: object = None
    known = {"database": database, "clock": clock}
    others = dict.fromkeys(Services.__dataclass_fields__.keys() - known.keys(), unused)
    return Services(**{**others, **known})  # type: ignore[arg-type] # the rest is not asked


def _refusal(error: ServiceError) -> Outcome:
    return Outcome(409, f'"{error.code}"')


@pytest.fixture
def asked(database: Database, clock: FakeClock) -> Asked:
    """A use case on each store."""
    return Asked(database, clock)


def test_once_per_key(asked: Asked) -> None:
    """The second time the work is not run: status, body and headers come from the store."""
    first, second = asked.run(), asked.run()
    assert (first.replayed, second.replayed) == (False, True)
    assert (first.status, first.body_json, first.headers) == (
        second.status,
        second.body_json,
        second.headers,
    )
    assert first.headers == {"location": "/somewhere"}
    assert (asked.times, asked.rows()) == (1, (1, 1))


def test_without_a_key(asked: Asked) -> None:
    """Without a key it is simply done, each time, and nothing is kept."""
    assert [asked.run(None).replayed for _ in range(2)] == [False, False]
    assert asked.rows() == (2, 0)


@pytest.mark.parametrize("error", [BadInput("a", "A."), Conflict("b", "B."), Gone("c", "C.")])
def test_a_refusal_is_kept_and_its_work_is_not(asked: Asked, error: ServiceError) -> None:
    """What the state of things forbids is answered the same again, and what was begun is undone."""
    asked.error = error
    first, second = asked.run(), asked.run()
    assert first.body_json == second.body_json == f'"{error.code}"'
    assert second.replayed
    assert (asked.times, asked.rows()) == (1, (0, 1))


@pytest.mark.parametrize(
    "error",
    [
        NotFound("a", "A."),
        Unavailable("b", "B.", retry_after_s=1),
        BadInput("c", "C.", faults=[FieldFault("C.", path=("field",))]),
        RuntimeError("d"),
    ],
)
def test_anything_else_leaves_no_trace(asked: Asked, error: Exception) -> None:
    """The same key may be tried again after a fault of a field or of ours."""
    asked.error = error
    with pytest.raises(type(error)):
        asked.run()
    assert asked.rows() == (0, 0)
    asked.error = None
    assert not asked.run().replayed
    assert asked.rows() == (1, 1)


def test_the_same_key_for_something_else(asked: Asked) -> None:
    """Another fingerprint under the key is refused and not run; another caller's key is its own."""
    asked.run()
    with pytest.raises(BadInput) as refused:
        asked.run(RequestKey(KEY.caller, KEY.key, "another"))
    assert refused.value.code == "idempotency-key-reused"
    assert asked.times == 1
    assert not asked.run(RequestKey("other-shop", KEY.key, "another")).replayed


def test_after_its_time_a_key_is_new(asked: Asked, clock: FakeClock) -> None:
    """At the end of its time the kept answer is replaced by a new one."""
    asked.run()
    clock.advance(KEPT_FOR)
    again = asked.run(RequestKey(KEY.caller, KEY.key, "another"))
    assert not again.replayed
    assert asked.rows() == (2, 1)


def test_a_constraint_of_the_store_is_no_race(asked: Asked) -> None:
    """A row that breaks a rule of the store is tried twice and then told, with no trace."""

    def twice_the_same(session: Session) -> Outcome:
        session.add_all([catalogue_version(), catalogue_version()])
        session.flush()
        raise AssertionError("the store takes two of a version")

    tried: Callable[[Session], Outcome] = twice_the_same
    with pytest.raises(Exception, match="version"):
        do_once(asked._services, KEY, tried, _refusal)
    assert asked.rows() == (0, 0)
