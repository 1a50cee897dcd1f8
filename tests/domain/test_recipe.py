"""Press settings: inside every limit, nearest to the best; and a recipe for every operation."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.chain import Strike
from service.domain.fibres import Fibre, FibreContent
from service.domain.machines import Press
from service.domain.media import Pressure, PressWindow
from service.domain.methods import Cover, OperationKind
from service.domain.recipe import (
    OperationRecipe,
    StrikeSettings,
    cloth_ceiling_c,
    fahrenheit,
    operation_recipes,
    strike_settings,
)
from service.domain.shop import Policy
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop
from tests.domain.heated_wishes import (
    BLACK,
    METHODS,
    RED,
    WHITE,
    HeatedWish,
    contents,
    heated_wishes,
    of_content,
)
from tests.domain.rule_facts import facts_of, shop_with


@pytest.mark.parametrize(
    ("temp_f", "temp_c"), [(400, 204.4), (385, 196.1), (320, 160.0), (280, 137.8)]
)
def test_settings_in_fahrenheit(temp_f: float, temp_c: float) -> None:
    """The settings presses are sold with, to a tenth of a kelvin (arithmetic)."""
    assert fahrenheit(temp_c) == pytest.approx(temp_f, abs=0.1)


@pytest.mark.parametrize(
    ("percents", "ceiling_c", "fibre"),
    [
        ({"cotton": 100}, 205, Fibre.COTTON),
        ({"polyester": 100}, 205, Fibre.POLYESTER),
        ({"polyester": 65, "viscose": 35}, 180, Fibre.VISCOSE),
        ({"cotton": 95, "wool": 5}, 150, Fibre.WOOL),
        ({"cotton": 96, "wool": 4}, 205, Fibre.COTTON),
        ({"cotton": 80, "elastane": 20}, 205, Fibre.COTTON),
        ({"cotton": 79, "elastane": 21}, 160, Fibre.ELASTANE),
        ({"polyamide": 80, "elastane": 20}, 150, Fibre.POLYAMIDE),
        ({"acrylic": 100}, 135, Fibre.ACRYLIC),
        ({"acetate": 100}, 140, Fibre.ACETATE),
        ({"triacetate": 100}, 180, Fibre.TRIACETATE),
    ],
)
def test_the_weakest_fibre_that_counts_sets_the_ceiling(
    percents: dict[str, int], ceiling_c: float, fibre: Fibre
) -> None:
    """Fibres count from 5 %, elastane above 20 %; ceilings for strokes up to 60 s, from memory."""
    assert cloth_ceiling_c(FibreContent.of(**percents), Policy()) == (ceiling_c, fibre)


def test_dye_on_white_polyester_is_set_to_200_c_for_60_s() -> None:
    """190 to 204 °C, 45 to 60 s, mirrored (five trade guides)."""
    facts = facts_of(cloth(WHITE, polyester=100), "dye-transfer")
    recipes = operation_recipes(facts.chain, facts.settings)
    (printed,) = (r for r in recipes if r.kind is OperationKind.PRINT)
    (pressed,) = (r for r in recipes if r.kind is OperationKind.PRESS)
    assert printed.mirrored is True
    assert (pressed.set_c, pressed.dwell_s) == (200, 60)
    assert pressed.set_f == pytest.approx(392)
    assert pressed.cover is Cover.FRESH_PAPER


def test_dye_on_glitter_goes_in_the_order_of_the_hands() -> None:
    """Base cut mirrored; pre-press, base, dye in that order; dye paper mirrored; fresh paper.

    Base at 199 °C for 10 to 15 s, dye at 199 °C for 60 s. Common practice, no source.
    """
    facts = facts_of(cloth(BLACK, cotton=100), "dye-on-glitter-film")
    recipes = operation_recipes(facts.chain, facts.settings)
    pre_press, base, dye = (recipe for recipe in recipes if recipe.heated)
    assert [r.kind for r in (pre_press, base, dye)] == ["pre_press", "tack", "press"]
    assert (base.set_c, dye.set_c, dye.dwell_s, dye.cover) == (199, 199, 60, "fresh_paper")
    assert base.dwell_s is not None
    assert 10 <= base.dwell_s <= 15
    assert {r.mirrored for r in recipes if r.kind in ("cut", "print")} == {True}


@pytest.mark.parametrize(("method", "mirrored"), [("printed-film", False), ("cut-film", True)])
def test_the_recipe_says_which_way_round(method: str, mirrored: bool) -> None:  # noqa: FBT001
    """Printable film is worked from its face, carrier film from its back; common practice."""
    facts = facts_of(cloth(), method)
    recipes = operation_recipes(facts.chain, facts.settings)
    assert {r.mirrored for r in recipes if r.kind in ("cut", "print")} == {mirrored}
    assert {r.mirrored for r in recipes if r.kind not in ("cut", "print")} == {None}


@pytest.mark.parametrize("method", METHODS)
def test_every_operation_has_a_recipe(method: str) -> None:
    """In the method's order, with its own station, machine, medium and wait."""
    facts = facts_of(cloth(polyester=60, cotton=40), method)
    operations = facts.chain.method.operations
    recipes = operation_recipes(facts.chain, facts.settings)
    assert [r.index for r in recipes] == list(range(len(operations)))
    for recipe, operation in zip(recipes, operations, strict=True):
        for field in ("kind", "station", "machine", "medium", "mirrored", "wait_min"):
            assert getattr(recipe, field) == getattr(operation, field)
        _agrees_with_its_strike(recipe, facts.settings)


