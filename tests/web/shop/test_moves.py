"""Moves of tickets by several people at once, and any number of moves one after the other."""

from __future__ import annotations

from collections import Counter
from functools import partial
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.domain.ticket_states import Move, TicketState, order_state
from service.store.tables import Booking, Order, Ticket, TicketMove, TicketPiece
from tests.web.shop.bench import all_good, go
from tests.web.shop.door import ON_ONE_STORE, Caller, ShopDoor, answered, line, refused, together

LEGAL = {
    "waiting": {"start", "halt", "cancel"},
    "on_bench": {"put_back", "finish", "halt"},
    "made": {"check", "redo", "halt"},
    "checked": {"send", "redo", "halt"},
    "sent": set(),
    "cancelled": set(),
}
"""The picture in the bench's words, written here once more; ``halted`` depends on from where, and
``finish`` on all pieces being good."""

WAY_TO = {
    "waiting": (),
    "on_bench": ("start",),
    "made": ("start", "finish"),
    "checked": ("start", "finish", "check"),
    "sent": ("start", "finish", "check", "send"),
    "cancelled": ("cancel",),
}


def one_ticket(storefront: Caller) -> tuple[str, str]:
    """Order id and number of the one ticket of a new order."""
    order = storefront.order(line(sizes={"S": 1}))
    return order["id"], order["tickets"][0]["number"]


def moves_of(bench: Caller, number: str) -> int:
    """How many moves the ticket has made."""
    return len(answered(bench.get(f"/v1/tickets/{number}"), 200)["moves"])


@ON_ONE_STORE
@pytest.mark.parametrize("state", WAY_TO)
def test_an_illegal_move_lists_the_legal_ones(standing_shop: ShopDoor, state: str) -> None:
    """From each state every other move is a 409 with those that are legal; nothing changes."""
    staff = standing_shop.staff
    _, number = one_ticket(standing_shop.storefront)
    go(staff, number, *WAY_TO[state])
    if state == "on_bench":
        all_good(staff, number)
    before = answered(staff.get(f"/v1/tickets/{number}"), 200)
    assert before["state"] == state
    assert set(before["legal_moves"]) == LEGAL[state]
    for move in {move.value for move in Move} - LEGAL[state]:
        problem = refused(staff.move(number, move), 409, "move-not-legal")
        assert set(problem["legal_moves"]) == LEGAL[state]
        assert problem["state"] == state
        assert f"'{move}'" in problem["detail"]
    assert answered(staff.get(f"/v1/tickets/{number}"), 200) == before


def test_of_two_movers_with_one_etag_one_is_told(standing_shop: ShopDoor, bench: Caller) -> None:
    """Two people who saw the same ticket move it at once: one does, one gets 412 and who it was.

    The legal move of the loser would still have been legal: putting back and finishing.
    """
    _, number = one_ticket(standing_shop.storefront)
    tag = bench.move(number, "start").headers["etag"]
    answers = together(
        [
            partial(bench.move, number, "put_back", if_match=tag),
            partial(bench.move, number, "halt", if_match=tag),
        ]
    )
    assert sorted(answer.status_code for answer in answers) == [201, 412]
    (late,) = [answer for answer in answers if answer.status_code == 412]
    assert "Ada made the move" in refused(late, 412, "ticket-changed")["detail"]
    assert moves_of(bench, number) == 2


def test_many_movers_with_one_etag(standing_shop: ShopDoor, bench: Caller) -> None:
    """Of sixteen equal moves with one ETag one is made."""
    _, number = one_ticket(standing_shop.storefront)
    tag = bench.get(f"/v1/tickets/{number}").headers["etag"]
    answers = together([partial(bench.move, number, "start", if_match=tag)] * 16)
    assert Counter(answer.status_code for answer in answers) == {201: 1, 412: 15}
    assert moves_of(bench, number) == 1


def test_a_precondition_goes_before_the_state(standing_shop: ShopDoor) -> None:
    """A stale ETag is a 412 though the move were illegal as well (RFC 9110 section 13.2.2)."""
    bench = standing_shop.staff
    _, number = one_ticket(standing_shop.storefront)
    tag = bench.get(f"/v1/tickets/{number}").headers["etag"]
    answered(bench.move(number, "start", if_match=tag), 201)
    refused(bench.move(number, "send", if_match=tag), 412, "ticket-changed")
    refused(bench.move(number, "send", if_match="*"), 409, "move-not-legal")
    refused(bench.move("T999999", "send", if_match=tag), 404, "ticket-not-found")


