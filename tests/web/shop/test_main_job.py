"""The main job over HTTP: a reasoned refusal, a quote, an order, its ticket, events and end."""

from __future__ import annotations

import json

import numpy as np
import pytest
from sqlmodel import select

from service.demo_artwork import DEMO_ARTWORK_ID
from service.store.tables import Event, KeptDocument, StationDay
from tests.conftest import FakeClock
from tests.web.shop.bench import go
from tests.web.shop.door import Caller, Json, ShopDoor, answered, decoration, line, refused

TO_SENT = ("start", "finish", "check", "send")


def checked(caller: Caller, *lines: Json, explain: str = "findings") -> Json:
    """The check of the lines."""
    params = {"explain": explain}
    return answered(caller.post("/v1/checks", {"lines": list(lines)}, params=params), 200)


def only_ticket(order: Json) -> str:
    """The number of the order's one ticket."""
    (ticket,) = order["tickets"]
    number: str = ticket["number"]
    return number


def test_dye_on_black_cotton_is_refused_with_the_smallest_conflicts(asking: Caller) -> None:
    """Dye neither holds in cotton nor shows on black; method clashes with colour and with blank.

    That dye for polyester is not held by cotton and is transparent: the trade table's first rows
    (J. Soc. Dyers Colour. 1977 for the fibre; the visibility is common practice, no source).
    """
    verdict = checked(asking, line(decoration(method="dye-transfer")))
    assert verdict["works"] is False
    (found,) = verdict["lines"][0]["decorations"]
    (candidate,) = found["candidates"]
    blocks = {one["rule"]: one for one in candidate["findings"] if one["severity"] == "blocks"}
    assert set(blocks) == {"dye-fibre-share", "dye-surface-lightness"}
    assert blocks["dye-fibre-share"]["measured"] == 0
    assert blocks["dye-fibre-share"]["limit"] == 50
    assert blocks["dye-surface-lightness"]["measured"] < blocks["dye-surface-lightness"]["limit"]
    assert {tuple(one["choices"]): one["rules"] for one in found["conflicts"]} == {
        ("method", "blank"): ["dye-fibre-share"],
        ("method", "colour"): ["dye-surface-lightness"],
    }
    assert sorted(map(sorted, found["repairs"])) == [["blank", "colour"], ["method"]]


def test_every_alternative_of_a_refusal_works(asking: Caller) -> None:
    """What is offered instead can be had, printed film and dye on glitter film among it."""
    verdict = checked(asking, line(decoration(method="dye-transfer")))
    alternatives = verdict["lines"][0]["decorations"][0]["alternatives"]
    one_change = {one["method"] for one in alternatives if one["changes"] == ["method"]}
    assert {"printed-film", "dye-on-glitter-film"} <= one_change
    offered = [
        line(
            decoration(method=one["method"], width_mm=one["width_mm"], consents=one["consents"]),
            blank=one["blank"],
            colour=one["colour"],
        )
        for one in alternatives
    ]
    assert checked(asking, *offered)["works"] is True


def test_a_quote_of_the_impossible_carries_the_whole_check(asking: Caller) -> None:
    """A quote of what cannot be made is a 422 with the findings that a check gives."""
    impossible = line(decoration(method="dye-transfer"))
    problem = refused(asking.post("/v1/quotes", {"lines": [impossible]}), 422, "cannot-be-made")
    assert problem["check"] == checked(asking, impossible)


@pytest.mark.parametrize("method", ["printed-film", "dye-on-glitter-film"])
def test_the_same_artwork_is_made_another_way(
    standing_shop: ShopDoor, asking: Caller, bench: Caller, method: str
) -> None:
    """Quote, order, ticket and bench, to sent; the asking is told of each step in order."""
    quote = asking.quote(line(decoration(method=method)))
    assert quote["lines"][0]["methods"] == {"front": method}
    response = asking.accept(quote["id"], f"key-of-{quote['id']}", "R-17")
    order = answered(response, 201)
    assert response.headers["location"] == f"/v1/orders/{order['id']}"
    assert order["total"] == quote["total"]
    assert order["promised_day"] == quote["promise"]["day"]
    assert (order["reference"], order["state"]) == ("R-17", "accepted")
    number = only_ticket(order)
    for move, state in zip(TO_SENT, ["in_work", "in_work", "ready", "sent"], strict=True):
        go(bench, number, move)
        shown = answered(asking.get(f"/v1/orders/{order['id']}"), 200)
        assert shown["state"] == state
    assert standing_shop.events(order["id"]) == [
        (1, "order.accepted"),
        (2, "ticket.moved"),
        (3, "ticket.moved"),
        (4, "ticket.moved"),
        (5, "order.ready"),
        (6, "ticket.moved"),
        (7, "order.sent"),
    ]


