"""Rules on the picture and its outline: their edges, and the widths at which they do not refuse."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.artwork import ArtworkMeasures, PaletteColour, ShapeMeasures
from service.domain.chain import Chain, walk
from service.domain.facts import facts_for
from service.domain.methods import Method
from service.domain.rules.artwork import (
    ARTWORK_VISIBLE,
    BACKGROUND_BOX,
    COLOURS_SHOWN,
    PHOTO_ON_CUT,
    RESOLUTION,
    RIGHTS,
    SOFT_EDGES,
)
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.rules.outlines import (
    CUT_COLOURS,
    LOOSE_PIECES,
    SMALLEST_FEATURE,
    SMALLEST_GAP,
)
from service.domain.shop import Policy
from service.domain.wishes import Choice, Decoration, Line
from tests.domain.garments_and_lines import artwork, cloth, demo_shop
from tests.domain.rule_facts import blocks, readings
from tests.domain.rule_situations import Wish, blocks_exactly_outside_its_widths, mixed, wishes

RULES = (
    ARTWORK_VISIBLE,
    COLOURS_SHOWN,
    CUT_COLOURS,
    PHOTO_ON_CUT,
    SMALLEST_FEATURE,
    SMALLEST_GAP,
    LOOSE_PIECES,
    RESOLUTION,
    SOFT_EDGES,
    BACKGROUND_BOX,
    RIGHTS,
)
SIZED = [rule for rule in RULES if Choice.WIDTH in rule.reads]
PASSES, NOTES, WARNS, BLOCKS = Severity
CUT_ONLY, PRINTED_AND_CUT, DYE = "cut-film", "printed-film", "dye-transfer"


def picture(**changes: Any) -> ArtworkMeasures:
    """One red bar, 3,000 px wide, measured in full; keyword arguments change its measures."""
    shapes: dict[str, Any] = {
        "pieces": 1,
        "holes": 0,
        "outline_length": 3.0,
        "smallest_feature": 0.5,
        "smallest_gap": 1.0,
    }
    shapes |= {name: changes.pop(name) for name in list(changes) if name in shapes}
    measured = {"shapes": ShapeMeasures(**shapes), "photo_like": False, **changes}
    return artwork().model_copy(update=measured)


def pixels_wide(width_px: int) -> ArtworkMeasures:
    """The same in that many pixels across."""
    box = artwork().ink_box.model_copy(update={"width": width_px, "height": width_px})
    return picture(width_px=width_px, height_px=width_px, ink_box=box)


def facts_of(method_id: str, art: ArtworkMeasures, width_mm: float = 100.0) -> Facts:
    """One piece in size M by a method of the demo shop."""
    wished = Decoration("front", "art_test", art, width_mm, method_id)
    return facts_for(demo_shop(), Line(cloth(), {"M": 1}, (wished,)), wished, method_id)


def said(rule: Rule, method_id: str, art: ArtworkMeasures, width_mm: float = 100.0) -> Reading:
    """The one thing the rule says."""
    [reading] = readings(rule, facts_of(method_id, art, width_mm))
    return reading


@pytest.mark.parametrize("rule", SIZED, ids=lambda rule: rule.id)
@settings(max_examples=25)
@given(wish=wishes())
def test_a_rule_that_reads_the_width_refuses_exactly_outside_its_widths(
    rule: Rule, wish: Wish
) -> None:
    """``widths`` and the verdict are one and the same, for every method and picture."""
    blocks_exactly_outside_its_widths(rule, wish)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
@settings(max_examples=25)
@given(one=wishes(), other=wishes())
def test_what_a_rule_on_the_picture_says_depends_on_what_it_reads_alone(
    rule: Rule, one: Wish, other: Wish
) -> None:
    """With every other choice changed it says the same, word for word."""
    facts = one.facts()
    changed = mixed(one, other, rule.reads_for(facts.chain)).facts()
    assert readings(rule, changed) == readings(rule, facts)


@settings(max_examples=40)
@given(wish=wishes())
def test_a_rule_that_may_not_refuse_never_does(wish: Wish) -> None:
    """``may_block`` holds on every method and picture."""
    facts = wish.facts()
    for rule in RULES:
        assert rule.may_block or not blocks(rule, facts)


def test_a_film_shows_one_colour_and_a_print_any_number() -> None:
    """A colour counts from 2 % of the ink; common practice, no source."""
    two = (PaletteColour(srgb="#c01020", share=0.98), PaletteColour(srgb="#101010", share=0.02))
    speck = (two[0], PaletteColour(srgb="#101010", share=0.0199))
    assert said(COLOURS_SHOWN, CUT_ONLY, picture(palette=two)).severity is BLOCKS
    assert said(COLOURS_SHOWN, CUT_ONLY, picture(palette=speck)).severity is PASSES
    assert said(COLOURS_SHOWN, DYE, picture(palette=two)).severity is PASSES


def _cutting(*films: str) -> Chain:
    step = {"station": "cutting", "setup_min": 1, "each_min": 1}
    cut = {**step, "kind": "cut", "machine": "plotter", "mirrored": True}
    press = {**step, "kind": "press", "machine": "press", "medium": films[-1]}
    steps = [*({**cut, "medium": film} for film in films), press]
    method = {"id": "films", "name": "Films", "feel": "thick", "operations": steps}
    return walk(demo_shop().catalogue, Method.model_validate(method))


def test_more_than_three_cut_films_are_advised_against() -> None:
    """Three pass and four warn (trade facts, section 7: common practice, no source)."""
    for films, severity in ((1, PASSES), (3, PASSES), (4, WARNS)):
        facts = replace(facts_of(CUT_ONLY, picture()), chain=_cutting(*["cut-film"] * films))
        assert [r.severity for r in readings(CUT_COLOURS, facts)] == [severity]
    assert not readings(CUT_COLOURS, facts_of(DYE, picture()))


def test_a_photograph_is_not_cut_and_one_never_measured_is_warned_of() -> None:
    """Gradients and photographs are not cuttable: common practice, no source."""
    for photo_like, severity in ((True, BLOCKS), (False, PASSES), (None, WARNS)):
        assert said(PHOTO_ON_CUT, CUT_ONLY, picture(photo_like=photo_like)).severity is severity
        assert not readings(PHOTO_ON_CUT, facts_of(PRINTED_AND_CUT, picture(photo_like=photo_like)))


@pytest.mark.parametrize(
    ("method_id", "limit_mm"),
    [
        ("cut-film", 1.0),
        ("blocker-film", 1.5),
        ("printed-film", 2.0),
        ("dye-on-glitter-film", 2.0),
        ("dye-on-flock-film", 2.5),
    ],
)
def test_cut_film_needs_parts_and_gaps_as_wide_as_the_coarsest_film_asks(
    method_id: str, limit_mm: float
) -> None:
    """The limit itself is enough; under it film tears. Limits: common practice, from memory."""
    share = limit_mm / 100
    for rule, art in (
        (SMALLEST_FEATURE, picture(smallest_feature=share)),
        (SMALLEST_GAP, picture(smallest_gap=share)),
    ):
        enough = said(rule, method_id, art, 100)
        assert (enough.severity, enough.limit) == (PASSES, limit_mm)
        too_fine = said(rule, method_id, art, 99)
        assert too_fine.severity is BLOCKS
        assert too_fine.measured == pytest.approx(0.99 * limit_mm)
        assert "100 mm" in too_fine.reason


def test_of_several_films_cut_the_coarsest_decides() -> None:
    """Film that needs 1 mm under glitter that needs 2 mm: common practice, from memory."""
    art = picture(smallest_feature=0.015)
    for films in (("cut-film", "glitter-film"), ("glitter-film", "cut-film")):
        facts = replace(facts_of(CUT_ONLY, art), chain=_cutting(*films))
        assert [(r.severity, r.limit) for r in readings(SMALLEST_FEATURE, facts)] == [(BLOCKS, 2.0)]


def test_print_without_a_blade_only_warns_of_fine_lines() -> None:
    """1 pt, 0.35 mm, for a line and 2 pt, 0.7 mm, for a gap (three guides: no source)."""
    line, gap = picture(smallest_feature=0.0035), picture(smallest_gap=0.007)
    assert said(SMALLEST_FEATURE, DYE, line, 100).severity is PASSES
    assert said(SMALLEST_FEATURE, DYE, line, 99).severity is WARNS
    assert said(SMALLEST_GAP, DYE, gap, 100).severity is PASSES
    assert said(SMALLEST_GAP, DYE, gap, 99).severity is WARNS


def test_an_outline_never_measured_is_never_a_yes_for_a_blade() -> None:
    """Cutting is refused until it is measured, print warns; no width helps."""
    unknown = picture(shapes=None)
    for rule in (SMALLEST_FEATURE, SMALLEST_GAP):
        assert said(rule, CUT_ONLY, unknown).severity is BLOCKS
        assert said(rule, DYE, unknown).severity is WARNS
        assert rule.widths is not None
        least, greatest = rule.widths(facts_of(CUT_ONLY, unknown))
        assert greatest < least
    assert said(LOOSE_PIECES, PRINTED_AND_CUT, unknown).severity is BLOCKS
    assert said(LOOSE_PIECES, CUT_ONLY, unknown).severity is PASSES


def test_a_picture_without_gaps_has_none_too_narrow() -> None:
    """A share of 1 stands for no gap at all, however small the print."""
    assert said(SMALLEST_GAP, CUT_ONLY, picture(smallest_gap=1.0), 0.5).severity is PASSES


def test_pieces_need_a_carrier_or_a_hand_that_lays_them() -> None:
    """No isolated bits on sheets without carrier (from memory); a dozen is a design choice."""
    for pieces, severity in ((1, PASSES), (2, WARNS), (12, WARNS), (13, BLOCKS)):
        art = picture(pieces=pieces)
        assert said(LOOSE_PIECES, PRINTED_AND_CUT, art).severity is severity
        assert said(LOOSE_PIECES, CUT_ONLY, art).severity is PASSES
        assert not readings(LOOSE_PIECES, facts_of(DYE, art))


@pytest.mark.parametrize(
    ("width_px", "width_mm", "ppi", "severity"),
    [
        (3_000, 254, 300.0, PASSES),  # check table, row 41: arithmetic
        (1_200, 280, 108.9, WARNS),  # row 42: arithmetic and bands of section 7
        (2_244, 380, 150.0, NOTES),  # row 43: arithmetic
        (2_000, 254, 200.0, PASSES),
        (1_990, 254, 199.0, NOTES),
        (1_490, 254, 149.0, WARNS),
        (1_000, 254, 100.0, WARNS),
        (990, 254, 99.0, BLOCKS),
    ],
)
def test_pixels_per_inch_fall_into_bands(
    width_px: int, width_mm: float, ppi: float, severity: Severity
) -> None:
    """200 and more are sharp, from 150 noted, from 100 warned of, under it refused."""
    reading = said(RESOLUTION, DYE, pixels_wide(width_px), width_mm)
    assert reading.measured == pytest.approx(ppi, abs=0.1)
    assert reading.severity is severity


@pytest.mark.parametrize(
    ("width_px", "severity"), [(1_000, PASSES), (990, NOTES), (200, NOTES), (199, BLOCKS)]
)
def test_a_cut_outline_of_few_pixels_is_noted_and_of_far_fewer_refused(
    width_px: int, severity: Severity
) -> None:
    """On ten inches: 100 pixels an inch are enough, 20 can be smoothed; design choices."""
    assert said(RESOLUTION, CUT_ONLY, pixels_wide(width_px), 254).severity is severity


def test_an_outline_too_coarse_to_cut_names_the_widest_that_is_not() -> None:
    """100 px at 20 pixels an inch are five inches, 127 mm: arithmetic."""
    facts = facts_of(CUT_ONLY, pixels_wide(100), 300)
    [reading] = readings(RESOLUTION, facts)
    assert (reading.severity, reading.limit) == (BLOCKS, 20)
    assert "at most 127 mm wide" in reading.reason
    assert RESOLUTION.widths is not None
    assert RESOLUTION.widths(facts)[1] == pytest.approx(127)


@settings(max_examples=25)
@given(wish=wishes(), width_px=st.integers(1, 3_000))
def test_pixels_limit_the_width_by_every_method(wish: Wish, width_px: int) -> None:
    """As the law above, on pictures of any number of pixels."""
    art = (pixels_wide(width_px), True)
    few = Wish({**wish.choices, Choice.ARTWORK: art})
    blocks_exactly_outside_its_widths(RESOLUTION, few)


def test_soft_edges_are_warned_of_on_opaque_film_alone() -> None:
    """Above 2 % half see-through: two guides and a design choice, no source."""
    hard, soft = picture(soft_alpha_share=0.02), picture(soft_alpha_share=0.021)
    for method_id, word in ((CUT_ONLY, "blade"), (PRINTED_AND_CUT, "rim")):
        assert said(SOFT_EDGES, method_id, hard).severity is PASSES
        reading = said(SOFT_EDGES, method_id, soft)
        assert reading.severity is WARNS
        assert word in reading.reason
    assert not readings(SOFT_EDGES, facts_of(DYE, soft))


def test_what_fades_over_a_quarter_is_not_cut_but_printed() -> None:
    """A blade finds no edge in a glow: common practice, no source; 25 % is a design choice."""
    edge, fading = picture(soft_alpha_share=0.25), picture(soft_alpha_share=0.251)
    assert said(SOFT_EDGES, CUT_ONLY, edge).severity is WARNS
    refused = said(SOFT_EDGES, CUT_ONLY, fading)
    assert (refused.severity, refused.limit) == (BLOCKS, 25)
    assert "printed method" in refused.reason
    assert said(SOFT_EDGES, PRINTED_AND_CUT, fading).severity is WARNS
    assert not readings(SOFT_EDGES, facts_of(DYE, fading))


def test_what_fades_is_not_cut_from_clear_film_either() -> None:
    """The blade has no edge to follow, whether the film lets light through or not."""
    facts = facts_of(CUT_ONLY, picture(soft_alpha_share=0.3))
    clear = tuple(
        replace(worked, medium=worked.medium.model_copy(update={"opaque": False}))
        for worked in facts.chain.worked
    )
    on_clear = replace(facts, chain=replace(facts.chain, worked=clear))
    assert [r.severity for r in readings(SOFT_EDGES, on_clear)] == [BLOCKS]
    assert SOFT_EDGES.reads_for(on_clear.chain) == {Choice.METHOD, Choice.ARTWORK}


def test_the_share_that_blocks_lies_above_the_share_that_warns() -> None:
    """A policy with the two the other way round is refused."""
    with pytest.raises(ValueError, match=r"soft_alpha_share 0\.3 must lie below"):
        Policy(soft_alpha_share=0.3, soft_alpha_cut_share=0.3)


@pytest.mark.parametrize(
    ("opaque", "soft", "severity"),
    [(0.002, 0.0, PASSES), (0.001, 0.001, PASSES), (0.0019, 0.0, BLOCKS), (0.0, 0.0, BLOCKS)],
)
def test_a_picture_with_next_to_nothing_in_it_is_made_by_no_method(
    opaque: float, soft: float, severity: Severity
) -> None:
    """Under 1 % of it shows: a design choice, no source."""
    art = picture(opaque_share=opaque, soft_alpha_share=soft)
    for method_id in (CUT_ONLY, PRINTED_AND_CUT, DYE):
        assert said(ARTWORK_VISIBLE, method_id, art).severity is severity


@pytest.mark.parametrize(
    ("method_id", "background", "severity"),
    [
        (DYE, None, PASSES),
        (DYE, "#ffffff", NOTES),
        (DYE, "#f0f0f0", WARNS),  # a grey of L* 95 prints
        (DYE, "#ffff00", WARNS),  # L* 97 as white has, but a colour
        (PRINTED_AND_CUT, "#ffffff", WARNS),
        ("dye-on-white-film", "#ffffff", WARNS),  # the film is cut to the box
    ],
)
def test_a_background_is_made_too_unless_dye_leaves_it_out(
    method_id: str, background: str | None, severity: Severity
) -> None:
    """Dye has no white, so a white box vanishes; film shows it. Common practice, no source."""
    art = picture(background_srgb=background)
    assert said(BACKGROUND_BOX, method_id, art).severity is severity


def test_a_background_never_looked_for_is_warned_of() -> None:
    """Pictures measured before backgrounds were may have one."""
    assert said(BACKGROUND_BOX, DYE, picture(shapes=None)).severity is WARNS


def test_nothing_is_made_without_the_right_to_it_declared() -> None:
    """Without permission protected art is refused: common practice, no source."""
    facts = facts_of(DYE, picture())
    assert [r.severity for r in readings(RIGHTS, facts)] == [PASSES]
    undeclared = replace(facts.decoration, rights_declared=False)
    found = readings(RIGHTS, replace(facts, decoration=undeclared))
    assert [reading.severity for reading in found] == [BLOCKS]
