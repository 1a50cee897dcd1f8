"""The states of a ticket and the moves between them, as one table.

    waiting ─start→ on_bench ─finish→ made ─check→ checked ─send→ sent

``put_back`` returns a started ticket to the queue, ``redo`` a made or checked one to the bench.
``halt`` sets any of the first four aside and ``resume`` takes it back to where it was. ``cancel``
ends one on which no work has begun.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from types import MappingProxyType


class TicketState(StrEnum):
    """Where a ticket stands."""

    WAITING = "waiting"
    ON_BENCH = "on_bench"
    MADE = "made"
    CHECKED = "checked"
    SENT = "sent"
    HALTED = "halted"
    CANCELLED = "cancelled"


class Move(StrEnum):
    """What someone does to a ticket."""

    START = "start"
    PUT_BACK = "put_back"
    FINISH = "finish"
    REDO = "redo"
    CHECK = "check"
    SEND = "send"
    HALT = "halt"
    RESUME = "resume"
    CANCEL = "cancel"


class OrderState(StrEnum):
    """Where an order stands, as its tickets tell."""

    ACCEPTED = "accepted"
    IN_WORK = "in_work"
    READY = "ready"
    SENT = "sent"
    CANCELLED = "cancelled"


_S, _M = TicketState, Move

MOVES: Mapping[tuple[TicketState, Move], TicketState] = MappingProxyType(
    {
        (_S.WAITING, _M.START): _S.ON_BENCH,
        (_S.WAITING, _M.HALT): _S.HALTED,
        (_S.WAITING, _M.CANCEL): _S.CANCELLED,
        (_S.ON_BENCH, _M.PUT_BACK): _S.WAITING,
        (_S.ON_BENCH, _M.FINISH): _S.MADE,
        (_S.ON_BENCH, _M.HALT): _S.HALTED,
        (_S.MADE, _M.CHECK): _S.CHECKED,
        (_S.MADE, _M.REDO): _S.ON_BENCH,
        (_S.MADE, _M.HALT): _S.HALTED,
        (_S.CHECKED, _M.SEND): _S.SENT,
        (_S.CHECKED, _M.REDO): _S.ON_BENCH,
        (_S.CHECKED, _M.HALT): _S.HALTED,
    }
)
"""Every legal move but two: a halted ticket resumes to where it was, and is cancelled only if that
was waiting. Both need the state it was halted from."""


def legal_moves(state: TicketState, halted_from: TicketState | None = None) -> tuple[Move, ...]:
    """The moves open to a ticket in that state, in the order of :class:`Move`."""
    if state is TicketState.HALTED:
        if halted_from is None:
            return ()
        never_begun = halted_from is TicketState.WAITING
        return (Move.RESUME, Move.CANCEL) if never_begun else (Move.RESUME,)
    return tuple(move for move in Move if (state, move) in MOVES)


def after(state: TicketState, move: Move, halted_from: TicketState | None) -> TicketState | None:
    """The state after the move, or None if the move is not legal."""
    if move not in legal_moves(state, halted_from):
        return None
    if move is Move.RESUME:
        return halted_from
    if state is TicketState.HALTED:
        return TicketState.CANCELLED
    return MOVES[state, move]


def states_drawing() -> str:
    """The table as a Mermaid state diagram, for a document that shows what the code does."""
    lines = ["stateDiagram-v2", f"    [*] --> {TicketState.WAITING}"]
    for state in TicketState:
        if state is not TicketState.HALTED:
            lines += [_arrow(state, move, MOVES[state, move]) for move in legal_moves(state)]
    for halted_from in (state for state, move in MOVES if move is Move.HALT):
        for move in legal_moves(TicketState.HALTED, halted_from):
            end = after(TicketState.HALTED, move, halted_from) or TicketState.HALTED
            lines.append(_arrow(TicketState.HALTED, move, end, f" if it was {halted_from}"))
    ends = (state for state in TicketState if not legal_moves(state, TicketState.WAITING))
    lines += [f"    {state} --> [*]" for state in ends]
    return "\n".join(lines)


def _arrow(state: TicketState, move: Move, end: TicketState, when: str = "") -> str:
    return f"    {state} --> {end}: {move}{when}"


def order_state(tickets: Iterable[TicketState]) -> OrderState:
    """What the tickets make of their order; cancelled ones count only if all are."""
    live = {state for state in tickets if state is not TicketState.CANCELLED}
    if not live:
        return OrderState.CANCELLED
    if live == {TicketState.SENT}:
        return OrderState.SENT
    if live <= {TicketState.SENT, TicketState.CHECKED}:
        return OrderState.READY
    if live <= {TicketState.WAITING, TicketState.HALTED}:
        return OrderState.ACCEPTED
    return OrderState.IN_WORK
