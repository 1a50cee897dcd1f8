"""Minutes over HTTP: entered at the bench, learnt from the day after, applied when accepted.

That a standard time is an average, of attended minutes at the pieces and without set-up or
interruption: common practice, no source. How it is learnt: ``tests/reference``.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response

from service.domain.standard_minutes import operations_of
from service.intake import catalogues as catalogues_module
from service.intake.catalogues import Catalogues
from service.store.tables import AcceptedStandard, CatalogueVersion, RecordedMinutes
from service.web import catalogue_watch
from tests.conftest import FakeClock
from tests.web.shop.bench import conflict
from tests.web.shop.conftest import changed_catalogue, compiled_once, demo_catalogue, opened_shop
from tests.web.shop.door import (
    ON_ONE_STORE,
    ON_SQLITE,
    Caller,
    Json,
    ShopDoor,
    answered,
    line,
    only_error,
    refused,
    together,
)

METHOD = "printed-film"
PRESS = "d1-6-press"
CHECK = "d1-8-check"
FIELDS = "fields-refused"


@pytest.fixture(autouse=True)
def _compiled_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is put in force is compiled once for both stores."""
    monkeypatch.setattr(catalogues_module, "compile_catalogue", compiled_once)


def begun(shop: ShopDoor) -> str:
    """The ticket of a new order, started."""
    number: str = shop.storefront.order(line())["tickets"][0]["number"]
    shop.staff.moves(number, "start")
    return number


def enter(
    staff: Caller, number: str, minutes: float, step_key: str = PRESS, **more: Any
) -> Response:
    """Send what five pieces took at a step."""
    body = {"step_key": step_key, "minutes": minutes, "pieces": 5, "who": "Ada", **more}
    return staff.post(f"/v1/tickets/{number}/minutes", body)


def shown(caller: Caller, method: str = METHOD) -> dict[str, Json]:
    """The operations of a method by name."""
    page = answered(caller.get("/v1/standard-minutes", params={"method": method}), 200)
    return {one["operation"]: one for one in page["operations"]}


def accept(owner: Caller, *changes: Json) -> Response:
    """Put minutes in force."""
    body = {"changes": [{"method": METHOD, **one} for one in changes], "who": "Grace"}
    return owner.post("/v1/standard-minutes/accept", body)


def proposed(owner: Caller, operation: str) -> Json:
    """The change that is proposed for an operation."""
    return {"operation": operation, **shown(owner)[operation]["proposed"]}


@ON_SQLITE
def test_what_a_ticket_took(shop: ShopDoor, staff: Caller) -> None:
    """Steps with standard minutes are told with what was planned; entries add up beside it."""
    number = begun(shop)
    path = f"/v1/tickets/{number}/minutes"
    before = answered(staff.get(f"/v1/tickets/{number}"), 200)
    steps = {one["step_key"]: one for one in answered(staff.get(path), 200)["steps"]}
    assert steps[PRESS]["standard_each_min"] == "2.5"
    assert steps["pack"]["operation"] == "pack"
    assert "d1-2-dry" not in steps
    assert "gather" not in steps
    assert Decimal(steps["d1-4-weed"]["standard_each_min"]) > Decimal("0.25")
    first = answered(enter(staff, number, 9.5, pieces=3), 201)
    assert (first["minutes"], first["standard_min"], first["operation"]) == ("9.5", "7.5", "press")
    second = answered(enter(staff, number, 90, pieces=2), 201)
    better = answered(enter(staff, number, 9, pieces=2, corrects=second["id"]), 201)
    entries = answered(staff.get(path), 200)["entries"]
    assert [one["corrected_by"] for one in entries] == [None, better["id"], None]
    again = enter(staff, number, 8, corrects=second["id"])
    assert conflict(again, "minutes-corrected")["corrected_by"] == better["id"]
    assert answered(staff.get(f"/v1/tickets/{number}"), 200) == before
    packed = answered(enter(staff, number, 4, "pack"), 201)
    assert (packed["operation"], packed["station"]) == ("pack", "packing")


REFUSED: tuple[tuple[Json, str, str], ...] = (
    ({"minutes": 0}, "minutes", "too-small"),
    ({"minutes": 1_441}, "minutes", "too-large"),
    ({"minutes": 1.234}, "minutes", "too-precise"),
    ({"pieces": 0}, "pieces", "too-small"),
    ({"pieces": 500}, "pieces", "too-large"),
    ({"step_key": "d1-2-dry"}, "step_key", "no-standard"),
    ({"step_key": "gather"}, "step_key", "no-standard"),
    ({"step_key": "d9-9-press"}, "step_key", "unknown-name"),
    ({"corrects": 987_654}, "corrects", "unknown-name"),
)


