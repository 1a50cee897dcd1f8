"""What a line may hold: many lines and decorations, garments of one's own, any method, consents."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from service.domain.rules import RULES
from service.store.tables import Quote
from tests.web.shop.door import (
    ON_ONE_STORE,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    refused,
    supplied_line,
)


def first_decoration(caller: Caller, asked: Json, explain: str = "findings") -> Json:
    """The verdict on the line's first decoration."""
    body, params = {"lines": [asked]}, {"explain": explain}
    verdict = answered(caller.post("/v1/checks", body, params=params), 200)
    found: Json = verdict["lines"][0]["decorations"][0]
    return found


def rules(found: Json, severity: str) -> set[str]:
    """Rules that say so of any candidate."""
    candidates = found["candidates"]
    return {f["rule"] for one in candidates for f in one["findings"] if f["severity"] == severity}


@ON_ONE_STORE
def test_several_lines_are_several_tickets(asking: Caller, bench: Caller) -> None:
    """Each line has its price and its ticket; the total is the sum of the lines."""
    quote = asking.quote(
        line(),
        line(blank="sport-polyester-tee", colour="white", sizes={"XL": 2}),
        line(sizes={"S": 1}, colour="white"),
    )
    assert quote["total"]["amount"] == sum(one["total"]["amount"] for one in quote["lines"])
    for one in quote["lines"]:
        by_size = one["totals_by_size"].values()
        assert one["total"]["amount"] == sum(money["amount"] for money in by_size)
        for size, count in one["pieces_by_size"].items():
            exact = Decimal(one["unit_prices"][size]["per_piece"]) * count * 100
            # Half a unit of the price's fourth decimal for each piece, one of the rounded split.
            assert abs(one["totals_by_size"][size]["amount"] - exact) <= 1 + count / 200
    order = answered(asking.accept(quote["id"], "key-of-three-lines"), 201)
    assert [(t["line"], t["pieces"]) for t in order["tickets"]] == [(0, 5), (1, 2), (2, 1)]
    numbers = [ticket["number"] for ticket in order["tickets"]]
    first = int(numbers[0][1:])
    assert numbers == [f"T{first + line:06d}" for line in range(3)]
    garments = [
        answered(bench.get(f"/v1/tickets/{number}"), 200)["document"]["garment"]
        for number in numbers
    ]
    assert garments == ["Classic cotton tee", "Sport polyester tee", "Classic cotton tee"]


@ON_ONE_STORE
def test_one_line_that_cannot_be_made_refuses_the_quote(asking: Caller) -> None:
    """Nothing is priced unless every decoration of every line works; the check says which."""
    impossible = line(decoration(), decoration(placement="back", method="dye-transfer"))
    problem = refused(
        asking.post("/v1/quotes", {"lines": [line(), impossible]}), 422, "cannot-be-made"
    )
    works = [[d["works"] for d in one["decorations"]] for one in problem["check"]["lines"]]
    assert works == [[True], [True, False]]


@ON_ONE_STORE
def test_several_decorations_are_one_ticket(asking: Caller, bench: Caller) -> None:
    """Front and left chest by two methods: one garment, one ticket, gathered and packed once."""
    decorations = (
        decoration(),
        decoration(placement="back", width_mm=200, method="dye-on-glitter-film"),
    )
    (ticket,) = asking.order(line(*decorations))["tickets"]
    document = answered(bench.get(f"/v1/tickets/{ticket['number']}"), 200)["document"]
    placements = [one["placement"] for one in document["decorations"]]
    assert placements == ["Full front", "Full back"]
    kinds = [step["kind"] for step in document["steps"]]
    assert (kinds.count("gather"), kinds.count("pack")) == (1, 1)
    assert (kinds[0], kinds[-1]) == ("gather", "pack")
    media = {material["medium"] for material in document["materials"]}
    assert media == {"printable-film", "glitter-film", "dye-paper"}


