"""A quote is recomputed to the cent from what was stored, and tells nothing of what things cost."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from service.assembly import assemble
from service.domain.money import from_minor
from service.intake.catalogues import Catalogues
from service.intake.priced_lines import PricedLines, PriceInputs, price_lines
from service.intake.requests import QuoteRequest
from service.store.tables import Quote
from service.web.app import create_app
from tests.conftest import FakeClock
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, opened_shop
from tests.web.shop.door import (
    ON_ONE_STORE,
    ON_SQLITE,
    Caller,
    ShopDoor,
    answered,
    decoration,
    line,
    refused,
    supplied_line,
    words_in,
)

WISHES = [
    [line()],
    [line(decoration(method="any"), sizes={"S": 1})],
    [line(sizes={"S": 7, "2XL": 5, "3XL": 1}), line(colour="white", sizes={"M": 99})],
    [line(decoration(), decoration(placement="back", method="dye-on-glitter-film", width_mm=199))],
    [supplied_line()],
    [
        line(
            decoration(method="dye-transfer", consents=["faded-look"]),
            blank="half-blend-tee",
            colour="white",
        )
    ],
]
COST_WORDS = re.compile(
    r"\b(costs?|margin|overhead|mark-?up|labour|wages?|supplier|profit|rate_per|pick_location)\b"
)


def computed_again(shop: ShopDoor, row: Quote) -> PricedLines:
    """The quote priced anew from its row alone, by a reader that knows nothing yet."""
    fresh = Catalogues(shop.assembly.database)
    compiled = shop.read(lambda session: fresh.of_version(session, row.catalogue_version))
    inputs = PriceInputs.from_json(compiled, row.inputs_json)
    assert inputs is not None
    return price_lines(inputs, QuoteRequest.model_validate_json(row.request_json))


def assert_same_cents(shop: ShopDoor, row: Quote) -> None:
    """Check total, lines, unit prices and every cost row against what was stored."""
    again = computed_again(shop, row)
    answer = json.loads(row.answer_json)
    assert again.price.total_minor == row.total_minor == answer["total"]["amount"]
    stored: list[list[dict[str, str]]] = json.loads(row.cost_json)
    for priced, told, rows in zip(again.price.lines, answer["lines"], stored, strict=True):
        assert priced.total_minor == told["total"]["amount"]
        units = {size: price["per_piece"] for size, price in told["unit_prices"].items()}
        assert {size: str(price) for size, price in priced.unit_prices.items()} == units
        totals = {size: money["amount"] for size, money in told["totals_by_size"].items()}
        assert dict(priced.totals_minor) == totals
        assert sum(totals.values()) == priced.total_minor
        assert [(r.label, str(r.part), f"{r.amount:f}") for r in priced.rows] == [
            (r["label"], r["part"], r["amount"]) for r in rows
        ]
    audit = answered(shop.staff.get(f"/v1/quotes/{row.id}/audit"), 200)
    assert (audit["same"], audit["differences"]) == (True, [])
    assert audit["recomputed_total"] == audit["told_total"] == answer["total"]
    assert [line["rows"] for line in audit["lines"]] == stored


@ON_SQLITE
def test_to_the_same_cents(shop: ShopDoor, clock: FakeClock) -> None:
    """Also after the shop has raised its prices, and another quote of the same costs more."""
    before = [shop.storefront.quote(*lines) for lines in WISHES]
    dearer = demo_catalogue().catalogue.prices.model_copy(
        update={"margin_share": Decimal("0.5"), "overhead_share": Decimal("0.9")}
    )
    shop.assembly.services.catalogues.install(changed_catalogue(prices=dearer), clock())
    after = [shop.storefront.quote(*lines) for lines in WISHES]
    for old, new in zip(before, after, strict=True):
        assert new["catalogue_version"] != old["catalogue_version"]
        assert new["total"]["amount"] > old["total"]["amount"]
    for row in shop.rows(Quote):
        assert_same_cents(shop, row)
    order = answered(shop.storefront.accept(before[0]["id"], "key-of-the-old-price"), 201)
    assert order["total"] == before[0]["total"]


def test_a_quote_outlives_its_catalogue_and_its_process(
    store_url: str, tmp_path: Path, clock: FakeClock, ids: Callable[[str], str]
) -> None:
    """A quote of an older catalogue is accepted by a process that never had that catalogue."""
    with opened_shop(tmp_path, store_url, clock, ids) as before:
        quote = before.storefront.quote(line())
        loaded = changed_catalogue(methods=demo_catalogue().catalogue.methods[:1])
        before.assembly.services.catalogues.install(loaded, clock())
        key = before.storefront.key
    assembly = assemble(before.assembly.settings, clock=clock, new_id=ids, install_catalogue=False)
    assembly.services.catalogues.refresh()
    with TestClient(create_app(assembly)) as client:
        storefront = Caller(client, before.storefront.holder, key)
        order = answered(storefront.accept(quote["id"], "key-of-an-old-quote"), 201)
    assembly.close()
    assert order["total"] == quote["total"]
    assert order["promised_day"] == quote["promise"]["day"]


@ON_ONE_STORE
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sizes=st.dictionaries(
        st.sampled_from(["S", "M", "L", "XL", "2XL", "3XL"]), st.integers(1, 60), min_size=1
    ),
    width_mm=st.floats(60, 250).map(lambda width: round(width, 2)),
    method=st.sampled_from(["any", "printed-film", "cut-film", "dye-on-glitter-film"]),
)
def test_rows_sum_to_the_total_for_any_line(
    standing_shop: ShopDoor, sizes: dict[str, int], width_mm: float, method: str
) -> None:
    """Every cost row is quantity times rate, and the rows of a line sum to its price exactly."""
    wish = line(decoration(method=method, width_mm=width_mm), sizes=sizes)
    answer = standing_shop.storefront.post("/v1/quotes", {"lines": [wish]})
    if answer.status_code == 422:
        refused(answer, 422, "cannot-be-made")
        return
    quote = answered(answer, 201)
    row = standing_shop.read(lambda session: session.get(Quote, quote["id"]))
    assert row is not None
    assert_same_cents(standing_shop, row)
    for told, rows in zip(quote["lines"], json.loads(row.cost_json), strict=True):
        amounts = [Decimal(one["amount"]) for one in rows]
        assert sum(amounts) == from_minor(told["total"]["amount"], "EUR")
        for one in rows:
            exact = Decimal(one["quantity"]) * Decimal(one["rate"]) / Decimal(one["rate_per"])
            assert abs(exact - Decimal(one["amount"])) <= Decimal("5e-11")


def test_a_storefront_hears_nothing_of_cost(standing_shop: ShopDoor) -> None:
    """No answer to a storefront speaks of cost, margin, suppliers or where things lie (API3)."""
    caller = standing_shop.storefront
    quote = caller.quote(line(), supplied_line())
    order = answered(caller.accept(quote["id"], f"key-of-{quote['id']}"), 201)
    refusal = line(decoration(method="dye-transfer"))
    told: list[Any] = [
        quote,
        order,
        caller.get("/v1/catalogue").json(),
        caller.get(f"/v1/quotes/{quote['id']}").json(),
        caller.get(f"/v1/orders/{order['id']}").json(),
        caller.get(f"/v1/artworks/{decoration()['artwork_id']}").json(),
        caller.post("/v1/checks", {"lines": [line(), refusal]}, params={"explain": "all"}).json(),
        caller.post("/v1/quotes", {"lines": [refusal]}).json(),
        caller.post("/v1/price-curves", {"line": line(), "quantities": [1, 50]}).json(),
        caller.post("/v1/price-curves", {"line": refusal, "quantities": [1]}).json(),
        caller.post("/v1/price-curves", {"line": line(), "quantities": [0]}).json(),
        caller.get(f"/v1/quotes/{quote['id']}/audit").json(),
        caller.post(f"/v1/orders/{order['id']}/cancel").json(),
    ]
    found = {word for document in told for word in words_in(document) if COST_WORDS.search(word)}
    assert found == set()
    row = standing_shop.read(lambda session: session.get_one(Quote, quote["id"]))
    assert COST_WORDS.search(row.cost_json)
