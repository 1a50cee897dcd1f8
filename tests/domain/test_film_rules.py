"""Rules on films: what holds on what, which colours there are, and how the print wears."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings

from service.domain.artwork import ArtworkMeasures
from service.domain.blanks import Finish
from service.domain.chain import Chain, walk
from service.domain.fibres import FibreContent
from service.domain.garments import Garment
from service.domain.media import Pressure
from service.domain.methods import Cover, Operation, OperationKind
from service.domain.rules.build import (
    CLOTH_FINISH,
    COVER_FOR_DYE,
    FILM_BOND,
    FILM_LAYERING,
    LAYER_COUNT,
    MIRRORED_SIDE,
)
from service.domain.rules.contract import Facts, Severity
from service.domain.rules.film import (
    FILM_COLOUR_AVAILABLE,
    FILM_COVER,
    FILM_STRETCH,
    NAP_UNDER_PRESSURE,
    film_area_cm2,
)
from service.domain.wishes import Choice
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop
from tests.domain.rule_facts import (
    assert_they_name_all_they_read,
    facts_of,
    severities,
    shop_with,
    situations,
    the_reading,
)

PASSES, NOTES, WARNS, BLOCKS = Severity
RULES = (
    FILM_BOND,
    CLOTH_FINISH,
    FILM_LAYERING,
    LAYER_COUNT,
    MIRRORED_SIDE,
    COVER_FOR_DYE,
    FILM_COLOUR_AVAILABLE,
    FILM_STRETCH,
    FILM_COVER,
    NAP_UNDER_PRESSURE,
)
FILM_METHODS = [method for method, chain in demo_shop().chains.items() if chain.layers]


@settings(max_examples=100)
@given(situations(), situations())
def test_film_rules_name_all_they_read(one: Facts, other: Facts) -> None:
    """What a rule says hangs on the choices it names for the chain, and on no other."""
    assert_they_name_all_they_read(RULES, one, other)


def test_without_film_there_is_nothing_to_hold_stretch_or_cover() -> None:
    """Dye straight into cloth leaves no film, so rules on films say nothing of it."""
    facts = facts_of(cloth(polyester=100), decoration("dye-transfer"))
    for rule in (FILM_BOND, CLOTH_FINISH, FILM_LAYERING, LAYER_COUNT, FILM_STRETCH, FILM_COVER):
        assert severities(rule, facts) == []
        assert rule.reads_for(facts.chain) == {Choice.METHOD}


# What holds on what


def test_a_film_that_does_not_hold_names_the_film_that_would() -> None:
    """On polyamide the way out is film for polyamide; common practice, no source."""
    reading = the_reading(FILM_BOND, facts_of(cloth(polyamide=100), decoration("cut-film")))
    assert reading.severity is BLOCKS
    assert "A film made for polyamide is the way out." in reading.reason


@pytest.mark.parametrize(("polyamide", "severity"), [(20, PASSES), (21, BLOCKS)])
def test_film_needs_four_fifths_of_the_cloth(polyamide: int, severity: Severity) -> None:
    """80 % is allowed, 79 % is not: the policy's default, a design choice."""
    facts = facts_of(cloth(cotton=100 - polyamide, polyamide=polyamide), decoration("cut-film"))
    assert severities(FILM_BOND, facts) == [severity]


def test_thirds_that_all_hold_are_the_whole_cloth() -> None:
    """Three thirds written as 33.3 % sum to 99.9; a shop that asks for 100 % is still satisfied."""
    third = Decimal("33.3")
    content = FibreContent.of(cotton=third, polyester=third, viscose=third)
    garment = replace(cloth(), face=content, whole=content)
    shop = shop_with(film_bond_percent=100)
    assert severities(FILM_BOND, facts_of(garment, decoration("cut-film"), shop)) == [PASSES]


def _layers(count: int, layers_max: int = 3) -> Facts:
    facts = facts_of(cloth(), decoration("cut-film"), shop_with(layers_max=layers_max))
    return replace(facts, chain=replace(facts.chain, layers=facts.chain.layers * count))