@ON_ONE_STORE
def test_any_method_chooses_one_that_works(asking: Caller) -> None:
    """Method "any" tries every method, and the quote and ticket name the one that was chosen."""
    asked = line({k: v for k, v in decoration().items() if k != "method"})
    found = first_decoration(asking, asked)
    methods = {method["id"] for method in asking.get("/v1/catalogue").json()["methods"]}
    assert {one["method"] for one in found["candidates"]} == methods
    working = {one["method"] for one in found["candidates"] if one["works"]}
    assert found["method"] in working
    assert "dye-transfer" not in working
    quote = asking.quote(asked)
    assert quote["lines"][0]["methods"] == {"front": found["method"]}
    assert asking.quote(line(decoration(method="any")))["total"] == quote["total"]


@ON_ONE_STORE
def test_a_consent_lets_a_faded_look_through(asking: Caller) -> None:
    """Dye on half polyester looks faded: refused, unless the customer knowingly accepts it.

    That dye fades with the polyester share is common practice, no source.
    """
    faded = {"blank": "half-blend-tee", "colour": "white"}
    refusal = first_decoration(asking, line(decoration(method="dye-transfer"), **faded))
    assert refusal["works"] is False
    assert [sorted(conflict["choices"]) for conflict in refusal["conflicts"]] == [
        ["blank", "consents", "method"]
    ]
    ways_out = {(*one["changes"], *one["consents"]) for one in refusal["alternatives"]}
    assert ("consents", "faded-look") in ways_out
    willing = line(decoration(method="dye-transfer", consents=["faded-look"]), **faded)
    accepted = first_decoration(asking, willing)
    assert accepted["works"] is True
    assert "dye-fibre-share" in rules(accepted, "warns")
    quote = asking.quote(willing)
    assert "dye-fibre-share" in {one["rule"] for one in quote["lines"][0]["findings"]}


@ON_ONE_STORE
def test_a_film_colour_the_film_is_not_stocked_in(asking: Caller) -> None:
    """It is refused with the colours there are, and a way out gives the colour up or keeps it."""
    found = first_decoration(
        asking, line(decoration(method="printed-film", film_colour="marigold"))
    )
    assert found["works"] is False
    assert rules(found, "blocks") >= {"film-colour-available"}
    (reason,) = [
        one["reason"]
        for one in found["candidates"][0]["findings"]
        if one["rule"] == "film-colour-available"
    ]
    assert "White" in reason
    assert ["film_colour"] in found["repairs"]
    assert {tuple(one["changes"]) for one in found["alternatives"]} >= {("film_colour",)}


@ON_ONE_STORE
def test_explaining_all_lists_what_passed(asking: Caller) -> None:
    """``explain=all`` adds the rules that passed, with measured value, limit and unit."""
    brief = first_decoration(asking, line())
    full = first_decoration(asking, line(), explain="all")
    assert rules(brief, "passes") == set()
    assert {"placement-area", "platen"} <= {rule.rsplit(":", 1)[0] for rule in passed(full)}
    (candidate,) = full["candidates"]
    spoke = {one["rule"] for one in candidate["findings"]}
    assert spoke.isdisjoint(candidate["not_concerned"])
    assert spoke | set(candidate["not_concerned"]) == {rule.id for rule in RULES}
    for one in full["candidates"][0]["findings"]:
        assert one["reason"]
        assert one["source"]
        assert set(one) >= {"measured", "limit", "unit"}


def passed(found: Json) -> set[str]:
    """Rules that pass."""
    return rules(found, "passes")


@ON_ONE_STORE
def test_a_garment_of_ones_own_runs_the_same_rules(asking: Caller) -> None:
    """A garment described as a stocked blank is gets the findings of that blank.

    Described: the demo shop's black cotton T-shirt, by its fibre, colour, weight and half chest.
    """
    asked = decoration(method="dye-transfer")
    own = first_decoration(
        asking,
        supplied_line(
            asked,
            sizes={"M": 5},
            fibre_content=[{"fibre": "cotton", "percent": 100}],
            colour_srgb="#1c1c1e",
            weight_g_m2=180,
            half_chest_mm=508,
        ),
    )
    stocked = first_decoration(asking, line(asked, sizes={"M": 5}))
    assert own["works"] is stocked["works"] is False
    assert rules(own, "blocks") == rules(stocked, "blocks")
    measured = [
        [(f["rule"], f["measured"], f["limit"]) for f in one["candidates"][0]["findings"]]
        for one in (own, stocked)
    ]
    assert measured[0] == measured[1]
    assert "printed-film" in {one["method"] for one in own["alternatives"]}


