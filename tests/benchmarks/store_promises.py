"""Promising a day as it is promised to a caller: all that it hangs on is read from the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path

from sqlmodel import Session

from service.domain.booked_time import Booked
from service.domain.capable_to_promise import promise
from service.domain.promising import StationWork
from service.domain.shop import Catalogue
from service.domain.shop_now import ShopNow
from service.domain.stock_needs import Need, TicketStock, needs_of
from service.intake.material import material_of
from service.intake.stock_tickets import need_rows
from service.store.database import Database
from service.store.ledger import station_time
from service.store.many_rows import write_tables
from service.store.migrate import upgrade
from service.store.new_orders import rows_of_needs, rows_of_tickets
from service.store.station_margins import margins_from
from service.store.stock_sums import book_move, rows_of_needed
from service.store.tables import StationDay, StockMove
from tests.domain.tickets import at, stocked, ticket_of
from tests.store.rows import placed_order, ticket

Work = Callable[[], object]


@contextmanager
def promises_from_stores(
    folder: Path, catalogue: Catalogue, works: Sequence[StationWork], booked: Booked, now: datetime
) -> Iterator[tuple[Callable[[int], Work], Work]]:
    """Promising in a shop of so many open tickets that all need the same, and in one without any.

    As many moves are on the ledger as there are tickets; what is on hand is enough for all.
    """
    document = ticket_of(
        stocked("classic-cotton-tee", "black"), at("front", "printed-film", width_mm=240)
    )
    needs = tuple(needs_of(TicketStock.model_validate_json(document.model_dump_json())))
    opened = []

    def store(name: str) -> Database:
        url = f"sqlite:///{folder / name}.sqlite3"
        upgrade(url)
        opened.append(Database.open(url))
        return opened[-1]

    def promising(store: Callable[[], Database]) -> Work:
        """By a store that is made when it is first asked."""
        made = cache(store)

        def look(session: Session) -> object:
            time = station_time(session, now.date(), now=now)
            shop = ShopNow.of(catalogue, now, time.booked)
            margins = margins_from(session, now.date())
            material = material_of(session, catalogue, needs, start=now, now=now)
            return promise(replace(shop, margins=margins, freed=time.freed), [works], material)

        return lambda: made().read(look)

    def full(tickets: int) -> Database:
        database = store("open-tickets")
        database.write(lambda session: _fill(session, needs, tickets, booked, now))
        return database

    try:
        yield (
            lambda tickets: promising(lambda: full(tickets)),
            promising(lambda: store("no-tickets")),
        )
    finally:
        for database in opened:
            database.close()


def _fill(
    session: Session, needs: Sequence[Need], tickets: int, booked: Booked, now: datetime
) -> None:
    session.add_all(placed_order())
    session.add_all(
        StationDay(station=station, day=day, booked_s=one.seconds, squares_s2=one.squares_s2)
        for (station, day), one in booked.items()
    )
    session.flush()
    numbers = range(1, tickets + 1)
    known = ticket().model_dump(exclude={"id", "number", "line_index"})
    rows = [{**known, "id": n, "number": f"T{n:06d}", "line_index": n} for n in numbers]
    needed = [row for number in numbers for row in need_rows(number, needs)]
    parts = [rows_of_tickets(rows), rows_of_needs(needed), rows_of_needed(needed)]
    write_tables(session.connection(), parts)
    for _ in numbers:
        for need in needs:
            received = StockMove(
                **need.item._asdict(),
                quantity=2 * need.quantity,
                reason="receive",
                who="Ada",
                at=now,
            )
            book_move(session, received)
