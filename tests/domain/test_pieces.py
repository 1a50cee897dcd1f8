"""Counting pieces by size: never more done than wanted, spares first, remakes for what is short."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from service.domain.pieces import (
    SPOIL_WORDS,
    PieceCount,
    PieceEvent,
    PieceEventKind,
    PieceLimit,
    SpoilReason,
    blanks_to_take,
    open_count,
    record,
    replay,
)

SIZES = ("S", "M", "L")
WANTED = st.dictionaries(st.sampled_from(SIZES), st.integers(1, 9), min_size=1)


def done(size: str, count: int = 1) -> PieceEvent:
    """Pieces made well."""
    return PieceEvent(kind=PieceEventKind.DONE, size=size, count=count)


def spoiled(
    size: str, count: int = 1, reason: SpoilReason = SpoilReason.GHOSTED, note: str = ""
) -> PieceEvent:
    """Pieces spoiled."""
    return PieceEvent(kind=PieceEventKind.SPOILED, size=size, count=count, reason=reason, note=note)


def moved(size: str, count: int = 1) -> PieceEvent:
    """Pieces given to a remake."""
    return PieceEvent(kind=PieceEventKind.MOVED, size=size, count=count)


def undone(event: PieceEvent) -> PieceEvent:
    """The event taken back."""
    return event.model_copy(update={"kind": PieceEventKind.UNDONE, "undoes": event.kind})


@st.composite
def events(draw: st.DrawFn) -> PieceEvent:
    """Any event, of any size of the trade's three."""
    kind = draw(st.sampled_from(PieceEventKind))
    not_undone = st.sampled_from([one for one in PieceEventKind if one is not kind.UNDONE])
    undoes = draw(not_undone) if kind is PieceEventKind.UNDONE else None
    reasoned = PieceEventKind.SPOILED in (kind, undoes)
    return PieceEvent(
        kind=kind,
        size=draw(st.sampled_from(SIZES)),
        count=draw(st.integers(1, 4)),
        reason=draw(st.sampled_from(SpoilReason)) if reasoned else None,
        undoes=undoes,
        note="as it happened",
    )


def recorded(count: PieceCount, happened: Sequence[PieceEvent]) -> PieceCount:
    """The count after those of the events that the count allows."""
    for event in happened:
        try:
            count = record(count, event)
        except (PieceLimit, KeyError):
            continue
    return count


@given(WANTED, st.integers(0, 8), st.lists(events(), max_size=25))
def test_the_laws_hold_whatever_happens(
    wanted: dict[str, int], spares: int, happened: list[PieceEvent]
) -> None:
    """Never more done or given away than wanted, and never more used than was taken."""
    started = blanks_to_take(wanted, sum(wanted.values()) + spares)
    count = recorded(open_count(wanted, started), happened)
    for one in count.sizes:
        assert one.wanted == wanted[one.size]
        assert 0 <= one.good + one.moved <= one.wanted
        assert 0 <= one.good + one.lost <= one.started
        assert all(number >= 0 for number in one.spoiled.values())
        assert one.remaining >= one.to_remake >= 0
        assert one.remaining - one.to_remake <= one.at_hand
    assert count.finished is all(one.good + one.moved == one.wanted for one in count.sizes)
    assert sum(count.spoiled.values()) == sum(one.lost for one in count.sizes)


@given(WANTED, st.integers(0, 8), st.lists(events(), max_size=25))
def test_what_may_be_entered_may_be_taken_back(
    wanted: dict[str, int], spares: int, happened: list[PieceEvent]
) -> None:
    """An entry and its taking back leave every size as it was."""
    started = blanks_to_take(wanted, sum(wanted.values()) + spares)
    count = recorded(open_count(wanted, started), happened)
    for event in (done("M"), spoiled("M"), moved("M")):
        try:
            after = record(count, event)
        except (PieceLimit, KeyError):
            continue
        again = record(after, undone(event))
        assert again.remaining == count.remaining
        assert again.to_remake == count.to_remake
        assert again.spoiled == count.spoiled


@given(WANTED, st.integers(0, 8), st.lists(events(), max_size=25))
def test_a_ticket_can_always_be_finished(
    wanted: dict[str, int], spares: int, happened: list[PieceEvent]
) -> None:
    """Make what blanks at hand allow, move what is short: nothing remains."""
    started = blanks_to_take(wanted, sum(wanted.values()) + spares)
    count = recorded(open_count(wanted, started), happened)
    for size, short in count.to_remake.items():
        count = record(count, moved(size, short))
    for size, left in count.remaining.items():
        count = record(count, done(size, left))
    assert count.finished
    assert not count.to_remake


