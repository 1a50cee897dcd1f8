"""The table of choices, cell by cell against judging the same thing in full."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.artwork import ArtworkMeasures
from service.domain.causes import rules_of
from service.domain.choice_table import (
    BLOCKERS,
    NOT_OFFERED,
    ChoiceTable,
    Given,
    table_of,
)
from service.domain.compiled import compile_catalogue
from service.domain.facts import Beside, facts_for
from service.domain.fit import Fit
from service.domain.garments import Garment, SuppliedGarment, supplied_garment
from service.domain.verdict import MethodVerdict, beside_of, judge, judge_line
from service.domain.wishes import Choice, Consent, Decoration, Line
from tests.domain.brute_force import ARTWORKS, measured, new_small_shop, small_shop
from tests.domain.garments_and_lines import blockers, demo_shop

SHOP = demo_shop()
TABLE = table_of(SHOP)
CONSENTS = st.frozensets(st.sampled_from(list(Consent)))


@dataclass(frozen=True)
class Cell:
    """One cell of the table with the width and sizes asked for, and what else is fixed."""

    making: int
    garment: int
    place: int
    width_mm: float
    sizes: tuple[str, ...]
    given: Given

    def bits(self, table: ChoiceTable) -> int:
        """What the table says of it as it is asked for."""
        art_and_cloth = table.blocked(self.given)[0, self.making, self.garment, self.place]
        fit = Fit(table, self.given, self.width_mm, dict.fromkeys(self.sizes, 1)).blocked[0, 0, 0]
        making = self.making if len(fit) > 1 else 0
        return int(art_and_cloth | fit[making, self.garment, self.place])

    def verdict(self, table: ChoiceTable) -> MethodVerdict:
        """What judging it in full says, nothing remembered."""
        making = table.makings(self.given.film_colour_id)[self.making]
        assert self.given.artwork is not None
        decoration = Decoration(
            placement_id=table.placements[self.place],
            artwork_id="art",
            artwork=self.given.artwork,
            width_mm=self.width_mm,
            method_id=making.method_id,
            film_colour_id=making.film_colour_id,
            consents=self.given.consents,
            rights_declared=self.given.rights_declared,
        )
        line = Line(table.garments[self.garment], dict.fromkeys(self.sizes, 1), (decoration,))
        return judge(table.compiled, line, decoration, making.method_id, [*BLOCKERS])


@st.composite
def cells(draw: st.DrawFn, table: ChoiceTable) -> Cell:
    """A cell of the table that exists, in one or two sizes that the garment has."""
    film_colour_id = draw(st.sampled_from([None, "white", "black", "cherry", "pale-grey"]))
    at = draw(st.integers(0, len(table.garments) - 1))
    garment = table.garments[at]
    place = draw(st.sampled_from(sorted(garment.placements)))
    own = sorted(garment.placements[place].areas)
    return Cell(
        making=draw(st.integers(0, len(table.makings(film_colour_id)) - 1)),
        garment=at,
        place=table.placements.index(place),
        width_mm=draw(st.sampled_from([30.0, 99.97, 180.0, 274.2, 300.03, 340.0, 600.0])),
        sizes=tuple(draw(st.lists(st.sampled_from(own), min_size=1, max_size=2, unique=True))),
        given=Given(
            draw(st.sampled_from(list(ARTWORKS.values()))),
            draw(st.booleans()),
            draw(CONSENTS),
            film_colour_id,
        ),
    )


@settings(max_examples=50)
@given(cells(TABLE))
def test_a_cell_holds_exactly_the_rules_that_block(cell: Cell) -> None:
    """The bits of a cell are those of the rules that block it when it is judged in full."""
    verdict = cell.verdict(TABLE)
    assert set(rules_of(cell.bits(TABLE))) == blockers(verdict)
    assert (cell.bits(TABLE) == 0) == verdict.works


def _own(srgb: str, **percents: int) -> Garment:
    described = SuppliedGarment.model_validate(
        {
            "fibre_content": [{"fibre": f, "percent": p} for f, p in percents.items()],
            "colour_srgb": srgb,
            "weight_g_m2": 180,
            "wearer": "youth",
            "half_chest_mm": 430,
        }
    )
    placements = SHOP.catalogue.policy.supplied_placements
    return supplied_garment(described, ("own",), placements)


OWN = ChoiceTable(SHOP, (_own("#8a1f2b", polyester=60, cotton=40),))


@settings(max_examples=40)
@given(cells(OWN))
def test_a_customers_own_garment_has_a_table_like_any(cell: Cell) -> None:
    """Its cells hold exactly the rules that block it when it is judged in full."""
    assert set(rules_of(cell.bits(OWN))) == blockers(cell.verdict(OWN))


def test_what_does_not_exist_is_marked() -> None:
    """A placement that a garment lacks is not offered, and no other cell is marked so."""
    marked = (TABLE.blocked(Given(ARTWORKS["black"])) & NOT_OFFERED) != 0
    assert (marked == ~TABLE.has_placement).all()
    totes = [at for at, g in enumerate(TABLE.garments) if g.blank_id == "cotton-tote"]
    assert marked[0, 0, totes][:, TABLE.placements.index("sleeve")].all()


def test_every_method_is_made_in_every_colour_of_its_films_and_as_the_shop_chooses() -> None:
    """And in the colour asked for, which a rule then refuses where the film lacks it."""
    for asked in (None, "cherry", "signal"):
        listed = [(one.method_id, one.film_colour_id) for one in TABLE.makings(asked)]
        assert len(set(listed)) == len(listed)
        for method_id, chain in SHOP.chains.items():
            colours = {colour for method, colour in listed if method == method_id}
            stocked = {colour.id for film in chain.layers for colour in film.colours}
            assert colours == {None, asked} | stocked


@given(st.sampled_from(list(ARTWORKS.values())))
@settings(max_examples=8)
def test_consents_only_ever_allow_more(art: ArtworkMeasures) -> None:
    """What works without consents works with all of them."""
    given_none, given_all = TABLE.blocked(Given(art))
    assert not ((given_none == 0) & (given_all != 0)).any()


def test_without_an_artwork_only_rules_that_do_not_read_it_block() -> None:
    """They block the same as with one; what reads the artwork blocks nothing."""
    art = ARTWORKS["photograph"]
    bare, full = TABLE.blocked(Given(None)), TABLE.blocked(Given(art))
    assert not (bare & ~full).any()
    for making, listed in enumerate(TABLE.makings()):
        chain = SHOP.chains[listed.method_id]
        read = sum(
            1 << at
            for at, rule in enumerate(BLOCKERS)
            if Choice.ARTWORK in rule.reads_for(chain) and Choice.WIDTH not in rule.reads
        )
        assert (bare[:, making] == full[:, making] & ~np.uint64(read)).all()


def test_a_width_range_needs_no_artwork_where_its_rule_does_not() -> None:
    """The chest limits the width before any picture is known, the platen only with its shape."""
    bare = {rules_of(int(one.bit))[0] for one in TABLE.size_ranges(Given(None))}
    full = {rules_of(int(one.bit))[0] for one in TABLE.size_ranges(Given(ARTWORKS["black"]))}
    assert bare == {"chest-share"}
    assert full == {"chest-share", "placement-area", "tiny-print"}
    assert TABLE.method_ranges(Given(None)) == ()


@settings(max_examples=30)
@given(cells(TABLE))
def test_the_colour_difference_is_that_of_the_verdict(cell: Cell) -> None:
    """Each making on each garment has the mean difference its own look gives."""
    table = TABLE.delta_e(cell.given)[cell.making, cell.garment]
    assert table == pytest.approx(cell.verdict(TABLE).look.mean_delta_e, abs=1e-9)


def test_a_colour_difference_needs_an_artwork() -> None:
    """Without a picture nothing can be compared."""
    with pytest.raises(ValueError, match="without an artwork"):
        TABLE.delta_e(Given(None))


def test_two_pictures_never_share_a_table() -> None:
    """Pictures of equal size and other colours are kept apart, in whatever order they come."""
    table = table_of(new_small_shop())
    pictures = [ARTWORKS[name] for name in ("three colours", "black", "photograph", "fine lines")]
    first = [table.blocked(Given(art)).copy() for art in pictures]
    again = [table.blocked(Given(art)) for art in reversed(pictures)][::-1]
    assert all((one == two).all() for one, two in zip(first, again, strict=True))
    assert (first[0] != first[1]).any()


def test_many_pictures_do_not_pile_up() -> None:
    """However many pictures are asked about, a table remembers a bounded number of results."""
    table = ChoiceTable(small_shop(), tuple(small_shop().garments.values())[:1])
    for share in range(80):
        table.blocked(Given(measured("#c01020", feature=0.01 + share / 1_000)))
    assert len(table._by_artwork._kept) <= 64


def test_the_shops_own_table_is_made_once() -> None:
    """A version has one table, and a version compiled anew has another."""
    shop = compile_catalogue(SHOP.catalogue, SHOP.version)
    assert table_of(shop) is table_of(shop)
    assert table_of(shop) is not TABLE


def test_sizes_that_cannot_be_had_are_known_by_colour() -> None:
    """Olive long sleeves lack 2XL and 3XL, black ones do not."""
    ((bit, gone),) = TABLE.unobtainable()
    assert rules_of(int(bit)) == ("garment-stock",)
    named = {
        TABLE.garments[at].key: {s for s, index in TABLE.size_index.items() if gone[at, index]}
        for at in range(len(TABLE.garments))
    }
    assert named["cotton-long-sleeve", "olive"] == {"2XL", "3XL"}
    assert named["cotton-long-sleeve", "black"] == set()


# Beside other decorations.


def _pair(garment: Garment, first: str | None, second: str) -> Line:
    art = measured("#ffffff")
    return Line(
        garment,
        {"S": 1},
        (
            Decoration("front", "one", art, 150.0, first),
            Decoration("left-chest", "two", art, 80.0, second),
        ),
    )


def _beside(line: Line, index: int) -> tuple[Beside, ...]:
    return beside_of(small_shop(), judge_line(small_shop(), line), index)


def test_neighbours_are_set_anew_for_each_garment() -> None:
    """White film pressed on red polyester is set otherwise than on white cotton."""
    shop = small_shop()
    line = _pair(shop.garments["classic-cotton-tee", "white"], "dye-transfer", "cut-film")
    beside = _beside(line, 0)
    settings = []
    for key in (("classic-cotton-tee", "white"), ("sport-polyester-tee", "red")):
        there = replace(line, garment=shop.garments[key])
        facts = facts_for(shop, there, line.decorations[0], "dye-transfer", beside)
        own = facts_for(shop, there, line.decorations[1], "cut-film").settings
        assert facts.neighbours[0].settings == own
        settings.append(own)
    assert settings[0] != settings[1]


@pytest.mark.parametrize(
    ("method_id", "earlier"), [("dye-transfer", True), ("cut-film", False), ("printed-film", False)]
)
def test_who_is_pressed_first_depends_on_the_method_tried(method_id: str, earlier: bool) -> None:  # noqa: FBT001
    """Dye in cloth goes last; otherwise the line's order stands (common practice, no source)."""
    shop = small_shop()
    line = _pair(shop.garments["sport-polyester-tee", "white"], "printed-film", "cut-film")
    facts = facts_for(shop, line, line.decorations[0], method_id, _beside(line, 0))
    (neighbour,) = facts.neighbours
    assert neighbour.earlier is earlier


@pytest.mark.parametrize("index", [0, 1])
def test_cells_beside_others_agree_with_judging_beside_them(index: int) -> None:
    """With each method the table says what judging the whole line says of that decoration."""
    shop = small_shop()
    table = table_of(shop)
    for key in (("sport-polyester-tee", "white"), ("half-blend-tee", "forest")):
        line = _pair(shop.garments[key], "printed-film", "dye-on-white-film")
        wished = line.decorations[index]
        bits = table.blocked(Given(wished.artwork, beside=_beside(line, index)))[0]
        garment = [one.key for one in table.garments].index(key)
        place = table.placements.index(wished.placement_id)
        for making, listed in enumerate(table.makings()):
            settled = replace(
                wished, method_id=listed.method_id, film_colour_id=listed.film_colour_id
            )
            changed = replace(
                line,
                decorations=tuple(settled if one is wished else one for one in line.decorations),
            )
            fits = int(bits[making, garment, place]) == 0
            assert fits == (judge_line(shop, changed)[index].chosen is not None)