@pytest.mark.parametrize("round_", range(3))
def test_moving_and_cancelling_at_once(standing_shop: ShopDoor, bench: Caller, round_: int) -> None:
    """Bench and storefront meet on an order of three tickets: nobody deadlocks, one side wins."""
    storefront = standing_shop.storefront
    order = storefront.order(*[line(sizes={"S": 1})] * 3)
    numbers = [ticket["number"] for ticket in order["tickets"]]
    moves = ["start", "halt", "cancel"]
    calls: list[Any] = [
        partial(bench.move, number, moves[(index + round_) % 3])
        for index, number in enumerate(numbers)
    ]
    cancel = partial(storefront.post, f"/v1/orders/{order['id']}/cancel")
    answers = together([*calls, cancel, *calls, cancel])
    assert {answer.status_code for answer in answers} <= {200, 201, 409}
    assert_sound(standing_shop, order["id"])


def assert_sound(shop: ShopDoor, order_id: str) -> None:
    """Check an order against its tickets, and the rows behind them against each other."""
    (order,) = [order for order in shop.rows(Order) if order.id == order_id]
    tickets = [ticket for ticket in shop.rows(Ticket) if ticket.order_id == order_id]
    assert order.state == order_state(TicketState(ticket.state) for ticket in tickets)
    events = shop.events(order_id)
    assert [sequence for sequence, _ in events] == list(range(1, len(events) + 1))
    assert order.event_sequence == len(events)
    last = events[-1][1]
    assert (order.state == "cancelled") == (last == "order.cancelled")
    assert (order.state == "sent") == (last == "order.sent")
    all_moves = sorted(shop.rows(TicketMove), key=lambda move: int(move.id))
    booked = {booking.ticket_id for booking in shop.rows(Booking) if not booking.worked}
    for ticket in tickets:
        moves = [move for move in all_moves if move.ticket_id == ticket.id]
        states = ["waiting", *(move.to_state for move in moves)]
        assert [move.from_state for move in moves] == states[:-1]
        entries = [entry for entry in shop.rows(TicketPiece) if entry.ticket_id == ticket.id]
        assert (ticket.state, ticket.version) == (states[-1], 1 + len(moves) + len(entries))
        if ticket.state in {"cancelled", "halted", "sent"}:
            assert ticket.id not in booked
        elif ticket.state == "waiting":
            assert ticket.id in booked
        assert ticket.state == "halted" or ticket.aside_json == "[]"


STEP = st.tuples(
    st.integers(0, 2),
    st.integers(0, 11) | st.sampled_from([*(move.value for move in Move), "order", "pieces"]),
)
"""Which ticket, and the number of a move in its list of legal ones, or any move by name."""


@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(walk=st.lists(STEP, min_size=8, max_size=20))
def test_any_walk_keeps_order_and_tickets_in_step(
    standing_shop: ShopDoor, walk: list[tuple[int, int | str]]
) -> None:
    """After any moves, legal or not, and cancellations, the order is what its tickets make it."""
    shop = standing_shop
    order = shop.storefront.order(*[line(sizes={"S": 1})] * 3)
    numbers = [ticket["number"] for ticket in order["tickets"]]
    legal = {number: ["start", "halt", "cancel"] for number in numbers}
    for index, step in walk:
        number = numbers[index]
        if step == "order":
            answer = shop.storefront.post(f"/v1/orders/{order['id']}/cancel")
            assert answer.status_code in {200, 409}
            continue
        if step == "pieces":
            body = {"kind": "done", "size": "S", "who": "Ada"}
            answer = shop.staff.post(f"/v1/tickets/{number}/pieces", body)
            assert answer.status_code in {201, 409}
            legal[number] = answer.json().get("legal_moves", legal[number])
            continue
        moves = legal[number] or ["start"]
        answer = shop.staff.move(
            number, step if isinstance(step, str) else moves[step % len(moves)]
        )
        assert answer.status_code in {201, 409}
        found = answer.json()
        legal[number] = found["legal_moves"]
    assert_sound(shop, order["id"])
