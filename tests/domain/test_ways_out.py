"""Ways out: conflicts and alternatives against checking every combination one by one."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.garments import Garment, SuppliedGarment, supplied_garment
from service.domain.shop import Policy
from service.domain.verdict import judge, judge_decoration
from service.domain.ways_out import WaysOut, find_ways_out, widest_fit_mm
from service.domain.wishes import Choice, Consent, Decoration, Line
from tests.domain.garments_and_lines import artwork, decoration, demo_shop

SHOP = demo_shop()
METHODS = [method.id for method in SHOP.catalogue.methods]
COLOURFUL = artwork("#c01020", "#2040c0", "#f0d020")


def _line(blank: str, colour: str, wished: Decoration, **sizes: int) -> Line:
    return Line(SHOP.garments[blank, colour], sizes or {"M": 2}, (wished,))


def _ways(blank: str, colour: str, wished: Decoration, **sizes: int) -> WaysOut:
    return find_ways_out(SHOP, _line(blank, colour, wished, **sizes), wished)


def test_dye_on_black_cotton_is_two_conflicts() -> None:
    """Dye clashes with the colour and with the fibre, each pair minimal; the width in neither."""
    ways = _ways("classic-cotton-tee", "black", decoration("dye-transfer", art=COLOURFUL))
    assert {frozenset(conflict) for conflict in ways.conflicts} == {
        frozenset({Choice.METHOD, Choice.COLOUR}),
        frozenset({Choice.METHOD, Choice.BLANK}),
    }


def test_other_methods_on_the_same_blank_come_first() -> None:
    """Printed film and dye on glitter film are offered on the black cotton tee itself."""
    ways = _ways("classic-cotton-tee", "black", decoration("dye-transfer", art=COLOURFUL))
    same_blank = [a for a in ways.alternatives if a.changes == (Choice.METHOD,)]
    assert ways.alternatives[0] in same_blank
    offered = {alternative.combination.method_id for alternative in same_blank}
    assert {"printed-film", "dye-on-glitter-film"} <= offered


def test_the_offers_differ_in_kind() -> None:
    """Beside other methods, a blank and colour on which dye itself works are offered."""
    ways = _ways("classic-cotton-tee", "black", decoration("dye-transfer", art=COLOURFUL))
    kinds = {alternative.changes for alternative in ways.alternatives}
    assert (Choice.COLOUR, Choice.BLANK) in kinds


def test_a_consent_is_offered_where_it_helps() -> None:
    """Dye on a white half blend works if the customer accepts a faded look."""
    ways = _ways("half-blend-tee", "white", decoration("dye-transfer", art=COLOURFUL))
    consenting = [a for a in ways.alternatives if a.changes == (Choice.CONSENTS,)]
    assert [a.combination.consents for a in consenting] == [frozenset(Consent)]


def test_a_print_too_wide_is_offered_smaller() -> None:
    """The widest print that fits is offered, and it fits."""
    wished = decoration("printed-film", width_mm=800, art=COLOURFUL)
    line = _line("classic-cotton-tee", "white", wished)
    ways = find_ways_out(SHOP, line, wished)
    assert ways.conflicts == ((Choice.WIDTH,),)
    narrower = ways.alternatives[0]
    assert narrower.changes == (Choice.WIDTH,)
    assert narrower.combination.width_mm == widest_fit_mm(SHOP, line, wished, line.garment)


def test_polypropylene_blames_the_blank_alone() -> None:
    """No method works on it, so neither method nor colour is at fault."""
    blank = SHOP.catalogue.blank_by_id["non-woven-tote"]
    size, colour = blank.sizes[0].size, blank.colours[0].id
    wished = decoration("printed-film", width_mm=150, art=COLOURFUL)
    line = Line(SHOP.garments[blank.id, colour], {size: 1}, (wished,))
    ways = find_ways_out(SHOP, line, wished)
    assert (Choice.BLANK,) in ways.conflicts


def test_a_customers_own_garment_has_neither_blank_nor_colour_to_change() -> None:
    """Only method, width and consent are offered for a garment the customer brings."""
    described = SuppliedGarment.model_validate(
        {
            "fibre_content": [{"fibre": "cotton", "percent": 100}],
            "colour_srgb": "#141414",
            "weight_g_m2": 180,
            "wearer": "adult",
            "half_chest_mm": 520,
        }
    )
    garment = supplied_garment(described, ("own",), SHOP.catalogue.policy.supplied_placements)
    wished = decoration("dye-transfer", art=COLOURFUL)
    ways = find_ways_out(SHOP, Line(garment, {"own": 1}, (wished,)), wished)
    assert ways.conflicts == ((Choice.METHOD,),)
    assert all(not {Choice.BLANK, Choice.COLOUR} & set(a.changes) for a in ways.alternatives)


def test_when_nothing_works_it_is_said() -> None:
    """Glass-thin proportions fit no placement at any width the shop can cut."""
    wished = decoration(None, width_mm=50, art=artwork(aspect=3_000))
    ways = _ways("classic-cotton-tee", "white", wished)
    assert ways.nothing_works
    assert ways.alternatives == ()
    assert ways.conflicts == ()


def test_the_shops_limit_on_alternatives_is_kept() -> None:
    """Policy says how many alternatives are given at most."""
    wished = decoration("dye-transfer", art=COLOURFUL)
    line = _line("classic-cotton-tee", "black", wished)
    policy = Policy.model_validate(
        {**SHOP.catalogue.policy.model_dump(), "nearest_alternatives": 2}
    )
    catalogue = SHOP.catalogue.model_copy(update={"policy": policy})
    ways = find_ways_out(replace(SHOP, catalogue=catalogue), line, wished)
    assert len(ways.alternatives) == 2


@st.composite
def _refused(draw: st.DrawFn) -> tuple[Line, Decoration]:
    garment = draw(st.sampled_from([g for g in SHOP.garments.values() if "front" in g.placements]))
    size = draw(st.sampled_from(sorted(garment.half_chest_mm)))
    wished = decoration(
        draw(st.sampled_from(METHODS)),
        width_mm=draw(st.sampled_from([60.0, 200.0, 330.0, 600.0])),
        art=draw(st.sampled_from([COLOURFUL, artwork("#101010"), artwork("#ffffff", aspect=2)])),
    )
    return Line(garment, {size: 1}, (wished,)), wished


def _brute(line: Line, wished: Decoration) -> list[tuple[str, Garment, float, frozenset[Consent]]]:
    """Every combination that works, each checked in full."""
    working = []
    for garment in SHOP.garments.values():
        placement = garment.placements.get("front")
        if placement is None or any(s not in placement.areas for s in line.pieces_by_size):
            continue
        fits = widest_fit_mm(SHOP, line, wished, garment)
        for width in {wished.width_mm, min(fits, wished.width_mm)}:
            for method in METHODS:
                for consents in (frozenset[Consent](), frozenset(Consent)):
                    changed = replace(wished, method_id=method, width_mm=width, consents=consents)
                    on = replace(line, garment=garment, decorations=(changed,))
                    if judge(SHOP, on, changed, method).works:
                        working.append((method, garment, width, consents))
    return working


@pytest.mark.parametrize("kept", [Choice.METHOD, Choice.BLANK])
def test_conflicts_agree_with_brute_force(kept: Choice) -> None:
    """A set of choices is reported exactly when no working combination keeps it, minimally."""
    wished = decoration("dye-transfer", art=COLOURFUL)
    line = _line("classic-cotton-tee", "black", wished)
    rows = [
        {
            Choice.METHOD: method == "dye-transfer",
            Choice.BLANK: garment.blank_id == "classic-cotton-tee",
            Choice.COLOUR: garment.colour_id == "black",
            Choice.WIDTH: width == wished.width_mm,
            Choice.CONSENTS: not consents,
        }
        for method, garment, width, consents in _brute(line, wished)
    ]
    impossible = [
        frozenset(subset)
        for size in range(1, 6)
        for subset in combinations(rows[0], size)
        if not any(all(row[choice] for choice in subset) for row in rows)
    ]
    minimal = {s for s in impossible if not any(t < s for t in impossible)}
    found = {frozenset(conflict) for conflict in find_ways_out(SHOP, line, wished).conflicts}
    assert found == minimal
    assert any(kept in conflict for conflict in found)


@settings(max_examples=25)
@given(_refused())
def test_every_alternative_passes_its_own_check(case: tuple[Line, Decoration]) -> None:
    """Nothing is offered that would be refused, and something is if anything in the shop works."""
    line, wished = case
    if judge_decoration(SHOP, line, wished).chosen is not None:
        return
    ways = find_ways_out(SHOP, line, wished)
    for alternative in ways.alternatives:
        row = alternative.combination
        changed = replace(
            wished, method_id=row.method_id, width_mm=row.width_mm, consents=row.consents
        )
        on = replace(line, garment=row.garment, decorations=(changed,))
        assert judge(SHOP, on, changed, row.method_id).works
        assert alternative.changes
    assert bool(ways.alternatives) == (not ways.nothing_works)
