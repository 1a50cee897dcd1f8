"""How much there is, how much is spoken for, how long it lasts, and when and what to reorder.

Stock is a ledger of moves: on hand is their sum, also below zero, for a shelf may be wrong. Free is
on hand less what open tickets still need. Days are the shop's working days throughout.

Reordering is by a point and a level, reckoned on the position, free plus what is on its way:

    point = use a day * (supplier's lead days + safety days), rounded up
    level = use a day * (supplier's lead days + safety days + days an order is to last), rounded up
    at or below the point, order up to the level

unless the catalogue states point or level itself. Common practice, no source. Supplier and policy
know best: what is told is advice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction

from service.domain.calendar import add_working_days, next_working_day
from service.domain.shop import WorkCalendar
from service.domain.stock_items import StockEntry

USE_WINDOW_DAYS = 28
"""Days before today, four weeks of the calendar, from which use is told."""


class MoveReason(StrEnum):
    """Why stock was moved; a count sets what is on hand, its move is the difference.

    Blanks are taken when a ticket is first started (``ticket``). What it did not use, for it was
    finished with spares left or cancelled, is given back (``ticket_back``). ``run`` and
    ``run_dissolved`` are the film of a run.
    """

    RECEIVE = "receive"
    COUNT = "count"
    WASTE = "waste"
    TICKET = "ticket"
    TICKET_BACK = "ticket_back"
    RUN = "run"
    RUN_DISSOLVED = "run_dissolved"


USES = (
    MoveReason.WASTE,
    MoveReason.TICKET,
    MoveReason.TICKET_BACK,
    MoveReason.RUN,
    MoveReason.RUN_DISSOLVED,
)
"""Moves that tell of use, given back or not. A count tells that the ledger was wrong, not when."""


@dataclass(frozen=True, slots=True)
class Expected:
    """A delivery on its way: how much, and the day it is expected."""

    id: str
    quantity: int
    day: date


@dataclass(frozen=True, slots=True)
class Moved:
    """What the ledger says of one thing: the sum of all moves, and what was used of late."""

    on_hand: int = 0
    used: int = 0


@dataclass(frozen=True, slots=True)
class Reordering:
    """By what reordering is reckoned, in working days; ``window_days`` is what use is told from."""

    window_days: int
    safety_days: int
    order_days: int


@dataclass(frozen=True, slots=True)
class StockLevel:
    """How one thing stands. Quantities are whole numbers of its own unit."""

    entry: StockEntry
    moved: Moved
    held: int
    incoming: Sequence[Expected]
    by: Reordering

    @property
    def on_hand(self) -> int:
        """The sum of all moves."""
        return self.moved.on_hand

    @property
    def free(self) -> int:
        """On hand and not needed by an open ticket; below zero where more is needed than there."""
        return self.on_hand - self.held

    @property
    def use_per_day(self) -> Fraction:
        """What was used of late, by working day; never below zero."""
        return Fraction(max(0, self.moved.used), max(1, self.by.window_days))

    @property
    def cover_days(self) -> Fraction | None:
        """Working days that what is on hand lasts; None where none was used of late."""
        use = self.use_per_day
        return Fraction(max(0, self.on_hand)) / use if use else None

    @property
    def reorder_point(self) -> int:
        """At or below this, order."""
        if self.entry.reorder_point is not None:
            return self.entry.reorder_point
        return math.ceil(self.use_per_day * (self.entry.lead_days + self.by.safety_days))

    @property
    def reorder_to(self) -> int:
        """Up to this is ordered; never below the point."""
        if self.entry.reorder_to is not None:
            return max(self.entry.reorder_to, self.reorder_point)
        days = self.entry.lead_days + self.by.safety_days + self.by.order_days
        return max(self.reorder_point, math.ceil(self.use_per_day * days))

    @property
    def position(self) -> int:
        """Free and on its way."""
        return self.free + sum(one.quantity for one in self.incoming)

    @property
    def to_order(self) -> int:
        """How much to order now, 0 for nothing."""
        if self.position > self.reorder_point:
            return 0
        return max(0, self.reorder_to - self.position)


def material_day(level: StockLevel, needed: int, *, today: date, calendar: WorkCalendar) -> date:
    """The first working day, from ``today`` on, on which so much more of it can be had.

    From what is free, from what is on its way, or ordered anew today.
    """
    ordered = add_working_days(calendar, today, level.entry.lead_days)
    have = level.free
    if have >= needed:
        return next_working_day(calendar, today)
    for one in sorted(level.incoming, key=lambda expected: expected.day):
        have += one.quantity
        if have >= needed:
            return min(ordered, next_working_day(calendar, max(today, one.day)))
    return ordered
