"""The table of ticket states and moves."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.ticket_states import (
    MOVES,
    Move,
    OrderState,
    TicketState,
    after,
    legal_moves,
    order_state,
    states_drawing,
)

STATES = st.sampled_from(TicketState)


def test_the_straight_way() -> None:
    """A ticket goes from waiting to sent by start, finish, check and send."""
    state = TicketState.WAITING
    for move in (Move.START, Move.FINISH, Move.CHECK, Move.SEND):
        following = after(state, move, None)
        assert following is not None
        state = following
    assert state is TicketState.SENT


@pytest.mark.parametrize("state", [TicketState.SENT, TicketState.CANCELLED])
def test_ends_are_final(state: TicketState) -> None:
    """Nothing moves a sent or a cancelled ticket."""
    assert legal_moves(state) == ()


@pytest.mark.parametrize(
    "halted_from",
    [TicketState.WAITING, TicketState.ON_BENCH, TicketState.MADE, TicketState.CHECKED],
)
def test_a_halted_ticket_resumes_where_it_was(halted_from: TicketState) -> None:
    """Halt and resume change nothing."""
    assert after(halted_from, Move.HALT, None) is TicketState.HALTED
    assert after(TicketState.HALTED, Move.RESUME, halted_from) is halted_from


def test_only_unbegun_work_is_cancelled() -> None:
    """Cancel is open to a waiting ticket and to one halted while it waited."""
    cancellable = [state for state in TicketState if Move.CANCEL in legal_moves(state)]
    assert cancellable == [TicketState.WAITING]
    assert Move.CANCEL in legal_moves(TicketState.HALTED, TicketState.WAITING)
    assert Move.CANCEL not in legal_moves(TicketState.HALTED, TicketState.ON_BENCH)


@given(STATES, st.sampled_from(Move), st.sampled_from([None, *TicketState]))
def test_a_move_has_an_end_exactly_when_it_is_legal(
    state: TicketState, move: Move, halted_from: TicketState | None
) -> None:
    """What is listed as legal and what can be done never differ."""
    legal = move in legal_moves(state, halted_from)
    assert (after(state, move, halted_from) is not None) == legal


def test_every_state_can_be_reached() -> None:
    """No state of the table is unreachable."""
    reached = {TicketState.WAITING, *MOVES.values()}
    assert reached == set(TicketState)


@given(st.lists(STATES, min_size=1, max_size=6))
def test_the_order_does_not_depend_on_the_order_of_tickets(states: list[TicketState]) -> None:
    """An order's state is a fact about the set of its tickets' states."""
    assert order_state(states) is order_state(list(reversed(states)))


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        (["waiting", "waiting"], OrderState.ACCEPTED),
        (["waiting", "on_bench"], OrderState.IN_WORK),
        (["made", "checked"], OrderState.IN_WORK),
        (["checked", "checked"], OrderState.READY),
        (["sent", "checked"], OrderState.READY),
        (["sent", "cancelled"], OrderState.SENT),
        (["cancelled", "cancelled"], OrderState.CANCELLED),
    ],
)
def test_the_order_follows_its_tickets(states: list[str], expected: OrderState) -> None:
    """An order is as far as its slowest live ticket."""
    assert order_state(map(TicketState, states)) is expected


def _arrows() -> set[tuple[str, str, str]]:
    """Start, end and label of every arrow of the drawing, as the diagram's grammar has them."""
    pattern = re.compile(r"^    (\S+) --> (\S+?)(?:: (.+))?$")
    head, *lines = states_drawing().splitlines()
    assert head == "stateDiagram-v2"
    found = [pattern.match(line) for line in lines]
    assert all(found)
    return {(m[1], m[2], m[3] or "") for m in found if m}


def test_the_drawing_shows_every_legal_move_and_no_other() -> None:
    """Each arrow is a move the table allows, and each move of the table has its arrow."""
    drawn = {(start, end, label.split(" ")[0]) for start, end, label in _arrows() if label}
    legal = {
        (state.value, end.value, move.value)
        for state in TicketState
        for halted_from in TicketState
        for move in legal_moves(state, halted_from if state is TicketState.HALTED else None)
        if (end := after(state, move, halted_from)) is not None
        and (state is not TicketState.HALTED or (halted_from, Move.HALT) in MOVES)
    }
    assert drawn == legal


def test_the_drawing_begins_and_ends() -> None:
    """A ticket begins waiting, and ends sent or cancelled."""
    ends = {(start, end) for start, end, _ in _arrows() if "[*]" in (start, end)}
    assert ends == {("[*]", "waiting"), ("sent", "[*]"), ("cancelled", "[*]")}
