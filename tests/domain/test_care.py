"""Care: the merged label, and what the rules on washing and ironing say of it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.blanks import CareLabel
from service.domain.care import IRON_DOT_C, MergedCare, cared_for, merged_care
from service.domain.media import Medium
from service.domain.rules.care import IRON_LIMIT, WASH_LIMIT
from service.domain.rules.contract import Facts, Severity
from tests.domain.garments_and_lines import cloth, decoration, demo_shop
from tests.domain.rule_facts import (
    assert_they_name_all_they_read,
    facts_of,
    shop_with,
    situations,
    the_reading,
)

PASSES, NOTES, WARNS, _ = Severity
SHOP = demo_shop()
FILM = SHOP.catalogue.medium_by_id["cut-film"]
PAPER = SHOP.catalogue.medium_by_id["dye-paper"]


def _film(wash_c: int, dots: int) -> Medium:
    return FILM.model_copy(update={"wash_limit_c": wash_c, "iron_dots": dots})


def _label(wash_c: int, dots: int, *, tumble_dry: bool = True) -> CareLabel:
    return CareLabel(wash_c=wash_c, iron_dots=dots, tumble_dry=tumble_dry)


def test_the_merged_label_is_the_least_of_garment_and_film() -> None:
    """Wash 60 with film 40, iron 3 dots with 1: 40 and 1 dot.

    ISO 3758: a label states the most severe safe treatment of the whole.
    """
    care = merged_care(_label(60, 3), (_film(40, 1),))
    assert care == MergedCare(
        40, 1, tumble_dry=True, wash_because=FILM.name, iron_because=FILM.name
    )


def test_the_dots_of_an_iron_are_those_of_the_standard() -> None:
    """ISO 3758:2012: 110, 150 and 200 °C."""
    assert IRON_DOT_C == {1: 110, 2: 150, 3: 200}


def test_a_film_that_bears_more_leaves_the_label_as_it_is() -> None:
    """On a tie the garment is named."""
    care = merged_care(_label(40, 2, tumble_dry=False), (_film(60, 2),))
    assert care == MergedCare(
        40, 2, tumble_dry=False, wash_because="garment", iron_because="garment"
    )


def test_dye_bears_40_c_and_an_iron_of_150_c() -> None:
    """Whatever the paper's own entry says; common practice, no source."""
    generous = PAPER.model_copy(update={"wash_limit_c": 95, "iron_dots": 3})
    assert merged_care(None, (generous,)) == MergedCare(
        40, 2, tumble_dry=None, wash_because="dye print", iron_because="dye print"
    )


def test_do_not_iron_beats_all() -> None:
    """ISO 3758: what one part forbids is forbidden."""
    assert merged_care(_label(60, 3), (_film(60, 2), _film(60, 0))).iron_dots == 0
    assert merged_care(_label(60, 0), (_film(60, 2),)).iron_dots == 0


def test_nothing_has_no_care() -> None:
    """Neither a label nor a film is refused, not guessed."""
    with pytest.raises(ValueError, match="neither"):
        merged_care(None, ())


_labels = st.builds(
    CareLabel,
    wash_c=st.integers(20, 95),
    iron_dots=st.integers(0, 3),
    tumble_dry=st.booleans(),
)
_films = st.lists(st.builds(_film, st.integers(20, 95), st.integers(0, 3)), max_size=4)


@given(_labels, _films)
def test_merging_never_asks_more_of_anything_than_it_bears(
    label: CareLabel, films: list[Medium]
) -> None:
    """The result is some part's own limit and no part's limit is lower, in any order of films."""
    care = merged_care(label, films)
    washes = [label.wash_c, *(film.wash_limit_c for film in films)]
    irons = [label.iron_dots, *(film.iron_dots for film in films)]
    assert (care.wash_c, care.iron_dots) == (min(washes), min(irons))
    assert care.tumble_dry is label.tumble_dry
    turned = merged_care(label, films[::-1])
    assert (turned.wash_c, turned.iron_dots) == (care.wash_c, care.iron_dots)


def test_film_and_dye_are_both_cared_for() -> None:
    """Dye on a film brings the film's limits and those of dye; paper alone does not stay."""
    cared = {id_: [medium.id for medium in cared_for(SHOP.chains[id_])] for id_ in SHOP.chains}
    assert cared["dye-transfer"] == ["dye-paper"]
    assert cared["dye-on-flock-film"] == ["flock-film", "dye-paper"]
    assert cared["cut-film"] == ["cut-film"]


# The rules


@settings(max_examples=100)
@given(situations(), situations())
def test_rules_on_care_name_all_they_read(one: Facts, other: Facts) -> None:
    """The label comes with the blank, the limits with the method."""
    assert_they_name_all_they_read((WASH_LIMIT, IRON_LIMIT), one, other)


def _of(wash_c: int, dots: int) -> Facts:
    shop = shop_with({"cut-film": {"wash_limit_c": wash_c, "iron_dots": dots}})
    garment = shop.garments["classic-cotton-tee", "white"]
    return facts_of(garment, decoration("cut-film"), shop)


@pytest.mark.parametrize(
    ("film_c", "severity", "merged_c"),
    [(95, PASSES, 60), (60, PASSES, 60), (59, NOTES, 59), (30, NOTES, 30), (29, WARNS, 29)],
)
def test_a_wash_label_that_falls_is_told(film_c: int, severity: Severity, merged_c: int) -> None:
    """The blank's label says 60 °C; below the policy's 30 °C the customer is warned."""
    reading = the_reading(WASH_LIMIT, _of(film_c, 2))
    assert (reading.severity, reading.measured) == (severity, merged_c)
    assert severity is PASSES or "60 °C" in reading.reason


def test_a_label_that_is_cool_by_itself_is_no_fault_of_the_film() -> None:
    """A garment that asks for 40 °C keeps its label where the shop would like 50 °C."""
    shop = shop_with({"cut-film": {"wash_limit_c": 60}}, wash_least_c=50)
    facts = facts_of(shop.garments["sport-polyester-tee", "white"], decoration("cut-film"), shop)
    assert the_reading(WASH_LIMIT, facts).severity is PASSES


@pytest.mark.parametrize(
    ("film_dots", "severity", "merged_dots"),
    [(3, PASSES, 3), (2, NOTES, 2), (1, NOTES, 1), (0, NOTES, 0)],
)
def test_an_iron_label_that_falls_is_told(
    film_dots: int, severity: Severity, merged_dots: int
) -> None:
    """The blank's label has three dots; the iron never refuses anything."""
    reading = the_reading(IRON_LIMIT, _of(60, film_dots))
    assert (reading.severity, reading.measured) == (severity, merged_dots)
    assert reading.reason.startswith("Do not iron") is (film_dots == 0)


def test_an_unknown_label_goes_beside_the_films_limit() -> None:
    """Of a garment that is not the shop's, the print's limits are told, and its own label holds."""
    facts = facts_of(cloth(), decoration("dye-on-flock-film"))
    for rule in (WASH_LIMIT, IRON_LIMIT):
        assert the_reading(rule, facts).severity is NOTES
    assert "your garment's own label" in the_reading(WASH_LIMIT, facts).reason
    cool = facts_of(cloth(), decoration("dye-on-flock-film"), shop_with(wash_least_c=40))
    assert the_reading(WASH_LIMIT, cool).severity is WARNS
