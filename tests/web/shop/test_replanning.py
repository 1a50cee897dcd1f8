"""Work that was not done, set aside or lost its room: moved on, and told before the day."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

import pytest

from service.domain.shop import StationException
from service.domain.station_load import span
from service.intake.settling import settle_when_due
from service.store.tables import Booking, Event, OrderPromise, SettledDay, StationDay, Ticket
from tests.conftest import FakeClock
from tests.web.shop.bench import act, all_good, enter, go, spoil, ticked
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import Json, ShopDoor, answered, line, together


def _open_s(shop: ShopDoor, number: str) -> Counter[str]:
    """Seconds by station that a ticket has booked and that are not worked."""
    (ticket,) = [row for row in shop.rows(Ticket) if row.number == number]
    found: Counter[str] = Counter()
    for row in shop.rows(Booking):
        if row.ticket_id == ticket.id and not row.worked:
            found[row.station] += row.seconds
    return found


def _days(shop: ShopDoor) -> list[date]:
    """Days on which anything is booked and not worked."""
    return sorted({row.day for row in shop.rows(Booking) if not row.worked})


def _told(shop: ShopDoor, order_id: str) -> list[tuple[str, str, str | None]]:
    """What was told of the order's day: event, expected day, why."""
    rows = sorted(shop.rows(Event), key=lambda row: row.seq)
    data = [(row.type, json.loads(row.payload_json)["data"]) for row in rows]
    return [
        (type_, told["expected_day"], told.get("why"))
        for type_, told in data
        if told["order_id"] == order_id and type_ in {"order.late", "order.on_time_again"}
    ]


def _assert_ledger(shop: ShopDoor) -> None:
    """The ledger's days are the sums of the bookings, squares and rush too."""
    found: dict[tuple[str, date], list[int]] = {}
    for row in shop.rows(Booking):
        day = found.setdefault((row.station, row.day), [0, 0, 0])
        day[0] += row.seconds
        day[1] += row.seconds if row.rush else 0
        day[2] += row.seconds**2
    kept = {
        (row.station, row.day): [row.booked_s, row.rush_s, row.squares_s2]
        for row in shop.rows(StationDay)
        if row.booked_s
    }
    assert kept == found


def _order(shop: ShopDoor, order_id: str) -> Json:
    return answered(shop.storefront.get(f"/v1/orders/{order_id}"), 200)


def _late(shop: ShopDoor) -> list[Json]:
    found: list[Json] = answered(shop.staff.get("/v1/schedule"), 200)["late_orders"]
    return found


def _on(clock: FakeClock, day: date, hour: int = 8) -> None:
    """Go to that hour of a day, UTC."""
    clock.set(datetime(day.year, day.month, day.day, hour, tzinfo=clock().tzinfo))


def _accepted(shop: ShopDoor, **sizes: int) -> tuple[Json, str]:
    order = shop.storefront.order(line(sizes=sizes or {"M": 5}))
    return order, order["tickets"][0]["number"]


def test_what_is_ticked_or_moved_on_gives_its_later_days_back(
    shop: ShopDoor, clock: FakeClock
) -> None:
    """A station's time is worked with its last tick; the rest with the moves that tell of it."""
    _, number = _accepted(shop)
    whole = _open_s(shop, number)
    go(shop.staff, number, "start")
    steps = answered(shop.staff.get(f"/v1/tickets/{number}"), 200)["document"]["steps"]
    at_print = [step["key"] for step in steps if step["station"] == "printing"]
    for key in at_print[:-1]:
        ticked(shop.staff, number, key)
    assert _open_s(shop, number) == whole
    ticked(shop.staff, number, at_print[-1])
    assert set(whole) - set(_open_s(shop, number)) == {"printing"}
    ticked(shop.staff, number, at_print[0], done=False)
    assert "printing" not in _open_s(shop, number)
    go(shop.staff, number, "finish")
    assert set(_open_s(shop, number)) == {"packing"}
    assert {row.day for row in shop.rows(Booking) if row.worked} <= {clock().date()}
    go(shop.staff, number, "check", "send")
    assert not _open_s(shop, number)
    _assert_ledger(shop)


