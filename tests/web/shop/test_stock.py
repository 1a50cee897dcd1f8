"""Stock over HTTP: booked by hand, by tickets and by runs, by several at once.

On hand is the sum of the moves, a count sets it, free is what is left of it when open tickets have
theirs, and no more is thrown away than there is: common practice, no source. Conflicts: RFC 9110
section 15.5.10, from memory.
"""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from httpx2 import Response

from service.store.tables import StockIncoming, StockMove, TicketNeed
from tests.conftest import FakeClock
from tests.web.shop.bench import act as bench_act
from tests.web.shop.bench import all_good, go, spoil
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import (
    ON_ONE_STORE,
    ON_SQLITE,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    only_error,
    refused,
    supplied_line,
    together,
)

TEE = {"kind": "blank", "item": "classic-cotton-tee", "colour": "black", "size": "M"}
FILM = {"kind": "medium", "item": "printable-film", "colour": "white"}
PAPER = {"kind": "medium", "item": "dye-paper"}
UNITS = {"blank": "pieces", "medium": "mm", "ink": "ml"}


def book(staff: Caller, act: str, quantity: float, thing: Json = TEE, **more: Any) -> Response:
    """Send a move of a thing, in the unit it is counted in."""
    body = {**thing, "act": act, "quantity": quantity, "unit": UNITS[thing["kind"]], "who": "Ada"}
    return staff.post("/v1/stock/moves", {**body, **more})


def booked(staff: Caller, act: str, quantity: float, thing: Json = TEE, **more: Any) -> float:
    """What is on hand after a move that must be possible."""
    on_hand: float = answered(book(staff, act, quantity, thing, **more), 201)["on_hand"]
    return on_hand


def rows(staff: Caller, **asked: Any) -> list[Json]:
    """All stock, page by page."""
    found: list[Json] = []
    path = "/v1/stock"
    answer = answered(staff.get(path, params={"limit": 100, **asked}), 200)
    while True:
        found += answer["stock"]
        if not answer["next"]:
            assert len(found) == answer["count"]
            return found
        answer = answered(staff.get(answer["next"]), 200)


def row(staff: Caller, thing: Json = TEE) -> Json:
    """How one thing stands."""
    wanted = {"colour": "", "size": "", **thing}
    (found,) = [
        one
        for one in rows(staff, kind=thing["kind"])
        if all(one[name] == value for name, value in wanted.items())
    ]
    return found


def test_received_counted_and_thrown_away(shop: ShopDoor, staff: Caller) -> None:
    """Every move changes what is on hand and stays in the ledger; a count sets it, also to 0."""
    assert booked(staff, "receive", 24) == 24
    assert booked(staff, "waste", 4, note="stained") == 20
    assert booked(staff, "count", 17) == 17
    assert booked(staff, "count", 17) == 17
    assert booked(staff, "count", 0) == 0
    assert booked(staff, "receive", 1_200.25, FILM) == 1_200.25
    assert booked(staff, "waste", 0.125, FILM) == 1_200.125
    ink = {"kind": "ink", "item": demo_catalogue().catalogue.printers[0].id}
    assert booked(staff, "receive", 500.5, ink) == 500.5
    assert booked(staff, "receive", 3, {**TEE, "size": "L"}) == 3
    assert [(one.reason, one.quantity) for one in shop.rows(StockMove)][:5] == [
        ("receive", 24),
        ("waste", -4),
        ("count", -3),
        ("count", 0),
        ("count", -17),
    ]
    tee, film = row(staff), row(staff, FILM)
    assert (tee["on_hand"], tee["free"], tee["unit"]) == (0, 0, "pieces")
    assert (film["on_hand"], film["unit"], film["colour_name"]) == (1_200.125, "mm", "White")
    ledger = answered(staff.get("/v1/stock/moves", params={"kind": "blank", "limit": 4}), 200)
    assert [one["quantity"] for one in ledger["moves"]] == [3, -17, 0, -3]
    assert [one["quantity"] for one in answered(staff.get(ledger["next"]), 200)["moves"]] == [
        -4,
        24,
    ]


