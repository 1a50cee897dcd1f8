"""Events written with what they tell."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone
from functools import partial
from typing import Any

import pytest
from sqlmodel import Session, col, select

from service.store.database import Database
from service.store.outbox import record_event
from service.store.tables import Event, Order
from tests.conftest import FakeClock
from tests.store.rows import catalogue_version, order, placed_order, quote


def _record(session: Session, to: Order, now: datetime, event_id: str, **changes: Any) -> Event:
    known = {"type_": "ticket.moved", "payload": {"ticket": "T-1"}}
    return record_event(session, order=to, now=now, event_id=event_id, **{**known, **changes})


def _record_next(session: Session, now: datetime, event_id: str) -> Event:
    return _record(session, session.get_one(Order, "ord_1"), now, event_id)


def _events(session: Session) -> list[Event]:
    return list(session.exec(select(Event).order_by(col(Event.seq))))


def _place(database: Database) -> None:
    database.write(lambda session: session.add_all(placed_order()))


def test_the_body_is_that_of_standard_webhooks(database: Database, clock: FakeClock) -> None:
    """Type, timestamp and data (Standard Webhooks 1.0.0, rule W1), as one fixed text."""
    clock.set(datetime(2026, 3, 2, 14, 30, tzinfo=timezone(timedelta(hours=5, minutes=30))))

    def accept(session: Session) -> None:
        session.add_all([catalogue_version(), quote()])
        placed = order()
        session.add(placed)
        payload = {"reference": "Übergrößen", "order_state": "accepted"}
        _record(session, placed, clock(), "evt_1", type_="order.accepted", payload=payload)

    database.write(accept)
    [event] = database.read(_events)
    assert event.payload_json == (
        '{"data":{"order_id":"ord_1","order_state":"accepted",'
        '"reference":"\\u00dcbergr\\u00f6\\u00dfen","sequence":1},'
        '"timestamp":"2026-03-02T09:00:00.000Z","type":"order.accepted"}'
    )
    assert (event.id, event.type, event.sequence) == ("evt_1", "order.accepted", 1)
    assert (event.holder, event.order_id) == ("corner-shop", "ord_1")
    assert event.happened_at == datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    assert event.spread_at is None


def test_an_orders_events_are_numbered_from_one(
    database: Database, clock: FakeClock, ids: Callable[[str], str]
) -> None:
    """In one transaction or in several, on an order just made or read again."""

    def accept(session: Session) -> None:
        placed = order()
        session.add_all([catalogue_version(), quote(), placed])
        for _ in range(2):
            _record(session, placed, clock(), ids("evt"))

    def move(session: Session) -> int:
        placed = session.get_one(Order, "ord_1")
        for _ in range(2):
            _record(session, placed, clock(), ids("evt"))
        return placed.event_sequence

    database.write(accept)
    assert database.write(move) == 4
    events = database.read(_events)
    assert [event.sequence for event in events] == [1, 2, 3, 4]
    assert [json.loads(event.payload_json)["data"]["sequence"] for event in events] == [1, 2, 3, 4]
    assert database.read(lambda session: session.get_one(Order, "ord_1")).event_sequence == 4


def test_a_change_of_the_order_and_its_event_go_together(
    database: Database, clock: FakeClock
) -> None:
    """Counting the event on neither loses nor doubles what else was changed."""
    _place(database)

    def cancel(session: Session) -> None:
        placed = session.get_one(Order, "ord_1")
        placed.state = "cancelled"
        placed.version += 1
        _record(session, placed, clock(), "evt_1", type_="order.cancelled")

    database.write(cancel)
    kept = database.read(lambda session: session.get_one(Order, "ord_1"))
    assert (kept.state, kept.version, kept.event_sequence) == ("cancelled", 2, 1)


def test_an_event_is_undone_with_its_transaction(database: Database, clock: FakeClock) -> None:
    """Nothing is told of what did not happen, and its number is used again."""
    _place(database)

    def fail(session: Session) -> None:
        _record(session, session.get_one(Order, "ord_1"), clock(), "evt_1")
        raise KeyError

    with pytest.raises(KeyError):
        database.write(fail)
    assert database.read(_events) == []
    database.write(lambda session: _record(session, session.get_one(Order, "ord_1"), clock(), "b"))
    assert [event.sequence for event in database.read(_events)] == [1]


def test_events_written_at_once_get_numbers_without_gap_or_repeat(
    database: Database, clock: FakeClock
) -> None:
    """Transactions that read the order at the same time still count on from each other."""
    _place(database)
    meeting = threading.Barrier(4)

    def move(number: int) -> None:
        meeting.wait(5)
        for step in range(5):
            event_id = f"evt_{number}_{step}"
            database.write(partial(_record_next, now=clock(), event_id=event_id))

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(move, range(4)))
    sequences = [event.sequence for event in database.read(_events)]
    assert sorted(sequences) == list(range(1, 21))


def test_the_trace_goes_with_the_event(database: Database, clock: FakeClock) -> None:
    """A delivery can be followed back to the call that caused it (W3C trace context)."""
    _place(database)
    trace_id = "4bf92f3577b34da6a3ce929d0e0e4736"

    def move(session: Session) -> None:
        _record(session, session.get_one(Order, "ord_1"), clock(), "evt_1", trace_id=trace_id)

    database.write(move)
    assert [event.trace_id for event in database.read(_events)] == [trace_id]


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"type_": "order accepted"}, "dotted words"),
        ({"type_": "order..accepted"}, "dotted words"),
        ({"type_": ""}, "dotted words"),
        ({"payload": {"order_id": "ord_2"}}, "may not set order_id"),
        ({"payload": {"sequence": 7}}, "may not set sequence"),
        ({"now": datetime(2026, 3, 2, 9, 0)}, "time zone"),  # noqa: DTZ001 - naive on purpose
        ({"payload": {"share": float("nan")}}, "not JSON compliant"),
    ],
)
def test_an_event_that_cannot_be_told_is_refused(
    database: Database, clock: FakeClock, changes: dict[str, Any], fault: str
) -> None:
    """A mistake of ours, found where it is made and not at the receiver."""
    _place(database)
    known = {"type_": "ticket.moved", "payload": {}, "now": clock(), "event_id": "evt_1"}
    with pytest.raises(ValueError, match=fault):
        database.write(
            lambda session: record_event(
                session, order=session.get_one(Order, "ord_1"), **{**known, **changes}
            )
        )
    assert database.read(_events) == []