def _agrees_with_its_strike(recipe: OperationRecipe, entries: tuple[StrikeSettings, ...]) -> None:
    entry = next((e for e in entries if e.strike.step == recipe.index), None)
    assert recipe.heated == (entry is not None)
    if entry is None:
        cold = (recipe.set_c, recipe.set_f, recipe.dwell_s, recipe.pressure, recipe.cover)
        assert cold == (None,) * 5
        assert (recipe.peel is None) == (recipe.kind is not OperationKind.PEEL)
        assert recipe.has_room
    else:
        assert (recipe.set_c, recipe.peel) == (entry.set_c, entry.peel)
        assert len(recipe.intervals) == len(entry.limits)
        assert recipe.has_room == (entry.set_c is not None)


def test_a_carrier_is_peeled_as_its_film_says() -> None:
    """The peeling after a stroke says hot, warm or cold."""
    facts = facts_of(cloth(), "cut-film")
    recipes = operation_recipes(facts.chain, facts.settings)
    (peel,) = (r for r in recipes if r.kind is OperationKind.PEEL)
    assert peel.peel == demo_shop().catalogue.medium_by_id["cut-film"].press.peel


def test_an_empty_intersection_shows_its_intervals_and_no_setting() -> None:
    """Film from 150 °C on acrylic up to 135 °C."""
    facts = facts_of(cloth(acrylic=100), "cut-film")
    recipes = operation_recipes(facts.chain, facts.settings)
    pressed = [r for r in recipes if r.kind is OperationKind.PRESS]
    for recipe in pressed:
        assert not recipe.has_room
        settings_ = (recipe.set_c, recipe.set_f, recipe.dwell_s, recipe.pressure)
        assert settings_ == (None,) * 4
        words = [interval.words() for interval in recipe.intervals]
        assert "the acrylic in the cloth up to 135 °C" in words
        assert "its own press window 150 to 165 °C" in words
    assert all(r.has_room for r in recipes if r.kind is not OperationKind.PRESS)


@pytest.mark.parametrize(("percent", "dwell_s"), [(4, 60), (5, 45), (20, 45)])
def test_elastane_shortens_a_stroke(percent: int, dwell_s: float) -> None:
    """Dye takes 30 to 60 s, elastane from 5 % on bears 45 s; from memory."""
    content = FibreContent.of(polyester=100 - percent, elastane=percent)
    entry = facts_of(of_content(content), "dye-transfer").settings[-1]
    assert (entry.set_c, entry.dwell_s) == (200, dwell_s)


def test_a_stroke_that_cannot_be_short_enough_has_no_setting() -> None:
    """Printed film takes 60 s at least; the least it takes is shown."""
    facts = facts_of(of_content(FibreContent.of(cotton=95, elastane=5)), "printed-film")
    entry = next(e for e in facts.settings if e.strike.medium is not None)
    assert (entry.set_c, entry.dwell_s, entry.max_dwell_s) == (None, 60, 45)
    assert not entry.dwell_has_room
    assert entry.asked_c == entry.min_set_c


def test_a_light_film_on_bleeding_cloth_is_set_below_the_onset() -> None:
    """By the press's error below where dye rises; dark film is set to its best."""
    for colour, set_c in (("white", 126), ("black", 128)):
        wished = decoration("low-heat-cut-film", art=artwork(WHITE), film_colour_id=colour)
        cool = shop_with(migration_onset_c=130.0)
        facts = facts_of(cloth(RED, polyester=100), wished, cool)
        assert {e.set_c for e in facts.settings if e.strike.medium is not None} == {set_c}