@pytest.mark.parametrize(
    ("change", "field", "code"),
    [
        ({"item": "classic-coton-tee"}, "item", "unknown-name"),
        ({"colour": "blak"}, "colour", "unknown-name"),
        ({"colour": ""}, "colour", "missing"),
        ({"size": "XM"}, "size", "unknown-name"),
        ({"size": ""}, "size", "missing"),
        ({"unit": "mm"}, "unit", "unit-unfit"),
        ({"quantity": 0}, "quantity", "too-small"),
        ({"quantity": 1.5}, "quantity", "not-whole"),
        ({**PAPER, "size": "M", "unit": "mm"}, "colour", "unknown-name"),
        ({**PAPER, "colour": "", "size": "M", "unit": "mm"}, "size", "unknown-name"),
        ({"incoming_id": "delivery_none"}, "incoming_id", "unknown-name"),
        ({"act": "waste", "incoming_id": "delivery_none"}, "incoming_id", "foreign-value"),
    ],
)
@ON_ONE_STORE
def test_what_is_refused(
    standing_shop: ShopDoor, bench: Caller, change: Json, field: str, code: str
) -> None:
    """What the shop does not have and what is not counted so; nothing is booked."""
    before = standing_shop.row_counts()
    body = {**TEE, "act": "receive", "quantity": 2, "unit": "pieces", "who": "Ada", **change}
    answer = bench.post("/v1/stock/moves", body)
    error = only_error(refused(answer, 422, "fields-refused"))
    assert (error["pointer"], error["code"]) == (f"#/{field}", code)
    assert error["detail"]
    assert standing_shop.row_counts() == before


@pytest.mark.parametrize("quantity", [-1, 0.0005, 1e10, "x", True, None])
@ON_ONE_STORE
def test_quantities_that_are_none(standing_shop: ShopDoor, bench: Caller, quantity: Any) -> None:
    """Below zero, finer than a ledger counts, beyond any shelf, or no number: told on the field."""
    before = len(standing_shop.rows(StockMove))
    answer = book(bench, "receive", quantity, FILM)
    assert only_error(refused(answer, 422, "fields-refused"))["pointer"] == "#/quantity"
    assert len(standing_shop.rows(StockMove)) == before


def test_no_more_waste_than_there_is(shop: ShopDoor, staff: Caller) -> None:
    """It says how much is on hand, and books nothing."""
    booked(staff, "receive", 3)
    problem = refused(book(staff, "waste", 4), 409, "stock-short")
    assert (problem["on_hand"], problem["unit"]) == (3, "pieces")
    assert len(shop.rows(StockMove)) == 1


def test_the_last_ten_thrown_away_by_sixteen(staff: Caller) -> None:
    """Of sixteen at once exactly ten are taken."""
    booked(staff, "receive", 10)
    answers = together([lambda: book(staff, "waste", 1)] * 16)
    assert Counter(one.status_code for one in answers) == {201: 10, 409: 6}
    assert row(staff)["on_hand"] == 0


def test_counts_and_receipts_at_once(shop: ShopDoor, staff: Caller) -> None:
    """However they fall, each answer is the sum of the moves up to it, and none is lost."""
    acts = [("count", 7), ("receive", 2)] * 4
    answers = together([partial(book, staff, act, many) for act, many in acts])
    made = {one["id"]: one for one in (answered(answer, 201) for answer in answers)}
    total = 0
    moves = shop.rows(StockMove)
    assert len(moves) == len(acts)
    for move in sorted(moves, key=lambda one: one.id):
        total += move.quantity
        assert made[move.id]["on_hand"] == total
        assert move.reason != "count" or total == 7
    assert row(staff)["on_hand"] == total


def test_sent_twice_is_booked_once(shop: ShopDoor, staff: Caller) -> None:
    """Under one key a move is made once and answered the same."""
    body = {**TEE, "act": "receive", "quantity": 5, "unit": "pieces", "who": "Ada"}
    key = {"Idempotency-Key": "a-key-that-is-good"}
    first, again = (staff.post("/v1/stock/moves", body, key) for _ in range(2))
    assert (first.status_code, first.json()) == (201, again.json())
    assert len(shop.rows(StockMove)) == 1