@ON_ONE_STORE
def test_a_garment_of_ones_own_costs_no_blank_and_states_the_risk(
    standing_shop: ShopDoor, asking: Caller, bench: Caller
) -> None:
    """No blank or spare blank is charged, the spoilage risk is said, and the bench is told."""
    verdict = answered(asking.post("/v1/checks", {"lines": [supplied_line()]}), 200)
    assert "spoiled" in verdict["lines"][0]["risk"]
    quote = asking.quote(supplied_line())
    assert "spoiled" in quote["lines"][0]["risk"]
    assert quote["lines"][0]["garment"] == "supplied"
    row = standing_shop.read(lambda session: session.get_one(Quote, quote["id"]))
    assert '"part":"labour"' in row.cost_json
    assert '"part":"blank"' not in row.cost_json
    assert '"part":"spoilage"' not in row.cost_json
    stocked = asking.quote(
        line(
            decoration(method="dye-transfer"),
            blank="sport-polyester-tee",
            colour="white",
            sizes={"M": 5},
        )
    )
    assert quote["total"]["amount"] < stocked["total"]["amount"]
    assert stocked["lines"][0]["risk"] == ""
    order = answered(asking.accept(quote["id"], "key-of-own-garment"), 201)
    number = order["tickets"][0]["number"]
    document = answered(bench.get(f"/v1/tickets/{number}"), 200)["document"]
    assert document["supplied_by_customer"] is True
    assert document["pick_location"] == ""


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("fibres", "where", "why", "way_out"),
    [
        # Regulation (EU) No 1007/2011, Article 5 and Annex I: the names are a closed list.
        ([("polyestre", 100)], "/0", "No 1007/2011, Article 5", "Write 'polyester'."),
        # Article 9(1): in descending order.
        ([("polyester", 40), ("cotton", 60)], "/1", "Article 9(1)", "Write '60 % cotton, 40"),
        # No article asks for it outright; the fault says that it is a choice.
        ([("cotton", 60), ("polyester", 39)], "", "sum to 99, not to 100", ""),
        ([("cotton", 60), ("polyester", 41)], "", "sum to 101, not to 100", ""),
        ([("cotton", 50), ("cotton", 50)], "/1", "stands before it", "State each fibre once"),
    ],
)
def test_faults_of_a_label_name_the_article(
    asking: Caller, fibres: list[tuple[str, Any]], where: str, why: str, way_out: str
) -> None:
    """A fibre content that no label may state is refused, with the rule and the way out."""
    content = [{"fibre": name, "percent": percent} for name, percent in fibres]
    response = asking.post("/v1/checks", {"lines": [supplied_line(fibre_content=content)]})
    problem = refused(response, 422, "fields-refused")
    place = f"#/lines/0/garment/fibre_content{where}"
    details = [one["detail"] for one in problem["errors"] if one["pointer"] == place]
    assert any(why in detail and way_out in detail for detail in details), problem["errors"]


@ON_ONE_STORE
@pytest.mark.parametrize("percent", [33.333, "33.333"])
def test_shares_with_decimals_add_up(asking: Caller, percent: float | str) -> None:
    """Three decimals are kept exactly, whether they come as number or as text."""
    rest = str(Decimal(100) - 2 * Decimal("33.333"))
    content = [
        {"fibre": "polyester", "percent": rest},
        {"fibre": "cotton", "percent": percent},
        {"fibre": "viscose", "percent": percent},
    ]
    body = {"lines": [supplied_line(decoration(), fibre_content=content)]}
    answered(asking.post("/v1/checks", body), 200)


@ON_ONE_STORE
def test_more_than_the_shop_can_make(asking: Caller) -> None:
    """An order within the piece limit that no station can do within the horizon is a 422.

    2000 pieces of two-sided glitter fit; the limit itself is the demo shop's policy.
    """
    too_many = asking.post("/v1/checks", {"lines": [line(sizes={"M": 1_999}), line()]})
    problem = refused(too_many, 422, "fields-refused")
    (error,) = problem["errors"]
    assert error["pointer"] == "#/lines"
    assert "2004" in error["detail"]
    assert "2000" in error["detail"]