def test_what_was_not_done_is_moved_on_once_a_day(shop: ShopDoor, clock: FakeClock) -> None:
    """The first who writes on a day moves leftovers to it or later; nothing of them is lost.

    A clock that goes back moves nothing.
    """
    order, number = _accepted(shop)
    whole, first = _open_s(shop, number), _days(shop)[0]
    assert order["expected_day"] <= order["promised_day"]
    _on(clock, first + timedelta(days=1))
    assert _days(shop)[0] == first
    shop.storefront.quote(line())
    assert _days(shop)[0] == first + timedelta(days=1)
    assert _open_s(shop, number) == whole
    moved = shop.booked_s()
    shop.storefront.quote(line())
    _on(clock, first - timedelta(days=1))
    shop.storefront.quote(line())
    assert shop.booked_s() == moved
    assert max(row.day for row in shop.rows(SettledDay)) == first + timedelta(days=1)
    assert _told(shop, order["id"]) == []
    _assert_ledger(shop)


def test_many_who_come_first_on_a_day_settle_it_once(shop: ShopDoor, clock: FakeClock) -> None:
    """Quotes, moves and an order at once: leftovers are moved once, and the ledger stays sound."""
    numbers = [_accepted(shop, M=2)[1] for _ in range(3)]
    whole, first = [_open_s(shop, number) for number in numbers], _days(shop)[0]
    waiting = shop.storefront.quote(line(sizes={"M": 1}))
    _on(clock, first + timedelta(days=1), 9)
    calls = [partial(shop.storefront.quote, line()) for _ in range(3)]
    moves = [partial(shop.staff.move, number, "halt") for number in numbers[:1]]
    accept = partial(shop.storefront.accept, waiting["id"], "key-of-the-first-order-of-the-day")
    found: list[Any] = together([*calls, *moves, accept])
    assert found[3].status_code == 201
    assert found[4].status_code in {201, 410}
    assert [_open_s(shop, number) for number in numbers[1:]] == whole[1:]
    assert _days(shop)[0] == first + timedelta(days=1)
    assert [row.day for row in shop.rows(SettledDay)].count(first + timedelta(days=1)) == 1
    answered(shop.staff.move(numbers[0], "resume"), 201)
    assert _open_s(shop, numbers[0]) == whole[0]
    _assert_ledger(shop)


def test_who_will_be_late_is_told_before_the_day_is_over(shop: ShopDoor, clock: FakeClock) -> None:
    """After hours of the promised day what is left is for the next: told then, and taken back.

    Until somebody writes the schedule tells it. The order's entity tag changes with its day.
    """
    order, number = _accepted(shop)
    promised = date.fromisoformat(order["promised_day"])
    tag = shop.storefront.get(f"/v1/orders/{order['id']}").headers["etag"]
    _on(clock, promised, 14)
    go(shop.staff, number, "start")
    assert _late(shop) == []
    shop.storefront.quote(line())
    (told,) = _told(shop, order["id"])
    expected = _order(shop, order["id"])["expected_day"]
    assert told == ("order.late", expected, "not-done")
    assert expected > order["promised_day"]
    assert shop.storefront.get(f"/v1/orders/{order['id']}").headers["etag"] != tag
    assert _late(shop) == [
        {
            "order_id": order["id"],
            "promised_day": order["promised_day"],
            "expected_day": expected,
            "told_day": expected,
            "tickets": [number],
        }
    ]
    ticket = go(shop.staff, number, "finish")
    assert _told(shop, order["id"]) == [told]
    for step in ticket["document"]["steps"]:
        ticked(shop.staff, number, step["key"])
    on_time = ("order.on_time_again", order["promised_day"], None)
    assert _told(shop, order["id"]) == [told, on_time]
    assert _late(shop) == []
    _assert_ledger(shop)


