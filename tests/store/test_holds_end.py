"""A hold counts until the very moment at which it ends, on both stores."""

from __future__ import annotations

from datetime import timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from service.store.database import Database
from service.store.ledger import booked_time, hold
from tests.store.rows import DAY, NOON, catalogue_version, quote


def _held(session: Session) -> None:
    session.add(catalogue_version())
    session.flush()
    session.add(quote())
    session.flush()
    hold(session, "quo_1", [("press", DAY, 600)], rush=False, until=NOON)


def test_to_the_microsecond(database: Database) -> None:
    """Whenever it is looked at; that it ends so is a rule of the shop's own: no source."""
    database.write(_held)

    @settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
    @given(st.one_of(st.integers(-3, 3), st.integers(-(10**12), 10**12)))
    def look(microseconds: int) -> None:
        now = NOON + timedelta(microseconds=microseconds)
        booked = database.read(lambda session: booked_time(session, DAY, now=now))
        assert sum(time.seconds for time in booked.values()) == (600 if microseconds < 0 else 0)

    look()