@ON_SQLITE
def test_entries_that_are_refused(shop: ShopDoor, staff: Caller) -> None:
    """Each names the field and the way out; what was not begun took nothing. Nothing is kept."""
    number = begun(shop)
    for change, field, code in REFUSED:
        error = only_error(refused(enter(staff, number, **{"minutes": 5, **change}), 422, FIELDS))
        assert (error["pointer"], error["code"]) == (f"#/{field}", code)
    waiting = shop.storefront.order(line())["tickets"][0]["number"]
    conflict(enter(staff, waiting, 5), "bench-work-not-legal")
    refused(enter(staff, "T987654", 5), 404, "ticket-not-found")
    refused(staff.get("/v1/tickets/T987654/minutes"), 404, "ticket-not-found")
    assert shop.rows(RecordedMinutes) == []


def test_learnt_shown_and_applied_on_accept(shop: ShopDoor, clock: FakeClock) -> None:
    """Slow jobs teach from the next day on; what the owner names comes in force, and no more.

    Quotes from before keep their version and recompute to the cent; new ones cost more.
    """
    owner, staff = shop.owner, shop.staff
    old = shop.storefront.quote(line())
    numbers = [begun(shop) for _ in range(4)]
    for number in numbers:
        answered(enter(staff, number, 25), 201)
        answered(enter(staff, number, 5, CHECK), 201)
    answered(enter(staff, numbers[0], 900, interrupted=True), 201)
    assert shown(owner)["press"]["learnt"] is None
    clock.advance(days=1)
    operations = shown(owner)
    press = operations["press"]
    learnt = press["learnt"]
    assert (learnt["jobs"], learnt["prior_jobs"], learnt["prior_ratio"]) == (4, 5, 1)
    assert 1 < learnt["ratio"] < 2
    assert learnt["low_ratio"] < learnt["ratio"] < learnt["high_ratio"]
    assert Decimal("2.5") < Decimal(press["proposed"]["each_min"]) < 5
    assert press["change_percent"] == pytest.approx((learnt["ratio"] - 1) * 100, abs=0.1)
    assert operations["peel"]["proposed"] is None
    version = demo_catalogue().version
    wrong = accept(owner, proposed(owner, "check"), {"operation": "press", "each_min": "4.2"})
    (other,) = conflict(wrong, "standard-minutes-changed")["operations"]
    assert other["proposed"] == press["proposed"]
    assert shop.assembly.services.catalogues.current.version == version
    done = answered(accept(owner, proposed(owner, "press")), 201)
    assert [one["operation"] for one in done["changes"]] == ["press"]
    assert done["catalogue_version"] == shop.assembly.services.catalogues.current.version != version
    after = shown(owner)
    assert after["press"]["in_force"] == after["press"]["proposed"] == press["proposed"]
    assert after["press"]["written"]["each_min"] == "2.5"
    assert after["press"]["learnt"] == learnt
    assert after["check"] == operations["check"]
    assert answered(accept(owner, proposed(owner, "press")), 201)["changes"] == []
    audit = answered(staff.get(f"/v1/quotes/{old['id']}/audit"), 200)
    assert (audit["same"], audit["catalogue_version"]) == (True, version)
    new = shop.storefront.quote(line())
    assert new["total"]["amount"] > old["total"]["amount"]
    assert answered(staff.get(f"/v1/quotes/{new['id']}/audit"), 200)["same"]
    back = accept(owner, {"operation": "press", "each_min": "2.5"})
    assert answered(back, 201)["changes"][0]["after"]["each_min"] == "2.5"
    assert shop.storefront.quote(line())["total"] == old["total"]


