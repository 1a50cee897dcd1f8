"""Choices for a picker over HTTP: what leads somewhere, what does not and why."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from random import Random
from typing import Any

import pytest

from service.domain.choice_table import ChoiceTable
from tests.conftest import FakeClock
from tests.web.shop.conftest import changed_catalogue, demo_catalogue
from tests.web.shop.door import (
    ON_ONE_STORE,
    ON_SQLITE,
    PUBLIC_URL,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    only_error,
    picture,
    refused,
)

CATALOGUE = demo_catalogue().catalogue
ARTWORK = decoration()["artwork_id"]
ATTRIBUTES = ["blank", "colour", "placement", "method", "film_colour", "size"]
WIDEST_MM = 2_000
DYE_ON_BLACK = {"blank": "classic-cotton-tee", "colour": "black", "method": "dye-transfer"}


def choices(caller: Caller, **selected: Any) -> Json:
    """The answer to a selection, its values by attribute and id under ``values``."""
    answer = answered(caller.get("/v1/choices", params=selected), 200)
    values = {
        one["attribute"]: {value["id"]: value for value in one["values"]}
        for one in answer["attributes"]
    }
    return {**answer, "values": values}


def possible(answer: Json, attribute: str) -> list[str]:
    """Values of the attribute that lead somewhere."""
    return [id_ for id_, value in answer["values"][attribute].items() if value["possible"]]


def blockers(answer: Json, attribute: str, value: str) -> set[str]:
    """Rules that forbid a value, which must be shown as not possible."""
    shown = answer["values"][attribute][value]
    assert not shown["possible"]
    return {one["rule"] for one in shown["blocked_by"]}


def wish(selected: Json) -> Json:
    """The line that a selection comes to once nothing needed is open."""
    names = ("placement", "artwork_id", "width_mm", "method", "film_colour")
    wanted = {name: selected[name] for name in names if name in selected}
    decorated = {**wanted, "consents": selected.get("consent", [])}
    sizes = dict.fromkeys(selected["size"], 2)
    return line(decorated, blank=selected["blank"], colour=selected["colour"], sizes=sizes)


@ON_ONE_STORE
def test_nothing_selected(asking: Caller) -> None:
    """All attributes with all their values in the catalogue's order; sizes wait for a blank."""
    answer = choices(asking)
    assert answer["catalogue_version"] == demo_catalogue().version
    assert answer["possible"] is True
    assert list(answer["values"]) == ATTRIBUTES
    assert list(answer["values"]["blank"]) == [blank.id for blank in CATALOGUE.blanks]
    assert list(answer["values"]["method"]) == [method.id for method in CATALOGUE.methods]
    colours = dict.fromkeys(colour.id for blank in CATALOGUE.blanks for colour in blank.colours)
    assert list(answer["values"]["colour"]) == list(colours)
    assert answer["values"]["size"] == {}
    assert answer["widths"] == [{"least_mm": 1, "greatest_mm": None}]


@ON_ONE_STORE
def test_values_are_named_as_in_the_catalogue(asking: Caller) -> None:
    """Ids and names are those of ``GET /v1/catalogue``, a colour's of the first blank with it."""
    shown = answered(asking.get("/v1/catalogue"), 200)
    values = choices(asking, blank="classic-cotton-tee")["values"]
    for attribute, listed in (("blank", shown["blanks"]), ("method", shown["methods"])):
        named = {id_: value["name"] for id_, value in values[attribute].items()}
        assert named == {one["id"]: one["name"] for one in listed}
    for attribute, many in (("colour", "colours"), ("placement", "placements")):
        first: dict[str, str] = {}
        for one in itertools.chain.from_iterable(blank[many] for blank in shown["blanks"]):
            first.setdefault(one["id"], one["name"])
        assert {id_: value["name"] for id_, value in values[attribute].items()} == first
    for blank in shown["blanks"]:
        sizes = choices(asking, blank=blank["id"])["values"]["size"]
        assert [(id_, size["name"]) for id_, size in sizes.items()] == [
            (size, size) for size in blank["sizes"]
        ]


@ON_ONE_STORE
def test_what_is_impossible_says_why(standing_shop: ShopDoor, asking: Caller) -> None:
    """Dye on black cotton: the method is blocked by rules whose pages anyone may read.

    Polyester takes the dye and cotton does not; common practice, no source.
    """
    answer = choices(asking, **DYE_ON_BLACK)
    assert answer["possible"] is False
    assert answer["widths"] == []
    assert "dye-fibre-share" in blockers(answer, "method", "dye-transfer")
    assert "printed-film" in possible(answer, "method")
    assert blockers(answer, "colour", "white") == {"dye-fibre-share"}
    (blocker,) = answer["values"]["colour"]["white"]["blocked_by"]
    assert blocker == {
        "rule": "dye-fibre-share",
        "title": "Dye needs polyester",
        "page": f"{PUBLIC_URL}/rules/dye-fibre-share",
    }
    page = standing_shop.nobody.get(blocker["page"].removeprefix(PUBLIC_URL))
    assert page.status_code == 200
    assert all(not value["blocked_by"] for value in _all_values(answer) if value["possible"])


