"""The schedule over HTTP: load by station and day, exceptions, and what has lost its room."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from defusedxml.ElementTree import fromstring
from sqlalchemy.event import listen, remove
from sqlmodel import Session

from service.domain.shop import StationException
from service.domain.station_load import span
from tests.conftest import FakeClock
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import (
    ON_ONE_STORE,
    Caller,
    Json,
    ShopDoor,
    answered,
    line,
    only_error,
    refused,
)


def _schedule(staff: Caller, query: str = "") -> Json:
    return answered(staff.get(f"/v1/schedule{query}"), 200)


def _of(schedule: Json, day: str, station: str) -> Json:
    (found,) = [one for one in schedule["days"] if one["day"] == day]
    (load,) = [one for one in found["stations"] if one["station"] == station]
    loaded: Json = load
    return loaded


def _at(booked_s: dict[tuple[str, str], int], station: str) -> int:
    """Seconds booked at a station on all days."""
    return sum(seconds for (name, _), seconds in booked_s.items() if name == station)


def _pressing_day(shop: ShopDoor) -> str:
    """The one day on which anything is pressed."""
    (day,) = [day for station, day in shop.booked_s() if station == "pressing"]
    return day


def _excepted(shop: ShopDoor, station: str, day: str, minutes: int) -> None:
    """Put a catalogue in force in which a station works other minutes on a day."""
    exception = StationException(
        station=station, day=date.fromisoformat(day), minutes=minutes, why="heating plate broken"
    )
    calendar = demo_catalogue().catalogue.calendar
    changed = calendar.model_copy(update={"station_days": (exception,)})
    put_in_force(shop, changed_catalogue(calendar=changed))


def test_what_is_booked_stands_in_the_schedule(shop: ShopDoor) -> None:
    """Minutes by station and day are those of the rows; due tickets are named on their day."""
    orders = [shop.storefront.order(line()) for _ in range(2)]
    day = orders[0]["promised_day"]
    schedule = _schedule(shop.staff)
    assert schedule["time_zone"] == "Europe/Berlin"
    assert [one["day"] for one in schedule["days"]] == [
        (date(2026, 3, 2) + timedelta(days=n)).isoformat() for n in range(14)
    ]
    booked = shop.booked_s()
    for one in schedule["days"]:
        for load in one["stations"]:
            seconds = booked.pop((load["station"], one["day"]), 0)
            assert load["booked_min"] == -(-seconds // 60)
            assert load["over_capacity_min"] == 0
            assert load["at_risk"] == []
    assert not booked
    (due,) = [one["due_tickets"] for one in schedule["days"] if one["day"] == day]
    assert due == ["T000001", "T000002"]
    pressed = _pressing_day(shop)
    press = _of(schedule, pressed, "pressing")
    assert (press["capacity_min"], press["exception"], press["tickets"]) == (420, None, 2)
    assert press["free_min"] == 420 - press["booked_min"]
    assert press["due_tickets"] == (due if pressed == day else [])
    assert press["done_at"] > f"{pressed}T07:00:00.000Z"
    assert [one["closed"] for one in schedule["days"][4:7]] == [None] + ["no working weekday"] * 2
    shop.staff.moves("T000002", "start")
    assert _of(_schedule(shop.staff), pressed, "pressing")["tickets"] == 2
    answered(shop.storefront.post(f"/v1/orders/{orders[0]['id']}/cancel"), 200)
    assert _of(_schedule(shop.staff), pressed, "pressing")["tickets"] == 1


def test_capacity_lowered_under_orders_is_taken_and_flagged(shop: ShopDoor) -> None:
    """A press down on a booked day: the order stands, is at risk, and nobody is promised that day.

    A station whose day is lowered is full. What is booked there is never dropped: whoever writes
    next moves it on to where there is room.
    """
    first = shop.storefront.order(line())
    day, booked = _pressing_day(shop), shop.booked_s()
    _excepted(shop, "pressing", day, 20)
    schedule = _schedule(shop.staff, f"?from={day}&days=1")
    press = _of(schedule, day, "pressing")
    over = press["booked_min"] - 20
    assert over > 0
    assert (press["capacity_min"], press["over_capacity_min"], press["free_min"]) == (20, over, 0)
    assert press["exception"] == {"usual_min": 420, "why": "heating plate broken"}
    assert press["at_risk"] == ["T000001"]
    assert schedule["orders_at_risk"] == [
        {
            "order_id": first["id"],
            "promised_day": first["promised_day"],
            "tickets": ["T000001"],
        }
    ]
    assert shop.booked_s() == booked
    order = answered(shop.storefront.get(f"/v1/orders/{first['id']}"), 200)
    assert order["promised_day"] == first["promised_day"]
    shop.storefront.quote(line())
    after = shop.booked_s()
    assert after.get(("pressing", day), 0) <= 20 * 60
    assert _at(after, "pressing") == _at(booked, "pressing")
    assert _of(_schedule(shop.staff, f"?from={day}&days=1"), day, "pressing")["at_risk"] == []


def test_a_quote_from_before_a_machine_went_down_is_not_accepted_on_it(shop: ShopDoor) -> None:
    """The press is down from the day pressed on to the promised one: nothing is accepted there."""
    shop.storefront.order(line())
    quote = shop.storefront.quote(line())
    first, day = _pressing_day(shop), quote["promise"]["day"]
    rows = tuple(
        StationException(station="pressing", day=each, minutes=0, why="heating plate broken")
        for each in span(date.fromisoformat(first), 14)
        if each.isoformat() <= day
    )
    calendar = demo_catalogue().catalogue.calendar.model_copy(update={"station_days": rows})
    put_in_force(shop, changed_catalogue(calendar=calendar))
    before, booked_s = shop.row_counts(), sum(shop.booked_s().values())
    problem = refused(
        shop.storefront.accept(quote["id"], "key-of-the-quote"), 409, "promise-slipped"
    )
    assert problem["new_day"] > day
    # The order before it has moved off the press, and nothing else is booked.
    assert shop.booked_s().get(("pressing", first), 0) == 0
    assert sum(shop.booked_s().values()) == booked_s
    assert shop.row_counts()["ticket"] == before["ticket"]


def test_more_minutes_are_room_for_more(shop: ShopDoor) -> None:
    """An exception may be longer than usual, and what it adds can be promised."""
    day = shop.storefront.quote(line())["promise"]["day"]
    _excepted(shop, "pressing", day, 600)
    assert _of(_schedule(shop.staff, f"?from={day}"), day, "pressing")["free_min"] == 600


def test_of_today_only_what_is_left_is_free(shop: ShopDoor, clock: FakeClock) -> None:
    """At 09:00 UTC two of seven hours are gone in Berlin, at 14:30 UTC all of them."""
    today = "2026-03-02"
    assert _of(_schedule(shop.staff), today, "pressing")["free_min"] == 420 - 120
    clock.advance(timedelta(hours=5, minutes=30))
    assert _of(_schedule(shop.staff), today, "pressing")["free_min"] == 0


def test_holidays_are_closed_by_name(bench: Caller) -> None:
    """Good Friday and Easter Monday of 2026 and the demonstration shop's half day."""
    easter = _schedule(bench, "?from=2026-04-03&days=4")["days"]
    assert [one["closed"] for one in easter] == [
        "Good Friday", "no working weekday", "no working weekday", "Easter Monday",
    ]  # fmt: skip
    assert {load["capacity_min"] for one in easter for load in one["stations"]} == {0}
    assert easter[0]["opens_at"] is None
    half = _of(_schedule(bench, "?from=2026-12-23&days=1"), "2026-12-23", "cutting")
    assert half["exception"] == {"usual_min": 420, "why": "half day before the holidays"}
    assert half["capacity_min"] == 210