@pytest.mark.parametrize(("films", "severity"), [(1, PASSES), (2, PASSES), (3, NOTES), (4, BLOCKS)])
def test_at_most_three_films_lie_on_one_another(films: int, severity: Severity) -> None:
    """Common practice, no source (five trade texts): two or three layers at most."""
    reading = the_reading(LAYER_COUNT, _layers(films))
    assert (reading.severity, reading.measured, reading.limit) == (severity, films, 3)


@pytest.mark.parametrize(("films", "severity"), [(1, PASSES), (2, BLOCKS)])
def test_a_shop_may_allow_a_single_film(films: int, severity: Severity) -> None:
    """One film is nothing to remark on, even where it is the most."""
    assert severities(LAYER_COUNT, _layers(films, layers_max=1)) == [severity]


def _covered_by(cover: Cover, method_id: str) -> Facts:
    def covered(operation: Operation) -> Operation:
        presses = operation.kind is OperationKind.PRESS
        return operation.model_copy(update={"cover": cover}) if presses else operation

    method = demo_shop().catalogue.method_by_id[method_id]
    operations = tuple(covered(operation) for operation in method.operations)
    chain = walk(demo_shop().catalogue, method.model_copy(update={"operations": operations}))
    return replace(facts_of(cloth(polyester=100), decoration(method_id)), chain=chain)


@pytest.mark.parametrize("method", ["dye-transfer", "dye-on-glitter-film"])
@pytest.mark.parametrize(
    ("cover", "severity"),
    [(Cover.FRESH_PAPER, PASSES), (Cover.NONSTICK_SHEET, WARNS), (Cover.NONE, WARNS)],
)
def test_dye_is_pressed_under_fresh_paper(method: str, cover: Cover, severity: Severity) -> None:
    """A bare non-stick sheet takes dye and ghosts the next garment.

    Common practice, no source (a supplier's test article agrees).
    """
    assert severities(COVER_FOR_DYE, _covered_by(cover, method)) == [severity]


def test_film_without_dye_may_lie_under_a_sheet() -> None:
    """Only dye asks for paper."""
    assert severities(COVER_FOR_DYE, _covered_by(Cover.NONSTICK_SHEET, "cut-film")) == []


# Colours


@pytest.mark.parametrize("method", FILM_METHODS)
def test_each_stocked_colour_and_no_other_is_available(method: str) -> None:
    """What the film on top is stocked in passes; any other colour is refused, naming those."""
    film = demo_shop().chains[method].layers[-1]
    everywhere = {colour.id for medium in demo_shop().catalogue.media for colour in medium.colours}
    stocked = {colour.id for colour in film.colours}
    for colour_id in everywhere:
        facts = facts_of(cloth(), decoration(method, film_colour_id=colour_id))
        reading = the_reading(FILM_COLOUR_AVAILABLE, facts)
        assert reading.severity is (PASSES if colour_id in stocked else BLOCKS)
        assert colour_id in stocked or all(c.name in reading.reason for c in film.colours)


def test_no_colour_asked_for_is_no_wish() -> None:
    """A colour left open passes with film, and without film there is nothing to say."""
    open_, dye = decoration("cut-film"), decoration("dye-transfer")
    assert severities(FILM_COLOUR_AVAILABLE, facts_of(cloth(), open_)) == [PASSES]
    assert severities(FILM_COLOUR_AVAILABLE, facts_of(cloth(), dye)) == []


def test_a_film_colour_does_not_apply_to_dye() -> None:
    """It is noted, and refuses nothing."""
    wished = decoration("dye-transfer", film_colour_id="white")
    assert severities(FILM_COLOUR_AVAILABLE, facts_of(cloth(), wished)) == [NOTES]


# Wear


@pytest.mark.parametrize(
    ("elastane", "severity"), [(4, PASSES), (5, WARNS), (14, WARNS), (15, BLOCKS), (22, BLOCKS)]
)
def test_ordinary_film_cracks_on_stretching_cloth(elastane: int, severity: Severity) -> None:
    """The policy's defaults: warns from 5 % elastane, refuses from 15 %; design choices."""
    garment = cloth(cotton=100 - elastane, elastane=elastane)
    reading = the_reading(FILM_STRETCH, facts_of(garment, decoration("cut-film")))
    assert (reading.severity, reading.measured) == (severity, elastane)
    stretching = facts_of(garment, decoration("stretch-cut-film"))
    assert severities(FILM_STRETCH, stretching) == [PASSES]


