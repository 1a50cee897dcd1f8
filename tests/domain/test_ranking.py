"""The order of working methods, and what is said of each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.look import LookBand
from service.domain.media import Texture
from service.domain.ranking import (
    TRADE_OFFS,
    MethodTraits,
    Profile,
    profile_of,
    rank,
    trade_offs,
    traits_of,
)
from service.domain.rules import Severity
from service.domain.shop import Criterion
from service.domain.verdict import judge
from service.domain.wishes import Line
from tests.domain.garments_and_lines import artwork, decoration, demo_shop

SHOP = demo_shop()
COLOURFUL = artwork("#c01020", "#2040c0", "#f0d020", "#208040")
PRINTED, GLITTER, FLOCK = "printed-film", "dye-on-glitter-film", "dye-on-flock-film"
SAID_ALONE = {"cannot-be-felt", "sparkles", "velvety", "aged-look"}
BANDS = list(LookBand)


def _demo_profile(method_id: str, blank: str, colour: str, pieces: int = 12) -> Profile:
    wished = decoration(method_id, art=COLOURFUL)
    line = Line(SHOP.garments[blank, colour], {"M": pieces}, (wished,))
    verdict = judge(SHOP, line, wished, method_id)
    warnings = len(verdict.at_least(Severity.WARNS))
    return profile_of(SHOP, line, wished, method_id, verdict.look, warnings)


def _said(profile: Profile, profiles: list[Profile]) -> set[str]:
    return {trade_off.id for trade_off in trade_offs(profile, profiles)}


@pytest.fixture(scope="module", name="three")
def _three() -> list[Profile]:
    """Printed film, dye on glitter and dye on flock, of several colours on black cotton."""
    return [_demo_profile(id_, "classic-cotton-tee", "black") for id_ in (PRINTED, GLITTER, FLOCK)]


def test_three_ways_work_on_dark_cotton() -> None:
    """Artwork of several colours on black cotton can be made in all three ways."""
    # Common practice, no source.
    for method_id in (PRINTED, GLITTER, FLOCK):
        wished = decoration(method_id, art=COLOURFUL)
        line = Line(SHOP.garments["classic-cotton-tee", "black"], {"M": 12}, (wished,))
        assert judge(SHOP, line, wished, method_id).works


def test_printed_film_is_the_thinnest_with_fewest_tools_and_steps(three: list[Profile]) -> None:
    """Without a carrier it is thinnest to the touch of the three, with fewest tools and steps."""
    # Common practice, no source.
    assert {"thinnest", "fewest-tools", "fewest-steps"} <= _said(three[0], three)
    assert [p.traits.thickness_um for p in three] == sorted(p.traits.thickness_um for p in three)


def test_glitter_alone_sparkles(three: list[Profile]) -> None:
    """Dye on glitter film sparkles and the other two do not."""
    # Common practice, no source.
    assert ["sparkles" in _said(profile, three) for profile in three] == [False, True, False]


def test_flock_is_velvety_and_less_vivid_with_an_aged_look(three: list[Profile]) -> None:
    """Dye on flock is less vivid than the other two, looks aged and has a soft hand."""
    # Common practice, no source.
    assert {"velvety", "aged-look", "least-vivid"} <= _said(three[2], three)
    assert not {"velvety", "aged-look", "least-vivid"} & (
        _said(three[0], three) | _said(three[1], three)
    )


def test_dye_in_the_cloth_cannot_be_felt_and_leaves_no_film_the_thinnest() -> None:
    """Dye on white polyester adds nothing to the touch, so no film is called the thinnest."""
    dye, film = (
        _demo_profile(id_, "sport-polyester-tee", "white") for id_ in ("dye-transfer", PRINTED)
    )
    assert "cannot-be-felt" in _said(dye, [dye, film])
    assert dye.traits.thickness_um == 0
    assert "thinnest" not in _said(dye, [dye, film]) | _said(film, [dye, film])


def test_dye_on_a_blend_looks_aged_and_on_polyester_does_not() -> None:
    """Half the fibres of a half blend hold no dye, all those of polyester do."""
    blend = _demo_profile("dye-transfer", "half-blend-tee", "white")
    polyester = _demo_profile("dye-transfer", "sport-polyester-tee", "white")
    assert "aged-look" in _said(blend, [blend])
    assert "aged-look" not in _said(polyester, [polyester])


def test_film_under_the_dye_is_all_that_is_on_the_cloth() -> None:
    """The paper that carried the dye adds neither thickness nor texture."""
    traits = traits_of(SHOP, GLITTER)
    glitter = SHOP.catalogue.medium_by_id["glitter-film"]
    assert traits.thickness_um == glitter.thickness_um
    assert set(traits.textures) == {Texture.GLITTER}
    assert traits_of(SHOP, GLITTER) is traits


def test_a_first_wish_for_feel_puts_the_thinnest_first(three: list[Profile]) -> None:
    """By feel alone the three come by their films' thickness."""
    assert [p.method_id for p in rank(three, [Criterion.FEEL])] == [PRINTED, GLITTER, FLOCK]