def test_an_order_that_is_done_is_over_and_open_again(shop: ShopDoor, clock: FakeClock) -> None:
    """Ready keeps when it was done, back to the bench opens it, cancelling ends it undone."""

    def kept() -> Any:
        return shop.rows(OrderPromise)[0]

    _, number = _accepted(shop)
    go(shop.staff, number, "start", "finish", "check")
    assert (kept().closed, kept().done_at) == (True, clock())
    go(shop.staff, number, "redo")
    assert (kept().closed, kept().done_at) == (False, None)
    done_at = clock.advance(hours=1)
    go(shop.staff, number, "finish", "check")
    clock.advance(hours=1)
    go(shop.staff, number, "send")
    assert (kept().closed, kept().done_at) == (True, done_at)
    other, _ = _accepted(shop)
    answered(shop.storefront.post(f"/v1/orders/{other['id']}/cancel"), 200)
    (cancelled,) = [row for row in shop.rows(OrderPromise) if row.order_id == other["id"]]
    assert (cancelled.closed, cancelled.done_at) == (True, None)


def test_a_halt_gives_its_time_back_and_resuming_takes_it_from_now(
    shop: ShopDoor, clock: FakeClock
) -> None:
    """Nothing of a halted ticket is booked or lost; halted too long its order is told late."""
    order, number = _accepted(shop)
    whole, promised = _open_s(shop, number), date.fromisoformat(order["promised_day"])
    go(shop.staff, number, "start", "halt")
    assert not _open_s(shop, number)
    assert shop.booked_s() == {}
    assert _order(shop, order["id"])["expected_day"] == order["expected_day"]
    assert _told(shop, order["id"]) == []
    _on(clock, promised, 14)
    shop.storefront.quote(line())
    (told,) = _told(shop, order["id"])
    assert (told[0], told[2]) == ("order.late", "halted")
    assert told[1] > order["promised_day"]
    go(shop.staff, number, "resume")
    assert _open_s(shop, number) == whole
    assert _days(shop)[0] > promised
    assert _told(shop, order["id"]) == [told]
    _assert_ledger(shop)


def test_a_machine_that_goes_down_moves_work_and_is_told_in_time(
    shop: ShopDoor, clock: FakeClock
) -> None:
    """A press down up to the promised day: the order is told late days before it."""
    order, number = _accepted(shop)
    whole, promised = _open_s(shop, number), date.fromisoformat(order["promised_day"])
    rows = tuple(
        StationException(station="pressing", day=day, minutes=0, why="heating plate broken")
        for day in span(clock().date(), (promised - clock().date()).days + 1)
    )
    calendar = demo_catalogue().catalogue.calendar.model_copy(update={"station_days": rows})
    put_in_force(shop, changed_catalogue(calendar=calendar))
    assert settle_when_due(shop.assembly.services)
    assert not settle_when_due(shop.assembly.services)
    assert clock().date() < promised
    (told,) = _told(shop, order["id"])
    assert told == ("order.late", _days(shop)[-1].isoformat(), "capacity")
    assert told[1] > order["promised_day"]
    assert _open_s(shop, number) == whole
    assert answered(shop.staff.get("/v1/schedule"), 200)["orders_at_risk"] == []
    _assert_ledger(shop)


def test_made_but_never_checked_is_late_when_the_day_is_over(
    shop: ShopDoor, clock: FakeClock
) -> None:
    """Nothing is left to book, yet the order is not done: the schedule and an event say so."""
    order, number = _accepted(shop)
    go(shop.staff, number, "start", "finish")
    for step in answered(shop.staff.get(f"/v1/tickets/{number}"), 200)["document"]["steps"]:
        ticked(shop.staff, number, step["key"])
    assert not _open_s(shop, number)
    after = date.fromisoformat(order["promised_day"]) + timedelta(days=1)
    while after.weekday() > 4:
        after += timedelta(days=1)
    _on(clock, after, 9)
    (late,) = _late(shop)
    assert (late["expected_day"], late["told_day"]) == (after.isoformat(), None)
    shop.storefront.quote(line())
    assert _told(shop, order["id"]) == [("order.late", after.isoformat(), "not-done")]
    assert _late(shop)[0]["told_day"] == after.isoformat()