def test_what_was_accepted_outlives_the_process(shop: ShopDoor, clock: FakeClock) -> None:
    """Every process on the store gets it: at its next start, or when it looks for the newest.

    It ends when the owner writes other minutes in the files, and learning begins anew from there.
    """
    answered(enter(shop.staff, begun(shop), 30), 201)
    here, database = shop.assembly.services.catalogues, shop.assembly.database
    beside = Catalogues(database)
    beside.install(demo_catalogue(), clock())
    clock.advance(days=1)
    wanted = proposed(shop.owner, "press")
    both = together([lambda: accept(shop.owner, wanted)] * 2)
    assert sorted(len(answered(one, 201)["changes"]) for one in both) == [0, 1]
    assert len(shop.rows(AcceptedStandard)) == 1
    assert beside.current.version == demo_catalogue().version
    assert beside.follow()
    assert not beside.follow()
    restarted = Catalogues(database).install(demo_catalogue(), clock())
    assert restarted.version == beside.current.version == here.current.version
    assert len(shop.rows(CatalogueVersion)) == 2
    methods = tuple(
        method.model_copy(
            update={
                "operations": tuple(
                    one.operation.model_copy(update={"each_min": Decimal(3)})
                    if one.name == (METHOD, "press")
                    else one.operation
                    for one in operations_of(method)
                )
            }
        )
        for method in demo_catalogue().catalogue.methods
    )
    edited = changed_catalogue(methods=methods)
    assert Catalogues(database).install(edited, clock()).version == edited.version
    assert here.follow()
    press = shown(shop.owner)["press"]
    assert (press["in_force"]["each_min"], press["learnt"]) == ("3", None)


@ON_SQLITE
def test_weeding_is_learnt_beside_its_estimate(shop: ShopDoor, clock: FakeClock) -> None:
    """Minutes of a piece and the share of its estimated weeding change alike."""
    number = begun(shop)
    steps = answered(shop.staff.get(f"/v1/tickets/{number}/minutes"), 200)["steps"]
    (weed,) = [one for one in steps if one["operation"] == "weed"]
    taken = round(10 * float(weed["standard_each_min"]), 2)
    answered(enter(shop.staff, number, taken, weed["step_key"]), 201)
    clock.advance(days=1)
    found = shown(shop.owner)["weed"]
    ratio = found["learnt"]["ratio"]
    assert ratio > 1.05
    assert float(found["proposed"]["each_min"]) == pytest.approx(0.25 * ratio, abs=1e-3)
    assert float(found["proposed"]["weed_share"]) == pytest.approx(ratio, abs=1e-3)
    half = accept(shop.owner, {"operation": "weed", "each_min": "0.25", "weed_share": 2})
    conflict(half, "standard-minutes-changed")
    answered(accept(shop.owner, {"operation": "weed", **found["proposed"]}), 201)
    assert shown(shop.owner)["weed"]["in_force"] == found["proposed"]


@ON_ONE_STORE
def test_changes_that_name_nothing(standing_shop: ShopDoor) -> None:
    """Unknown methods and operations, and one named twice, are told by their fields."""
    asked = standing_shop.staff.get("/v1/standard-minutes", params={"method": "cut-filn"})
    assert "Did you mean 'cut-film'" in only_error(refused(asked, 422, FIELDS))["detail"]
    twice = {"method": METHOD, "operation": "pack", "each_min": 1}
    body = {
        "changes": [
            {"method": "no-such-method", "operation": "press", "each_min": 1},
            {"method": METHOD, "operation": "press-7", "each_min": 1},
            *[twice] * 2,
        ],
        "who": "Grace",
    }
    answer = standing_shop.owner.post("/v1/standard-minutes/accept", body)
    errors = refused(answer, 422, FIELDS)["errors"]
    assert [(one["pointer"], one["code"]) for one in errors] == [
        ("#/changes/0/method", "unknown-name"),
        ("#/changes/1/operation", "unknown-name"),
        ("#/changes/3/operation", "too-many"),
    ]


@ON_SQLITE
def test_another_process_gets_it_while_it_runs(
    store_url: str,
    tmp_path: Path,
    clock: FakeClock,
    ids: Callable[[str], str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A running application looks for the newest version by itself, also after a failure."""
    monkeypatch.setattr(catalogue_watch, "LOOK_EVERY_S", 0.02)
    with opened_shop(tmp_path, store_url, clock, ids) as shop:
        here = shop.assembly.services.catalogues
        follow, failures = here.follow, iter([RuntimeError("no such luck")])

        def fails_once() -> bool:
            for failure in failures:
                raise failure
            return follow()

        monkeypatch.setattr(here, "follow", fails_once)
        changed = changed_catalogue(methods=demo_catalogue().catalogue.methods[:1])
        Catalogues(shop.assembly.database).install(changed, clock())
        ends = time.monotonic() + 20
        while here.current.version != changed.version and time.monotonic() < ends:
            time.sleep(0.01)
        assert here.current.version == changed.version
