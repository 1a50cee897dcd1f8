"""Rules on size: their edges, and the print widths at which they do not refuse."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.compiled import compile_catalogue
from service.domain.facts import facts_for
from service.domain.rules.contract import Rule, Severity
from service.domain.rules.geometry import (
    CHEST_SHARE,
    MEDIUM_SIZE,
    PLACEMENT_AREA,
    PLACEMENT_OBSTACLES,
    PLATEN,
    TINY_PRINT,
)
from service.domain.wishes import Choice, Decoration, Line
from service.domain.work import misfits, widest_on_media
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop
from tests.domain.rule_facts import blocks, readings
from tests.domain.rule_situations import (
    BLANKS,
    Wish,
    blocks_exactly_outside_its_widths,
    mixed,
    wishes,
)
from tests.domain.shops import tiny_media, tiny_shop

RULES = (PLACEMENT_AREA, CHEST_SHARE, PLACEMENT_OBSTACLES, PLATEN, MEDIUM_SIZE, TINY_PRINT)
SIZED = [rule for rule in RULES if Choice.WIDTH in rule.reads]


def _wish(**chosen: object) -> Wish:
    choices = {
        Choice.METHOD: "printed-film",
        Choice.BLANK: BLANKS[1],
        Choice.COLOUR: "#ffffff",
        Choice.PLACEMENT: "front",
        Choice.WIDTH: 100.0,
        Choice.SIZES: ("S",),
        Choice.ARTWORK: (artwork(), True),
    }
    return Wish({**choices, **{Choice[name.upper()]: value for name, value in chosen.items()}})


def _severities(rule: Rule, wish: Wish) -> list[Severity]:
    return [reading.severity for reading in readings(rule, wish.facts())]


@pytest.mark.parametrize("rule", SIZED, ids=lambda rule: rule.id)
@settings(max_examples=25)
@given(wish=wishes())
def test_a_rule_on_size_refuses_exactly_outside_its_widths(rule: Rule, wish: Wish) -> None:
    """``widths`` and the verdict are one and the same, on every blank, method and picture."""
    blocks_exactly_outside_its_widths(rule, wish)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
@settings(max_examples=25)
@given(one=wishes(), other=wishes())
def test_what_a_rule_on_size_says_depends_on_what_it_reads_alone(
    rule: Rule, one: Wish, other: Wish
) -> None:
    """With every other choice changed it says the same, word for word."""
    facts = one.facts()
    changed = mixed(one, other, rule.reads_for(facts.chain)).facts()
    assert readings(rule, changed) == readings(rule, facts)


@pytest.mark.parametrize(
    ("width_mm", "aspect", "unit"),
    [
        (150, 400 / 150, None),
        (150.2, 1, "mm wide"),
        (100, 4, None),
        (100, 4.01, "mm high"),
    ],
)
def test_a_print_as_large_as_its_placement_fits_and_no_larger(
    width_mm: float, aspect: float, unit: str | None
) -> None:
    """In 150 x 400 mm, the limit itself is allowed, in width and in height."""
    wish = _wish(
        blank=BLANKS[0], width=float(width_mm), artwork=(artwork(aspect=float(aspect)), True)
    )
    found = readings(PLACEMENT_AREA, wish.facts())
    assert [r.unit for r in found if r.severity is Severity.BLOCKS] == ([unit] if unit else [])


def _on_youth_extra_small(width_mm: float) -> list[tuple[Severity, object]]:
    garment = demo_shop().garments["youth-cotton-tee", "white"]
    wished = Decoration("front", "art_test", artwork(), width_mm, "printed-film")
    line = Line(garment, {"XS": 1}, (wished,))
    facts = facts_for(demo_shop(), line, wished, "printed-film")
    return [(reading.severity, reading.limit) for reading in readings(CHEST_SHARE, facts)]


def test_a_print_wider_than_its_share_of_the_half_chest_is_refused() -> None:
    """320 mm on youth XS, half chest 406 mm: above 0.60 x 406 = 243.6 mm (check table, row 53).

    The share is a design choice, the half chest common practice, no source.
    """
    [(severity, limit)] = _on_youth_extra_small(320)
    assert severity is Severity.BLOCKS
    assert limit == pytest.approx(243.6)
    assert _on_youth_extra_small(243.6)[0][0] is Severity.PASSES
    assert _on_youth_extra_small(243.7)[0][0] is Severity.BLOCKS


def test_the_smallest_chest_of_the_sizes_ordered_decides() -> None:
    """Sizes S, M and L have half chests of 300, 330 and 360 mm: S alone refuses 190 mm."""
    wish = _wish(blank=BLANKS[0], sizes=("S", "M", "L"), width=190.0)
    found = {r.size: r.severity for r in readings(CHEST_SHARE, wish.facts())}
    assert found == {"S": Severity.BLOCKS, "M": Severity.PASSES, "L": Severity.PASSES}


def test_a_bag_has_no_chest() -> None:
    """A tote of 380 mm takes prints of 200 to 280 mm (common practice, no source), and so here."""
    assert _severities(CHEST_SHARE, _wish(blank=BLANKS[2], width=280.0)) == [Severity.PASSES]


def test_a_garment_the_customer_brings_has_a_chest() -> None:
    """No blank of the shop stands for it, so its own half chest of 510 mm decides."""
    wished = decoration("printed-film", width_mm=310)
    brought = replace(cloth(), blank_id=None, colour_id=None)
    facts = facts_for(demo_shop(), Line(brought, {"M": 1}, (wished,)), wished, "printed-film")
    assert blocks(CHEST_SHARE, facts)


def test_the_shop_refuses_no_placement_of_its_own_for_its_width() -> None:
    """Every placement of the demo shop can be filled in every size."""
    for garment in demo_shop().garments.values():
        for placement in garment.placements.values():
            for size, area in placement.areas.items():
                wished = Decoration(placement.id, "art_test", artwork(), area.width_mm)
                line = Line(garment, {size: 1}, (wished,))
                assert not blocks(CHEST_SHARE, facts_for(demo_shop(), line, wished, "cut-film"))


@pytest.mark.parametrize(
    ("width_mm", "aspect", "severity"),
    [
        (390, 300 / 390, Severity.NOTES),
        (300, 390 / 300, Severity.PASSES),
        (360, 480 / 360, Severity.PASSES),
        (480, 360 / 480, Severity.NOTES),
        (481, 360 / 481, Severity.BLOCKS),
        (480, 361 / 480, Severity.BLOCKS),
    ],
)
def test_a_print_fits_the_platen_straight_or_turned(
    width_mm: float, aspect: float, severity: Severity
) -> None:
    """On a platen of 380 x 500 mm, 360 x 480 usable, 390 x 300 fits turned (check table, row 54).

    The edge of 10 mm on each side: from memory, no source.
    """
    [press] = tiny_shop().presses
    press = press.model_copy(update={"platen_width_mm": 380.0, "platen_length_mm": 500.0})
    shop = compile_catalogue(tiny_shop(presses=(press,)), "test")
    picture = (artwork(aspect=aspect), True)
    wish = _wish(method="cut-film", width=float(width_mm), artwork=picture)
    assert [r.severity for r in readings(PLATEN, wish.facts(shop))] == [severity]


def test_a_zip_refuses_and_a_seam_warns() -> None:
    """What is hard keeps the platen off; a seam leaves a ridge. Common practice, no source."""
    zipped = _severities(PLACEMENT_OBSTACLES, _wish(placement="zipped"))
    assert zipped == [Severity.BLOCKS, Severity.WARNS]
    assert _severities(PLACEMENT_OBSTACLES, _wish()) == [Severity.PASSES]


@settings(max_examples=100)
@given(
    width_mm=st.integers(20, 700),
    sheet_mm=st.none() | st.integers(20, 900),
    margin_mm=st.integers(0, 30),
    may_turn=st.booleans(),
    aspect=st.floats(min_value=0.05, max_value=20),
    step_mm=st.sampled_from([-0.06, 0.06]),
)
def test_the_widest_piece_of_a_medium_fits_and_a_wider_one_does_not(
    width_mm: int,
    sheet_mm: int | None,
    margin_mm: int,
    aspect: float,
    step_mm: float,
    *,
    may_turn: bool,
) -> None:
    """The closed form agrees with laying a piece down, on rolls and sheets, turned or not."""
    film, *others = tiny_media()
    changes = {
        "width_mm": float(width_mm),
        "sheet_length_mm": None if sheet_mm is None else float(sheet_mm),
        "margin_mm": float(margin_mm),
        "may_turn": may_turn,
        "price_per_m": Decimal(8),
    }
    shop = tiny_shop(media=(film.model_copy(update=changes), *others))
    method = shop.method_by_id["cut-film"]
    widest = widest_on_media(shop, method, aspect)
    tried = widest + step_mm
    if tried > 0.01:
        fits = not misfits(shop, method, tried, tried * aspect)
        assert fits == (step_mm < 0)


def test_glitter_that_may_not_be_turned_limits_what_smooth_film_does_not() -> None:
    """A strip 480 mm wide takes 700 x 70 mm turned; film whose sparkle has a direction does not."""
    long = (artwork(aspect=0.1), True)
    smooth = _wish(method="cut-film", width=700.0, artwork=long)
    sparkle = _wish(method="dye-on-glitter-film", width=700.0, artwork=long)
    assert _severities(MEDIUM_SIZE, smooth) == [Severity.PASSES]
    assert Severity.BLOCKS in _severities(MEDIUM_SIZE, sparkle)


@pytest.mark.parametrize(
    ("width_mm", "aspect", "severity"),
    [
        (5.0, 0.5, Severity.PASSES),
        (4.9, 0.5, Severity.BLOCKS),
        (2.5, 2.0, Severity.PASSES),
        (2.4, 2.0, Severity.BLOCKS),
        (0.01, 1.0, Severity.BLOCKS),
    ],
)
def test_a_print_of_less_than_five_millimetres_is_refused(
    width_mm: float, aspect: float, severity: Severity
) -> None:
    """The larger side counts, and the limit itself is enough; 5 mm is a design choice."""
    wish = _wish(width=width_mm, artwork=(artwork(aspect=aspect), True))
    assert _severities(TINY_PRINT, wish) == [severity]


@settings(max_examples=40)
@given(wish=wishes(), width_mm=st.floats(0.02, 8))
def test_a_tiny_print_is_refused_exactly_below_its_least_width(wish: Wish, width_mm: float) -> None:
    """As the law above, at widths about the limit."""
    blocks_exactly_outside_its_widths(TINY_PRINT, wish.wide(width_mm))