def _profile(position: int = 0, **changes: Any) -> Profile:
    traits = {
        name: changes.pop(name)
        for name in list(changes)
        if name in MethodTraits.__dataclass_fields__
    }
    plain = Profile(
        method_id=f"method-{position}",
        traits=MethodTraits(
            position=position,
            thickness_um=100.0,
            operations=8,
            tools=5,
            strikes=2,
            textures=frozenset({Texture.SMOOTH}),
            dyes_cloth=False,
            least_film_dye_share=1.0,
        ),
        band=LookBand.FAITHFUL,
        mean_delta_e=2.0,
        vividness=120.0,
        warnings=0,
        piece_cost=Decimal("8.30"),
        days=3,
        part_dyed=False,
    )
    return replace(plain, traits=replace(plain.traits, **traits), **changes)


few = st.integers(0, 2)
profile_lists = st.lists(
    st.fixed_dictionaries(
        {
            "thickness_um": few.map(lambda step: step * 40.0),
            "operations": few,
            "tools": few,
            "strikes": few,
            "band": st.sampled_from(BANDS),
            "mean_delta_e": few.map(lambda step: step * 0.6),
            "vividness": few.map(lambda step: step * 5.0),
            "warnings": few,
            "piece_cost": st.integers(0, 1_200).map(lambda cents: Decimal(cents) / 100),
            "days": few,
            "part_dyed": st.booleans(),
        }
    ),
    max_size=5,
).map(lambda drawn: [_profile(position, **changes) for position, changes in enumerate(drawn)])
"""Profiles of one catalogue, close enough together to tie often."""

orders = st.permutations(list(Criterion)).flatmap(
    lambda every: st.integers(1, len(every)).map(lambda count: every[:count])
)


@settings(max_examples=40)
@given(profiles=profile_lists, order=orders, data=st.data())
def test_ranking_keeps_all_and_heeds_no_order_of_asking(
    profiles: list[Profile], order: list[Criterion], data: st.DataObject
) -> None:
    """Every profile comes once, and the same list comes however the profiles were given."""
    ranked = rank(profiles, order)
    assert sorted(p.traits.position for p in ranked) == list(range(len(profiles)))
    assert rank(data.draw(st.permutations(profiles)), order) == ranked


@settings(max_examples=40)
@given(profiles=profile_lists, order=orders)
def test_the_first_criterion_is_never_overruled(
    profiles: list[Profile], order: list[Criterion]
) -> None:
    """No method stands behind one that is worse by the first criterion.

    Prices count as worse from a tenth on: they are read to two figures.
    """
    for better, worse in pairwise(rank(profiles, order)):
        match order[0]:
            case Criterion.LOOK:
                looks = [(BANDS.index(p.band), p.warnings) for p in (better, worse)]
                assert looks == sorted(looks)
            case Criterion.PRICE:
                assert better.piece_cost <= worse.piece_cost * Decimal("1.11")
            case Criterion.DAY:
                assert better.days <= worse.days
            case Criterion.FEEL:
                assert better.traits.thickness_um <= worse.traits.thickness_um


@pytest.mark.parametrize(
    ("order", "first"),
    [
        ([Criterion.LOOK, Criterion.PRICE], 1),
        ([Criterion.PRICE, Criterion.LOOK], 2),
        ([Criterion.DAY, Criterion.LOOK], 0),
        ([Criterion.FEEL, Criterion.LOOK], 3),
    ],
)
def test_the_shops_order_decides(order: list[Criterion], first: int) -> None:
    """Each of four methods is best by one criterion and first where that one comes first."""
    profiles = [
        _profile(0, days=1, warnings=1),
        _profile(1),
        _profile(2, piece_cost=Decimal("4.10"), band=LookBand.NEAR),
        _profile(3, thickness_um=40.0, warnings=2),
    ]
    assert rank(profiles, order)[0].traits.position == first


def test_a_raw_colour_difference_swallows_nothing() -> None:
    """Within a band the cheaper comes first, however little the colours of the other are nearer."""
    near, cheap = _profile(0, mean_delta_e=1.0), _profile(1, piece_cost=Decimal("6.00"))
    assert rank([near, cheap], [Criterion.LOOK, Criterion.PRICE]) == [cheap, near]