def _all_values(answer: Json) -> Iterator[Json]:
    for listed in answer["values"].values():
        yield from listed.values()


@ON_ONE_STORE
def test_what_is_not_offered_is_blocked_by_no_rule(asking: Caller) -> None:
    """A colour in which the blank does not come is impossible beside it, and no fault."""
    blank = CATALOGUE.blanks[0]
    other = next(
        colour.id
        for one in CATALOGUE.blanks
        for colour in one.colours
        if colour.id not in {own.id for own in blank.colours}
    )
    beside = choices(asking, blank=blank.id)
    assert blockers(beside, "colour", other) == set()
    both = choices(asking, blank=blank.id, colour=other)
    assert both["possible"] is False
    assert blockers(both, "blank", blank.id) == set()
    assert possible(both, "blank")
    assert possible(both, "colour")
    sizes = both["values"]["size"]
    assert list(sizes) == [size.size for size in blank.sizes]
    assert not possible(both, "size")


@ON_ONE_STORE
def test_an_attribute_is_judged_beside_the_others_alone(asking: Caller) -> None:
    """What is selected does not narrow its own attribute, so that it can be changed."""
    without = choices(asking, blank="classic-cotton-tee", method="printed-film")
    with_one = choices(asking, blank="classic-cotton-tee", method="printed-film", colour="black")
    assert with_one["values"]["colour"] == without["values"]["colour"]


@ON_ONE_STORE
def test_any_method_is_no_selection(asking: Caller) -> None:
    """The word that a check takes for an open method is taken here as well."""
    assert choices(asking, blank="shell-jacket", method="any") == choices(
        asking, blank="shell-jacket"
    )


@ON_ONE_STORE
def test_the_artwork_counts_once_it_is_named(asking: Caller) -> None:
    """One film colour cannot show an artwork of many colours; without one nothing is known."""
    assert "cut-film" in possible(choices(asking), "method")
    answer = choices(asking, artwork_id=ARTWORK)
    assert "colours-shown" in blockers(answer, "method", "cut-film")
    assert "printed-film" in possible(answer, "method")


@ON_ONE_STORE
def test_an_artwork_without_rights_leads_nowhere(standing_shop: ShopDoor) -> None:
    """Nothing is made of it until its rights are declared, with a later upload of the same."""
    caller = standing_shop.caller("rights-tester", "storefront")
    files = {"file": ("artwork.png", picture("#2e7d32"), "image/png")}
    first = answered(caller.send("POST", "/v1/artworks", files=files), 201)
    refused_all = choices(caller, artwork_id=first["id"])
    assert refused_all["possible"] is False
    assert "rights-declared" in blockers(refused_all, "blank", "classic-cotton-tee")
    answered(caller.upload(picture("#2e7d32")), 200)
    assert choices(caller, artwork_id=first["id"])["possible"] is True


@ON_ONE_STORE
def test_a_consent_opens_what_it_is_for(asking: Caller) -> None:
    """Dye fades on a half blend, which may be had for a faded look and not otherwise."""
    asked = {"blank": "half-blend-tee", "artwork_id": ARTWORK}
    assert "dye-fibre-share" in blockers(choices(asking, **asked), "method", "dye-transfer")
    assert "dye-transfer" in possible(choices(asking, **asked, consent="faded-look"), "method")


@ON_ONE_STORE
def test_widths_agree_with_the_check(asking: Caller) -> None:
    """The ends of the range that is offered work, and one millimetre beyond does not."""
    asked = {
        "blank": "classic-cotton-tee",
        "colour": "black",
        "placement": "front",
        "method": "printed-film",
        "artwork_id": ARTWORK,
        "size": ["S"],
    }
    (span,) = choices(asking, **asked)["widths"]
    least, greatest = span["least_mm"], span["greatest_mm"]
    for width_mm, works in (
        (least, True),
        (greatest, True),
        (least - 1, False),
        (greatest + 1, False),
    ):
        selected = {**asked, "width_mm": width_mm}
        answer = choices(asking, **selected)
        assert answer["possible"] is works
        assert answer["widths"] == [span]
        verdict = answered(asking.post("/v1/checks", {"lines": [wish(selected)]}), 200)
        assert verdict["works"] is works