def _watched(shop: ShopDoor, clock: FakeClock, until: datetime) -> None:
    """Look every quarter of an hour, as a running service does every half minute."""
    while clock() < until:
        clock.advance(minutes=15)
        settle_when_due(shop.assembly.services)


def _dispatch(promised: str) -> datetime:
    """When that day's parcels leave: 15:30 in the demo shop, an hour ahead of UTC in winter."""
    return datetime.fromisoformat(f"{promised}T14:30:00+00:00")


@pytest.mark.parametrize("move", ["", "start", "halt"])
def test_who_can_no_longer_be_in_time_is_told_before_the_dispatch(
    shop: ShopDoor, clock: FakeClock, move: str
) -> None:
    """Nobody works on it, or it was begun days ago and lies, or is halted: told once, in time.

    The work is booked anew, so that the day told is not given to others. A clock that goes back
    tells nothing.
    """
    order, number = _accepted(shop)
    whole = _open_s(shop, number)
    if move:
        go(shop.staff, number, move)
    dispatch = _dispatch(order["promised_day"])
    _watched(shop, clock, dispatch - timedelta(hours=3))
    assert _told(shop, order["id"]) == []
    assert not settle_when_due(shop.assembly.services)
    _watched(shop, clock, dispatch)
    (told,) = _told(shop, order["id"])
    expected = _order(shop, order["id"])["expected_day"]
    assert told == ("order.late", expected, "halted" if move == "halt" else "not-done")
    assert expected > order["promised_day"]
    (late,) = _late(shop)
    assert (late["expected_day"], late["told_day"]) == (expected, expected)
    clock.advance(hours=-3)
    _watched(shop, clock, dispatch + timedelta(hours=4))
    assert _told(shop, order["id"]) == [told]
    if move != "halt":
        assert _open_s(shop, number) == whole
        assert _days(shop)[-1].isoformat() == expected
    _assert_ledger(shop)


def test_work_that_goes_on_as_planned_tells_nothing(shop: ShopDoor, clock: FakeClock) -> None:
    """Begun ten minutes before its latest start, which is long past when its pieces are done.

    Nobody ticks a step; it is packed and checked when its minutes say so.
    """
    order, number = _accepted(shop, M=30)
    left_s = _open_s(shop, number)
    row = answered(shop.staff.get("/v1/tickets"), 200)["tickets"][0]
    begin = datetime.fromisoformat(row["latest_start"]) - timedelta(minutes=10)
    _watched(shop, clock, begin - timedelta(minutes=15))
    clock.set(begin)
    go(shop.staff, number, "start")
    made = begin + timedelta(seconds=left_s.total() - left_s["packing"])
    assert made - begin > timedelta(hours=2)
    _watched(shop, clock, made - timedelta(minutes=15))
    clock.set(made)
    go(shop.staff, number, "finish")
    _watched(shop, clock, made + timedelta(seconds=left_s["packing"]))
    go(shop.staff, number, "check")
    _watched(shop, clock, _dispatch(order["promised_day"]) + timedelta(hours=1))
    assert (_told(shop, order["id"]), _late(shop)) == ([], [])


def test_many_who_look_at_once_tell_it_once(shop: ShopDoor, clock: FakeClock) -> None:
    """As several processes do; an order whose ticket is made but not packed is told as well."""
    idle, _ = _accepted(shop)
    made, number = _accepted(shop)
    go(shop.staff, number, "start", "finish")
    clock.set(_dispatch(max(idle["promised_day"], made["promised_day"])))
    together([partial(settle_when_due, shop.assembly.services)] * 4)
    assert [len(_told(shop, one["id"])) for one in (idle, made)] == [1, 1]
    _assert_ledger(shop)