def test_spares_are_used_before_anything_is_made_anew() -> None:
    """Three wanted, four taken: the first spoiled piece costs a spare, the second a remake."""
    count = replay({"M": 3}, {"M": 4}, [done("M"), spoiled("M")])
    assert count.remaining == {"M": 2}
    assert count.to_remake == {}
    count = record(count, spoiled("M", reason=SpoilReason.SCORCHED))
    assert count.to_remake == {"M": 1}
    assert count.spoiled == {SpoilReason.GHOSTED: 1, SpoilReason.SCORCHED: 1}
    assert not record(count, done("M")).finished
    assert replay({"M": 3}, {"M": 4}, [done("M"), spoiled("M", 2), moved("M"), done("M")]).finished


def test_a_spare_of_another_size_does_not_help() -> None:
    """Garments are not stretched: a spare L is no spare M."""
    count = replay({"M": 1, "L": 1}, {"M": 1, "L": 2}, [spoiled("M")])
    assert count.to_remake == {"M": 1}
    assert count.remaining == {"M": 1, "L": 1}


@pytest.mark.parametrize(
    ("event", "limit", "because"),
    [
        (done("M", 3), 2, "still wanted: 2"),
        (spoiled("M", 4), 3, "blanks at hand: 3"),
        (moved("M"), 0, "short of a blank: 0"),
        (undone(done("M", 2)), 1, "entered: 1"),
        (undone(spoiled("M")), 0, "entered: 0"),
    ],
)
def test_what_breaks_a_law_is_refused_with_its_limit(
    event: PieceEvent, limit: int, because: str
) -> None:
    """Three wanted, four taken, one done: the refusal names what is possible and why."""
    count = replay({"M": 3}, {"M": 4}, [done("M")])
    with pytest.raises(PieceLimit, match=because) as refused:
        record(count, event)
    assert refused.value.limit == limit


def test_a_blank_that_is_gone_cannot_be_done() -> None:
    """With one blank left of two pieces wanted, only one more can be done."""
    count = replay({"M": 2}, {"M": 2}, [spoiled("M")])
    with pytest.raises(PieceLimit, match="blanks at hand: 1"):
        record(count, done("M", 2))


def test_a_size_of_another_ticket_is_unknown() -> None:
    """An event of a size the ticket has none of is a fault, not a new size."""
    with pytest.raises(KeyError):
        replay({"M": 1}, {"M": 1}, [done("XL")])


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "spoiled"},
        {"kind": "spoiled", "reason": "other", "note": "  "},
        {"kind": "done", "reason": "scorched"},
        {"kind": "done", "undoes": "done"},
        {"kind": "undone"},
        {"kind": "undone", "undoes": "undone"},
        {"kind": "undone", "undoes": "spoiled"},
        {"kind": "done", "count": 0},
        {"kind": "done", "note": "x" * 4_001},
    ],
)
def test_an_event_says_all_it_needs_and_no_more(fields: dict[str, object]) -> None:
    """Spoiled pieces have a reason, 'other' a note, and what is taken back says what it was."""
    with pytest.raises(ValidationError):
        PieceEvent.model_validate({"size": "M", **fields})


def test_every_reason_has_words() -> None:
    """The bench reads a sentence for each reason there is."""
    assert set(SPOIL_WORDS) == set(SpoilReason)


@given(WANTED, st.integers(0, 60))
def test_spares_are_shared_out_by_need(wanted: dict[str, int], spares: int) -> None:
    """All are given, no size less than wanted, and none a whole spare off its fair share."""
    total = sum(wanted.values())
    starts = blanks_to_take(wanted, total + spares)
    assert list(starts) == list(wanted)
    assert sum(starts.values()) == total + spares
    for size, count in wanted.items():
        assert starts[size] - count >= 0
        assert abs(starts[size] - count - spares * count / total) < 1


def test_the_first_spare_goes_to_the_most_wanted_size() -> None:
    """Of equal claims the earlier size comes first: a design choice, no source."""
    assert blanks_to_take({"S": 1, "M": 3, "L": 1}, 6) == {"S": 1, "M": 4, "L": 1}
    assert blanks_to_take({"S": 2, "M": 2}, 5) == {"S": 3, "M": 2}


@pytest.mark.parametrize(("wanted", "to_start"), [({"M": 2}, 1), ({}, 0), ({"M": 0}, 1)])
def test_too_few_to_start_make_no_sense(wanted: dict[str, int], to_start: int) -> None:
    """Fewer started than wanted, or nothing wanted, is a fault of the one who asks."""
    with pytest.raises(ValueError, match="make no sense"):
        blanks_to_take(wanted, to_start)


@pytest.mark.parametrize("started", [{"M": 1}, {"L": 2}, {}])
def test_a_count_opens_with_enough_blanks(started: dict[str, int]) -> None:
    """Every size wanted has as many blanks at least, and no other size has any."""
    with pytest.raises(ValueError, match="not enough"):
        open_count({"M": 2}, started)
