"""What the tables themselves refuse and keep, on both stores."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from enum import StrEnum
from functools import partial
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DataError, IntegrityError, StatementError
from sqlmodel import Session, SQLModel, col, select

from service.domain.pieces import PieceEventKind, SpoilReason
from service.domain.ticket_states import OrderState, TicketState
from service.store.database import Database
from service.store.tables import (
    ORDER_STATES,
    PIECE_EVENT_KINDS,
    SCOPES,
    SPOIL_REASONS,
    TICKET_STATES,
    ApiKey,
    Artwork,
    Booking,
    Order,
    StationDay,
    StoredAnswer,
    Ticket,
    TicketMove,
    TicketNote,
    TicketPiece,
    TicketTick,
    WebhookEndpoint,
)
from tests.store.rows import DAY, NOON, order, placed_order, quote, stored_answer, ticket


def _write_all(database: Database, rows: list[SQLModel]) -> None:
    database.write(lambda session: session.add_all(rows))


def _move(**changes: Any) -> TicketMove:
    known = {"ticket_id": 1, "move": "start", "who": "Ada", "note": "", "at": NOON}
    states = {"from_state": "waiting", "to_state": "on_bench"}
    return TicketMove(**{**known, **states, **changes})


def _piece(**changes: Any) -> TicketPiece:
    known = {"ticket_id": 1, "kind": "done", "size": "M", "count": 1, "who": "Ada", "at": NOON}
    return TicketPiece(**{**known, "version": 2, **changes})


def _tick(**changes: Any) -> TicketTick:
    known = {"ticket_id": 1, "step_key": "gather", "done": True, "who": "Ada", "at": NOON}
    return TicketTick(**{**known, "version": 2, **changes})


def _note(**changes: Any) -> TicketNote:
    known = {"ticket_id": 1, "text": "mind the seam", "who": "Ada", "at": NOON, "version": 2}
    return TicketNote(**{**known, **changes})


def _key(**changes: Any) -> ApiKey:
    known = {"id": "key_1", "holder": "shop", "scope": "staff", "secret_sha256": "0" * 64}
    return ApiKey(**{**known, "created_at": NOON, **changes})


def _artwork(**changes: Any) -> Artwork:
    known = {"id": "art_1", "holder": "shop", "sha256": "0" * 64, "media_type": "image/png"}
    rest = {"byte_size": 9, "rights_declared": True, "measures_json": "{}", "created_at": NOON}
    return Artwork(**{**known, **rest, **changes})


@pytest.mark.parametrize(
    "make",
    [
        quote,
        order,
        ticket,
        partial(Booking, ticket_id=7, station="press", day=DAY, seconds=60),
        partial(_move, ticket_id=7),
        partial(_piece, ticket_id=7),
        partial(_tick, ticket_id=7),
        partial(_note, ticket_id=7),
    ],
)
def test_a_reference_to_nothing_is_refused(
    database: Database, make: Callable[[], SQLModel]
) -> None:
    """References are watched on SQLite too, where they are off unless asked for."""
    with pytest.raises(IntegrityError):
        _write_all(database, [make()])


def test_rows_that_refer_to_each_other_may_be_added_in_any_order(database: Database) -> None:
    """References are judged at the commit, for a flush follows no order of ours."""
    _write_all(database, [ticket(), *reversed(placed_order())])
    assert database.read(lambda session: session.exec(select(Ticket.number)).all()) == ["T-1"]


@pytest.mark.parametrize(
    "make",
    [
        partial(_key, scope="customer"),
        partial(_artwork, byte_size=0),
        partial(quote, total_minor=-1),
        partial(order, state="lost"),
        partial(order, total_minor=-1),
        partial(order, version=0),
        partial(ticket, state="lost"),
        partial(ticket, state="halted", halted_from="lost"),
        partial(ticket, pieces=0),
        partial(ticket, line_index=-1),
        partial(ticket, remake=-1),
        partial(_move, to_state="lost"),
        partial(_piece, kind="eaten"),
        partial(_piece, reason="bored"),
        partial(_piece, undoes="eaten"),
        partial(_piece, count=0),
        partial(_piece, version=0),
        partial(_tick, version=0),
        partial(_note, version=0),
        partial(StationDay, station="press", day=DAY, booked_s=-1),
        partial(Booking, ticket_id=1, station="press", day=DAY, seconds=-1),
        partial(stored_answer, status=99),
    ],
)
def test_a_value_that_cannot_be_is_refused(
    database: Database, make: Callable[[], SQLModel]
) -> None:
    """The checks stand behind the program's own, whichever way a row comes in."""
    with pytest.raises(IntegrityError):
        database.write(lambda session: _flush(session, make()))


def _flush(session: Session, row: SQLModel) -> None:
    session.add(row)
    session.flush()