def test_the_ticket_shows_the_work_and_its_history(asking: Caller, bench: Caller) -> None:
    """The bench reads mirrored sides, settings in the press window, cautions and who did what."""
    number = only_ticket(asking.order(line(decoration(method="dye-on-glitter-film"))))
    ticket = go(bench, number, *TO_SENT)
    document = ticket["document"]
    assert document["pieces_by_size"] == {"M": 3, "L": 2}
    assert document["decorations"][0]["artwork_id"] == DEMO_ARTWORK_ID
    steps = document["steps"]
    assert [step["number"] for step in steps] == list(range(1, len(steps) + 1))
    # Glitter film is cut from its back and dye is printed to be laid face down: both mirrored
    # (common practice, no source).
    assert {s["kind"]: s["mirrored"] for s in steps if s["mirrored"] is not None} == {
        "cut": True,
        "print": True,
    }
    assert all(step["caution"] for step in steps if step["kind"] in {"press", "tack", "cut"})
    assert any("200 °C" in caution for caution in document["cautions"])
    moves = [(m["move"], m["from_state"], m["to_state"], m["who"]) for m in ticket["moves"]]
    assert moves == [
        ("start", "waiting", "on_bench", "Ada"),
        ("finish", "on_bench", "made", "Ada"),
        ("check", "made", "checked", "Ada"),
        ("send", "checked", "sent", "Ada"),
    ]
    assert ticket["legal_moves"] == []