def ticket(storefront: Caller, *decorations: Json, **changes: Any) -> str:
    """The ticket of a new order."""
    number: str = storefront.order(line(*decorations, **changes))["tickets"][0]["number"]
    return number


def document(staff: Caller, number: str) -> Json:
    """A ticket's document."""
    found: Json = answered(staff.get(f"/v1/tickets/{number}"), 200)["document"]
    return found


def test_a_ticket_takes_its_blanks_film_and_ink(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Held while it waits, blanks taken at its start, film and ink when it is finished, once."""
    booked(staff, "receive", 100)
    booked(staff, "receive", 50_000, FILM)
    number = ticket(storefront, decoration(width_mm=240), sizes={"M": 20})
    paper = document(staff, number)
    starts = paper["starts_by_size"]["M"]
    assert starts > 20
    uses = {one["kind"]: one for one in paper["uses"]}
    ink = {"kind": "ink", "item": uses["ink"]["item"]}
    film_mm, ink_ml = uses["medium"]["quantity"] / 1_000, uses["ink"]["quantity"] / 1_000
    assert film_mm == paper["materials"][0]["length_mm"]
    tee, film, inked = row(staff), row(staff, FILM), row(staff, ink)
    assert (tee["held"], tee["free"]) == (starts, 100 - starts)
    assert (film["held"], film["free"]) == (film_mm, 50_000 - film_mm)
    assert (inked["held"], inked["free"], inked["on_hand"]) == (ink_ml, -ink_ml, 0)
    go(staff, number, "start", "put_back", "start")
    tee = row(staff)
    assert (tee["on_hand"], tee["held"]) == (100 - starts, 0)
    assert row(staff, FILM)["held"] == film_mm
    spoil(staff, number, "M")
    go(staff, number, "finish")
    assert row(staff)["on_hand"] == 100 - 21
    assert (row(staff, FILM)["on_hand"], row(staff, FILM)["held"]) == (50_000 - film_mm, 0)
    assert (row(staff, ink)["on_hand"], row(staff, ink)["free"]) == (-ink_ml, -ink_ml)
    go(staff, number, "redo", "finish", "check", "send")
    assert row(staff)["on_hand"] == 100 - 21
    assert row(staff, FILM)["on_hand"] == 50_000 - film_mm
    assert shop.rows(TicketNeed) == []
    told = answered(staff.get("/v1/stock/moves", params={"kind": "blank"}), 200)["moves"]
    assert [(one["reason"], one["quantity"], one["ticket"]) for one in told] == [
        ("ticket_back", starts - 21, number),
        ("ticket", -starts, number),
        ("receive", 100, None),
    ]


def test_a_cancelled_ticket_gives_everything_back(storefront: Caller, staff: Caller) -> None:
    """Started or not, by itself or with its order: nothing is held or taken any more."""
    order = storefront.order(line(), line())
    begun, waiting = (one["number"] for one in order["tickets"])
    go(staff, begun, "start")
    assert row(staff)["on_hand"] < 0
    go(staff, begun, "put_back", "cancel")
    assert row(staff)["on_hand"] == 0
    assert row(staff)["held"] == document(staff, waiting)["starts_by_size"]["M"]
    go(staff, waiting, "start", "put_back")
    answered(storefront.post(f"/v1/orders/{order['id']}/cancel"), 200)
    assert [(one["on_hand"], one["held"]) for one in rows(staff) if one["held"]] == []
    assert {one["on_hand"] for one in rows(staff)} == {0}


def test_garments_that_the_customer_brings_are_on_no_shelf(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Their ticket needs paper and ink alone."""
    storefront.order(supplied_line())
    assert {one.kind for one in shop.rows(TicketNeed)} == {"medium", "ink"}
    assert row(staff, PAPER)["held"] > 0


def test_film_of_a_run_is_booked_by_the_run(storefront: Caller, staff: Caller) -> None:
    """It is held no longer than that, held again when the run is dissolved, and taken once."""
    number = ticket(storefront)
    held_mm = row(staff, FILM)["held"]
    run = answered(staff.post("/v1/runs", {"who": "Ada"}), 201)["runs"][0]
    assert row(staff, FILM)["held"] == held_mm > 0
    accept = f"/v1/runs/{run['id']}/accept"
    answered(staff.post(accept, {"who": "Ada"}), 201)
    film = row(staff, FILM)
    assert (film["on_hand"], film["held"]) == (-run["length_mm"], 0)
    answered(staff.post(f"/v1/runs/{run['id']}/dissolve", {"who": "Ada"}), 201)
    film = row(staff, FILM)
    assert (film["on_hand"], film["held"]) == (0, held_mm)
    run = answered(staff.post("/v1/runs", {"who": "Ada"}), 201)["runs"][0]
    answered(staff.post(f"/v1/runs/{run['id']}/accept", {"who": "Ada"}), 201)
    go(staff, number, "start", "finish")
    film = row(staff, FILM)
    assert (film["on_hand"], film["held"]) == (-run["length_mm"], 0)
    told = answered(staff.get("/v1/stock/moves", params={"kind": "medium"}), 200)["moves"]
    assert [(one["reason"], one["run"], one["ticket"]) for one in told] == [
        ("run", run["number"], None),
        ("run_dissolved", told[1]["run"], None),
        ("run", told[2]["run"], None),
    ]


@ON_SQLITE
def test_a_remake_takes_blanks_of_its_own(storefront: Caller, staff: Caller) -> None:
    """What was spoiled beyond the spares is held for the further ticket, and taken by it."""
    number = ticket(storefront, sizes={"M": 5})
    go(staff, number, "start")
    starts = document(staff, number)["starts_by_size"]["M"]
    spoil(staff, number, "M", starts - 3)
    answer = answered(bench_act(staff, number, "remakes", {}), 201)
    again = answer["ticket"]["number"]
    more = document(staff, again)
    assert row(staff)["held"] == more["starts_by_size"]["M"]
    assert {one["kind"] for one in more["uses"]} == {"medium", "ink"}
    all_good(staff, number)
    go(staff, number, "finish")
    go(staff, again, "start", "finish")
    assert row(staff)["on_hand"] == -starts - 2


def expect(staff: Caller, quantity: float, day: str, **more: Any) -> Response:
    """Enter an expected delivery."""
    body = {**TEE, "quantity": quantity, "unit": "pieces", "day": day, "who": "Ada", **more}
    return staff.post("/v1/stock/incoming", body)


def test_deliveries_are_expected_received_and_called_off(shop: ShopDoor, staff: Caller) -> None:
    """They count as on their way until they are over; each is over once."""
    late = answered(expect(staff, 40, "2026-03-20"), 201)
    soon = answered(expect(staff, 12, "2026-03-05"), 201)
    assert [one["day"] for one in row(staff)["incoming"]] == ["2026-03-05", "2026-03-20"]
    assert row(staff)["on_hand"] == 0
    foreign = book(staff, "receive", 2, {**TEE, "size": "L"}, incoming_id=soon["id"])
    assert only_error(refused(foreign, 422, "fields-refused"))["code"] == "foreign-value"
    assert booked(staff, "receive", 11, incoming_id=soon["id"]) == 11
    again = refused(book(staff, "receive", 11, incoming_id=soon["id"]), 409, "stock-delivery-over")
    assert again["state"] == "received"
    off = f"/v1/stock/incoming/{late['id']}/call-off"
    answers = together([lambda: staff.post(off, {"who": "Bob", "note": "sold out"})] * 2)
    assert sorted(one.status_code for one in answers) == [201, 409]
    none = staff.post("/v1/stock/incoming/delivery_none/call-off", {"who": "Bob"})
    refused(none, 404, "stock-delivery-not-found")
    assert row(staff)["incoming"] == []
    closed = {
        state: answered(staff.get("/v1/stock/incoming", params={"state": state}), 200)["incoming"]
        for state in ("expected", "received", "called_off")
    }
    assert [len(closed[state]) for state in closed] == [0, 1, 1]
    assert closed["called_off"][0]["closed_by"] == "Bob"
    assert {one.move_id for one in shop.rows(StockIncoming)} == {None, 1}


@ON_ONE_STORE
@pytest.mark.parametrize("day", ["2026-03-01", "2030-03-01", "0001-01-01", "9999-12-31"])
def test_days_that_no_delivery_is_expected_on(bench: Caller, day: str) -> None:
    """Days that are past, and those years ahead."""
    error = only_error(refused(expect(bench, 1, day), 422, "fields-refused"))
    assert (error["pointer"], error["code"]) == ("#/day", "out-of-range")


def test_deliveries_page_by_page(staff: Caller) -> None:
    """Each once, the earliest day first."""
    days = [f"2026-03-{day:02d}" for day in (9, 4, 6, 4, 5)]
    for day in days:
        answered(expect(staff, 1, day), 201)
    found, path = [], "/v1/stock/incoming?limit=2"
    while path:
        page = answered(staff.get(path), 200)
        found += [one["day"] for one in page["incoming"]]
        path = page["next"]
    assert found == sorted(days)


@ON_SQLITE
def test_what_to_reorder_follows_from_use(staff: Caller, clock: FakeClock) -> None:
    """Reckoned by hand: 40 used in 20 working days are 2 a day, so 70 on hand last 35 days.

    The supplier takes 2 days, the shop keeps 3 for safety and orders for 10: point 10, level 30.
    """
    assert booked(staff, "receive", 110) == 110
    clock.advance(days=1)
    booked(staff, "waste", 40)
    tee = row(staff)
    assert (tee["use_per_day"], tee["cover_days"], tee["supplier_lead_days"]) == (2, 35, 2)
    assert (tee["reorder_point"], tee["reorder_to"], tee["to_order"]) == (10, 30, 0)
    assert rows(staff, below_reorder="true") == []
    booked(staff, "count", 9)
    (tee,) = rows(staff, below_reorder="true")
    assert (tee["cover_days"], tee["to_order"], tee["use_per_day"]) == (4.5, 21, 2)
    expected = answered(expect(staff, 1, "2026-03-09"), 201)
    assert row(staff)["to_order"] == 20
    answered(expect(staff, 1, "2026-03-10"), 201)
    assert rows(staff, below_reorder="true") == []
    answered(staff.post(f"/v1/stock/incoming/{expected['id']}/call-off", {"who": "Ada"}), 201)
    assert len(rows(staff, below_reorder="true", kind="blank")) == 1
    assert rows(staff, below_reorder="true", kind="ink") == []
    clock.advance(timedelta(days=28, seconds=1))
    assert (row(staff)["use_per_day"], row(staff)["cover_days"]) == (0, None)


@ON_SQLITE
def test_what_the_catalogue_has_no_more_is_still_counted_away(
    shop: ShopDoor, staff: Caller
) -> None:
    """It is told at the end as long as any is left, and can be booked by what the ledger says."""
    booked(staff, "receive", 8)
    blanks = demo_catalogue().catalogue.blanks
    put_in_force(shop, changed_catalogue(blanks=blanks[1:]))
    left = rows(staff)[-1]
    assert (left["item"], left["on_hand"], left["in_catalogue"]) == (TEE["item"], 8, False)
    assert left["to_order"] == 0
    assert booked(staff, "count", 0) == 0
    assert TEE["item"] not in {one["item"] for one in rows(staff)}


@ON_ONE_STORE
def test_cursors_are_bound_to_their_list(bench: Caller) -> None:
    """A cursor of another filter is refused, and pages hold each thing once."""
    page = answered(bench.get("/v1/stock", params={"limit": 3, "kind": "blank"}), 200)
    stray = page["next"].replace("kind=blank", "kind=medium")
    refused(bench.get(stray), 400, "cursor-refused")
    keys = [(one["kind"], one["item"], one["colour"], one["size"]) for one in rows(bench)]
    assert len(set(keys)) == len(keys) > 300
