"""Words for people at the bench: states, moves, days and moments."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime
from enum import StrEnum
from typing import Any, Final
from zoneinfo import ZoneInfo

from service.domain.ticket_states import Move, TicketState
from service.domain.ticket_steps import StepKind
from service.domain.ticket_words import kind_words

STATE_WORDS: Final[Mapping[TicketState, str]] = {
    TicketState.WAITING: "waiting",
    TicketState.ON_BENCH: "on the bench",
    TicketState.MADE: "made",
    TicketState.CHECKED: "checked",
    TicketState.SENT: "sent",
    TicketState.HALTED: "halted",
    TicketState.CANCELLED: "cancelled",
}
MOVE_WORDS: Final[Mapping[Move, str]] = {
    Move.START: "Start",
    Move.PUT_BACK: "Put back",
    Move.FINISH: "Finish",
    Move.REDO: "Redo",
    Move.CHECK: "Check",
    Move.SEND: "Send",
    Move.HALT: "Halt",
    Move.RESUME: "Resume",
    Move.CANCEL: "Cancel ticket",
}
OPEN_STATES: Final = (
    TicketState.WAITING,
    TicketState.ON_BENCH,
    TicketState.MADE,
    TicketState.CHECKED,
    TicketState.HALTED,
)
"""What the queue shows unless told otherwise: all that is still to be done."""

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class Urgency(StrEnum):
    """How near the promised day is."""

    OVERDUE = "overdue"
    TODAY = "today"
    TOMORROW = "tomorrow"
    LATER = "later"


def urgency(promised_day: date, today: date) -> Urgency:
    """How near the promised day is, seen from today, the shop's own day."""
    days = (promised_day - today).days
    if days < 0:
        return Urgency.OVERDUE
    return (Urgency.TODAY, Urgency.TOMORROW)[days] if days < 2 else Urgency.LATER


def day_words(day: date) -> str:
    """``Mon 9 Mar 2026``; no locale decides it."""
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def moment_words(moment: datetime, zone: ZoneInfo) -> str:
    """``Mon 9 Mar 2026 14:05``, in the shop's own time."""
    local = moment.astimezone(zone)
    return f"{day_words(local.date())} {local:%H:%M}"


def plural(count: int, one: str, several: str = "") -> str:
    """``1 piece``, ``2 pieces``."""
    return f"{count} {one if count == 1 else several or one + 's'}"


FILTERS: Final[Mapping[str, Callable[..., Any]]] = {
    "state_words": lambda state: STATE_WORDS[TicketState(state)],
    "move_words": lambda move: MOVE_WORDS[Move(move)],
    "day_words": day_words,
    "moment_words": moment_words,
    "kind_words": lambda kind: kind_words(StepKind(kind)).capitalize(),
    "plural": plural,
}
"""What templates write values with."""
