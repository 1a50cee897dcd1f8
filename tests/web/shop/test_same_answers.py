"""The same catalogue, requests, clock and ids give the same bytes on both stores."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

from httpx2 import Response

from service.notify.outbox import spread_events
from service.store import migrate
from service.store.tables import Booking, Event, Quote, StationDay, StoredAnswer, Ticket
from tests.conftest import FakeClock
from tests.store.servers import PostgresDatabases
from tests.web.shop.bench import act
from tests.web.shop.conftest import counting_ids, opened_shop
from tests.web.shop.door import Json, ShopDoor, decoration, line, picture, supplied_line

ARTWORK_OF_OTHER = "#c4202e"


def _play(shop: ShopDoor, clock: FakeClock) -> Iterator[Response]:
    """A day in the shop: every operation, with answers of every kind."""
    storefront, other, staff, owner = shop.storefront, shop.other, shop.staff, shop.owner
    dye = line(decoration(method="dye-transfer"))
    yield storefront.get("/v1/catalogue")
    yield other.upload(picture(ARTWORK_OF_OTHER))
    yield other.upload(picture(ARTWORK_OF_OTHER))
    yield storefront.get(f"/v1/artworks/{decoration()['artwork_id']}")
    for lines in ([dye], [line(), supplied_line()], [line(decoration(method="any"))]):
        yield storefront.post("/v1/checks", {"lines": lines}, params={"explain": "all"})
    yield storefront.post("/v1/quotes", {"lines": [dye]})
    yield storefront.post("/v1/quotes", {"lines": [line(colour="blak")]})
    endpoint = {"url": "http://127.0.0.1:9/told", "event_types": ["order.accepted"]}
    yield storefront.post("/v1/webhook-endpoints", endpoint)
    quotes = [storefront.quote(line(), supplied_line()) for _ in range(3)]
    yield from (storefront.get(f"/v1/quotes/{quote['id']}") for quote in quotes)
    yield from _orders(shop, quotes)
    shop.assembly.database.write(lambda session: spread_events(session, clock()))
    (told,) = storefront.get("/v1/webhook-endpoints").json()["endpoints"]
    yield storefront.get(f"/v1/webhook-endpoints/{told['id']}/deliveries")
    yield storefront.post("/v1/webhook-deliveries/1/replay")
    yield storefront.send("DELETE", f"/v1/webhook-endpoints/{told['id']}")
    yield owner.get("/v1/tickets", params={"limit": 2})
    clock.advance(hours=25)
    yield storefront.accept(quotes[2]["id"], "key-of-a-late-order")
    yield staff.get("/v1/tickets?state=lost&limit=0")


def _orders(shop: ShopDoor, quotes: list[Json]) -> Iterator[Response]:
    storefront, staff = shop.storefront, shop.staff
    for quote in (*quotes[:2], quotes[0]):
        yield storefront.accept(quote["id"], "key-of-the-first-order", "R-1")
    second = storefront.accept(quotes[1]["id"], "key-of-the-second-order")
    yield second
    for move in ("start", "halt", "send", "resume", "finish"):
        yield staff.move("T000001", move, if_match="*")
    yield act(staff, "T000001", "notes", {"text": "mind the <seam> 🧵"})
    yield act(staff, "T000001", "ticks", {"step_key": "gather", "done": True})
    for size, count in staff.get("/v1/tickets/T000001").json()["pieces"].items():
        spoiled = {"kind": "spoiled", "size": size, "reason": "lifted"}
        left = {"kind": "done", "size": size, "count": count["started"] - 1}
        yield from (act(staff, "T000001", "pieces", body) for body in (spoiled, left, left))
    yield act(staff, "T000001", "remakes", {})
    for move in ("finish", "check", "send"):
        yield staff.move("T000001", move, if_match="*")
    yield staff.get("/v1/picking-list?day=2026-12-31")
    yield staff.move("T000001", "start", if_match='"1"')
    yield staff.get("/v1/tickets/T000001")
    path = f"/v1/orders/{second.json()['id']}"
    yield from (shop.other.get(path), storefront.get(path))
    yield from (storefront.post(f"{path}/cancel"), storefront.post(f"{path}/cancel"))


def _said(response: Response) -> tuple[int, dict[str, str], bytes]:
    return response.status_code, dict(response.headers), response.content


def _kept(shop: ShopDoor) -> list[str]:
    """The documents behind the answers, and the ledger, as text in one order."""
    rows = [
        *(f"{q.id} {q.request_json} {q.cost_json} {q.plan_json}" for q in shop.rows(Quote)),
        *(f"{t.number} {t.document_json}" for t in shop.rows(Ticket)),
        *(f"{e.id} {e.trace_id} {e.payload_json}" for e in shop.rows(Event)),
        *(f"{a.key} {a.fingerprint} {a.body_json}" for a in shop.rows(StoredAnswer)),
        *(f"{b.ticket_id} {b.station} {b.day} {b.seconds}" for b in shop.rows(Booking)),
        *(f"{d.station} {d.day} {d.booked_s}" for d in shop.rows(StationDay)),
    ]
    return sorted(rows)


def _day(folder: Path, url: str) -> tuple[list[tuple[int, dict[str, str], bytes]], list[str]]:
    clock, numbers = FakeClock(), itertools.count(1)
    with opened_shop(
        folder, url, clock, counting_ids(), request_ids=lambda: UUID(int=next(numbers))
    ) as shop:
        return [_said(response) for response in _play(shop, clock)], _kept(shop)


def test_the_same_bytes_on_both_stores(
    tmp_path: Path, migrated_sqlite_file: Path, postgres_databases: PostgresDatabases
) -> None:
    """Status, headers and bodies of a whole day are equal, and so are the rows behind them."""
    file = tmp_path / "intake.sqlite3"
    shutil.copyfile(migrated_sqlite_file, file)
    embedded, kept_embedded = _day(tmp_path / "one", f"sqlite:///{file}")
    url = postgres_databases.fresh()
    migrate.upgrade(url)
    served, kept_served = _day(tmp_path / "two", url)
    for mine, theirs in zip(embedded, served, strict=True):
        assert mine == theirs
    assert kept_embedded == kept_served
    statuses = {status for status, _, _ in embedded}
    assert statuses == {200, 201, 204, 404, 409, 410, 412, 422}
