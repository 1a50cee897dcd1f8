"""What waits at the bench, and what to fetch for a day, over HTTP."""

from __future__ import annotations

from datetime import date, timedelta

from tests.web.shop.bench import go, ticked
from tests.web.shop.door import ShopDoor, answered, line, only_error, refused


def test_a_day_is_picked_for_what_is_not_begun(shop: ShopDoor) -> None:
    """Waiting tickets up to the day are summed; started, put back, halted and later ones not."""
    storefront, staff = shop.storefront, shop.staff
    numbers = [
        storefront.order(line(sizes={"S": 1, "M": 2}))["tickets"][0]["number"] for _ in range(5)
    ]
    for number, moves in zip(
        numbers, [(), (), ("start",), ("start", "put_back"), ("halt",)], strict=True
    ):
        go(staff, number, *moves)
    tickets = [answered(staff.get(f"/v1/tickets/{number}"), 200) for number in numbers[:2]]
    day = tickets[0]["promised_day"]
    found = answered(staff.get(f"/v1/picking-list?day={day}"), 200)
    (blank,) = found["blanks"]
    assert blank["tickets"] == numbers[:2]
    for size, count in blank["by_size"].items():
        assert count == sum(one["document"]["starts_by_size"][size] for one in tickets)
    for medium in found["media"]:
        lengths = [
            material["length_mm"]
            for one in tickets
            for material in one["document"]["materials"]
            if material["medium"] == medium["medium"]
        ]
        assert medium["length_mm"] == sum(lengths)
    before = date.fromisoformat(day) - timedelta(days=1)
    assert answered(staff.get(f"/v1/picking-list?day={before}"), 200) == {"blanks": [], "media": []}
    later = date.fromisoformat(day) + timedelta(days=30)
    assert answered(staff.get(f"/v1/picking-list?day={later}"), 200) == found


def test_a_day_must_be_told(shop: ShopDoor) -> None:
    """Without a day, with two, or with what is none, the parameter is named."""
    for query in ("", "?day=tomorrow", "?day=2026-03-02&day=2026-03-03"):
        problem = refused(shop.staff.get(f"/v1/picking-list{query}"), 422, "fields-refused")
        assert only_error(problem)["parameter"] == "day"


def test_the_queue_by_station(shop: ShopDoor) -> None:
    """A ticket is found at the station of its next step, and stations are counted."""
    storefront, staff = shop.storefront, shop.staff
    number = storefront.order(line(sizes={"S": 1}))["tickets"][0]["number"]
    staff.moves(number, "start")
    waiting = storefront.order(line(sizes={"S": 1}))["tickets"][0]["number"]
    steps = answered(staff.get(f"/v1/tickets/{number}"), 200)["document"]["steps"]
    first = steps[0]["station"]
    index = next(i for i, step in enumerate(steps) if step["station"] != first)
    for step in steps[:index]:
        ticked(staff, number, step["key"])
    other = steps[index]["station"]
    for station, found in ((first, [waiting]), (other, [number])):
        page = answered(staff.get(f"/v1/tickets?station={station}&sort=urgency"), 200)
        assert [ticket["number"] for ticket in page["tickets"]] == found
        assert page["stations"] == {first: 1, other: 1}
    page = answered(staff.get("/v1/tickets?state=on_bench"), 200)
    assert page["stations"] == {other: 1}
    refused(staff.get("/v1/tickets?sort=size"), 422, "fields-refused")
    refused(staff.get("/v1/tickets?station=a&station=b"), 422, "fields-refused")
