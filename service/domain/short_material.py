"""Material that falls away: whose it was, and the day theirs can be there instead.

Nowhere is written which ticket takes which piece. A ticket rests on what is there and on its way if
that is enough for it when whoever begins first takes first. What was missing before anything fell
away is bought in for its ticket, of which the ledger knows nothing, so that ticket is left alone.

Of those that rested on it the most urgent keep theirs. Each takes what comes last of all that is
there as its work begins, which leaves the most to the others: as long as all can have theirs by
their planned days, all do, in whatever order they are asked. What can be ordered now and still be
in time lacks nobody. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, NamedTuple

EVER: Final = date.min
"""The day since which what lies on the shelf is there."""


class Supply(NamedTuple):
    """So much of a thing that is there from that day on; below 0 it is owed."""

    day: date
    quantity: int


@dataclass(frozen=True, slots=True)
class Waiting:
    """What an open ticket still takes of one thing, planned to begin on ``day``.

    It was accepted on the day ``since``: a delivery that was overdue by then was not counted on.
    What is ``begun`` comes first and waits for nothing: most likely it has taken its own already.
    """

    ticket_id: int
    quantity: int
    day: date
    promised_day: date
    begun: bool = False
    since: date = EVER


def ready_days(
    waiting: Iterable[Waiting],
    there: Sequence[Supply],
    fallen: Sequence[Supply],
    *,
    ordered: date,
) -> dict[int, date]:
    """Tickets whose material is later than their work, by id, and the day that it can be there.

    ``there`` is what is left and ``fallen`` what was counted on besides. ``ordered`` is the day on
    which more of it comes if it is ordered now.
    """
    before = _Stock([*there, *fallen])
    first = sorted(waiting, key=_by_beginning)
    resting = [one for one in first if before.take(one.quantity, one.day, one.since)]
    left, found = _Stock(there), dict[int, date]()
    for one in sorted(resting, key=_by_urgency):
        if one.begun:
            left.take(min(one.quantity, left.by(one.day)), one.day)
        elif one.day < ordered and not left.take(one.quantity, one.day):
            found[one.ticket_id] = left.take_soonest(one.quantity, ordered)
    return found


def _by_beginning(one: Waiting) -> tuple[bool, date, date, int]:
    return not one.begun, one.day, one.promised_day, one.ticket_id


def _by_urgency(one: Waiting) -> tuple[bool, date, int]:
    return not one.begun, one.promised_day, one.ticket_id


def _counts(one: Supply, day: date, since: date) -> bool:
    return one.day <= day and (one.day == EVER or one.day >= since)


class _Stock:
    """What is there by day, as it is taken."""

    def __init__(self, supplies: Sequence[Supply]) -> None:
        """What is owed is taken off what comes first."""
        self._left = sorted(one for one in supplies if one.quantity > 0)
        owed = -sum(one.quantity for one in supplies if one.quantity < 0)
        for index, one in enumerate(self._left):
            taken = min(owed, one.quantity)
            self._left[index] = Supply(one.day, one.quantity - taken)
            owed -= taken

    def by(self, day: date, since: date = EVER) -> int:
        """How much is there on that day, of the shelf and of deliveries since another."""
        return sum(one.quantity for one in self._left if _counts(one, day, since))

    def take(self, quantity: int, day: date, since: date = EVER) -> bool:
        """Take so much of that, the latest first, or nothing."""
        if self.by(day, since) < quantity:
            return False
        for index in reversed(range(len(self._left))):
            one = self._left[index]
            taken = min(quantity, one.quantity) if _counts(one, day, since) else 0
            self._left[index] = Supply(one.day, one.quantity - taken)
            quantity -= taken
        return True

    def take_soonest(self, quantity: int, ordered: date) -> date:
        """The first day on which so much is there, and taken; ``ordered`` where that is sooner."""
        for one in self._left:
            if one.day < ordered and self.take(quantity, one.day):
                return one.day
        return ordered