@pytest.mark.parametrize("letter", ["k", "ü", "🧵"], ids=["one byte", "two bytes", "four bytes"])
def test_a_text_is_bounded_in_characters(database: Database, letter: str) -> None:
    """SQLite would keep a text of any length in a bounded column."""
    _write_all(database, [stored_answer(key=letter * 128)])
    with pytest.raises((IntegrityError, DataError)):
        _write_all(database, [stored_answer(key=letter * 129)])


def test_moments_come_back_aware_and_in_utc(database: Database) -> None:
    """To the microsecond, from whatever zone they were given in."""
    zone = timezone(timedelta(hours=5, minutes=30))
    moment = datetime(2026, 3, 2, 17, 30, 0, 123_456, tzinfo=zone)
    _write_all(database, [stored_answer(created_at=moment)])
    kept = database.read(lambda session: session.exec(select(StoredAnswer.created_at)).one())
    assert kept == moment
    assert kept.isoformat() == "2026-03-02T12:00:00.123456+00:00"


def test_a_moment_without_a_zone_is_refused(database: Database) -> None:
    """It could be any of two dozen moments."""
    naive = NOON.replace(tzinfo=None)
    with pytest.raises(StatementError, match="timezone"):
        _write_all(database, [stored_answer(created_at=naive)])


def test_moments_compare_as_moments(database: Database) -> None:
    """A question asked in another zone gets the same answer on both stores."""
    _write_all(database, [stored_answer(expires_at=datetime(2026, 3, 2, 12, 0, 0, 1, tzinfo=UTC))])
    noon_in_india = NOON.astimezone(timezone(timedelta(hours=5, minutes=30)))
    ended = select(StoredAnswer.key).where(StoredAnswer.expires_at <= noon_in_india)
    assert database.read(lambda session: session.exec(ended).all()) == []


def test_texts_and_bytes_come_back_as_they_went_in(database: Database) -> None:
    """Documents are hashed and signed, so not a byte of them may change."""
    document = '{"note":"Ärmel, 袖, 🧵, \\u0000, \\"quoted\\"","n":1.10}\r\n\t'
    secret = bytes(range(256))
    endpoint = WebhookEndpoint(
        id="end_1",
        holder="shop",
        url="https://shop.example/hook",
        event_types_json="[]",
        secret_sealed=secret,
        created_at=NOON,
    )
    _write_all(database, [stored_answer(body_json=document), endpoint])
    body = database.read(lambda session: session.exec(select(StoredAnswer.body_json)).one())
    sealed = database.read(lambda session: session.exec(select(WebhookEndpoint)).one())
    assert body == document
    assert sealed.secret_sealed == secret


def test_states_are_kept_by_their_value(database: Database) -> None:
    """A member of an enumeration is written as its value; by name, renaming would lose rows."""
    _write_all(database, [*placed_order(), ticket(state=TicketState.ON_BENCH)])

    def hand_on(session: Session) -> None:
        placed = session.get_one(Order, "ord_1")
        placed.state = OrderState.IN_WORK
        session.add(placed)

    database.write(hand_on)
    raw = text("SELECT o.state, t.state FROM customer_order o JOIN ticket t ON t.order_id = o.id")
    states = database.read(lambda session: session.connection().execute(raw).one())
    assert tuple(states) == ("in_work", "on_bench")


@pytest.mark.parametrize(
    ("kept", "known"),
    [
        (TICKET_STATES, TicketState),
        (ORDER_STATES, OrderState),
        (PIECE_EVENT_KINDS, PieceEventKind),
        (SPOIL_REASONS, SpoilReason),
    ],
)
def test_the_checks_know_the_states_of_the_domain(
    kept: tuple[str, ...], known: type[StrEnum]
) -> None:
    """One list of states: a new one needs a migration, and this says so."""
    assert set(kept) == {state.value for state in known}


def test_a_line_has_one_ticket_of_each_remake(database: Database) -> None:
    """A remake stands beside its line's own ticket, and names a ticket that exists."""
    own = [*placed_order(), ticket()]
    _write_all(database, [*own, ticket(number="T-2", remake=1, remake_of="T-1")])
    for again in (ticket(number="T-3"), ticket(number="T-3", remake=1, remake_of="T-1")):
        with pytest.raises(IntegrityError):
            _write_all(database, [again])
    with pytest.raises(IntegrityError):
        _write_all(database, [ticket(number="T-3", remake=2, remake_of="T-9")])


def test_the_scopes_are_those_of_the_keys() -> None:
    """The house's words: a storefront, its staff's bench, the owner."""
    assert SCOPES == ("storefront", "staff", "owner")


def test_numbers_given_by_the_store_rise(database: Database) -> None:
    """Rows numbered by the store are numbered from 1, in the order in which they were written."""
    _write_all(database, [*placed_order(), ticket()])
    _write_all(database, [ticket(number="T-2", line_index=1)])
    by_number = select(Ticket.id).order_by(col(Ticket.number))
    assert database.read(lambda session: session.exec(by_number).all()) == [1, 2]