def test_tickets_to_be_made_alike_have_one_document(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """It is kept once, when it is quoted, however often it is ordered; and each ticket shows it."""
    orders = [storefront.order(line()), storefront.order(line(), line(sizes={"L": 7}))]
    numbers = [ticket["number"] for order in orders for ticket in order["tickets"]]
    tickets = [answered(staff.get(f"/v1/tickets/{number}"), 200) for number in numbers]
    shown = [ticket["document"] for ticket in tickets]
    assert shown[0] == shown[1] != shown[2]
    assert len(shop.rows(KeptDocument)) == 2
    storefront.quote(line(sizes={"S": 3}))
    assert len(shop.rows(KeptDocument)) == 3


def test_the_promise_counts_working_days_from_the_last_moment_of_the_quote(
    storefront: Caller, clock: FakeClock
) -> None:
    """Film with 3 days' lead, a quote that stands until tomorrow noon: 3 working days from then.

    Expected days come from numpy.busday_offset; the demo shop's lead time and cut-off are data.
    """
    assert clock().isoformat() == "2026-03-02T09:00:00+00:00"
    quote = storefront.quote(line())
    assert quote["expires_at"] == "2026-03-03T09:00:00.000Z"
    assert quote["promise"]["day"] == str(np.busday_offset(np.datetime64("2026-03-03"), 3))
    clock.advance(hours=3)  # 13:00 in Berlin: past the cut-off of 12:00, and tomorrow as well
    late = storefront.quote(line())
    assert late["promise"]["day"] == str(np.busday_offset(np.datetime64("2026-03-04"), 3))


def test_cancelling_gives_station_time_back(shop: ShopDoor, storefront: Caller) -> None:
    """Before work begins an order can be cancelled; its station days go back to nothing."""
    first = storefront.order(line())
    taken = shop.booked_s()
    second = storefront.order(line(sizes={"S": 40}), line())
    assert sum(shop.booked_s().values()) > sum(taken.values()) > 0
    cancelled = answered(storefront.post(f"/v1/orders/{second['id']}/cancel"), 200)
    assert cancelled["state"] == "cancelled"
    assert {ticket["state"] for ticket in cancelled["tickets"]} == {"cancelled"}
    assert shop.booked_s() == taken
    answered(storefront.post(f"/v1/orders/{first['id']}/cancel"), 200)
    assert [row.booked_s for row in shop.rows(StationDay)] == [0] * len(shop.rows(StationDay))
    assert shop.events(second["id"]) == [(1, "order.accepted"), (2, "order.cancelled")]
    again = storefront.post(f"/v1/orders/{first['id']}/cancel")
    refused(again, 409, "order-already-cancelled")


@pytest.mark.parametrize("moves", [("start",), ("start", "halt"), TO_SENT])
def test_an_order_in_work_cannot_be_cancelled(
    standing_shop: ShopDoor, asking: Caller, bench: Caller, moves: tuple[str, ...]
) -> None:
    """Once a ticket was begun, also if it is set aside, cancelling is refused and does nothing."""
    order = asking.order(line(), line())
    begun = order["tickets"][1]["number"]
    go(bench, begun, *moves)
    before = (
        standing_shop.row_counts(),
        standing_shop.booked_s(),
        standing_shop.events(order["id"]),
    )
    problem = refused(asking.post(f"/v1/orders/{order['id']}/cancel"), 409, "order-in-work")
    assert problem["begun_tickets"] == [begun]
    assert (
        standing_shop.row_counts(),
        standing_shop.booked_s(),
        standing_shop.events(order["id"]),
    ) == before


@pytest.mark.parametrize("moves", [("halt",), ("start", "put_back")])
def test_a_ticket_back_in_the_queue_can_be_cancelled(
    standing_shop: ShopDoor, asking: Caller, bench: Caller, moves: tuple[str, ...]
) -> None:
    """Halted while waiting, or put back: nothing is on the cloth, so the order may be cancelled."""
    taken = standing_shop.booked_s()
    order = asking.order(line())
    bench.moves(only_ticket(order), *moves)
    answered(asking.post(f"/v1/orders/{order['id']}/cancel"), 200)
    assert standing_shop.booked_s() == taken


def test_halting_and_resuming(standing_shop: ShopDoor, asking: Caller, bench: Caller) -> None:
    """A halted ticket resumes to where it was, and the asking hears of both."""
    order = asking.order(line())
    number = only_ticket(order)
    halted = go(bench, number, "start", "finish", "halt")
    assert (halted["state"], halted["legal_moves"]) == ("halted", ["resume"])
    assert bench.moves(number, "resume")["state"] == "made"
    assert standing_shop.events(order["id"])[-2:] == [(4, "ticket.halted"), (5, "ticket.moved")]


def test_cancelling_ticket_by_ticket_ends_the_order(
    standing_shop: ShopDoor, asking: Caller, bench: Caller
) -> None:
    """A ticket cancelled at the bench gives its time back; the last one cancels the order."""
    before = standing_shop.booked_s()
    order = asking.order(line(), line(sizes={"S": 9}))
    one, other = (ticket["number"] for ticket in order["tickets"])
    taken = sum(standing_shop.booked_s().values())
    bench.moves(one, "cancel")
    assert sum(before.values()) < sum(standing_shop.booked_s().values()) < taken
    assert answered(asking.get(f"/v1/orders/{order['id']}"), 200)["state"] == "accepted"
    bench.moves(other, "halt", "cancel")
    assert standing_shop.booked_s() == before
    assert answered(asking.get(f"/v1/orders/{order['id']}"), 200)["state"] == "cancelled"
    assert standing_shop.events(order["id"])[-1][1] == "order.cancelled"


def test_what_an_event_tells(standing_shop: ShopDoor, asking: Caller, bench: Caller) -> None:
    """Standard Webhooks 1.0.0: type, timestamp and data; ours: order, sequence, states."""
    order = asking.order(line())
    bench.moves(only_ticket(order), "start")
    query = select(Event).where(Event.order_id == order["id"], Event.sequence == 2)
    event = standing_shop.read(lambda session: session.exec(query).one())
    told = json.loads(event.payload_json)
    assert set(told) == {"type", "timestamp", "data"}
    assert told["timestamp"] == "2026-03-02T09:00:00.000Z"
    assert told["data"] == {
        "order_id": order["id"],
        "sequence": 2,
        "reference": "",
        "order_state": "in_work",
        "ticket": only_ticket(order),
        "line": 0,
        "from_state": "waiting",
        "state": "on_bench",
    }


def test_the_queue_in_pages(storefront: Caller, staff: Caller) -> None:
    """Pages hold each ticket once, the least slack first, and keep the filter (RFC 8288)."""
    for sizes in ({"S": 1}, {"M": 1}, {"L": 1}):
        storefront.order(line(sizes=sizes), line(decoration(method="dye-on-glitter-film")))
    seen: list[Json] = []
    address: str | None = "/v1/tickets?state=waiting&limit=2"
    for _ in range(3):
        assert address is not None
        response = staff.get(address)
        page = answered(response, 200)
        seen += page["tickets"]
        address = page["next"]
        link = f'<{address}>; rel="next"' if address else None
        assert response.headers.get("link") == link
    assert address is None
    assert [ticket["number"] for ticket in seen] == [
        ticket["number"] for ticket in sorted(seen, key=lambda t: (t["latest_start"], t["number"]))
    ]
    assert sorted(ticket["number"] for ticket in seen) == [f"T{n:06d}" for n in range(1, 7)]


def test_unchanged_since(asking: Caller, bench: Caller) -> None:
    """A GET with the ETag it gave is a 304 until the thing changes (RFC 9110 section 13.1.2)."""
    order = asking.order(line())
    number = only_ticket(order)
    looks = [(asking, f"/v1/orders/{order['id']}"), (bench, f"/v1/tickets/{number}")]
    tags = [caller.get(path).headers["etag"] for caller, path in looks]
    for (caller, path), tag in zip(looks, tags, strict=True):
        unchanged = caller.get(path, {"If-None-Match": f'"0", W/{tag}'})
        assert (unchanged.status_code, unchanged.content) == (304, b"")
        assert unchanged.headers["etag"] == tag
    moved = bench.move(number, "start")
    for (caller, path), tag in zip(looks, tags, strict=True):
        changed = caller.get(path, {"If-None-Match": tag})
        assert changed.status_code == 200
        assert changed.headers["etag"] != tag
    assert bench.get(f"/v1/tickets/{number}").headers["etag"] == moved.headers["etag"]
    catalogue = asking.get("/v1/catalogue")
    again = asking.get("/v1/catalogue", {"If-None-Match": catalogue.headers["etag"]})
    assert again.status_code == 304