@ON_ONE_STORE
def test_a_width_rules_out_sizes_and_placements(asking: Caller) -> None:
    """Too wide for a small shirt and for its left chest; a large one bears it on the front."""
    asked = {"blank": "classic-cotton-tee", "colour": "black", "method": "printed-film"}
    small = choices(asking, **asked, placement="front", artwork_id=ARTWORK, size=["S"])
    width_mm = small["widths"][-1]["greatest_mm"] + 1
    wider = choices(asking, **asked, placement="front", artwork_id=ARTWORK, width_mm=width_mm)
    assert blockers(wider, "size", "S") == {"placement-area"}
    assert "3XL" in possible(wider, "size")
    assert "front" in possible(wider, "placement")
    assert "placement-area" in blockers(wider, "placement", "left-chest")


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("query", "parameter", "words"),
    [
        ("blank=classic-coton-tee", "blank", ["blank 'classic-coton-tee'", "'classic-cotton-tee'"]),
        ("colour=blak", "colour", ["'blak'", "Did you mean 'black'?", "navy"]),
        ("placement=sleev", "placement", ["'sleev'", "'sleeve'", "left-chest"]),
        ("method=printed-fim", "method", ["'printed-fim'", "'printed-film'", "any"]),
        ("film_colour=marygold", "film_colour", ["film colour 'marygold'", "'marigold'"]),
        ("size=M&size=9XL", "size", ["size '9XL'", "Known: S, M, L"]),
        ("artwork_id=art_none", "artwork_id", ["upload it first"]),
        ("blank=Not A Slug", "blank", ["matches"]),
        ("consent=anything", "consent.0", ["faded-look"]),
        ("width_mm=0", "width_mm", ["at least 0.001"]),
        ("width_mm=-1", "width_mm", ["at least 0.001"]),
        ("width_mm=2000.1", "width_mm", ["at most 2000"]),
        ("width_mm=nan", "width_mm", ["finite"]),
        ("width_mm=1e999", "width_mm", ["finite"]),
        ("width_mm=wide", "width_mm", ["number"]),
        ("color=black", "color", ["not known"]),
        ("blank=cotton-tote&blank=cotton-hoodie", "blank", ["once"]),
    ],
)
def test_what_cannot_be_selected(
    asking: Caller, query: str, parameter: str, words: list[str]
) -> None:
    """A name the shop does not have, or a value outside its limits, is told by its parameter."""
    error = only_error(refused(asking.get(f"/v1/choices?{query}"), 422, "fields-refused"))
    assert error["parameter"] == parameter
    for word in words:
        assert word in error["detail"]


@ON_ONE_STORE
def test_every_unknown_name_is_told_at_once(asking: Caller) -> None:
    """Three names that are unknown give three errors."""
    answer = asking.get("/v1/choices?blank=none&method=none&artwork_id=none")
    problem = refused(answer, 422, "fields-refused")
    assert [one["parameter"] for one in problem["errors"]] == ["artwork_id", "blank", "method"]


@ON_ONE_STORE
def test_anothers_artwork_is_unknown(standing_shop: ShopDoor) -> None:
    """It is refused as one that does not exist is; the bench serves all storefronts."""
    path = f"/v1/choices?artwork_id={ARTWORK}"
    problem = refused(standing_shop.other.get(path), 422, "fields-refused")
    assert only_error(problem)["code"] == "artwork-unknown"
    mine = answered(standing_shop.storefront.get(path), 200)
    assert answered(standing_shop.staff.get(path), 200) == mine


