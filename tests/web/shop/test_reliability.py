"""What was promised beside what was done, over HTTP."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlmodel import Session

from service.store.tables import OrderPromise
from tests.conftest import FakeClock
from tests.web.shop.door import ON_ONE_STORE, Caller, Json, ShopDoor, answered, line, refused

PROMISED = date(2026, 3, 11)
"""A Wednesday."""


def _turned_out(shop: ShopDoor, outcomes: list[tuple[int | None, bool]]) -> None:
    """Orders promised for one day, done so many days after it or still open; some cancelled."""
    ids = [shop.storefront.order(line(sizes={"M": 1}))["id"] for _ in outcomes]

    def write(session: Session) -> None:
        for order_id, (after, cancelled) in zip(ids, outcomes, strict=True):
            kept = session.get_one(OrderPromise, order_id)
            kept.promised_day, kept.nominal_day = PROMISED, PROMISED - timedelta(days=1)
            kept.closed = cancelled or after is not None
            if after is not None:
                day = PROMISED + timedelta(days=after)
                kept.done_at = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
            session.add(kept)

    shop.assembly.database.write(write)


def _look(staff: Caller, query: str = "") -> Json:
    return answered(staff.get(f"/v1/schedule/reliability{query}"), 200)


def test_promises_beside_what_became_of_them(shop: ShopDoor, clock: FakeClock) -> None:
    """Two in time, one a day late, one still open after five; a cancelled one counts nowhere."""
    _turned_out(shop, [(-1, False), (0, False), (1, False), (None, False), (None, True)])
    assert _look(shop.staff)["overall"]["orders"] == 0
    clock.set(datetime(2026, 3, 18, 9, tzinfo=UTC))
    found = _look(shop.staff)
    overall = found["overall"]
    assert (overall["orders"], overall["kept"], overall["still_open"]) == (4, 2, 1)
    assert overall["share_kept"] == 0.5
    assert overall["low"] < 0.5 < overall["high"]
    assert (overall["late_days"], overall["late_95_days"]) == ((1 + 5) / 4, 5)
    assert overall["early_days"] == 0.25
    assert overall["pinball_days"] == pytest.approx((0.9 * 6 + 0.1 * 1) / 4)
    assert (found["target_percent"], found["complete"]) == (90, True)
    assert (found["to_day"], found["from_day"]) == ("2026-03-17", "2025-12-18")
    assert [one["method"] for one in found["by_method"]] == ["printed-film"]
    assert [one["rush"] for one in found["by_rush"]] == [False]
    assert sum(one["figures"]["orders"] for one in found["by_load"]) == 4
    assert found["instead"]["plan_only"]["kept"] == 1
    assert found["instead"]["constant_lead"]["days"] == overall["promise_days"]
    assert _look(shop.staff, "?days=6")["overall"]["orders"] == 0
    assert _look(shop.staff, "?days=7")["overall"]["orders"] == 4


@ON_ONE_STORE
@pytest.mark.parametrize("query", ["days=0", "days=732", "days=1.5", "days=x", "days=1&days=2"])
def test_days_that_cannot_be_looked_back_on(bench: Caller, query: str) -> None:
    """Each is a problem that names the parameter."""
    answer = bench.get(f"/v1/schedule/reliability?{query}")
    refused(answer, answer.status_code, answer.json()["type"].rpartition("/")[2])
    assert answer.status_code in {400, 422}


@ON_ONE_STORE
def test_a_shop_without_orders(bench: Caller) -> None:
    """There is nothing to compare, and that is said."""
    overall = _look(bench, "?days=1")["overall"]
    assert (overall["orders"], overall["share_kept"], overall["low"]) == (0, None, None)
