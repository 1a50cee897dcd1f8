"""What is entered at the bench over HTTP: pieces, ticks, notes, remakes, by several at once.

The laws of the count are the trade's (common practice, no source): no more is done than is wanted,
no more is used than there is, and nothing is sent that was not made.
"""

from __future__ import annotations

import json
from collections import Counter
from datetime import date
from functools import partial
from typing import Any

from service.store.tables import Booking, Event, Ticket, TicketNote, TicketPiece, TicketTick
from tests.conftest import FakeClock
from tests.web.shop.bench import act, all_good, conflict, enter, go, spoil, ticked
from tests.web.shop.door import (
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


def begun(storefront: Caller, staff: Caller, *decorations: Json, **sizes: int) -> tuple[str, str]:
    """Order id and number of a ticket that was just started."""
    order = storefront.order(line(*decorations, sizes=sizes))
    number = order["tickets"][0]["number"]
    staff.moves(number, "start")
    return order["id"], number


def shown(staff: Caller, number: str) -> Json:
    """The ticket as it stands."""
    return answered(staff.get(f"/v1/tickets/{number}"), 200)


def told(shop: ShopDoor, order_id: str, kind: str) -> list[Json]:
    """The data of the order's events of one kind."""
    events = [e for e in shop.rows(Event) if (e.order_id, e.type) == (order_id, kind)]
    return [json.loads(event.payload_json)["data"] for event in events]


def test_a_ticket_shows_what_is_to_be_made(asking: Caller, bench: Caller) -> None:
    """Before anything happened nothing is good, and blanks are taken for spares too."""
    order = asking.order(line(sizes={"S": 3, "M": 10}))
    ticket = shown(bench, order["tickets"][0]["number"])
    assert (ticket["version"], ticket["ticks"], ticket["notes"]) == (1, {}, [])
    assert list(ticket["pieces"]) == ["S", "M"]
    for size, count in ticket["pieces"].items():
        wanted = {"S": 3, "M": 10}[size]
        assert (count["wanted"], count["remaining"]) == (wanted, wanted)
        assert (count["good"], count["spoiled"], count["to_remake"]) == (0, 0, 0)
        assert count["started"] == ticket["document"]["starts_by_size"][size] >= wanted
    assert ticket["station"] == ticket["document"]["steps"][0]["station"]
    assert (ticket["remake_of"], ticket["remakes"]) == (None, [])


def test_pieces_are_counted_by_size(asking: Caller, bench: Caller) -> None:
    """Good and spoiled pieces add up, a mistaken entry is taken back, and every entry stays."""
    _, number = begun(asking, bench, S=2, M=40)
    enter(bench, number, "done", "M", 39)
    spoil(bench, number, "M")
    enter(bench, number, "undone", "M", 2, undoes="done")
    ticket = enter(bench, number, "undone", "M", undoes="spoiled", reason="scorched", note="no")
    count = ticket["pieces"]["M"]
    assert (count["good"], count["spoiled"], count["remaining"]) == (37, 0, 3)
    assert [(entry["kind"], entry["count"]) for entry in ticket["entries"]] == [
        ("done", 39),
        ("spoiled", 1),
        ("undone", 2),
        ("undone", 1),
    ]
    assert ticket["version"] == 2 + 4
    assert ticket["entries"][-1]["note"] == "no"


def test_a_ticket_is_finished_when_its_pieces_are(asking: Caller, bench: Caller) -> None:
    """Finishing is not legal while a good piece is missing, and the answer says which."""
    _, number = begun(asking, bench, S=1, M=2)
    enter(bench, number, "done", "M", 2)
    problem = refused(bench.move(number, "finish"), 409, "move-not-legal")
    assert "1 of size S" in problem["detail"]
    assert problem["legal_moves"] == ["put_back", "halt"]
    ticket = enter(bench, number, "done", "S")
    assert ticket["legal_moves"] == ["put_back", "finish", "halt"]
    assert bench.moves(number, "finish", "check", "send")["state"] == "sent"


def test_what_was_begun_is_not_cancelled(asking: Caller, bench: Caller) -> None:
    """A ticket put back with a piece made is not cancelled, neither alone nor with its order."""
    order_id, number = begun(asking, bench, S=2)
    enter(bench, number, "done", "S")
    assert go(bench, number, "put_back")["legal_moves"] == ["start", "halt"]
    refused(bench.move(number, "cancel"), 409, "move-not-legal")
    assert asking.post(f"/v1/orders/{order_id}/cancel").status_code == 409
    assert shown(bench, number)["state"] == "waiting"


TOO_MANY: list[tuple[Json, int]] = [
    ({"kind": "done", "size": "S", "count": 3}, 2),
    ({"kind": "spoiled", "size": "S", "count": 9, "reason": "lifted"}, 3),
    ({"kind": "undone", "size": "S", "count": 1, "undoes": "done"}, 0),
]


def test_more_than_there_can_be(asking: Caller, bench: Caller) -> None:
    """The refusal names the value and the limit, and nothing is entered."""
    _, number = begun(asking, bench, S=2)
    before = shown(bench, number)
    assert before["pieces"]["S"]["started"] == 3
    for body, limit in TOO_MANY:
        problem = conflict(act(bench, number, "pieces", body), "piece-limit")
        told_of = [problem[name] for name in ("size", "count", "limit")]
        assert told_of == ["S", body["count"], limit]
        assert f"{body['count']} of size S" in problem["detail"]
        assert f"{limit} at most" in problem["detail"]
    assert shown(bench, number) == before


REFUSED: list[tuple[Json, str]] = [
    ({"kind": "done", "size": "XXL"}, "#/size"),
    ({"kind": "moved", "size": "S"}, "#/kind"),
    ({"kind": "done", "size": "S", "count": 0}, "#/count"),
    ({"kind": "done", "size": "S", "count": 100_001}, "#/count"),
    ({"kind": "spoiled", "size": "S"}, "#"),
    ({"kind": "spoiled", "size": "S", "reason": "other"}, "#"),
    ({"kind": "spoiled", "size": "S", "reason": "bored"}, "#/reason"),
    ({"kind": "done", "size": "S", "note": "x" * 4_001}, "#/note"),
    ({"kind": "undone", "size": "S", "undoes": "moved"}, "#/undoes"),
    ({"kind": "done", "size": "S", "who": " "}, "#/who"),
]


def test_entries_that_say_too_little_or_too_much(asking: Caller, bench: Caller) -> None:
    """Each is refused at its field, in our own words, and nothing is entered."""
    _, number = begun(asking, bench, S=1)
    before = shown(bench, number)
    for body, pointer in REFUSED:
        problem = refused(act(bench, number, "pieces", body), 422, "fields-refused")
        assert only_error(problem)["pointer"].rstrip("/") == pointer, body
        assert "pydantic" not in json.dumps(problem)
    assert shown(bench, number) == before


def test_pieces_are_entered_on_the_bench_alone(asking: Caller, bench: Caller) -> None:
    """In any other state the answer names the state, where it would be legal, and the moves."""
    number = asking.order(line(sizes={"S": 1}))["tickets"][0]["number"]
    body = {"kind": "spoiled", "size": "S", "reason": "lifted"}
    for moves in [(), ("start", "halt"), ("resume", "finish"), ("check",), ("send",)]:
        go(bench, number, *moves)
        before = shown(bench, number)
        for what, sent in (("pieces", body), ("remakes", {})):
            problem = conflict(act(bench, number, what, sent), "bench-work-not-legal")
            assert problem["state"] == before["state"]
            assert problem["legal_states"] == ["on_bench"]
            assert problem["legal_moves"] == before["legal_moves"]
        assert shown(bench, number) == before


def test_what_is_made_waits_where_it_is_checked(asking: Caller, bench: Caller) -> None:
    """Though nobody ticked a step off; what has left the shop or is cancelled waits nowhere."""
    first, second = (asking.order(line())["tickets"][0]["number"] for _ in range(2))
    made = go(bench, first, "start", "finish")
    station_of = {step["kind"]: step["station"] for step in made["document"]["steps"]}
    assert made["station"] == station_of["check"]
    assert go(bench, first, "check")["station"] == station_of["fold"]
    assert go(bench, first, "send")["station"] == ""
    assert go(bench, second, "cancel")["station"] == ""


def test_ticks_lead_from_station_to_station(asking: Caller, bench: Caller) -> None:
    """A ticket waits at the station of the first step not ticked; a tick can be taken back."""
    _, number = begun(asking, bench, S=1)
    steps = shown(bench, number)["document"]["steps"]
    for index, step in enumerate(steps):
        ticket = ticked(bench, number, step["key"])
        rest = [later["station"] for later in steps[index + 1 :]]
        assert ticket["station"] == (rest[0] if rest else "")
        assert ticket["ticks"][step["key"]]["who"] == "Ada"
    assert len(ticket["ticks"]) == len(steps)
    ticket = ticked(bench, number, steps[1]["key"], done=False)
    assert steps[1]["key"] not in ticket["ticks"]
    assert ticket["station"] == steps[1]["station"]


def test_a_tick_stays_its_first_tickers(standing_shop: ShopDoor, bench: Caller) -> None:
    """The same tick again changes nothing, neither the name nor the version."""
    order_id, number = begun(standing_shop.storefront, bench, S=1)
    first = shown(bench, number)["document"]["steps"][0]["key"]
    once = ticked(bench, number, first)
    body = {"step_key": first, "done": True, "who": "Grace"}
    again = act(bench, number, "ticks", body)
    assert answered(again, 201) == once
    assert again.headers["etag"] == f'"{once["version"]}"'
    problem = refused(
        act(bench, number, "ticks", {**body, "step_key": "nothing"}), 422, "fields-refused"
    )
    assert only_error(problem)["pointer"] == "#/step_key"
    assert [kind for _, kind in standing_shop.events(order_id)] == [
        "order.accepted",
        "ticket.moved",
    ]


NOTES = [
    '<script>alert(1)</script> & "quotes"',
    "من فضلك \u202eاحذر\u202c",
    "🧵 3 × 袖",
    "x" * 4_000,
    "  two\n\nlines  ",
]
"""Markup, right-to-left text with an override, emoji, the longest, and several lines."""


def test_notes_are_kept_as_they_are_written(asking: Caller, bench: Caller) -> None:
    """Whatever a note holds comes back unchanged, in any state of the ticket."""
    number = asking.order(line(sizes={"S": 1}))["tickets"][0]["number"]
    go(bench, number, "cancel")
    for text in NOTES:
        answered(act(bench, number, "notes", {"text": text}), 201)
    assert [note["text"] for note in shown(bench, number)["notes"]] == NOTES
    for text in ("", " \n ", "x" * 4_001):
        problem = refused(act(bench, number, "notes", {"text": text}), 422, "fields-refused")
        assert only_error(problem)["pointer"] == "#/text"


def test_a_stale_view_is_told_what_happened_since(asking: Caller, bench: Caller) -> None:
    """Whatever was done last, the 412 says who did it, and the late act does nothing."""
    _, number = begun(asking, bench, S=1)
    first = shown(bench, number)["document"]["steps"][0]["key"]
    acts: list[tuple[str, Json, str]] = [
        ("pieces", {"kind": "spoiled", "size": "S", "reason": "lifted"}, "Ada entered 1 of size S"),
        ("ticks", {"step_key": first, "done": True}, f"Ada ticked off the step '{first}'"),
        ("ticks", {"step_key": first, "done": False}, "Ada took back the tick"),
        ("notes", {"text": "mind the seam"}, "Ada wrote a note"),
    ]
    for what, body, words in acts:
        tag = bench.get(f"/v1/tickets/{number}").headers["etag"]
        answered(act(bench, number, what, body, if_match=tag), 201)
        for late, sent in (("notes", {"text": "late"}), (what, body), ("remakes", {})):
            answer = act(bench, number, late, sent, if_match=tag)
            assert words in refused(answer, 412, "ticket-changed")["detail"]
        assert (
            words
            in refused(bench.move(number, "halt", if_match=tag), 412, "ticket-changed")["detail"]
        )
    assert len(shown(bench, number)["notes"]) == 1


def test_an_act_sent_twice_is_done_once(asking: Caller, bench: Caller) -> None:
    """With one Idempotency-Key the second call gets the first one's answer."""
    _, number = begun(asking, bench, S=2)
    body = {"kind": "done", "size": "S"}
    key = "an-entry-of-the-bench"
    first, second = (
        act(bench, number, "pieces", body, idempotency_key=f"{key}-{number}") for _ in range(2)
    )
    assert (first.status_code, first.content) == (second.status_code, second.content)
    assert second.headers["etag"] == first.headers["etag"]
    assert shown(bench, number)["pieces"]["S"]["good"] == 1


def test_many_at_once_never_make_more_than_is_wanted(
    standing_shop: ShopDoor, bench: Caller
) -> None:
    """Sixteen enter pieces of two sizes at once: what fits is entered, the rest is told so."""
    _, number = begun(standing_shop.storefront, bench, S=3, M=2)
    calls = [
        partial(act, bench, number, "pieces", {"kind": "done", "size": size})
        for size in ["S", "M"] * 8
    ]
    counts = Counter(answer.status_code for answer in together(calls))
    assert counts == {201: 5, 409: 11}
    ticket = shown(bench, number)
    assert {size: count["good"] for size, count in ticket["pieces"].items()} == {"S": 3, "M": 2}
    assert ticket["version"] == 2 + 5


def test_good_and_spoiled_at_once_never_use_more_than_there_is(
    standing_shop: ShopDoor, bench: Caller
) -> None:
    """However entries meet, good and spoiled together stay within the blanks taken."""
    _, number = begun(standing_shop.storefront, bench, S=4)
    done = partial(act, bench, number, "pieces", {"kind": "done", "size": "S"})
    body = {"kind": "spoiled", "size": "S", "reason": "ghosted"}
    answers = together([done, partial(act, bench, number, "pieces", body)] * 6)
    assert {answer.status_code for answer in answers} == {201, 409}
    count = shown(bench, number)["pieces"]["S"]
    assert count["good"] + count["spoiled"] == count["started"]
    assert count["good"] <= count["wanted"]


def test_of_two_acts_with_one_etag_one_is_told(standing_shop: ShopDoor, bench: Caller) -> None:
    """A mover and someone who enters pieces saw the same ticket: one does it, one is told."""
    _, number = begun(standing_shop.storefront, bench, S=1)
    tag = bench.get(f"/v1/tickets/{number}").headers["etag"]
    body = {"kind": "done", "size": "S"}
    answers = together(
        [
            partial(act, bench, number, "pieces", body, if_match=tag),
            partial(bench.move, number, "halt", if_match=tag),
        ]
    )
    assert sorted(answer.status_code for answer in answers) == [201, 412]


def test_spoiled_beyond_the_spares_is_told_and_made_anew(shop: ShopDoor) -> None:
    """The customer's side hears of it once blanks no longer suffice, and of the new ticket."""
    storefront, staff = shop.storefront, shop.staff
    order_id, number = begun(storefront, staff, S=2, M=3)
    original = shown(staff, number)
    spares = {size: c["started"] - c["wanted"] for size, c in original["pieces"].items()}
    for size, count in spares.items():
        if count:
            spoil(staff, number, size, count)
    assert told(shop, order_id, "ticket.short") == []
    conflict(act(staff, number, "remakes", {}), "nothing-to-remake")
    spoil(staff, number, "M", 2)
    assert spoil(staff, number, "S")["pieces"]["S"]["to_remake"] == 1
    assert [one["to_remake"] for one in told(shop, order_id, "ticket.short")] == [
        {"M": 2},
        {"S": 1, "M": 2},
    ]
    booked = shop.booked_s()
    answer = act(staff, number, "remakes", {"note": "platen too hot"})
    remake = answered(answer, 201)
    made = remake["ticket"]
    assert answer.headers["location"] == f"/v1/tickets/{made['number']}"
    assert answer.headers["etag"] == '"1"'
    assert shown(staff, made["number"]) == made
    assert (made["remake_of"], made["state"], made["line"]) == (number, "waiting", 0)
    assert {size: count["wanted"] for size, count in made["pieces"].items()} == {"S": 1, "M": 2}
    after = shown(staff, number)
    assert after["remakes"] == [made["number"]]
    assert {size: count["moved"] for size, count in after["pieces"].items()} == {"S": 1, "M": 2}
    assert all(count["to_remake"] == 0 for count in after["pieces"].values())
    (told_of,) = told(shop, order_id, "ticket.remade")
    assert (told_of["ticket"], told_of["remake_of"]) == (made["number"], number)
    rows = {row.id: row.number for row in shop.rows(Ticket)}
    taken: Counter[tuple[str, str]] = Counter()
    for booking in shop.rows(Booking):
        if rows[booking.ticket_id] == made["number"]:
            taken[booking.station, booking.day.isoformat()] += booking.seconds
    assert taken
    assert shop.booked_s() == dict(Counter(booked) + taken)


def test_a_remake_is_the_same_work(asking: Caller, bench: Caller) -> None:
    """Step for step the same settings; only counts and lengths are new, and the gathering's words.

    For all pieces of a line the remake's lengths are the very ones of a ticket of that many.
    """
    glitter = decoration(method="dye-on-glitter-film")
    _, number = begun(asking, bench, glitter, M=9)
    started = shown(bench, number)["pieces"]["M"]["started"]
    spoil(bench, number, "M", started)
    made = answered(act(bench, number, "remakes", {}), 201)["ticket"]["document"]
    first = shown(bench, number)["document"]
    assert made == first
    order = asking.order(line(glitter, sizes={"M": 4}))
    plain = shown(bench, order["tickets"][0]["number"])["document"]
    _, other = begun(asking, bench, glitter, M=9)
    enter(bench, other, "done", "M", 5)
    spoil(bench, other, "M", started - 5)
    fewer = answered(act(bench, other, "remakes", {}), 201)["ticket"]["document"]
    assert fewer == plain


def test_an_order_waits_for_its_remake(standing_shop: ShopDoor, bench: Caller) -> None:
    """The original is finished with what is good; the order is ready when the remake is too."""
    storefront = standing_shop.storefront
    order_id, number = begun(storefront, bench, S=1)
    spoil(bench, number, "S")
    made = answered(act(bench, number, "remakes", {}), 201)["ticket"]["number"]
    bench.moves(number, "finish", "check")
    assert answered(storefront.get(f"/v1/orders/{order_id}"), 200)["state"] == "in_work"
    refused(bench.move(made, "cancel"), 409, "move-not-legal")
    go(bench, made, "start", "finish", "check")
    order = answered(storefront.get(f"/v1/orders/{order_id}"), 200)
    assert order["state"] == "ready"
    assert {one["number"] for one in order["tickets"]} == {number, made}
    assert standing_shop.events(order_id)[-1][1] == "order.ready"


def test_a_remake_of_a_remake(asking: Caller, bench: Caller) -> None:
    """Bad luck twice: each ticket names the one before, and numbers stay apart."""
    _, number = begun(asking, bench, S=1)
    chain = [number]
    for _ in range(3):
        spoil(bench, chain[-1], "S", shown(bench, chain[-1])["pieces"]["S"]["started"])
        made = answered(act(bench, chain[-1], "remakes", {}), 201)["ticket"]
        assert made["remake_of"] == chain[-1]
        chain.append(made["number"])
        bench.moves(chain[-1], "start")
    assert len(set(chain)) == 4
    assert [shown(bench, one)["remakes"] for one in chain] == [[two] for two in chain[1:]] + [[]]


def test_a_late_remake_says_so(shop: ShopDoor, clock: FakeClock) -> None:
    """Opened on the promised day it cannot be done by then: the answer and an event say so.

    The order stays promised for the day that it was, for that is what the customer was told.
    """
    order = shop.storefront.order(line(sizes={"S": 1}))
    number = order["tickets"][0]["number"]
    clock.advance(days=(date.fromisoformat(order["promised_day"]) - clock().date()).days)
    shop.staff.moves(number, "start")
    spoil(shop.staff, number, "S")
    remake = answered(act(shop.staff, number, "remakes", {}), 201)
    assert remake["late"] is True
    assert remake["done_day"] > remake["promised_day"] == order["promised_day"]
    (late,) = told(shop, order["id"], "order.late")
    assert (late["promised_day"], late["expected_day"]) == (
        order["promised_day"],
        remake["done_day"],
    )
    assert remake["ticket"]["promised_day"] == order["promised_day"]


def test_a_remake_in_time_is_no_news_of_the_day(shop: ShopDoor) -> None:
    """Opened at once, with no more lead than the order had, it is done by the promised day."""
    order_id, number = begun(shop.storefront, shop.staff, S=1)
    spoil(shop.staff, number, "S")
    remake = answered(act(shop.staff, number, "remakes", {}), 201)
    assert (remake["late"], told(shop, order_id, "order.late")) == (False, [])
    assert remake["done_day"] <= remake["promised_day"]


def test_garments_of_the_customers_own_have_no_spares(asking: Caller, bench: Caller) -> None:
    """The first spoiled one is missing already; its remake waits for what the customer brings."""
    order = asking.order(supplied_line(sizes={"M": 2}))
    number = order["tickets"][0]["number"]
    bench.moves(number, "start")
    assert spoil(bench, number, "M")["pieces"]["M"]["to_remake"] == 1
    document = answered(act(bench, number, "remakes", {}), 201)["ticket"]["document"]
    assert document["starts_by_size"] == document["pieces_by_size"] == {"M": 1}
    assert "what the customer brought" in document["steps"][0]["words"]


def test_remakes_opened_at_once(standing_shop: ShopDoor, bench: Caller) -> None:
    """Of eight who open the same remake one does; of different tickets all get their numbers."""
    storefront = standing_shop.storefront
    numbers = [begun(storefront, bench, S=1)[1] for _ in range(3)]
    for number in numbers:
        spoil(bench, number, "S")
    calls: list[Any] = [partial(act, bench, number, "remakes", {}) for number in numbers * 3]
    answers = together([*calls, partial(storefront.order, line(sizes={"S": 1}))])[:-1]
    assert Counter(answer.status_code for answer in answers) == {201: 3, 409: 6}
    made = {a.json()["ticket"]["number"] for a in answers if a.status_code == 201}
    assert len(made) == 3
    all_numbers = [row.number for row in standing_shop.rows(Ticket)]
    assert len(all_numbers) == len(set(all_numbers))


def test_nothing_entered_is_ever_deleted(standing_shop: ShopDoor, bench: Caller) -> None:
    """Taking back adds rows: entries, ticks and notes only grow."""
    _, number = begun(standing_shop.storefront, bench, S=2)
    step = shown(bench, number)["document"]["steps"][0]["key"]
    tables = (TicketPiece, TicketTick, TicketNote)

    def rows() -> list[set[int]]:
        return [{row.id for row in standing_shop.rows(table)} for table in tables]

    before = rows()
    for _ in range(2):
        enter(bench, number, "done", "S")
        enter(bench, number, "undone", "S", undoes="done")
        ticked(bench, number, step)
        ticked(bench, number, step, done=False)
        answered(act(bench, number, "notes", {"text": "again"}), 201)
    for earlier, later, grown in zip(before, rows(), (4, 4, 2), strict=True):
        assert earlier <= later
        assert len(later - earlier) == grown


def test_a_whole_life_of_entries(asking: Caller, bench: Caller) -> None:
    """A checked ticket goes back, a piece is found bad and made anew from a spare."""
    _, number = begun(asking, bench, S=2)
    all_good(bench, number)
    bench.moves(number, "finish", "check", "redo")
    enter(bench, number, "undone", "S", undoes="done")
    ticket = spoil(bench, number, "S")
    assert ticket["legal_moves"] == ["put_back", "halt"]
    assert ticket["pieces"]["S"]["to_remake"] == 0
    go(bench, number, "finish", "check", "send")
