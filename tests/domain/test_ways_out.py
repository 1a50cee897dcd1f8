"""Ways out of a refusal, against trying every combination of a small shop one by one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import combinations

from hypothesis import example, given, settings

from service.domain.compiled import CompiledCatalogue
from service.domain.garments import Garment, SuppliedGarment, supplied_garment
from service.domain.shop import Policy
from service.domain.verdict import judge, judge_decoration
from service.domain.ways_out import ORDER, Alternative, WaysOut, applied, find_ways_out
from service.domain.wishes import Choice, Consent, Decoration, Line
from tests.domain.brute_force import (
    ARTWORKS,
    BLOCKING,
    BruteForce,
    Row,
    granted,
    measured,
    new_small_shop,
    small_shop,
    wished,
)
from tests.domain.garments_and_lines import decoration, demo_shop

SHOP = demo_shop()
COLOURFUL = ARTWORKS["three colours"]
RED = measured("#c01020")


def _line(blank: str, colour: str, wish: Decoration, **sizes: int) -> Line:
    return Line(SHOP.garments[blank, colour], sizes or {"M": 2}, (wish,))


def _ways(blank: str, colour: str, wish: Decoration, **sizes: int) -> WaysOut:
    return find_ways_out(SHOP, _line(blank, colour, wish, **sizes), wish)


def _small(garment: tuple[str, str], wish: Decoration, *sizes: str) -> Line:
    return Line(small_shop().garments[garment], dict.fromkeys(sizes, 2), (wish,))


def _sets(ways: WaysOut) -> set[frozenset[Choice]]:
    return {frozenset(conflict.choices) for conflict in ways.conflicts}


# Facts of the trade: dye is transparent and holds in polyester alone (common practice, no source).


def test_dye_on_black_cotton_is_two_conflicts() -> None:
    """Dye clashes with the colour and with the fibre, each pair minimal; the width in neither.

    Source: J. Soc. Dyers Colour. 1977, doi 10.1111/j.1478-4408.1977.tb03343.x for the fibre.
    """
    ways = _ways("classic-cotton-tee", "black", decoration("dye-transfer", art=COLOURFUL))
    assert {frozenset(one.choices): one.rules for one in ways.conflicts} == {
        frozenset({Choice.METHOD, Choice.COLOUR}): ("dye-surface-lightness",),
        frozenset({Choice.METHOD, Choice.BLANK}): ("dye-fibre-share",),
    }
    assert not any(Choice.WIDTH in repair for repair in ways.repairs)


def test_other_methods_on_the_same_blank_come_first() -> None:
    """Film that takes dye, or print, is offered on the black cotton tee itself."""
    ways = _ways("classic-cotton-tee", "black", decoration("dye-transfer", art=COLOURFUL))
    same_blank = [a for a in ways.alternatives if a.changes == (Choice.METHOD,)]
    assert ways.alternatives[: len(same_blank)] == tuple(same_blank)
    assert {"printed-film", "dye-on-white-film"} <= {a.combination.method_id for a in same_blank}


def test_the_offers_differ_in_kind() -> None:
    """Beside other methods, a blank and colour on which dye itself works are offered."""
    ways = _ways("classic-cotton-tee", "black", decoration("dye-transfer", art=COLOURFUL))
    dyed = [a for a in ways.alternatives if a.changes == (Choice.COLOUR, Choice.BLANK)]
    assert [a.combination.garment.whole.words() for a in dyed] == ["100 % polyester"]


def test_a_consent_is_offered_where_it_helps() -> None:
    """Dye on a white half blend works if the customer accepts a faded look, and no more."""
    ways = _ways("half-blend-tee", "white", decoration("dye-transfer", art=RED))
    consenting = [a for a in ways.alternatives if a.changes == (Choice.CONSENTS,)]
    assert [a.combination.consents for a in consenting] == [frozenset({Consent.FADED_LOOK})]


def test_a_print_too_wide_is_offered_as_wide_as_fits() -> None:
    """The width alone conflicts, and one millimetre more than is offered is refused again."""
    wish = decoration("printed-film", width_mm=800, art=COLOURFUL)
    line = _line("classic-cotton-tee", "white", wish)
    ways = find_ways_out(SHOP, line, wish)
    assert _sets(ways) == {frozenset({Choice.WIDTH})}
    narrower = ways.alternatives[0].combination
    assert ways.alternatives[0].changes == (Choice.WIDTH,)
    assert narrower.width_mm == int(narrower.width_mm)
    wider, wide = applied(line, wish, replace(narrower, width_mm=narrower.width_mm + 1))
    assert not judge(SHOP, wider, wide, "printed-film").works


def test_polypropylene_blames_the_blank_alone() -> None:
    """No method works on it, so neither method nor colour is at fault."""
    blank = SHOP.catalogue.blank_by_id["non-woven-tote"]
    wish = decoration("printed-film", width_mm=150, art=COLOURFUL)
    line = Line(SHOP.garments[blank.id, "white"], {blank.sizes[0].size: 1}, (wish,))
    ways = find_ways_out(SHOP, line, wish)
    assert frozenset({Choice.BLANK}) in _sets(ways)
    assert all(Choice.BLANK in repair for repair in ways.repairs)


def test_when_nothing_works_the_rules_that_leave_nothing_are_named() -> None:
    """A picture without declared rights is made on nothing, whatever else is changed."""
    wish = replace(decoration(None, art=COLOURFUL), rights_declared=False)
    ways = _ways("classic-cotton-tee", "white", wish)
    assert ways.nothing_works
    assert ways.ruled_out_by == ("rights-declared",)
    assert (ways.conflicts, ways.repairs, ways.alternatives) == ((), (), ())


def test_of_what_is_not_refused_there_is_nothing_to_say() -> None:
    """A request that works as it stands has no conflict, no repair and no alternative."""
    ways = _ways("classic-cotton-tee", "white", decoration("printed-film", art=COLOURFUL))
    assert (ways.conflicts, ways.repairs, ways.alternatives) == ((), (), ())
    assert not ways.nothing_works


# Against trying every combination.


def _tried(line: Line, wish: Decoration, shop: CompiledCatalogue) -> BruteForce:
    return BruteForce(
        shop,
        wish.artwork,
        wish.width_mm,
        tuple(line.pieces_by_size),
        consents=wish.consents,
        rights=wish.rights_declared,
    )


def _wishes(wish: Decoration) -> list[Choice]:
    return [c for c in ORDER if c is not Choice.METHOD or wish.method_id is not None]


def _smallest_impossible(
    patterns: set[frozenset[Choice]], wishes: Iterable[Choice]
) -> set[frozenset[Choice]]:
    """Smallest sets of wishes that nothing which works grants together."""
    listed, found = list(wishes), set[frozenset[Choice]]()
    for size in range(len(listed) + 1):
        for subset in map(frozenset, combinations(listed, size)):
            known = any(smaller <= subset for smaller in found)
            if not known and not any(subset <= pattern for pattern in patterns):
                found.add(subset)
    return found


def _smallest(sets: Iterable[frozenset[Choice]]) -> set[frozenset[Choice]]:
    every = set(sets)
    return {one for one in every if not any(other < one for other in every)}


def _reasons(ways: WaysOut) -> Iterator[tuple[tuple[Choice, ...], tuple[str, ...]]]:
    if ways.nothing_works:
        yield (), ways.ruled_out_by
    for conflict in ways.conflicts:
        yield conflict.choices, conflict.rules


def _asked(
    garment: tuple[str, str], picture: str, width_mm: float, method: str | None, *sizes: str
) -> tuple[Line, Decoration]:
    wish = Decoration("front", "art", ARTWORKS[picture], width_mm, method)
    return _small(garment, wish, *sizes), wish


FINE = "one part too fine for small sizes"


@settings(max_examples=6)
@given(wished())
@example(_asked(("classic-cotton-tee", "black"), FINE, 85.5, "cut-film", "S"))
@example(_asked(("classic-cotton-tee", "black"), FINE, 300.03, None, "S", "L"))
def test_conflicts_and_repairs_are_those_of_brute_force(case: tuple[Line, Decoration]) -> None:
    """All smallest conflicts and repairs and no others, and the rules behind each suffice."""
    line, wish = case
    ways = find_ways_out(small_shop(), line, wish)
    tried = _tried(line, wish, new_small_shop())
    rows = tried.rows(wish.film_colour_id)
    wishes = frozenset(_wishes(wish))
    patterns = {granted(row, line, wish) & wishes for row, works in rows.items() if works}
    if wishes in patterns:
        assert not ways.conflicts
        return
    assert ways.nothing_works == (not patterns)
    assert _sets(ways) == (_smallest_impossible(patterns, wishes) if patterns else set())
    assert {frozenset(r) for r in ways.repairs} == _smallest(wishes - p for p in patterns)
    for choices, rules in _reasons(ways):
        concerned = [row for row in rows if {*choices} <= granted(row, line, wish)]
        _assert_rules_suffice(tried, concerned, rules)


def _assert_rules_suffice(tried: BruteForce, rows: list[Row], ids: tuple[str, ...]) -> None:
    """These rules alone block all of the rows, and without any one of them some row works."""
    named = [rule for rule in BLOCKING if rule.id in ids]
    for missing in (None, *named):
        tried.judge_by([rule for rule in named if rule is not missing])
        left = any(tried.works(row) for row in rows)
        assert left == (missing is not None), (missing and missing.id, ids)


@settings(max_examples=60)
@given(wished())
def test_every_alternative_keeps_its_promises(case: tuple[Line, Decoration]) -> None:
    """Each passes its own check, changes exactly what it says, and the nearest come first."""
    line, wish = case
    if judge_decoration(small_shop(), line, wish).chosen is not None:
        return
    ways = find_ways_out(small_shop(), line, wish)
    assert bool(ways.alternatives) == (not ways.nothing_works)
    assert len(ways.alternatives) <= small_shop().catalogue.policy.nearest_alternatives
    for alternative in ways.alternatives:
        changed, settled = applied(line, wish, alternative.combination)
        method = alternative.combination.method_id
        assert judge(small_shop(), changed, settled, method, [*BLOCKING]).works
        assert alternative.changes == _changed(line, wish, alternative)
    numbers = [len(alternative.changes) for alternative in ways.alternatives]
    assert numbers == sorted(numbers)
    _assert_kinds_differ(ways)


def _changed(line: Line, wish: Decoration, alternative: Alternative) -> tuple[Choice, ...]:
    row = alternative.combination
    differs = {
        Choice.METHOD: row.method_id != wish.method_id is not None,
        Choice.FILM_COLOUR: row.film_colour_id != wish.film_colour_id,
        Choice.COLOUR: row.garment.colour_id != line.garment.colour_id,
        Choice.BLANK: row.garment.blank_id != line.garment.blank_id,
        Choice.WIDTH: row.width_mm != wish.width_mm,
        Choice.PLACEMENT: row.placement_id != wish.placement_id,
        Choice.SIZES: row.pieces_by_size != line.pieces_by_size,
        Choice.CONSENTS: row.consents != wish.consents,
    }
    return tuple(choice for choice in ORDER if differs[choice])


def _assert_kinds_differ(ways: WaysOut) -> None:
    """Every smallest repair is offered once before any is offered twice, where there is room."""
    offered = [alternative.changes for alternative in ways.alternatives]
    assert set(offered) <= set(ways.repairs)
    if len(set(offered)) < len(offered):
        assert set(offered) == set(ways.repairs)


def test_pieces_and_consents_are_only_changed_as_far_as_needed() -> None:
    """Of the sizes asked for those that bear the print are kept, with their pieces."""
    wish = decoration("printed-film", width_mm=300, art=COLOURFUL)
    ways = _ways("classic-cotton-tee", "white", wish, S=3, L=2, XL=1)
    smaller = [a.combination for a in ways.alternatives if a.changes == (Choice.SIZES,)]
    assert [one.pieces_by_size for one in smaller] == [{"L": 2, "XL": 1}]
    assert all(one.width_mm == 300 for one in smaller)


def test_both_width_and_size_may_have_to_change() -> None:
    """A part too fine for any print that fits size S is offered wide enough on a larger one.

    The film asks for at least 290 mm, and size S has 270 mm at the front.
    """
    line, wish = _asked(("classic-cotton-tee", "black"), FINE, 85.5, "cut-film", "S")
    assert frozenset({Choice.WIDTH, Choice.SIZES}) in {
        frozenset(repair) for repair in find_ways_out(small_shop(), line, wish).repairs
    }
    both = next(
        a.combination
        for a in find_ways_out(small_shop(), line, wish).alternatives
        if a.changes == (Choice.WIDTH, Choice.SIZES)
    )
    assert (both.width_mm, both.pieces_by_size) == (290, {"L": 2})


def test_the_shops_limit_on_alternatives_is_kept() -> None:
    """Policy says how many alternatives are given at most."""
    wish = decoration("dye-transfer", art=COLOURFUL)
    line = _line("classic-cotton-tee", "black", wish)
    policy = Policy.model_validate(
        {**SHOP.catalogue.policy.model_dump(), "nearest_alternatives": 2}
    )
    catalogue = SHOP.catalogue.model_copy(update={"policy": policy})
    ways = find_ways_out(replace(SHOP, catalogue=catalogue), line, wish)
    assert [a.changes for a in ways.alternatives] == [
        (Choice.METHOD,),
        (Choice.COLOUR, Choice.BLANK),
    ]


# Garments the customer brings.


def _own(**described: object) -> Garment:
    whole = {
        "fibre_content": [{"fibre": "cotton", "percent": 100}],
        "colour_srgb": "#141414",
        "weight_g_m2": 180,
        "wearer": "adult",
        "half_chest_mm": 520,
        **described,
    }
    placements = SHOP.catalogue.policy.supplied_placements
    return supplied_garment(SuppliedGarment.model_validate(whole), ("own",), placements)


def test_a_customers_own_garment_has_neither_blank_nor_colour_to_change() -> None:
    """Only the method is at fault, and other methods on that very garment are offered."""
    garment = _own()
    wish = decoration("dye-transfer", art=COLOURFUL)
    ways = find_ways_out(SHOP, Line(garment, {"own": 1}, (wish,)), wish)
    assert _sets(ways) == {frozenset({Choice.METHOD})}
    assert ways.alternatives
    assert all(a.changes == (Choice.METHOD,) for a in ways.alternatives)
    assert all(a.combination.garment is garment for a in ways.alternatives)


def test_a_customers_own_garment_may_be_printed_narrower() -> None:
    """A print that is too wide for it is offered at the width it has."""
    garment = _own(half_chest_mm=400)
    wish = decoration("printed-film", width_mm=300, art=COLOURFUL)
    ways = find_ways_out(SHOP, Line(garment, {"own": 1}, (wish,)), wish)
    assert ways.alternatives[0].changes == (Choice.WIDTH,)
    assert ways.alternatives[0].combination.width_mm == 240


def test_a_customers_own_garment_that_nothing_suits_is_told_why() -> None:
    """Sleepwear for a child is refused whatever the method."""
    garment = _own(wearer="youth", sleepwear=True)
    wish = decoration(None, art=COLOURFUL)
    ways = find_ways_out(SHOP, Line(garment, {"own": 1}, (wish,)), wish)
    assert ways.ruled_out_by == ("childrens-sleepwear",)
