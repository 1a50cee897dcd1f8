"""Any wish made of the shop's own names is refused with reasons or priced, promised and made."""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.domain.fibres import EU_LABEL_NAMES, Fibre
from tests.web.shop.conftest import demo_catalogue
from tests.web.shop.door import ON_ONE_STORE, Json, ShopDoor, answered, decoration, refused

CATALOGUE = demo_catalogue().catalogue
FILM_COLOURS = sorted({colour.id for medium in CATALOGUE.media for colour in medium.colours})
METHODS = ["any", *CATALOGUE.method_by_id]
ANY_WISH = settings(
    max_examples=14,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def decorations(placements: list[str]) -> st.SearchStrategy[list[Json]]:
    """One or two decorations, each at another placement."""
    one = st.fixed_dictionaries(
        {
            "placement": st.sampled_from(placements),
            "artwork_id": st.just(decoration()["artwork_id"]),
            "width_mm": st.floats(1, 600) | st.sampled_from([60, 90, 150, 240, 300]),
            "method": st.sampled_from(METHODS),
            "consents": st.sampled_from([[], ["faded-look"]]),
        },
        optional={"film_colour": st.sampled_from(FILM_COLOURS)},
    )
    return st.lists(one, min_size=1, max_size=2, unique_by=lambda d: str(d["placement"]))


@st.composite
def stocked_lines(draw: st.DrawFn) -> Json:
    """A line of a blank in stock."""
    blank = draw(st.sampled_from(CATALOGUE.blanks))
    sizes = st.sampled_from([size.size for size in blank.sizes])
    return {
        "blank": blank.id,
        "colour": draw(st.sampled_from([colour.id for colour in blank.colours])),
        "sizes": draw(st.dictionaries(sizes, st.integers(1, 40), min_size=1, max_size=3)),
        "decorations": draw(decorations([placement.id for placement in blank.placements])),
    }


@st.composite
def supplied_lines(draw: st.DrawFn) -> Json:
    """A line of a garment that the customer brings."""
    named = [EU_LABEL_NAMES[fibre][0] for fibre in Fibre if fibre in EU_LABEL_NAMES]
    first, second = draw(st.lists(st.sampled_from(named), min_size=2, max_size=2, unique=True))
    share = draw(st.integers(50, 100))
    content = [{"fibre": first, "percent": share}, {"fibre": second, "percent": 100 - share}]
    garment = {
        "fibre_content": content[: 1 if share == 100 else 2],
        "colour_srgb": draw(st.sampled_from(["#000000", "#ffffff", "#7f7f7f", "#ff0000"])),
        "finish": draw(st.sampled_from(["plain", "water_repellent"])),
        "weight_g_m2": draw(st.floats(30, 1_000)),
        "wearer": draw(st.sampled_from(["adult", "youth", "infant"])),
        "sleepwear": draw(st.booleans()),
        "half_chest_mm": draw(st.floats(100, 1_200)),
    }
    placements = [placement.id for placement in CATALOGUE.policy.supplied_placements]
    return {
        "garment": garment,
        "sizes": draw(st.dictionaries(st.just("M"), st.integers(1, 40), min_size=1)),
        "decorations": draw(decorations(placements)),
    }


def as_offered(asked: Json, alternative: Json) -> Json:
    """The line with its one decoration as an alternative has it."""
    (first,) = asked["decorations"]
    named = ("method", "film_colour", "placement", "width_mm", "consents")
    changed = {name: alternative[name] for name in named}
    garment = {name: alternative[name] for name in ("blank", "colour") if "garment" not in asked}
    sizes = alternative["sizes"]
    return {**asked, **garment, "sizes": sizes, "decorations": [{**first, **changed}]}


@ON_ONE_STORE
@ANY_WISH
@given(asked=stocked_lines() | supplied_lines())
def test_a_wish_is_refused_with_reasons_or_made(standing_shop: ShopDoor, asked: Json) -> None:
    """What works is priced and accepted for its day; what does not says why and what would."""
    storefront = standing_shop.storefront
    body = {"lines": [asked]}
    checked = storefront.post("/v1/checks", body)
    if checked.status_code == 422:
        problem = refused(checked, 422, "fields-refused")
        assert {error["code"] for error in problem["errors"]} <= {"unknown", "fibre-label"}
        return
    verdict = answered(checked, 200)
    quoted = storefront.post("/v1/quotes", body)
    if not verdict["works"]:
        assert refused(quoted, 422, "cannot-be-made")["check"] == verdict
        for found in verdict["lines"][0]["decorations"]:
            assert_reasoned(standing_shop, asked, found)
        return
    quote = answered(quoted, 201)
    order = answered(storefront.accept(quote["id"], f"key-of-{quote['id']}"), 201)
    assert order["promised_day"] == quote["promise"]["day"]
    answered(storefront.post(f"/v1/orders/{order['id']}/cancel"), 200)


def assert_reasoned(shop: ShopDoor, asked: Json, found: Json) -> None:
    """Check that a refusal has a blocking finding, a conflict, and offers only what works."""
    if found["works"]:
        assert found["conflicts"] == found["alternatives"] == []
        return
    for candidate in found["candidates"]:
        assert any(finding["severity"] == "blocks" for finding in candidate["findings"])
    assert bool(found["conflicts"]) is bool(found["alternatives"]) is not found["nothing_works"]
    if len(asked["decorations"]) > 1:
        return
    offers: list[Any] = [as_offered(asked, one) for one in found["alternatives"]]
    for offer, alternative in zip(offers, found["alternatives"], strict=True):
        verdict = answered(shop.storefront.post("/v1/checks", {"lines": [offer]}), 200)
        assert verdict["works"], (alternative["changes"], offer)