@ON_ONE_STORE
def test_an_opening_follows_the_clock(bench: Caller) -> None:
    """Eight in Berlin is 07:00 UTC in winter and 06:00 in summer; the clock changes on 29 March."""
    days = _schedule(bench, "?from=2026-03-27&days=4")["days"]
    assert [one["opens_at"] for one in days] == [
        "2026-03-27T07:00:00.000Z", None, None, "2026-03-30T06:00:00.000Z",
    ]  # fmt: skip


@ON_ONE_STORE
def test_the_picture_shows_the_same(bench: Caller) -> None:
    """An SVG document over the same days."""
    answer = bench.get("/v1/schedule.svg?from=2026-12-21&days=3")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("image/svg+xml")
    tree = fromstring(answer.content, forbid_dtd=True)
    texts = {one.text for one in tree.iter("{http://www.w3.org/2000/svg}text")}
    assert {"Mon 21 Dec", "Wed 23 Dec", "0/420", "0/210*"} <= texts


@ON_ONE_STORE
@pytest.mark.parametrize("address", ["/v1/schedule", "/v1/schedule.svg"])
@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("from=2027-02-29", "from"),
        ("from=tomorrow", "from"),
        ("from=1772409600", "from"),
        ("from=2026-03-02T00:00:00Z", "from"),
        ("from=9999-12-31", "from"),
        ("from=0001-01-01", "from"),
        ("days=0", "days"),
        ("days=63", "days"),
        ("days=1.5", "days"),
        ("from=2026-03-02&from=2026-03-03", "from"),
    ],
)
def test_no_such_schedule(bench: Caller, address: str, query: str, parameter: str) -> None:
    """Days that do not exist, too many, or two at once are refused by the parameter's name."""
    problem = refused(bench.get(f"{address}?{query}"), 422, "fields-refused")
    assert only_error(problem)["parameter"] == parameter


@ON_ONE_STORE
def test_leap_day_and_the_last_days_are_shown(bench: Caller) -> None:
    """29 February 2028 is a day like others, and the span may reach beyond the last first day."""
    leap = _schedule(bench, "?from=2028-02-28&days=3")["days"]
    assert [one["day"] for one in leap] == ["2028-02-28", "2028-02-29", "2028-03-01"]
    assert len(_schedule(bench, "?from=2999-12-31&days=62")["days"]) == 62


@ON_ONE_STORE
def test_it_is_read_by_the_range_of_days_alone(standing_shop: ShopDoor) -> None:
    """Every row is found by an index on its day, or by its key: no table is read as a whole."""
    statements: list[tuple[str, Any]] = []

    def note(*given: Any) -> None:
        statements.append((given[2], given[3]))

    def look(session: Session) -> list[str]:
        engine = session.get_bind()
        listen(engine, "before_cursor_execute", note)
        _schedule(standing_shop.staff)
        remove(engine, "before_cursor_execute", note)
        asked = [one for one in statements if "FROM booking" in one[0] or "_day" in one[0]]
        assert len(asked) == 4
        connection = session.connection()
        return [
            str(row[3])
            for statement, values in asked
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
        ]

    plans = standing_shop.read(look)
    assert not [plan for plan in plans if plan.startswith("SCAN")]
    assert any("ix_booking_day_ticket_id" in plan for plan in plans)
    assert any("ix_station_day_day" in plan for plan in plans)
