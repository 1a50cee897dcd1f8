"""What may still be chosen, against trying every combination of a small shop one by one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import pairwise
from math import inf

from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.domain.blanks import PlacementArea
from service.domain.choice_table import BLOCKERS, ChoiceTable, table_of
from service.domain.choices import Choices, Selection, Value, find_choices
from service.domain.garments import SuppliedGarment, supplied_garment
from tests.domain.brute_force import (
    ARTWORKS,
    BLOCKING,
    GIVEN_OR_ALL,
    BruteForce,
    Combination,
    Row,
    measured,
    new_small_shop,
    small_shop,
)
from tests.domain.garments_and_lines import demo_shop

SHOP = small_shop()
TABLE = table_of(SHOP)
BLANKS = [blank.id for blank in SHOP.catalogue.blanks]
COLOURS = sorted({colour.id for blank in SHOP.catalogue.blanks for colour in blank.colours})
FILM_COLOURS = sorted(
    {c.id for chain in SHOP.chains.values() for film in chain.layers for c in film.colours}
)
RED = measured("#c01020")


def _maybe(values: Iterable[str]) -> st.SearchStrategy[str | None]:
    return st.none() | st.sampled_from(list(values))


SELECTIONS = st.builds(
    Selection,
    blank_id=_maybe(BLANKS),
    colour_id=_maybe(COLOURS),
    placement_id=_maybe(TABLE.placements),
    method_id=_maybe(SHOP.chains),
    film_colour_id=_maybe(FILM_COLOURS),
    width_mm=st.sampled_from([None, None, 40.0, 85.5, 200.0, 300.03, 600.0]),
    sizes=st.lists(st.sampled_from(TABLE.sizes), max_size=2, unique=True).map(tuple),
    consents=st.sampled_from(GIVEN_OR_ALL),
    artwork=st.none() | st.sampled_from(list(ARTWORKS.values())),
    rights_declared=st.sampled_from([True, True, True, False]),
)


class Tried:
    """A selection tried on every combination, in every film colour the shop has."""

    def __init__(self, selection: Selection, rules: Iterable[str] | None = None) -> None:
        """Try it, by all rules; or by those of these ids alone, in what films are stocked in."""
        named = None if rules is None else set(rules)
        self._selection = selection
        self._tried = BruteForce(
            new_small_shop() if rules is None else SHOP,
            selection.artwork,
            selection.width_mm,
            selection.sizes,
            consents=selection.consents,
            rights=selection.rights_declared,
            rules=[rule for rule in BLOCKING if named is None or rule.id in named],
        )
        every = [None, *FILM_COLOURS] if selection.film_colour_id is None else FILM_COLOURS
        self._known: dict[Combination, bool] = {}
        self.combinations = {
            combination: None
            for colour in every
            for combination in self._tried.combinations(colour)
            if named is None or _stocked(combination)
        }

    def at(self, width_mm: float) -> Tried:
        """The same, with this width selected."""
        self._selection = replace(self._selection, width_mm=width_mm)
        self._tried.ask_width(width_mm)
        self._known = {}
        return self

    def some(
        self, attribute: str = "", id_: str = "", sizes: tuple[str, ...] | None = None
    ) -> bool:
        """Whether some combination works with the selection, one of its values replaced."""
        wanted = _chosen(self._selection, attribute, id_) if attribute else self._selection
        return any(
            self._works(combination, sizes)
            for combination in self.combinations
            if _has(combination, wanted)
        )

    def _works(self, combination: Combination, sizes: tuple[str, ...] | None) -> bool:
        kept = self._selection.width_mm is not None
        if sizes is not None:
            found = self._tried.nearest_width(
                combination, sizes, self._selection.consents, kept=kept
            )
            return found is not None
        if combination not in self._known:
            row = Row(combination, bool(self._selection.sizes), kept, consents_kept=True)
            self._known[combination] = self._tried.works(row)
        return self._known[combination]


def _stocked(combination: Combination) -> bool:
    """Whether the film comes in the colour; without film any will do."""
    films = SHOP.chains[combination.method_id].layers
    stocked = {colour.id for film in films for colour in film.colours}
    return not films or combination.film_colour_id in {None, *stocked}


def _chosen(selection: Selection, attribute: str, id_: str) -> Selection:
    """The selection with that id for that attribute."""
    ids = {name: getattr(selection, name) for name in _IDS} | {attribute: id_}
    return replace(
        selection,
        blank_id=ids["blank_id"],
        colour_id=ids["colour_id"],
        placement_id=ids["placement_id"],
        method_id=ids["method_id"],
        film_colour_id=ids["film_colour_id"],
    )


_IDS = ("blank_id", "colour_id", "placement_id", "method_id", "film_colour_id")


def _has(combination: Combination, wanted: Selection) -> bool:
    return all(
        asked is None or asked == own
        for asked, own in (
            (wanted.blank_id, combination.garment[0]),
            (wanted.colour_id, combination.garment[1]),
            (wanted.placement_id, combination.placement_id),
            (wanted.method_id, combination.method_id),
            (wanted.film_colour_id, combination.film_colour_id),
        )
    )


def _by_attribute(found: Choices) -> Mapping[str, tuple[Value, ...]]:
    return {
        "blank_id": found.blanks,
        "colour_id": found.colours,
        "placement_id": found.placements,
        "method_id": found.methods,
        "film_colour_id": found.film_colours,
    }


CORNER = Selection(artwork=measured("#c01020", feature=1 / 290), method_id="cut-film", sizes=("S",))


@settings(max_examples=12)
@given(SELECTIONS)
@example(CORNER)
@example(replace(CORNER, sizes=(), width_mm=600.0))
def test_a_value_is_possible_exactly_if_some_combination_with_it_works(
    selection: Selection,
) -> None:
    """It offers nothing that leads nowhere and hides nothing that works, for every attribute."""
    found, tried = find_choices(TABLE, selection), Tried(selection)
    assert found.possible == tried.some()
    for attribute, values in _by_attribute(found).items():
        for value in values:
            assert value.possible == tried.some(attribute, value.id), (attribute, value)
    for value in found.sizes:
        assert value.possible == tried.some(sizes=(value.id,)), value


@settings(max_examples=12)
@given(SELECTIONS, st.data())
@example(replace(CORNER, method_id=None, blank_id="half-blend-tee", colour_id="forest"), None)
def test_the_rules_named_forbid_the_value_between_them(
    selection: Selection, data: st.DataObject | None
) -> None:
    """With only the rules named, nothing that has the value works; a possible one names none."""
    found = find_choices(TABLE, selection)
    forbidden = [
        (attribute, value)
        for attribute, values in _by_attribute(found).items()
        for value in values
        if value.blocked_by
    ]
    assert not any(value.possible for _, value in forbidden)
    if data is not None and len(forbidden) > 2:
        forbidden = data.draw(st.lists(st.sampled_from(forbidden), min_size=2, max_size=2))
    for attribute, value in forbidden:
        wanted = _chosen(selection, attribute, value.id)
        assert not Tried(wanted, value.blocked_by).some(), (attribute, value)


@settings(max_examples=12)
@given(SELECTIONS)
@example(CORNER)
@example(replace(CORNER, sizes=()))
def test_widths_within_a_span_work_and_those_beside_it_do_not(selection: Selection) -> None:
    """Both ends of every span work, and no whole millimetre just outside any."""
    spans = find_choices(TABLE, selection).widths
    assert all(one.greatest_mm + 1 < other.least_mm for one, other in pairwise(spans))
    finite = [end for span in spans for end in (span.least_mm, span.greatest_mm) if end < inf]
    tried = Tried(selection)
    beside = {mm for end in finite for mm in (end - 1, end, end + 1)} | {1.0, 90.0, 450.0}
    for width_mm in sorted(mm for mm in beside if mm >= 1):
        inside = any(span.least_mm <= width_mm <= span.greatest_mm for span in spans)
        assert inside == tried.at(width_mm).some(), width_mm


@settings(max_examples=25)
@given(SELECTIONS, st.data())
def test_following_possible_values_never_ends_nowhere(
    selection: Selection, data: st.DataObject
) -> None:
    """Choosing a possible value leaves a selection that is itself possible."""
    found = find_choices(TABLE, selection)
    offered = [
        (attribute, value.id)
        for attribute, values in _by_attribute(found).items()
        for value in values
        if value.possible
    ]
    if offered:
        attribute, chosen = data.draw(st.sampled_from(offered))
        assert find_choices(TABLE, _chosen(selection, attribute, chosen)).possible


def test_every_attribute_lists_all_its_values_whatever_is_selected() -> None:
    """Greyed out or not, a page can show them all; sizes are those of the selected blank."""
    one = Selection("sport-polyester-tee", "black", "sleeve", "cut-film", "cherry", 900.0)
    for selection in (Selection(), one):
        found = find_choices(TABLE, selection)
        assert [value.id for value in found.blanks] == BLANKS
        assert sorted(value.id for value in found.colours) == COLOURS
        assert [value.id for value in found.placements] == [*TABLE.placements]
        assert [value.id for value in found.methods] == list(SHOP.chains)
        assert sorted(value.id for value in found.film_colours) == FILM_COLOURS
    assert find_choices(TABLE, Selection()).sizes == ()
    assert [value.id for value in find_choices(TABLE, one).sizes] == ["S", "L", "3XL"]


def test_what_is_not_offered_together_names_no_rule() -> None:
    """A colour that the blank does not come in is not possible, and no rule is to blame."""
    found = find_choices(TABLE, Selection(blank_id="half-blend-tee"))
    black = next(value for value in found.colours if value.id == "black")
    assert black == Value("black", possible=False, blocked_by=())


def test_a_width_that_no_size_bears_is_blamed_on_its_rule() -> None:
    """With a width of 600 mm selected, nothing is possible, and the rules on width say why."""
    found = find_choices(TABLE, Selection(width_mm=600.0, artwork=RED, placement_id="left-chest"))
    assert not found.possible
    assert all("placement-area" in value.blocked_by for value in found.methods)


def test_an_impossible_selection_is_told_and_still_shows_what_to_change() -> None:
    """Dye on black cotton is not possible; another method, or another blank and colour, is."""
    found = find_choices(
        TABLE, Selection("classic-cotton-tee", "black", method_id="dye-transfer", artwork=RED)
    )
    assert not found.possible
    assert found.widths == ()
    assert next(v for v in found.methods if v.id == "cut-film").possible
    assert not any(value.possible for value in (*found.blanks, *found.colours))


def test_rules_that_forbid_a_value_only_together_are_all_named() -> None:
    """A film that asks for a wide print is ruled out by that and by what keeps it narrow.

    At the front, made roomy here, only the chest does: 60 % of 457 mm is less than 300 mm.
    """
    tee = SHOP.catalogue.blank_by_id["classic-cotton-tee"]
    front, chest = tee.placements
    roomy = PlacementArea(width_mm=600, height_mm=600)
    wide = front.model_copy(update={"areas": dict.fromkeys(front.areas, roomy)})
    shop = new_small_shop(blanks=(tee.model_copy(update={"placements": (wide, chest)}),))
    art = measured("#c01020", feature=1 / 300)
    found = find_choices(table_of(shop), Selection(artwork=art, sizes=("S",)))
    cut = next(value for value in found.methods if value.id == "cut-film")
    assert not cut.possible
    assert set(cut.blocked_by) == {"smallest-feature", "chest-share"}


def test_names_that_the_shop_does_not_know_lead_nowhere() -> None:
    """An unknown id makes the selection impossible; it is listed nowhere and nothing breaks."""
    unknown = "no-such-thing"
    for selection in (
        Selection(blank_id=unknown),
        Selection(colour_id=unknown),
        Selection(placement_id=unknown),
        Selection(method_id=unknown),
        Selection(sizes=(unknown,)),
    ):
        found = find_choices(TABLE, selection)
        assert not found.possible
        assert found.widths == ()
        listed = {value.id for values in _by_attribute(found).values() for value in values}
        assert unknown not in listed
    dyed = find_choices(TABLE, Selection(film_colour_id=unknown))
    assert [value.id for value in dyed.methods if value.possible] == ["dye-transfer"]


def test_sizes_that_cannot_be_had_are_greyed_out_by_colour() -> None:
    """Olive long sleeves cannot be had in 3XL, black ones can."""
    for colour, possible in (("olive", False), ("black", True)):
        found = find_choices(TABLE, Selection("cotton-long-sleeve", colour))
        largest = found.sizes[-1]
        assert (largest.id, largest.possible) == ("3XL", possible)
        assert largest.blocked_by == (() if possible else ("garment-stock",))


def test_separate_spans_of_width_stay_apart() -> None:
    """Where one film needs at least 290 mm and a print bears 90 mm, nothing between is offered.

    The picture has too few pixels to be printed wider, and is too fine to be cut narrower.
    """
    art = measured("#c01020", width_px=354, feature=1 / 290)
    spans = find_choices(TABLE, Selection(artwork=art, placement_id="front")).widths
    assert [(span.least_mm, span.greatest_mm) for span in spans] == [(5, 89), (290, 305)]


def test_a_customers_own_garment_has_choices_too() -> None:
    """Dark cotton of one's own takes film and no dye, as wide as its placements are.

    A twentieth of the width is the finest part, and the finest film needs 1 mm of it.
    """
    described = SuppliedGarment.model_validate(
        {
            "fibre_content": [{"fibre": "cotton", "percent": 100}],
            "colour_srgb": "#141414",
            "weight_g_m2": 180,
            "wearer": "adult",
            "half_chest_mm": 400,
        }
    )
    placements = SHOP.catalogue.policy.supplied_placements
    table = ChoiceTable(SHOP, (supplied_garment(described, ("own",), placements),))
    found = find_choices(table, Selection(artwork=RED, placement_id="front", sizes=("own",)))
    assert found.possible
    assert found.blanks == found.colours == found.sizes == ()
    possible = {value.id for value in found.methods if value.possible}
    assert possible == {"printed-film", "cut-film", "low-heat-cut-film", "dye-on-white-film"}
    assert [(span.least_mm, span.greatest_mm) for span in found.widths] == [(20, 240)]


def test_every_rule_that_blocks_a_value_of_the_demo_shop_is_a_rule() -> None:
    """On the whole demo shop, each reason is one of the rules that can block."""
    known = {rule.id for rule in BLOCKERS}
    table = table_of(demo_shop())
    for method in demo_shop().chains:
        found = find_choices(table, Selection(method_id=method, artwork=RED))
        for values in _by_attribute(found).values():
            assert all(set(value.blocked_by) <= known for value in values)