def _light(weight_g_m2: float = 140) -> Garment:
    return replace(cloth(), weight_g_m2=weight_g_m2)


def _full(share: float, soft: float = 0.0) -> ArtworkMeasures:
    update = {"opaque_share": share, "soft_alpha_share": soft}
    return artwork(aspect=1.0).model_copy(update=update)


@pytest.mark.parametrize(
    ("weight", "width_mm", "share", "severity"),
    [
        (140, 200, 1.0, PASSES),  # 400 cm²
        (140, 201, 1.0, WARNS),  # 404 cm²
        (159, 300, 0.5, WARNS),  # 450 cm²
        (160, 300, 1.0, PASSES),  # 900 cm² on cloth that is not light
        (140, 300, 0.4, PASSES),  # 360 cm²
    ],
)
def test_large_film_on_light_cloth_is_warned_of(
    weight: float, width_mm: float, share: float, severity: Severity
) -> None:
    """More than 400 cm² below 160 g/m²: the policy's defaults, design choices."""
    wished = decoration("cut-film", width_mm=width_mm, art=_full(share))
    assert severities(FILM_COVER, facts_of(_light(weight), wished)) == [severity]


def test_film_counts_by_what_stays_after_cutting() -> None:
    """200 x 200 mm inked by 30 % in full and 10 % softly leave 160 cm² of 400 (arithmetic)."""
    art = _full(0.3, 0.1)
    for method in ("cut-film", "printed-film", "dye-on-glitter-film"):
        facts = facts_of(_light(), decoration(method, art=art))
        assert film_area_cm2(facts) == pytest.approx(160)
    uncut = replace(facts, chain=replace(facts.chain, worked=()))
    assert film_area_cm2(uncut) == pytest.approx(400)
    assert film_area_cm2(facts_of(_light(), decoration("dye-transfer", art=art))) == 0


def _pressed(method_id: str, pressures: Mapping[OperationKind, Pressure]) -> Chain:
    chain = demo_shop().chains[method_id]
    strikes = tuple(
        replace(
            strike,
            window=strike.window.model_copy(
                update={"pressure": pressures.get(strike.kind, Pressure.LIGHT)}
            ),
        )
        for strike in chain.strikes
    )
    return replace(chain, strikes=strikes)


@pytest.mark.parametrize(
    ("finish", "pressure", "severity"),
    [
        (Finish.BRUSHED, Pressure.FIRM, WARNS),
        (Finish.BRUSHED, Pressure.MEDIUM, PASSES),
        (Finish.PLAIN, Pressure.FIRM, PASSES),
    ],
)
def test_a_firm_press_marks_brushed_cloth(
    finish: Finish, pressure: Pressure, severity: Severity
) -> None:
    """Nap is crushed by firm pressure; common practice, no source."""
    facts = facts_of(cloth("#ffffff", finish), decoration("printed-film"))
    pressed = replace(facts, chain=_pressed("printed-film", {OperationKind.PRESS: pressure}))
    assert severities(NAP_UNDER_PRESSURE, pressed) == [severity]


@pytest.mark.parametrize(
    ("method", "firm", "severity"),
    [
        ("dye-on-flock-film", OperationKind.PRESS, WARNS),
        ("dye-on-flock-film", OperationKind.TACK, PASSES),
        ("dye-on-glitter-film", OperationKind.PRESS, PASSES),
    ],
)
def test_a_firm_press_crushes_pile_beneath_it(
    method: str, firm: OperationKind, severity: Severity
) -> None:
    """Only pile that is already on the cloth is crushed, not the film the stroke fixes.

    Common practice, no source.
    """
    facts = facts_of(cloth(), decoration(method))
    pressed = replace(facts, chain=_pressed(method, {firm: Pressure.FIRM}))
    assert severities(NAP_UNDER_PRESSURE, pressed) == [severity]


def test_the_shops_own_flock_method_spares_the_pile() -> None:
    """The demo shop presses dye on flock lightly."""
    facts = facts_of(cloth(), decoration("dye-on-flock-film"))
    assert severities(NAP_UNDER_PRESSURE, facts) == [PASSES]
