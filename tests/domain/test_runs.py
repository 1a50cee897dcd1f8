"""Runs proposed: laws that hold for whatever waits, and what goes together and what does not.

That film in one colour, mirrored alike and pressed alike goes on one roll, and that what is due
first is made first, is common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, time, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.domain.calendar import working_days_between
from service.domain.cut_order import cut_order
from service.domain.envelope import UNIT, Envelopes
from service.domain.media import Peel, Pressure
from service.domain.methods import Cover
from service.domain.nesting.climbing import Effort
from service.domain.nesting.outline_check import layout_faults
from service.domain.nesting.pieces import Placed
from service.domain.roll import Strip, lay_out
from service.domain.run_document import RunDocument
from service.domain.run_laying import MOST_BY_ENVELOPES
from service.domain.run_states import ACTS, RunAct, RunState, legal_acts
from service.domain.runs import propose_runs
from service.domain.shop import Policy, WorkCalendar
from service.domain.ticket_steps import PressSettings
from service.domain.waiting_prints import (
    OnStrip,
    TicketPrints,
    WaitingPrint,
    envelope_of,
    prints_of,
)
from tests.domain.shops import tiny_artwork
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
    envelope_um = changes.pop("envelope_um", None)
    return OnStrip(WaitingPrint(**{**known, **changes}), strip, strip.medium, envelope_um)


def corner_of(width_um: int, height_um: int) -> tuple[tuple[int, int], ...]:
    """The lower left half of a box."""
    return ((0, 0), (width_um, height_um), (0, height_um))


def corners(ticket: int, strip: Strip = ROLL, *, pieces: int = 6, **changes: Any) -> OnStrip:
    """A print of 200 x 180 mm that fills the lower left half of its box."""
    sides: dict[str, Any] = {"width_um": 200_000, "height_um": 180_000, **changes}
    ring = corner_of(sides["width_um"], sides["height_um"])
    return waits(ticket, strip, pieces=pieces, **{"envelope_um": ring, **sides})


@st.composite
def what_waits(draw: st.DrawFn) -> list[OnStrip]:
    """Some prints of several tickets on rolls and sheets, now and then one that fits none."""
    sides = st.sampled_from([20_000, 60_000, 75_000, 110_000, 185_000, 300_000, 470_000])
    kinds = st.sampled_from([(waits, 40), (waits, 40), (corners, 3)])
    return [
        kind(
            ticket,
            draw(st.sampled_from([ROLL, ROLL, NAPPED, SHEET])),
            pieces=min(most, draw(st.sampled_from([1, 2, 3, 7, 40]))),
            width_um=draw(sides),
            height_um=draw(sides),
            film_colour=draw(st.sampled_from(["White", "Black"])),
            promised_day=MONDAY + timedelta(days=draw(st.integers(0, 9))),
            first_piece=draw(st.sampled_from([1, 1, 8])),
        )
        for ticket in range(draw(st.integers(0, 9)))
        for kind, most in [draw(kinds)]
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


def faults(run: RunDocument) -> list[str]:
    """Pieces nearer to each other than the gap, or in a margin, in exact numbers; by part."""
    found: list[str] = []
    clear_um = run.width_um - 2 * run.margin_um
    for part, length_um in enumerate(run.parts_um):
        rings = [
            [(x - run.margin_um, y - run.margin_um) for x, y in piece.envelope_on_strip(owner)]
            for piece, owner in zip(run.pieces, run.owners, strict=True)
            if piece.part == part
        ]
        found += layout_faults(rings, clear_um, length_um - 2 * run.margin_um, run.gap_um)
    return found


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
        assert faults(run) == []
        for piece in run.pieces:
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


def test_envelopes_are_nested_where_boxes_waste_much() -> None:
    """Two halves of a box lie in little more than one: by boxes six take three rows of 180 mm."""
    (run,) = propose(corners(1), corners(2, pieces=6))
    (boxes,) = propose(corners(1, envelope_um=None), corners(2, pieces=6, envelope_um=None))
    assert run.by_envelopes
    assert not boxes.by_envelopes
    assert run.length_um < 0.75 * boxes.length_um
    assert run.alone_um == boxes.alone_um
    assert run.bound_um <= run.length_um
    assert {piece.turn_deg for piece in run.pieces} > {piece.turn_deg for piece in boxes.pieces}
    assert faults(run) == []


def test_a_single_print_is_nested_by_envelopes_too() -> None:
    """It saves roll beside its own boxes; a long one does so on each of its parts."""
    (run,) = propose(corners(1, pieces=20))
    assert run.length_um < run.alone_um
    long = propose(corners(1, pieces=40), policy=POLICY.model_copy(update={"run_length_mm": 900.0}))
    assert all(len(run.parts_um) > 1 and faults(run) == [] for run in long)


@pytest.mark.parametrize(
    "prints",
    [
        pytest.param([corners(1, NAPPED)], id="no turn of a nap"),
        pytest.param([corners(1, SHEET, width_um=90_000, height_um=90_000)], id="sheets"),
        pytest.param([corners(1), waits(2, pieces=60)], id="boxes waste less than a quarter"),
        pytest.param([corners(1, pieces=MOST_BY_ENVELOPES + 1)], id="more than are tried"),
    ],
)
def test_where_envelopes_do_not_serve(prints: list[OnStrip]) -> None:
    """Sheets, little waste and too many pieces keep boxes; a nap keeps its direction."""
    for run in propose(*prints):
        assert {piece.turn_deg for piece in run.pieces} <= {0, 90}
        assert run.by_envelopes == (run.medium == "flock")
        assert run.medium != "flock" or {piece.turn_deg for piece in run.pieces} == {0}


def test_a_run_written_before_envelopes_were_is_read() -> None:
    """Documents lack the fields; their pieces lie in their boxes, turned as they were."""
    (run,) = propose(waits(1, pieces=4), waits(2, pieces=3, width_um=60_000, height_um=100_000))
    text = run.model_dump_json()
    old = text.replace(',"half_turned":false', "").replace(',"envelope_um":[]', "")
    assert old != text
    assert RunDocument.model_validate_json(old) == run


def test_which_envelope_a_print_is_nested_by() -> None:
    """Cut film by the figure, printed film by all that is inked, paper nobody cuts out by none."""
    inked, figure = corner_of(UNIT, UNIT * 6 // 10), corner_of(UNIT // 2, UNIT // 2)
    measures = tiny_artwork().model_copy(
        update={"envelopes": Envelopes(inked=inked, figure=figure)}
    )
    cut = waits(1, cut_mirrored=False).print
    assert envelope_of(cut, measures) == corner_of(50_000, 50_000)
    both = waits(1, cut_mirrored=False, print_mirrored=False).print
    assert envelope_of(both, measures) == corner_of(100_000, 60_000)
    mirrored = ((100_000, 0), (0, 60_000), (100_000, 60_000))
    assert envelope_of(waits(1, print_mirrored=True).print, measures) == mirrored
    assert envelope_of(waits(1, cut_mirrored=None, print_mirrored=True).print, measures) is None
    assert envelope_of(cut, tiny_artwork()) is None


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
