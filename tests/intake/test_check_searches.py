"""Ways out of many refusals: looked for within a bound, shared by those alike, nothing unsaid."""

from __future__ import annotations

from service.domain.garments import stocked_garment
from service.domain.wishes import Decoration, Line
from service.intake.answers import CheckAnswer, DecorationAnswer
from service.intake.check import MOST_SEARCHES, NOT_SEARCHED, check_answer, judge_lines
from tests.domain.garments_and_lines import artwork, demo_shop

SHOP = demo_shop()
PICTURE = artwork("#c01020", "#1030c0")


def _refused(width_mm: float = 900, prints: int = 1) -> Line:
    """Prints on one garment, all far too wide for any placement."""
    blank = SHOP.catalogue.blanks[0]
    garment = stocked_garment(blank, blank.colours[0])
    places = list(garment.placements)[:prints]
    decorations = (
        Decoration(
            placement_id=place,
            artwork_id="art",
            artwork=PICTURE,
            width_mm=width_mm + number,
            method_id="cut-film",
        )
        for number, place in enumerate(places)
    )
    return Line(garment, {blank.sizes[0].size: 5}, tuple(decorations))


def _checked(*lines: Line) -> CheckAnswer:
    return check_answer(SHOP, lines, judge_lines(SHOP, lines))


def _told(answer: CheckAnswer) -> list[DecorationAnswer]:
    return [one for line in answer.lines for one in line.decorations]


def _has_ways(told: DecorationAnswer) -> bool:
    return bool(told.conflicts and told.repairs and told.alternatives)


def test_more_different_refusals_than_are_looked_into_say_so() -> None:
    """The first have their ways out; each of the others says that none was looked for, and why.

    By itself such a line is told its ways out, and they are those it has among the first.
    """
    lines = [_refused(900 + number) for number in range(MOST_SEARCHES + 2)]
    answer = _checked(*lines)
    told = _told(answer)
    assert not answer.works
    assert all(_has_ways(one) and not one.not_searched for one in told[:MOST_SEARCHES])
    rest = told[MOST_SEARCHES:]
    assert [one.not_searched for one in rest] == [NOT_SEARCHED] * 2
    assert str(MOST_SEARCHES) in NOT_SEARCHED
    for one in rest:
        assert not any((one.works, one.conflicts, one.alternatives, one.nothing_works))
        assert any(finding.severity == "blocks" for finding in one.candidates[0].findings)
    (alone,) = _told(_checked(lines[-1]))
    assert _has_ways(alone)
    assert alone.candidates == rest[-1].candidates
    written = ["not_searched" in one.model_dump(mode="json") for one in told]
    assert written == [False] * MOST_SEARCHES + [True] * 2


def test_refusals_alike_share_their_ways_out() -> None:
    """Forty lines of two prints, alike, are all told what one is told by itself."""
    (alone,) = _checked(_refused(prints=2)).lines
    answer = _checked(*(_refused(prints=2) for _ in range(40)))
    assert all(line.decorations == alone.decorations for line in answer.lines)
    assert all(map(_has_ways, _told(answer)))