def test_settings_follow_the_policy_in_force() -> None:
    """What was worked out under one policy is not handed out under another."""
    garment = of_content(FibreContent.of(polyester=95, elastane=5))
    for longest in (45.0, 40.0, 45.0):
        facts = facts_of(garment, "dye-transfer", shop_with(elastane_dwell_s=longest))
        assert facts.settings[-1].dwell_s == longest


@st.composite
def _strikes(draw: st.DrawFn) -> Strike:
    chain = demo_shop().chains["cut-film"]
    template = chain.strikes[-1]
    low, best, high = sorted(draw(st.lists(st.integers(90, 215), min_size=3, max_size=3)))
    short, usual, long = sorted(draw(st.lists(st.integers(1, 90), min_size=3, max_size=3)))
    window = PressWindow(
        temp_min_c=low,
        temp_max_c=high,
        best_temp_c=best,
        dwell_min_s=short,
        dwell_max_s=long,
        best_dwell_s=usual,
        pressure=Pressure.MEDIUM,
    )
    changes = {
        "temp_error_k": draw(st.integers(0, 10)),
        "ceiling_c": draw(st.integers(120, 230)),
    }
    press = Press.model_validate({**template.press.model_dump(), **changes})
    film = chain.layers[0].model_copy(update={"withstands_c": float(draw(st.integers(100, 220)))})
    beneath = (film,) if draw(st.booleans()) else ()
    return replace(template, window=window, press=press, beneath=beneath)


def _allowed(strike: Strike, content: FibreContent, set_c: int) -> bool:
    """Every limit, stated one by one and without the code that is tested."""
    policy, error = Policy(), strike.press.temp_error_k
    coolest, hottest = set_c - error, set_c + error
    percents = {share.fibre: share.percent for share in content.shares}
    ceiling, _ = cloth_ceiling_c(content, policy)
    melts_low = percents.keys() & {
        Fibre.POLYPROPYLENE, Fibre.POLYLACTIDE, Fibre.MODACRYLIC, Fibre.CHLOROFIBRE,
        Fibre.POLYETHYLENE,
    }  # fmt: skip
    lowest = {Fibre.POLYETHYLENE: 90, Fibre.CHLOROFIBRE: 60}
    return (
        coolest >= strike.window.temp_min_c
        and hottest <= strike.window.temp_max_c
        and hottest <= ceiling
        and all(hottest <= film.withstands_c for film in strike.beneath)
        and all(hottest <= lowest.get(fibre, 110) for fibre in melts_low)
        and set_c <= strike.press.ceiling_c
    )


@settings(max_examples=80)
@given(strike=_strikes(), content=contents())
def test_the_setting_is_the_allowed_one_nearest_to_the_best(
    strike: Strike, content: FibreContent
) -> None:
    """Against a trial of every whole degree and second; all limits here are whole."""
    chain = replace(demo_shop().chains["cut-film"], strikes=(strike,), layers=())
    (entry,) = strike_settings(chain, of_content(content), {}, Policy())
    elastane = any(share.fibre is Fibre.ELASTANE and share.percent >= 5 for share in content.shares)
    window = strike.window
    dwells = [
        s for s in range(1, 91)
        if window.dwell_min_s <= s <= window.dwell_max_s and not (elastane and s > 45)
    ]  # fmt: skip
    temps = [c for c in range(20, 261) if _allowed(strike, content, c)]
    if not temps or not dwells:
        assert entry.set_c is None
    else:
        assert entry.set_c == min(temps, key=lambda c: abs(c - window.best_temp_c))
        assert entry.dwell_s == min(dwells, key=lambda s: abs(s - window.best_dwell_s))


@settings(max_examples=60)
@given(wish=heated_wishes())
def test_settings_lie_inside_every_interval_shown(wish: HeatedWish) -> None:
    """With the press's error on both sides; °F and °C of a recipe are one temperature."""
    facts = wish.facts()
    for recipe, entry in (
        (recipe, entry)
        for recipe in operation_recipes(facts.chain, facts.settings)
        for entry in facts.settings
        if entry.strike.step == recipe.index and recipe.set_c is not None
    ):
        assert recipe.set_c is not None
        assert recipe.set_f is not None
        assert (recipe.set_f - 32) * 5 / 9 == pytest.approx(recipe.set_c, abs=1e-9)
        error = entry.strike.press.temp_error_k
        for interval in recipe.intervals:
            slack = 0 if interval.because == "the press" else error
            assert recipe.set_c + slack <= interval.greatest_c
            assert interval.least_c is None or recipe.set_c - slack >= interval.least_c
        window = entry.strike.window
        assert recipe.dwell_s is not None
        assert window.dwell_min_s <= recipe.dwell_s <= window.dwell_max_s
