"""Runs proposed: laws that hold for whatever waits, and what goes together and what does not.

That film in one colour, mirrored alike and pressed alike goes on one roll, and that what is due
first is made first, is common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, time, timedelta
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.domain.calendar import working_days_between
from service.domain.cut_order import cut_order
from service.domain.media import Peel, Pressure
from service.domain.methods import Cover
from service.domain.nesting.climbing import Effort
from service.domain.nesting.pieces import Placed
from service.domain.roll import Strip, lay_out
from service.domain.run_document import RunDocument
from service.domain.run_states import ACTS, RunAct, RunState, legal_acts
from service.domain.runs import propose_runs
from service.domain.shop import Policy, WorkCalendar
from service.domain.ticket_steps import PressSettings
from service.domain.waiting_prints import OnStrip, TicketPrints, WaitingPrint, prints_of
from tests.domain.tickets import at, stocked, ticket_by, ticket_of

MONDAY = date(2026, 3, 2)
CALENDAR = WorkCalendar(
    time_zone="Europe/Berlin", working_weekdays=frozenset(range(5)), cut_off=time(12)
)
POLICY = Policy()
LITTLE = Effort(20_000)
"""Enough for what is asserted: laws hold at any effort."""

ROLL = Strip("film", 480_000, None, 4_000, 10_000, may_turn=True)
NAPPED = Strip("flock", 480_000, None, 6_000, 10_000, may_turn=False)
SHEET = Strip("sheet", 190_000, 280_000, 4_000, 5_000, may_turn=True)
HOT = PressSettings(
    set_c=155,
    set_f=311,
    dwell_s=12,
    pressure=Pressure.MEDIUM,
    cover=Cover.NONE,
    peel=Peel.WARM,
)


def waits(ticket: int, strip: Strip = ROLL, *, pieces: int = 5, **changes: Any) -> OnStrip:
    """A print of 100 x 60 mm that waits, due on Monday."""
    known: dict[str, Any] = {
        "ticket": f"T{ticket:06d}",
        "promised_day": MONDAY,
        "decoration": 0,
        "placement": "Front",
        "method": "cut-film",
        "medium": strip.medium,
        "film_colour": "White",
        "artwork_id": "art_1",
        "width_um": 100_000,
        "height_um": 60_000,
        "pieces": pieces,
        "print_mirrored": None,
        "cut_mirrored": True,
        "recipe": (HOT,),
        "making": ("d1-1-cut",),
    }
    return OnStrip(WaitingPrint(**{**known, **changes}), strip, strip.medium)


@st.composite
def what_waits(draw: st.DrawFn) -> list[OnStrip]:
    """Some prints of several tickets on rolls and sheets, now and then one that fits none."""
    sides = st.sampled_from([20_000, 60_000, 75_000, 110_000, 185_000, 300_000, 470_000])
    return [
        waits(
            ticket,
            draw(st.sampled_from([ROLL, ROLL, NAPPED, SHEET])),
            pieces=draw(st.sampled_from([1, 2, 3, 7, 40])),
            width_um=draw(sides),
            height_um=draw(sides),
            film_colour=draw(st.sampled_from(["White", "Black"])),
            promised_day=MONDAY + timedelta(days=draw(st.integers(0, 9))),
            first_piece=draw(st.sampled_from([1, 1, 8])),
        )
        for ticket in range(draw(st.integers(0, 9)))
    ]


def propose(*waiting: OnStrip, policy: Policy = POLICY) -> tuple[RunDocument, ...]:
    """Runs of what waits, nothing of which is left out."""
    found = propose_runs(waiting, policy, CALENDAR, LITTLE)
    assert found.left_out == ()
    return found.runs


def keys_of(waiting: OnStrip) -> list[str]:
    """The names of a print's pieces."""
    one = waiting.print
    numbers = range(one.first_piece, one.first_piece + one.pieces)
    return [f"{one.ticket}-{one.decoration}-{number}" for number in numbers]


def overlaps(run: RunDocument) -> list[tuple[str, str]]:
    """Pieces of one part that lie nearer to each other than the gap along both axes."""
    gap = run.gap_um
    return [
        (a.key, b.key)
        for a, b in combinations(run.pieces, 2)
        if a.part == b.part
        and a.x_um < b.x_um + b.width_um + gap
        and b.x_um < a.x_um + a.width_um + gap
        and a.y_um < b.y_um + b.height_um + gap
        and b.y_um < a.y_um + a.height_um + gap
    ]