@ON_ONE_STORE
def test_unchanged_choices_are_not_sent_twice(asking: Caller) -> None:
    """With the ETag of the last answer a GET is a 304 without a body (RFC 9110 section 15.4.5)."""
    tags = set()
    for path in ("/v1/choices", "/v1/choices?colour=black", f"/v1/choices?artwork_id={ARTWORK}"):
        first = asking.get(path)
        tags.add(first.headers["etag"])
        again = asking.get(path, {"If-None-Match": first.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert asking.get(path).content == first.content
    assert len(tags) == 3


@ON_ONE_STORE
def test_the_order_of_sizes_and_consents_does_not_matter(asking: Caller) -> None:
    """The same selection, said otherwise, gives the same answer."""
    asked = {"blank": "classic-cotton-tee"}
    one = choices(asking, **asked, size=["M", "S"], consent=["faded-look", "colour-shift"])
    other = choices(asking, **asked, size=["S", "M", "S"], consent=["colour-shift", "faded-look"])
    assert one == other


@ON_SQLITE
def test_choices_are_those_in_force(
    shop: ShopDoor, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new catalogue takes over when its table is worked out, and answers from then on."""
    catalogues = shop.assembly.services.catalogues
    warm_up, in_force = ChoiceTable.warm_up, []

    def watched(table: ChoiceTable) -> None:
        in_force.append(catalogues.current.version)
        warm_up(table)

    monkeypatch.setattr(ChoiceTable, "warm_up", watched)
    before = choices(shop.storefront)
    less = changed_catalogue(methods=CATALOGUE.methods[1:])
    catalogues.install(less, clock())
    after = choices(shop.storefront)
    assert in_force == [before["catalogue_version"]]
    assert after["catalogue_version"] == less.version
    assert set(before["values"]["method"]) - set(after["values"]["method"]) == {
        CATALOGUE.methods[0].id
    }


@ON_ONE_STORE
@pytest.mark.parametrize("seed", range(6))
def test_possible_values_lead_to_a_wish_that_works(asking: Caller, seed: int) -> None:
    """A page that goes from nothing to a full wish by possible values alone has one that works.

    The attributes come in any order, but for sizes, which need a blank.
    """
    random = Random(seed)  # noqa: S311 - a walk that can be repeated
    selected: Json = {"artwork_id": ARTWORK, "consent": ["faded-look"] if seed % 3 == 0 else []}
    steps = ["blank", "colour", "placement", "method", "film_colour", "width_mm"]
    random.shuffle(steps)
    steps.insert(random.randint(steps.index("blank") + 1, len(steps)), "size")
    for step in [*steps, "size"]:
        answer = choices(asking, **selected)
        assert answer["possible"], selected
        _choose(random, answer, step, selected)
    assert choices(asking, **selected)["possible"], selected
    verdict = answered(asking.post("/v1/checks", {"lines": [wish(selected)]}), 200)
    assert verdict["works"], selected


def _choose(random: Random, answer: Json, step: str, selected: Json) -> None:
    """Choose what is possible for one attribute; a second size only where there is one."""
    if step == "width_mm":
        span = random.choice(answer["widths"])
        greatest = span["greatest_mm"] or WIDEST_MM
        between = random.randint(int(span["least_mm"]), int(greatest))
        selected[step] = random.choice([span["least_mm"], greatest, between])
        return
    known = selected.get("size", [])
    open_ones = [one for one in possible(answer, step) if step != "size" or one not in known]
    # Only film colours may be wanting, as dye on cloth has none, and further sizes.
    assert open_ones or step == "film_colour" or known, (step, selected)
    if open_ones:
        chosen = random.choice(open_ones)
        selected[step] = [*known, chosen] if step == "size" else chosen


@ON_ONE_STORE
@pytest.mark.parametrize("seed", range(4))
def test_nothing_impossible_works(asking: Caller, seed: int) -> None:
    """Whatever a wish goes on with, one that has an impossible value is refused by the check."""
    random = Random(seed)  # noqa: S311 - a sample that can be repeated
    blank = random.choice(CATALOGUE.blanks)
    selected: Json = {"artwork_id": ARTWORK, "blank": blank.id}
    if seed % 2:
        selected["width_mm"] = 220
    answer = choices(asking, **selected)
    dead = [
        (attribute, value)
        for attribute in ("blank", "colour", "placement", "method", "size")
        for value in answer["values"][attribute].values()
        if not value["possible"]
    ]
    lines = [
        wish(_completed(random, {**selected, attribute: value["id"]}))
        for attribute, value in random.sample(dead, min(8, len(dead)))
        for _ in range(3)
    ]
    for one in filter(_is_offered, lines):
        verdict = answered(asking.post("/v1/checks", {"lines": [one]}), 200)
        assert not verdict["works"], one


def _completed(random: Random, selected: Json) -> Json:
    """The selection with all that is open chosen blindly among what the blank has."""
    blank = CATALOGUE.blank_by_id[selected["blank"]]
    chosen = {
        "colour": random.choice(blank.colours).id,
        "placement": random.choice(blank.placements).id,
        "method": random.choice(["any", *CATALOGUE.method_by_id]),
        "width_mm": random.choice([20, 60, 90, 150, 240]),
        "size": random.choice(blank.sizes).size,
        **selected,
    }
    return {**chosen, "size": [chosen["size"]]}


def _is_offered(asked: Json) -> bool:
    """Whether blank, colour and placement go together at all; else the check names the fault."""
    blank = CATALOGUE.blank_by_id[asked["blank"]]
    return asked["colour"] in {colour.id for colour in blank.colours} and asked["decorations"][0][
        "placement"
    ] in {placement.id for placement in blank.placements}