def test_prices_alike_to_two_figures_leave_the_choice_to_the_next() -> None:
    """8.31 and 8.34 are alike and the day decides; 8.31 and 8.46 are not."""
    later = _profile(0, piece_cost=Decimal("8.31"), days=5)
    alike = _profile(1, piece_cost=Decimal("8.34"))
    dearer = _profile(2, piece_cost=Decimal("8.46"))
    order = [Criterion.PRICE, Criterion.DAY]
    assert rank([later, alike, dearer], order) == [alike, later, dearer]
    assert rank([alike, _profile(3, piece_cost=Decimal(0))], order)[0].piece_cost == 0


def test_fewest_operations_then_the_catalogues_order_break_ties() -> None:
    """All criteria equal: fewer steps first, and of equals the one listed first."""
    long, second, first = _profile(0, operations=9), _profile(2), _profile(1)
    assert rank([long, second, first], list(Criterion)) == [first, second, long]


MEASURES: dict[str, Callable[[Profile], Decimal | float]] = {
    "nearest-colours": lambda profile: profile.mean_delta_e,
    "least-vivid": lambda profile: profile.vividness,
    "thinnest": lambda profile: profile.traits.thickness_um,
    "lowest-price": lambda profile: profile.piece_cost,
    "soonest": lambda profile: profile.days,
    "fewest-steps": lambda profile: profile.traits.operations,
    "fewest-tools": lambda profile: profile.traits.tools,
    "fewest-strikes": lambda profile: profile.traits.strikes,
}


@settings(max_examples=40)
@given(profiles=profile_lists)
def test_superlatives_are_true_and_said_of_one_alone(profiles: list[Profile]) -> None:
    """What is called least is the only one with the least of the number it is about."""
    for profile in profiles:
        for id_ in _said(profile, profiles) - SAID_ALONE:
            numbers = [MEASURES[id_](one) for one in profiles]
            least = MEASURES[id_](profile)
            assert least == min(numbers)
            assert numbers.count(least) == 1


@settings(max_examples=40)
@given(profiles=profile_lists, at=st.integers(0, 4))
def test_equals_earn_no_superlative(profiles: list[Profile], at: int) -> None:
    """A twin under another name takes every superlative away from both."""
    if at >= len(profiles):
        return
    own = profiles[at]
    twin = replace(own, method_id="twin", traits=replace(own.traits, position=99))
    assert _said(own, [*profiles, twin]) <= SAID_ALONE
    assert _said(twin, [*profiles, twin]) <= SAID_ALONE


@settings(max_examples=40)
@given(profiles=profile_lists)
def test_what_is_said_does_not_hang_on_names(profiles: list[Profile]) -> None:
    """Methods under other names are told apart in the same words; the only way by none."""
    renamed = [replace(p, method_id=f"other-{p.traits.position % 3}") for p in profiles]
    said = [trade_offs(p, profiles) for p in profiles]
    assert [trade_offs(p, renamed) for p in renamed] == said
    assert all(_said(p, [p]) <= SAID_ALONE for p in profiles)


@pytest.mark.parametrize(
    ("id_", "changes"),
    [
        ("nearest-colours", {"mean_delta_e": 1.0}),
        ("least-vivid", {"vividness": 100.0}),
        ("thinnest", {"thickness_um": 99.0}),
        ("lowest-price", {"piece_cost": Decimal("8.10")}),
        ("soonest", {"days": 2}),
        ("fewest-steps", {"operations": 7}),
        ("fewest-tools", {"tools": 4}),
        ("fewest-strikes", {"strikes": 1}),
        ("sparkles", {"textures": frozenset({Texture.GLITTER})}),
        ("velvety", {"textures": frozenset({Texture.FLOCK})}),
        ("aged-look", {"part_dyed": True}),
        ("cannot-be-felt", {"dyes_cloth": True, "thickness_um": 0.0}),
    ],
)
def test_each_thing_said_has_its_one_cause(id_: str, changes: dict[str, object]) -> None:
    """A method that differs from its like in one fact alone is said to differ in that alone."""
    one, like = _profile(0, **changes), _profile(1)
    assert _said(one, [one, like]) == {id_}
    assert _said(like, [one, like]) == set()


def test_differences_too_small_to_see_are_not_named() -> None:
    """Colours nearer by half a unit, less vivid by five, cheaper by a cent: nothing is said."""
    one = _profile(0, mean_delta_e=1.5, vividness=115.0, piece_cost=Decimal("8.29"))
    assert _said(one, [one, _profile(1)]) == set()


def test_everything_said_has_an_id_and_words_of_its_own() -> None:
    """Twelve things may be said, no two with the same id or the same words."""
    assert len({said.id for said in TRADE_OFFS}) == len(TRADE_OFFS) == 12
    assert len({said.words for said in TRADE_OFFS}) == len(TRADE_OFFS)