@settings(max_examples=25)
@given(what_waits())
@example([waits(1, pieces=400, width_um=300_000, height_um=300_000)])
@example([waits(1, SHEET, pieces=40), waits(2, SHEET, pieces=3)])
def test_laws_of_a_proposal(waiting: list[OnStrip]) -> None:
    """Every piece once, none overlaps or sticks out, and days, length, bound and saving hold."""
    found = propose_runs(waiting, POLICY, CALENDAR, LITTLE)
    left_out = {one.ticket for one in found.left_out}
    wanted = [key for one in waiting if one.print.ticket not in left_out for key in keys_of(one)]
    assert Counter(piece.key for run in found.runs for piece in run.pieces) == Counter(wanted)
    sizes = {one.print.ticket: {one.print.width_um, one.print.height_um} for one in waiting}
    for run in found.runs:
        assert overlaps(run) == []
        for piece in run.pieces:
            assert min(piece.x_um, piece.y_um) >= run.margin_um
            assert piece.x_um + piece.width_um <= run.width_um - run.margin_um
            assert piece.y_um + piece.height_um <= run.parts_um[piece.part] - run.margin_um
            assert {piece.width_um, piece.height_um} == sizes[piece.ticket]
        assert run.bound_um <= run.length_um <= run.alone_um
        assert 0 <= run.saving_share < 1
        first, last = run.days
        assert working_days_between(CALENDAR, first, last) <= POLICY.run_window_days
        assert len(run.prints) == 1 or run.length_um <= POLICY.run_length_mm * 1_000
        if not run.sheets:
            # What is too long for one run of its own is cut off in lengths that are not.
            assert max(run.parts_um) <= POLICY.run_length_mm * 1_000
    order = [run.days[0] for run in found.runs]
    assert order == sorted(order)


@settings(max_examples=15)
@given(what_waits(), st.randoms(use_true_random=False))
def test_the_order_in_which_they_come_changes_nothing(waiting: list[OnStrip], numbers: Any) -> None:
    """The same prints give the same documents, byte for byte."""
    shuffled = list(waiting)
    numbers.shuffle(shuffled)
    one, other = (
        [run.model_dump_json() for run in propose_runs(found, POLICY, CALENDAR, LITTLE).runs]
        for found in (waiting, shuffled)
    )
    assert one == other


@settings(max_examples=25)
@given(what_waits())
def test_a_later_ticket_never_pushes_an_earlier_one_out(waiting: list[OnStrip]) -> None:
    """Of prints that may share a run, none lies on an earlier run than one promised before it."""
    runs = propose_runs(waiting, POLICY, CALENDAR, LITTLE).runs
    groups: dict[object, list[RunDocument]] = {}
    for run in runs:
        groups.setdefault((run.medium, run.colour), []).append(run)
    for group in groups.values():
        days = [one.promised_day for run in group for one in run.prints]
        assert days == sorted(days)


@pytest.mark.parametrize(
    "change",
    [
        {"medium": "other", "strip": replace(ROLL, medium="other")},
        {"film_colour": "Black"},
        {"cut_mirrored": False},
        {"print_mirrored": True},
        {"recipe": (HOT.model_copy(update={"set_c": 150.0}),)},
        {"recipe": (HOT.model_copy(update={"dwell_s": 15.0}),)},
        {"recipe": (HOT.model_copy(update={"pressure": Pressure.FIRM}),)},
        {"recipe": (HOT.model_copy(update={"peel": Peel.HOT}),)},
        {"recipe": (HOT.model_copy(update={"cover": Cover.FRESH_PAPER}),)},
        {"recipe": (HOT, HOT)},
    ],
)
def test_what_differs_is_kept_apart(change: dict[str, Any]) -> None:
    """Medium, colour, side and every press setting must be the same."""
    strip = change.get("strip", ROLL)
    other = {name: value for name, value in change.items() if name != "strip"}
    assert len(propose(waits(1), waits(2))) == 1
    assert len(propose(waits(1), waits(2, strip, **other))) == 2


def test_a_run_spans_no_more_days_than_the_policy_allows() -> None:
    """Three working days later still goes along, over the weekend too; a fourth does not."""
    friday = MONDAY + timedelta(days=4)
    wednesday, thursday = friday + timedelta(days=5), friday + timedelta(days=6)
    for day, runs in ((wednesday, 1), (thursday, 2)):
        found = propose(waits(1, promised_day=friday), waits(2, promised_day=day))
        assert len(found) == runs
    one_day = POLICY.model_copy(update={"run_window_days": 0})
    both = [waits(1, promised_day=friday), waits(2, promised_day=friday + timedelta(days=3))]
    assert len(propose(*both, policy=one_day)) == 2


def test_a_run_is_no_longer_than_the_policy_allows() -> None:
    """Tickets of 44 pieces, four across: each alone takes 724 mm, so no two go on 1 m together."""
    tickets = [waits(number, pieces=44) for number in range(1, 5)]
    short = POLICY.model_copy(update={"run_length_mm": 1_000.0})
    assert [run.tickets for run in propose(*tickets, policy=short)] == [
        (f"T{number:06d}",) for number in range(1, 5)
    ]
    (all_of_them,) = propose(*tickets)
    assert all_of_them.length_um <= 3_000_000


def test_the_saving_is_what_cutting_each_by_itself_takes_more() -> None:
    """Four pieces lie abreast on 480 mm: two tickets of two take 80 mm together and 160 apart."""
    (run,) = propose(waits(1, pieces=2), waits(2, pieces=2))
    alone = sum(lay_out(ROLL, 100, 60, 2).length_mm for _ in range(2))
    assert run.alone_um == alone * 1_000 == 160_000
    assert (run.length_um, run.bound_um) == (80_000, 80_000)
    assert (run.saving_um, run.saving_share) == (80_000, 0.5)


