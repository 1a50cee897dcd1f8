"""Sums of stock by thing, on both stores."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import inspect
from sqlmodel import Session

from service.domain.stock_items import StockItem, StockKind, StockUnit
from service.store import migrate
from service.store.database import Database
from service.store.engine import migration_engine, parse_url
from service.store.stock_sums import Sums, all_sums, book_move, note_needed, sums_of
from service.store.tables import Run, RunClaim, StockMove, TicketNeed
from tests.store.rows import NOON, placed_order, ticket

Json = dict[str, Any]
TEE = StockItem(StockKind.BLANK, "tee", "black", "M", StockUnit.PIECES)
LARGE_TEE = TEE._replace(size="L")
FILM = StockItem(StockKind.MEDIUM, "film", "White", "", StockUnit.UM)
INK = StockItem(StockKind.INK, "printer", "", "", StockUnit.UL)


class _OwnError(Exception):
    """Raised by a test's own work."""


def move(item: StockItem, quantity: int) -> StockMove:
    """So much brought or taken, or a count that found what was known."""
    known: Json = {"reason": "receive" if quantity else "count", "who": "Ada", "at": NOON}
    return StockMove(**item._asdict(), quantity=quantity, **known)


def need(number: int, item: StockItem, quantity: int, decoration: int = 0) -> TicketNeed:
    """What a ticket needs."""
    own: Json = {"ticket_id": number, "quantity": quantity, "decoration": decoration}
    return TicketNeed(**item._asdict(), **own)


def claim(number: int, decoration: int, first_piece: int) -> RunClaim:
    """That a decoration lies on the run, by itself or made anew."""
    where: Json = {"pieces": 1, "first_place": 1, "last_place": 1, "run_id": "run_1"}
    own: Json = {"ticket_id": number, "decoration": decoration, "first_piece": first_piece}
    return RunClaim(**own, medium="film", **where)


def test_sums_of_what_is_there_when_they_come(bare_store_url: str) -> None:
    """On hand and needed as they were told before, less what lies on a run; and back again."""
    migrate.upgrade(bare_store_url, "0014")
    engine = migration_engine(parse_url(bare_store_url))
    with Session(engine) as session:
        session.add_all([*placed_order(), ticket(id=1)])
        session.add(ticket(id=2, number="T-2", line_index=1))
        known: Json = {"document_json": "{}", "length_um": 5, "created_at": NOON, "who": "Ada"}
        session.add(Run(id="run_1", number="R-1", medium="film", state="accepted", **known))
        session.flush()
        session.add_all([claim(1, 0, 1), claim(2, 1, 2)])
        session.add_all([move(TEE, 9), move(TEE, -2), move(FILM, -5), move(LARGE_TEE, 0)])
        session.add_all([need(1, FILM, 5), need(1, FILM, 7, 1), need(2, FILM, 11, 1)])
        session.add_all([need(1, TEE, 3), need(2, TEE, 4), need(2, INK, 6)])
        session.commit()
    migrate.upgrade(bare_store_url)
    with Session(engine) as session:
        assert all_sums(session) == {
            TEE: Sums(on_hand=7, moves=2, needed=7),
            LARGE_TEE: Sums(on_hand=0, moves=1, needed=0),
            FILM: Sums(on_hand=-5, moves=1, needed=7 + 11),
            INK: Sums(on_hand=0, moves=0, needed=6),
        }
    migrate.downgrade(bare_store_url, "0014")
    assert "stock_sum" not in inspect(engine).get_table_names()
    engine.dispose()


def test_what_a_transaction_notes_is_added_once_it_ends(database: Database) -> None:
    """Also where it looks at the sums before; and not at all where it fails."""

    def note(session: Session) -> dict[StockItem, Sums]:
        book_move(session, move(TEE, 5))
        note_needed(session, [(TEE, 3), (FILM, 4), (TEE, -1)])
        return {}

    def note_and_look(session: Session) -> dict[StockItem, Sums]:
        note(session)
        seen = sums_of(session, [TEE, INK])
        book_move(session, move(TEE, -1))
        return seen

    def fail(session: Session) -> None:
        note(session)
        raise _OwnError

    once = Sums(on_hand=5, moves=1, needed=2)
    database.write(note)
    assert database.read(all_sums) == {TEE: once, FILM: Sums(needed=4)}
    assert database.write(note_and_look) == {TEE: once.and_also(once)}
    with pytest.raises(_OwnError):
        database.write(fail)
    twice = Sums(on_hand=9, moves=3, needed=4)
    assert database.read(all_sums) == {TEE: twice, FILM: Sums(needed=8)}


def test_sums_of_more_things_than_one_statement_asks_for(database: Database) -> None:
    """All are found."""
    many = [TEE._replace(item=f"tee-{number}") for number in range(1_201)]
    database.write(lambda session: note_needed(session, [(one, 1) for one in many]))
    found = database.read(lambda session: sums_of(session, [*many, FILM]))
    assert found == dict.fromkeys(many, Sums(needed=1))
