"""Sums of stock that are kept, against all moves and needs summed up.

Whatever the other tests of this folder do is held against them too, by the fixture ``shop``.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from httpx2 import Response
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.web.shop.bench import act, all_good
from tests.web.shop.door import ON_SQLITE, Json, ShopDoor, answered, decoration, line, together
from tests.web.shop.summed import assert_sums_are_those_of_rows

THINGS = (
    {"kind": "blank", "item": "classic-cotton-tee", "colour": "black", "size": "M"},
    {"kind": "medium", "item": "printable-film", "colour": "white"},
)
UNITS = ("pieces", "mm")
WHO = {"who": "Ada"}
POSSIBLE = {200, 201, 409, 422}
"""What a step may be answered: done, or refused by the state of things."""


class _Walker:
    """Someone who does anything in a shop, whether or not it is possible."""

    def __init__(self, shop: ShopDoor) -> None:
        self._shop = shop
        self._orders: list[str] = []
        self._tickets: list[str] = []
        self._deliveries: list[Json] = []

    def go(self, what: str, at: int) -> None:
        """Do it to one of those that there are, told by a number."""
        answer = getattr(self, f"_{what}")(at)
        assert answer is None or answer.status_code in POSSIBLE, answer.text

    def _order(self, at: int) -> None:
        more = [line(decoration(width_mm=90), sizes={"S": 1})] * (at % 2)
        order = self._shop.storefront.order(line(sizes={"M": 1 + at % 3}), *more)
        self._orders.append(order["id"])
        self._tickets += [ticket["number"] for ticket in order["tickets"]]

    def _move(self, at: int) -> Response | None:
        if not self._tickets:
            return None
        number = self._tickets[at % len(self._tickets)]
        legal = self._ticket(number)["legal_moves"]
        return self._shop.staff.move(number, legal[at % len(legal)]) if legal else None

    def _finish(self, at: int) -> Response | None:
        if not self._tickets:
            return None
        number = self._tickets[at % len(self._tickets)]
        self._shop.staff.move(number, "start")
        if self._ticket(number)["state"] != "on_bench":
            return None
        all_good(self._shop.staff, number)
        return self._shop.staff.move(number, "finish")

    def _remake(self, at: int) -> Response | None:
        if not self._tickets:
            return None
        number = self._tickets[at % len(self._tickets)]
        self._shop.staff.move(number, "start")
        for size, count in self._ticket(number)["pieces"].items():
            spoiled = {"kind": "spoiled", "size": size, "reason": "scorched"}
            act(self._shop.staff, number, "pieces", {**spoiled, "count": count["started"]})
        answer = act(self._shop.staff, number, "remakes", {})
        if answer.status_code == 201:
            self._tickets.append(answer.json()["ticket"]["number"])
        return answer

    def _cancel(self, at: int) -> Response | None:
        if not self._orders:
            return None
        path = f"/v1/orders/{self._orders[at % len(self._orders)]}/cancel"
        return self._shop.storefront.post(path)

    def _book(self, at: int) -> Response:
        body = {**THINGS[at % 2], **WHO, "unit": UNITS[at % 2], "quantity": at}
        return self._shop.staff.post(
            "/v1/stock/moves", {**body, "act": ("count", "receive", "waste")[at % 3]}
        )

    def _deliver(self, at: int) -> Response:
        thing = {**THINGS[at % 2], **WHO, "unit": UNITS[at % 2], "quantity": 1 + at}
        if at % 3:
            coming = self._shop.staff.post("/v1/stock/incoming", {**thing, "day": "2026-03-20"})
            self._deliveries.append({**thing, "incoming_id": answered(coming, 201)["id"]})
        body = self._deliveries[at % len(self._deliveries)] if self._deliveries else thing
        return self._shop.staff.post("/v1/stock/moves", {**body, "act": "receive"})

    def _run(self, at: int) -> Response:
        answer = self._shop.staff.post("/v1/runs", WHO)
        runs = answered(self._shop.staff.get("/v1/runs"), 200)["runs"]
        if not runs:
            return answer
        return self._shop.staff.post(f"/v1/runs/{runs[at % len(runs)]['id']}/accept", WHO)

    def _dissolve(self, at: int) -> Response | None:
        asked = {"state": "accepted"}
        runs = answered(self._shop.staff.get("/v1/runs", params=asked), 200)["runs"]
        if not runs:
            return None
        return self._shop.staff.post(f"/v1/runs/{runs[at % len(runs)]['id']}/dissolve", WHO)

    def _ticket(self, number: str) -> Json:
        return answered(self._shop.staff.get(f"/v1/tickets/{number}"), 200)


STEP = st.tuples(
    st.sampled_from(
        [
            *("order", "move", "move", "finish", "remake", "cancel"),
            *("book", "deliver", "run", "dissolve"),
        ]
    ),
    st.integers(0, 11),
)


@settings(max_examples=2, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(walk=st.lists(STEP, min_size=14, max_size=20))
def test_any_walk_leaves_the_sums_what_the_rows_come_to(
    shop: ShopDoor, walk: list[tuple[str, int]]
) -> None:
    """Orders, moves, spoiled pieces, runs, counts, deliveries: after each the sums are right."""
    walker = _Walker(shop)
    for what, at in [("order", 1), ("run", 0), ("order", 0), *walk]:
        walker.go(what, at)
        assert_sums_are_those_of_rows(shop)


@ON_SQLITE
def test_pieces_made_anew_on_another_run_are_not_of_what_a_ticket_needs(shop: ShopDoor) -> None:
    """Its film was needed once; accepting and dissolving the further run changes that no more."""
    number = shop.storefront.order(line(sizes={"M": 3}))["tickets"][0]["number"]

    def accepted() -> str:
        (run,) = answered(shop.staff.post("/v1/runs", WHO), 201)["runs"]
        answered(shop.staff.post(f"/v1/runs/{run['id']}/accept", WHO), 201)
        assert_sums_are_those_of_rows(shop)
        return f"/v1/runs/{run['id']}"

    first = accepted()
    again = {**WHO, "ticket": number, "decoration": 0, "pieces": 1}
    answered(shop.staff.post(f"{first}/reprints", again), 201)
    answered(shop.staff.post(f"{accepted()}/dissolve", WHO), 201)
    assert_sums_are_those_of_rows(shop)


def test_many_at_once_on_the_same_things(shop: ShopDoor) -> None:
    """Orders, starts, a cancelled order, a run, counts and receipts meet; all are done."""
    storefront, staff = shop.storefront, shop.staff
    two = [line(sizes={"M": 2}), line(decoration(width_mm=90), sizes={"L": 2})]
    orders = [storefront.order(*two) for _ in range(3)]
    run = answered(staff.post("/v1/runs", WHO), 201)["runs"][0]
    quotes = [storefront.quote(*two) for _ in range(4)]
    numbers = [ticket["number"] for one in orders[:2] for ticket in one["tickets"]]
    got_in = {**THINGS[0], **WHO, "unit": "pieces", "act": "receive", "quantity": 3}
    calls: list[Callable[[], Any]] = [
        *(partial(staff.move, number, "start") for number in numbers),
        *(partial(storefront.accept, one["id"], f"key-of-{one['id']}") for one in quotes),
        partial(staff.post, f"/v1/runs/{run['id']}/accept", WHO),
        partial(storefront.post, f"/v1/orders/{orders[2]['id']}/cancel"),
        *[partial(staff.post, "/v1/stock/moves", got_in)] * 4,
    ]
    statuses = [answer.status_code for answer in together(calls)]
    assert set(statuses[: len(numbers) + len(quotes)]) == {201}
    assert set(statuses) <= {200, 201, 409}
    assert_sums_are_those_of_rows(shop)