def test_prints_are_kept_apart_where_together_they_take_more() -> None:
    """With a gap wider than both margins a shared strip can be the longer one."""
    wide_gap = Strip("film", 100_000, None, 90_000, 0, may_turn=False)
    found = propose(waits(1, wide_gap, pieces=1), waits(2, wide_gap, pieces=1))
    assert [run.tickets for run in found] == [("T000001",), ("T000002",)]
    assert [run.saving_um for run in found] == [0, 0]


def test_pieces_of_a_ticket_come_off_together() -> None:
    """Of equal pieces of two tickets the more urgent one's are cut first, all of them."""
    (run,) = propose(waits(2, pieces=6), waits(1, pieces=6))
    assert [piece.key for piece in run.pieces[:6]] == [f"T000001-0-{n}" for n in range(1, 7)]
    assert [places for _, *places in run.places()] == [[1, 6], [7, 12]]


def test_the_cut_order_is_short_and_begins_at_the_beginning() -> None:
    """The nearest first: along a row and back along the next one, as fingers would do it."""
    grid = [
        Placed(f"{x}{y}", x * 100_000, y * 60_000, 90_000, 50_000, turned=False)
        for x in range(4)
        for y in range(3)
    ]
    order = [one.key for one in cut_order(grid)]
    assert order[0] == "00"
    assert sorted(order) == sorted(one.key for one in grid)
    steps = pairwise(order)
    assert sum(abs(int(a[0]) - int(b[0])) + abs(int(a[1]) - int(b[1])) for a, b in steps) <= 13
    assert cut_order(grid[::-1]) == cut_order(grid)


def test_no_piece_is_left_behind_along_the_strip() -> None:
    """The roll goes on: nothing is cut more than the reach beyond a piece still to be cut."""
    (run,) = propose(
        waits(1, pieces=20, width_um=200_000, height_um=150_000), waits(2, pieces=30), waits(3)
    )
    starts = [piece.y_um for piece in run.pieces]
    for index, start in enumerate(starts):
        assert start <= min(starts[index:]) + 200_000


def test_what_has_no_room_is_told() -> None:
    """A piece wider than the roll, turned or not, with value and limit."""
    found = propose_runs(
        [waits(1, width_um=500_000, height_um=490_000), waits(2)], POLICY, CALENDAR, LITTLE
    )
    assert [run.tickets for run in found.runs] == [("T000002",)]
    (left_out,) = found.left_out
    assert (left_out.ticket, left_out.medium) == ("T000001", "film")
    assert left_out.why == "490 mm does not fit the 480 mm of medium 'film'."


def test_nothing_waits() -> None:
    """No run."""
    assert propose() == ()


def test_the_prints_of_a_ticket() -> None:
    """Dye on glitter film is a print on paper and a cut of film; each knows its side and press."""
    document = ticket_of(
        stocked("classic-cotton-tee", "black"),
        at("front", "dye-on-glitter-film"),
        at("left-chest", "cut-film", width_mm=60),
        sizes={"M": 5},
    )
    found = {
        (one.decoration, one.medium): one
        for one in prints_of("T000001", MONDAY, TicketPrints.model_validate(document.model_dump()))
    }
    assert set(found) == {(0, "glitter-film"), (0, "dye-paper"), (1, "cut-film")}
    glitter, paper, film = (
        found[key] for key in [(0, "glitter-film"), (0, "dye-paper"), (1, "cut-film")]
    )
    assert (glitter.print_mirrored, glitter.cut_mirrored) == (None, True)
    assert (paper.print_mirrored, paper.cut_mirrored) == (True, None)
    assert (film.width_um, film.height_um) == (60_000, 30_000)
    assert {one.pieces for one in found.values()} == {document.pieces_to_start}
    for one in found.values():
        strikes = [
            step.settings
            for step in document.steps
            if step.decoration == one.decoration and step.medium_id == one.medium and step.settings
        ]
        assert list(one.recipe) == strikes != []
        assert one.begun({one.making[0]})
        assert not one.begun({"weed"})


def test_printed_film_is_printed_and_cut_not_mirrored() -> None:
    """It is worked from its face; common practice, no source."""
    document = TicketPrints.model_validate(ticket_by("printed-film").model_dump())
    (one,) = prints_of("T000001", MONDAY, document)
    assert (one.print_mirrored, one.cut_mirrored) == (False, False)
    assert len(one.making) == 2


def test_the_acts_of_each_state() -> None:
    """The table, and that begun work shuts the way back."""
    assert legal_acts(RunState.PROPOSED) == (RunAct.ACCEPT, RunAct.DISSOLVE)
    assert legal_acts(RunState.ACCEPTED) == (RunAct.REPRINT, RunAct.DISSOLVE)
    assert legal_acts(RunState.ACCEPTED, begun=True) == (RunAct.REPRINT,)
    assert legal_acts(RunState.DISSOLVED) == ()
    assert {state for _, state in ACTS.items()} <= set(RunState)
