"""Ways out beside other decorations of the same garment: what worked is left working."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.blanks import Blank, Obstacle
from service.domain.compiled import CompiledCatalogue
from service.domain.verdict import beside_of, judge_line
from service.domain.ways_out import WaysOut, applied, find_ways_out
from service.domain.wishes import Choice, Decoration, Line
from tests.domain.brute_force import lying_apart, measured, new_small_shop, small_shop
from tests.domain.garments_and_lines import demo_shop

SHOP = demo_shop()
RED = measured("#c01020")


def _beside(
    shop: CompiledCatalogue, line: Line, index: int
) -> tuple[WaysOut, tuple[Decoration | None, ...]]:
    verdicts = judge_line(shop, line)
    wish = line.decorations[index]
    chosen = tuple(v.decoration if v.chosen else None for v in verdicts)
    return find_ways_out(shop, line, wish, beside_of(shop, verdicts, index)), chosen


def _at(placement: str, method: str | None, width_mm: float = 80.0) -> Decoration:
    return Decoration(placement, f"art at {placement}", RED, width_mm, method)


PAIRS = st.tuples(
    st.sampled_from(list(small_shop().garments)),
    st.sampled_from(["dye-transfer", "cut-film", "dye-on-white-film", None]),
    st.sampled_from(["dye-transfer", "cut-film", "low-heat-cut-film", "dye-on-white-film", None]),
    st.sampled_from([80.0, 290.0]),
    st.booleans(),
)


@settings(max_examples=12)
@given(PAIRS)
def test_an_alternative_leaves_the_other_decorations_working(
    case: tuple[tuple[str, str], str | None, str | None, float, bool],
) -> None:
    """What worked beside the refused one works beside every alternative to it."""
    garment, method, other, width_mm, first = case
    wish, beside = _at("front", method, width_mm), _at("left-chest", other)
    shop = small_shop()
    line = Line(shop.garments[garment], {"S": 2}, (wish, beside) if first else (beside, wish))
    index = line.decorations.index(wish)
    ways, chosen = _beside(shop, line, index)
    if chosen[index] is not None:
        return
    for alternative in ways.alternatives:
        changed, settled = applied(line, wish, alternative.combination)
        after = judge_line(_forgetting(shop, changed), changed)
        assert after[index].decoration is settled
        assert after[index].chosen is not None
        assert all(now.chosen for was, now in zip(chosen, after, strict=True) if was is not None)


def _forgetting(shop: CompiledCatalogue, line: Line) -> CompiledCatalogue:
    """The same catalogue compiled again, so that nothing is remembered; its garments are kept."""
    assert shop.garments[line.garment.key] is line.garment
    return replace(shop)


def test_what_is_remembered_beside_others_does_not_depend_on_what_was_asked_before() -> None:
    """Looking for ways out leaves no wrong verdict behind for the garments it looked at.

    The strikes of a neighbour are set for the cloth it is on, so a neighbour is judged anew on
    each garment that is tried.
    """
    wish, beside = _at("front", "dye-transfer", 150.0), _at("left-chest", "cut-film")
    asked, fresh = new_small_shop(), new_small_shop()
    line = Line(asked.garments["classic-cotton-tee", "black"], {"S": 1}, (wish, beside))
    assert _beside(asked, line, 0)[0].alternatives
    for key in asked.garments:
        for method in ("dye-transfer", "low-heat-cut-film"):
            decorations = (replace(wish, method_id=method), beside)
            before, afresh = (
                _readings(shop, Line(shop.garments[key], {"S": 1}, decorations))
                for shop in (asked, fresh)
            )
            assert before == afresh


def _readings(shop: CompiledCatalogue, line: Line) -> list[tuple[str, str, float | str]]:
    """Rule, severity and what was measured, of both decorations, to a millionth."""
    return [
        (finding.rule.id, finding.severity.value, _rounded(finding.reading.measured))
        for verdict in judge_line(shop, line)
        for finding in verdict.candidates[0].findings
    ]


def _rounded(number: float | str) -> float | str:
    return number if isinstance(number, str) else round(number, 6)


def test_dye_is_offered_though_it_is_pressed_after_its_neighbour_only_once_chosen() -> None:
    """Dye goes last; beside dye on hot film it works, wherever the line lists it.

    Film for polyamide does not hold on polyester, and dye does; the glitter film beside it is
    pressed first then, though it stands second in the line.
    """
    wish, beside = _at("front", "nylon-cut-film", 150.0), _at("back", "dye-on-glitter-film")
    line = Line(SHOP.garments["sport-polyester-tee", "white"], {"M": 1}, (wish, beside))
    ways, _ = _beside(SHOP, line, 0)
    assert "dye-transfer" in {a.combination.method_id for a in ways.alternatives}


def test_two_decorations_never_end_at_one_place() -> None:
    """No alternative moves a print to where the other is."""
    wish, beside = _at("front", "cut-film", 600.0), _at("left-chest", "cut-film")
    line = Line(small_shop().garments["classic-cotton-tee", "black"], {"S": 1}, (wish, beside))
    ways, _ = _beside(small_shop(), line, 0)
    assert ways.alternatives
    assert all(a.combination.placement_id != "left-chest" for a in ways.alternatives)


def _zipped(blank: Blank) -> Blank:
    """The blank in white alone, its front crossed by a zip."""
    front, *others = blank.placements
    zipped = front.model_copy(update={"crosses": (Obstacle.ZIP,)})
    white = tuple(colour for colour in blank.colours if colour.id == "white")
    return blank.model_copy(update={"placements": (zipped, *others), "colours": white})


def test_a_larger_change_is_offered_where_every_smaller_one_would_break_the_others() -> None:
    """A front with a zip takes no print, and the dye print on the chest holds in polyester alone.

    Another place is taken, and another white garment is cotton: only a garment of another fibre
    and colour takes both. Nothing is offered that leaves the dye print refused.
    """
    demo = SHOP.catalogue.blank_by_id
    cotton = demo["classic-cotton-tee"]
    white = tuple(colour for colour in cotton.colours if colour.id == "white")
    shop = new_small_shop(
        blanks=(
            lying_apart(_zipped(demo["sport-polyester-tee"])),
            lying_apart(cotton.model_copy(update={"colours": white})),
            lying_apart(
                demo["sport-long-sleeve"].model_copy(
                    update={"colours": demo["sport-long-sleeve"].colours[1:2]}
                )
            ),
        )
    )
    wish = _at("front", None)
    places = ("left-chest", "back", "sleeve")
    for taken in (places[:1], places[:2]):
        others = tuple(_at(place, "dye-transfer") for place in taken)
        garment = shop.garments["sport-polyester-tee", "white"]
        ways, _ = _beside(shop, Line(garment, {"S": 1}, (wish, *others)), 0)
        changes = {a.changes for a in ways.alternatives}
        assert (Choice.BLANK,) in ways.repairs
        assert (Choice.BLANK,) not in changes
        if taken == places[:2]:
            assert changes == {(Choice.COLOUR, Choice.BLANK)}
            assert {a.combination.garment.blank_id for a in ways.alternatives} == {
                "sport-long-sleeve"
            }


def test_too_much_heat_over_all_decorations_is_a_conflict_of_the_method() -> None:
    """Where two long strokes heat the garment too much, a method with a shorter one is offered."""
    policy = small_shop().catalogue.policy.model_copy(update={"heated_s_max": 80.0})
    shop = new_small_shop(policy=policy)
    wish, beside = _at("front", "printed-film", 150.0), _at("left-chest", "printed-film")
    line = Line(shop.garments["classic-cotton-tee", "white"], {"S": 1}, (wish, beside))
    ways, _ = _beside(shop, line, 0)
    assert [(one.choices, one.rules) for one in ways.conflicts] == [
        ((Choice.METHOD,), ("accumulated-heat",))
    ]
    assert {a.combination.method_id for a in ways.alternatives} >= {"cut-film"}


def test_too_many_strokes_by_the_others_alone_leave_nothing() -> None:
    """Where what stands beside it uses up all strokes, no change to the refused one helps."""
    policy = small_shop().catalogue.policy.model_copy(update={"strikes_max": 2})
    shop = new_small_shop(policy=policy)
    wish, beside = _at("front", "printed-film", 150.0), _at("left-chest", "cut-film")
    line = Line(shop.garments["classic-cotton-tee", "white"], {"S": 1}, (wish, beside))
    assert _beside(shop, line, 0)[0].ruled_out_by == ("accumulated-heat",)


def test_with_any_method_each_is_judged_as_if_it_were_named() -> None:
    """Which of two is pressed first depends on the method judged, not on the one chosen."""
    garment = SHOP.garments["classic-cotton-tee", "white"]
    beside = _at("back", "dye-on-glitter-film")
    line = Line(garment, {"M": 1}, (beside, _at("front", None)))
    for candidate in judge_line(SHOP, line)[1].candidates:
        named = Line(garment, {"M": 1}, (beside, _at("front", candidate.method_id)))
        assert judge_line(SHOP, named)[1].candidates[0].works == candidate.works


@pytest.mark.parametrize("index", [0, 1])
def test_of_two_that_overlap_another_place_is_offered(index: int) -> None:
    """A full front and a left chest lie on each other; either may go to the back instead."""
    wishes = _at("front", "cut-film", 200.0), _at("left-chest", "cut-film")
    garment = SHOP.garments["classic-cotton-tee", "white"]
    ways, _ = _beside(SHOP, Line(garment, {"M": 2}, wishes), index)
    assert all("placements-apart" in one.rules for one in ways.conflicts)
    assert all(Choice.PLACEMENT in one.choices for one in ways.conflicts)
    nearest = ways.alternatives[0]
    assert nearest.changes == (Choice.PLACEMENT,)
    assert nearest.combination.placement_id == "back"
    places = {one.combination.placement_id for one in ways.alternatives}
    assert places.isdisjoint({"front", "left-chest"})