def test_spoiled_pieces_move_the_day_before_anybody_opens_a_remake(
    shop: ShopDoor, clock: FakeClock
) -> None:
    """Told with the entry by which the blanks are too few, and taken back with it.

    A remake that is opened then for the day that was told is no news of it.
    """
    order, number = _accepted(shop)
    _on(clock, date.fromisoformat(order["promised_day"]))
    started = go(shop.staff, number, "start")["pieces"]["M"]["started"]
    spoil(shop.staff, number, "M", started - 5)
    assert _told(shop, order["id"]) == []
    booked = shop.booked_s()
    spoil(shop.staff, number, "M")
    (told,) = _told(shop, order["id"])
    expected = _order(shop, order["id"])["expected_day"]
    assert told == ("order.late", expected, "remake")
    assert _late(shop)[0]["expected_day"] == expected > order["promised_day"]
    assert shop.booked_s() == booked
    spoil(shop.staff, number, "M")
    assert _told(shop, order["id"]) == [told]
    enter(shop.staff, number, "undone", "M", 2, undoes="spoiled", reason="scorched")
    on_time = ("order.on_time_again", order["promised_day"], None)
    assert _told(shop, order["id"]) == [told, on_time]
    spoil(shop.staff, number, "M")
    remake = answered(act(shop.staff, number, "remakes", {}), 201)
    assert _told(shop, order["id"]) == [told, on_time, told]
    assert (remake["late"], remake["done_day"]) == (True, expected)


def test_a_remake_that_nobody_opens_is_told_when_it_is_too_late_for_it(
    shop: ShopDoor, clock: FakeClock
) -> None:
    """Spoiled days before, it could be in time; the morning from which it cannot tells so."""
    order, number = _accepted(shop)
    started = go(shop.staff, number, "start")["pieces"]["M"]["started"]
    spoil(shop.staff, number, "M", started)
    assert (_told(shop, order["id"]), _late(shop)) == ([], [])
    promised = order["promised_day"]
    _watched(shop, clock, _dispatch(promised) - timedelta(hours=8))
    told = _told(shop, order["id"])
    assert told
    assert {(type_, why) for type_, _, why in told} == {("order.late", "remake")}
    assert [day for _, day, _ in told] == sorted({day for _, day, _ in told})
    assert told[0][1] > promised


def test_the_queue_goes_by_slack(shop: ShopDoor, clock: FakeClock) -> None:
    """The order with more work for its day comes first; slack shrinks by the working clock."""
    numbers = [_accepted(shop, M=count)[1] for count in (1, 30)]
    first = answered(shop.staff.get("/v1/tickets?limit=1"), 200)
    rest = answered(shop.staff.get(first["next"]), 200)
    rows = [*first["tickets"], *rest["tickets"]]
    assert sorted(row["number"] for row in rows) == numbers
    assert [row["latest_start"] for row in rows] == sorted(row["latest_start"] for row in rows)
    (row,) = [row for row in rows if row["number"] == numbers[0]]
    clock.advance(hours=2)
    later = answered(shop.staff.get("/v1/tickets"), 200)["tickets"]
    (then,) = [each for each in later if each["number"] == numbers[0]]
    assert row["slack_min"] - then["slack_min"] == 120
    before = then["latest_start"]
    all_good(shop.staff, go(shop.staff, numbers[0], "start")["number"])
    go(shop.staff, numbers[0], "finish")
    listed = answered(shop.staff.get("/v1/tickets?state=made"), 200)["tickets"]
    assert listed[0]["latest_start"] > before
    go(shop.staff, numbers[0], "check", "send")
    sent = answered(shop.staff.get("/v1/tickets?state=sent"), 200)["tickets"]
    assert (sent[0]["slack_min"], sent[0]["latest_start"]) == (None, None)
