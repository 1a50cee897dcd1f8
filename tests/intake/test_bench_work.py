"""The queue at the bench over many tickets, and who is told of what changed last."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from service.domain.slack import epoch_s
from service.domain.ticket_states import TicketState
from service.intake.bench_queue import QueuePage, bench_queue
from service.intake.requests import PiecesRequest
from service.intake.services import Services
from service.store.database import Database
from service.store.tables import Ticket
from tests.domain.shops import tiny_shop
from tests.store.rows import DAY, NOON, NOTHING, placed_order

STATIONS = ("cutting", "pressing", "")
TICKETS = 120
START_S = epoch_s(NOON)


def _services(database: Database) -> Services:
    """The store, a clock that stands, and the tiny shop's catalogue."""
    others: dict[str, Any] = dict.fromkeys(Services.__dataclass_fields__)
    catalogues = SimpleNamespace(current=SimpleNamespace(catalogue=tiny_shop()))
    known = {"database": database, "clock": lambda: NOON, "catalogues": catalogues}
    return Services(**{**others, **known})


def _ticket(index: int) -> Ticket:
    """Starts go up and down, so that urgency is not the order in which tickets were written."""
    return Ticket(
        number=f"T{index:06d}",
        order_id="ord_1",
        line_index=index,
        state=list(TicketState)[index % len(TicketState)],
        station=STATIONS[index % len(STATIONS)],
        pieces=1,
        promised_day=DAY,
        latest_start_s=START_S + index * 7 % 11,
        document_sha256=NOTHING,
        created_at=NOON,
    )


@pytest.fixture
def full(database: Database) -> Services:
    """A shop with tickets of every state at two stations, and some that are at none."""
    rows = [_ticket(index) for index in range(TICKETS)]
    database.write(lambda session: session.add_all([*placed_order(), *rows]))
    return _services(database)


def _all(services: Services, **asked: Any) -> list[QueuePage]:
    pages: list[QueuePage] = []
    cursor = None
    for _ in range(TICKETS):
        pages.append(bench_queue(services, **asked, limit=7, cursor=cursor))
        cursor = pages[-1].following
        if cursor is None:
            return pages
    raise AssertionError("the pages never end")


@pytest.mark.parametrize("station", [None, "pressing"])
@pytest.mark.parametrize("states", [(), (TicketState.WAITING, TicketState.ON_BENCH)])
def test_pages_hold_every_ticket_once_by_urgency(
    full: Services, station: str | None, states: tuple[TicketState, ...]
) -> None:
    """The latest start, then the order of writing, as a plain sort of all rows gives them."""
    rows = [_ticket(index) for index in range(TICKETS)]
    asked = [row for row in rows if not states or row.state in states]
    wanted = [row for row in asked if station in (None, row.station)]
    wanted.sort(key=lambda row: (row.latest_start_s, row.line_index))
    pages = _all(full, station=station, states=states)
    found = [ticket.number for page in pages for ticket in page.tickets]
    assert found == [row.number for row in wanted]
    counts = {one: sum(row.station == one for row in asked) for one in STATIONS if one}
    assert all(page.stations == counts for page in pages)


def test_an_empty_shop_has_an_empty_queue(database: Database) -> None:
    """No tickets, no stations, no further page."""
    page = bench_queue(_services(database), station=None, states=(), limit=5, cursor=None)
    assert page == QueuePage((), {}, None)


def test_an_entry_says_what_is_missing_in_one_sentence() -> None:
    """The count's own words come through, and nothing of the framework's."""
    with pytest.raises(ValueError, match="spoiled pieces, and no others, have a reason") as told:
        PiecesRequest.model_validate({"kind": "spoiled", "size": "S", "who": "Ada"})
    assert "PieceEvent" not in str(told.value)
