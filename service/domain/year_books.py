"""The books of a simulated year: what is booked by station and day, and what is moved on.

They are kept as the service keeps them: an order's plan is booked as it was promised; a ticket that
is done with a station gives back what it had booked there for later days; and every morning the
tickets of which something was not done on its day are planned anew
(:mod:`service.domain.replanning`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from service.domain.booked_time import BookedDays, with_shares
from service.domain.calendar import place_of
from service.domain.margins import Margin, Margins
from service.domain.promising import Plan, StationWork
from service.domain.replanning import OpenTicket, Share, Workdays, plan_anew, without
from service.domain.shop import Catalogue


@dataclass(slots=True)
class BookedTicket:
    """A ticket that is not done: its steps, how many of them are, and what the others booked."""

    id: int
    promised_day: date
    rush: bool
    works: Sequence[StationWork]
    done: int = 0
    shares: list[Share] = field(default_factory=list)

    def open_ticket(self, ready_day: date) -> OpenTicket:
        """What is left of it, to be planned anew."""
        left = tuple(self.works[self.done :])
        return OpenTicket(self.id, self.promised_day, self.rush, ready_day, left)


class YearBooks:
    """Station time by day, and whose it is."""

    def __init__(self, catalogue: Catalogue) -> None:
        """Begin with empty books."""
        self.booked = BookedDays({})
        self.margins: dict[tuple[str, bool], dict[date, Margin]] = {}
        self.tickets: dict[int, BookedTicket] = {}
        self._catalogue = catalogue

    def accept(
        self,
        first: int,
        works: Sequence[Sequence[StationWork]],
        plan: Plan,
        promised_day: date,
        *,
        rush: bool,
    ) -> None:
        """Book an order's plan; its tickets are numbered from ``first`` on."""
        for index, steps in enumerate(works):
            shares = [
                (one.station, one.day, one.seconds)
                for one in plan.bookings
                if one.ticket_index == index
            ]
            ticket = self.tickets[first + index] = BookedTicket(
                first + index, promised_day, rush, steps
            )
            self._book(ticket, shares)

    def change_margins(self, changed: Margins) -> None:
        """Keep margins as an order that was just accepted leaves them."""
        for place, left in changed.items():
            self.margins.setdefault(place, {}).update(left)

    def make_again(
        self, number: int, of: BookedTicket, works: Sequence[StationWork], now: datetime
    ) -> None:
        """Plan and book a ticket for what is made anew of another's pieces."""
        ticket = self.tickets[number] = BookedTicket(number, of.promised_day, of.rush, works)
        self._plan([ticket.open_ticket(place_of(self._catalogue.calendar, now)[0])], now)

    def step_done(self, number: int, today: date) -> BookedTicket:
        """Take note that a ticket's next step is done; gives the ticket."""
        ticket = self.tickets[number]
        ticket.done += 1
        left = {step.station for step in ticket.works[ticket.done :]}
        over = [share for share in ticket.shares if share[0] not in left]
        ticket.shares = [share for share in ticket.shares if share[0] in left]
        self._give_back(ticket, [share for share in over if share[1] > today])
        if ticket.done == len(ticket.works):
            del self.tickets[number]
        return ticket

    def plan_anew(self, now: datetime) -> None:
        """Move on what was not done on its day."""
        today, _ = place_of(self._catalogue.calendar, now)
        late = [
            ticket
            for ticket in self.tickets.values()
            if any(day < today for _, day, _ in ticket.shares)
        ]
        open_tickets = []
        for ticket in late:
            first = min(day for _, day, _ in ticket.shares)
            self._give_back(ticket, ticket.shares)
            ticket.shares = []
            open_tickets.append(ticket.open_ticket(max(today, first)))
        self._plan(open_tickets, now)

    def _plan(self, tickets: Iterable[OpenTicket], now: datetime) -> None:
        catalogue = self._catalogue
        days = Workdays(
            catalogue.calendar,
            catalogue.station_by_id,
            now,
            catalogue.policy.rush_reserve_percent,
        )
        for planned in plan_anew(tickets, self.booked, days):
            self._book(self.tickets[planned.ticket_id], planned.shares)

    def _book(self, ticket: BookedTicket, shares: Iterable[Share]) -> None:
        added = list(shares)
        self.booked = with_shares(self.booked, added, rush=ticket.rush)
        ticket.shares += added

    def _give_back(self, ticket: BookedTicket, shares: Iterable[Share]) -> None:
        self.booked = without(
            self.booked, [(station, day, s, ticket.rush) for station, day, s in shares]
        )
