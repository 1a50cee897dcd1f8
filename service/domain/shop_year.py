"""A simulated year: orders are promised as the service promises them, and then really made.

Every order is promised when it comes by a rule that knows the shop as the service does: what is
booked, and what became of earlier promises. It is accepted at once, and its tickets go to the
workroom (:mod:`service.domain.shop_floor`), where each station takes the earliest promised ticket
that waits, and of these the first accepted. The rule does not know what the work will really take.
The promises change what is made first, so each rule is given the same year from its beginning.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from math import inf

from service.domain.calendar import (
    first_work_day,
    is_working_day,
    opening,
    place_of,
)
from service.domain.capable_to_promise import load_of, promise, rushed
from service.domain.conformal import (
    MOST_READ,
    DecidedPromise,
    dispatch_day,
    needed_correction,
)
from service.domain.found_day import margins_with
from service.domain.margins import Margins
from service.domain.promising import MaterialDay, Plan, StationWork, material_ready_day, plan_work
from service.domain.shop_floor import Job, ShopFloor, Worked
from service.domain.shop_now import ShopNow
from service.domain.year_books import YearBooks
from service.domain.year_orders import Year, YearOrder, YearTicket


@dataclass(frozen=True, slots=True)
class Told:
    """What a rule tells of an order; ``plan`` is what it books, None for a rule without books."""

    promised_day: date
    load: float
    plan: Plan | None = None
    quantile_at: datetime | None = None
    rush: bool = False
    margins: Margins = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asked:
    """An order's work, and the shop as it comes in.

    ``most_rush_days`` may be gained by rush, 0 where none is asked for.
    """

    shop: ShopNow
    works: Sequence[Sequence[StationWork]]
    material: MaterialDay
    most_rush_days: int = 0


Rule = Callable[[Asked], Told]
"""Promises what is asked for; nothing is booked by it."""


def service_rule(asked: Asked) -> Told:
    """As the service promises."""
    shop, works = asked.shop, asked.works
    made = promise(shop, works, asked.material)
    made = rushed(shop, works, made, most_rush_days=asked.most_rush_days) or made
    margins = margins_with(
        shop, made.found, made.promised_day, rush=made.rush, corrected_by=made.corrected_by
    )
    return Told(made.promised_day, made.load, made.plan, made.quantile_at, made.rush, margins)


def plan_rule(asked: Asked) -> Told:
    """The day on which the plan by standard minutes is done, without any safety."""
    load = load_of(asked.shop, asked.works)
    plan = _plan(asked, asked.shop.policy.rush_reserve_percent)
    if asked.most_rush_days:
        fast = _plan(asked, 0)
        if fast.done_day < plan.done_day:
            return Told(fast.done_day, load, fast, rush=True)
    return Told(plan.done_day, load, plan)


def _plan(asked: Asked, reserve_percent: int) -> Plan:
    shop = asked.shop
    return plan_work(
        asked.works,
        ready_day=asked.material.ready_day,
        calendar=shop.calendar,
        stations=shop.stations,
        booked=shop.booked,
        now=shop.now,
        reserve_percent=reserve_percent,
    )


def constant_rule(asked: Asked) -> Told:
    """So many working days for everyone: what was accepted first is urgent, whatever the number."""
    return Told(first_work_day(asked.shop.calendar, asked.shop.now), 0.0)


@dataclass(frozen=True, slots=True)
class KeptOrder:
    """What an order was told, and the working day with whose dispatch it left.

    ``first_day`` is the one on which work on it could begin at the earliest by the calendar alone.
    """

    placed_at: datetime
    first_day: date
    material_day: date
    told: Told
    done_at: datetime
    left_day: date

    @property
    def kept(self) -> bool:
        """Whether it left by the promised day."""
        return self.left_day <= self.told.promised_day


@dataclass(frozen=True, slots=True)
class PlayedYear:
    """The orders as they came, and every step that was worked, as it was done."""

    year: Year
    orders: tuple[KeptOrder, ...]
    worked: tuple[Worked, ...]


def play_year(year: Year, rule: Rule) -> PlayedYear:
    """Play the year with promises by ``rule``; equal arguments give equal results.

    :class:`~.promising.HorizonExceeded` and :class:`~.shop_floor.NeverOpen` when more is ordered
    than can ever be made.
    """
    return _Player(year, rule).play()


@dataclass(slots=True)
class _Open:
    """An order that was accepted."""

    order: YearOrder
    material_day: date
    told: Told
    tickets_left: int
    done_at: datetime | None = None
    measured: DecidedPromise | None = None


class _Player:
    def __init__(self, year: Year, rule: Rule) -> None:
        catalogue = year.catalogue
        self._year, self._rule, self._calendar = year, rule, catalogue.calendar
        self._books = YearBooks(catalogue)
        self._floor = ShopFloor(year.machines)
        self._accepted: list[_Open] = []
        self._of_ticket: list[tuple[_Open, int]] = []
        self._worked: list[Worked] = []
        self._undecided: list[_Open] = []
        self._decided: list[_Open] = []
        self._history_day = date.min
        self._known: list[DecidedPromise] = []

    def play(self) -> PlayedYear:
        today = date.min
        for order in self._year.orders:
            day = place_of(self._calendar, order.placed_at)[0]
            if day > today:
                self._mornings(max(today, self._year.setting.first_day), day)
                today = day
            self._work_until(order.placed_at)
            self._accept(order)
        self._note(self._floor.run())
        return PlayedYear(
            self._year, tuple(self._kept(one) for one in self._accepted), tuple(self._worked)
        )

    def _mornings(self, after: date, up_to: date) -> None:
        """Every working day between begins with a look at what was not done."""
        for back in range((up_to - after).days - 1, -1, -1):
            day = up_to - timedelta(days=back)
            if is_working_day(self._calendar, day):
                opens = opening(self._calendar, day)
                self._work_until(opens)
                self._books.plan_anew(opens)

    def _work_until(self, moment: datetime) -> None:
        self._note(self._floor.run(moment.timestamp()))

    def _note(self, worked: Sequence[Worked]) -> None:
        """What was worked, as the books and the orders hear of it."""
        self._worked += worked
        for one in worked:
            opened, index = self._of_ticket[one.job]
            ticket = opened.order.tickets[index]
            ended = datetime.fromtimestamp(one.over_s, UTC)
            if opened.told.plan is not None:
                self._note_booked(one, ticket, ended)
            if one.step + 1 == len(ticket.real):
                opened.tickets_left -= 1
                opened.done_at = max(ended, opened.done_at or ended)

    def _note_booked(self, one: Worked, ticket: YearTicket, ended: datetime) -> None:
        """What is made again has a ticket of its own in the books, numbered from -1 down."""
        number = one.job if one.step < len(ticket.works) else -1 - one.job
        booked = self._books.step_done(number, place_of(self._calendar, ended)[0])
        if ticket.again and one.step + 1 == len(ticket.works):
            self._books.make_again(-1 - one.job, booked, ticket.again, ended)

    def _accept(self, order: YearOrder) -> None:
        catalogue, calendar, now = self._year.catalogue, self._calendar, order.placed_at
        material = MaterialDay(first_work_day(calendar, now), "")
        if order.bought_in:
            material = material_ready_day(catalogue, order.lines, now)
        works = [ticket.works for ticket in order.tickets]
        shop = ShopNow.of(catalogue, now, self._books.booked, self._history(now))
        shop = replace(shop, margins=self._books.margins)
        terms = catalogue.prices.rush
        most_rush_days = terms.most_days if order.rush and terms is not None else 0
        told = self._rule(Asked(shop, works, material, most_rush_days))
        opened = _Open(order, material.day, told, len(works))
        first = len(self._of_ticket)
        if told.plan is not None:
            self._books.accept(first, works, told.plan, told.promised_day, rush=told.rush)
            self._books.change_margins(told.margins)
        from_s = max(now, opening(calendar, material.day)).timestamp()
        for index, ticket in enumerate(order.tickets):
            urgency = told.promised_day.toordinal(), first + index
            self._of_ticket.append((opened, index))
            self._floor.add(Job(first + index, ticket.real, urgency, from_s))
        self._accepted.append(opened)
        self._undecided.append(opened)

    def _history(self, now: datetime) -> list[DecidedPromise]:
        """The last promises whose day was over before this one began, found once a day."""
        day, _ = place_of(self._calendar, now)
        if day > self._history_day:
            over = [one for one in self._undecided if one.told.promised_day < day]
            self._undecided = [one for one in self._undecided if one.told.promised_day >= day]
            self._decided += sorted(over, key=lambda one: one.told.promised_day)
            self._decided = self._decided[-MOST_READ:]
            self._known = [self._measured(one) for one in self._decided]
            self._history_day = day
        return self._known

    def _measured(self, one: _Open) -> DecidedPromise:
        """What the promise had needed; what is still open needs without bound."""
        if one.measured is not None:
            return one.measured
        told, done_at = one.told, one.done_at
        if one.tickets_left or not told.plan or not told.quantile_at or not done_at:
            return DecidedPromise(inf, kept=False, rush=told.rush)
        one.measured = DecidedPromise(
            needed_correction(
                self._calendar, told.quantile_at, done_at, nominal=told.plan.done_day
            ),
            kept=dispatch_day(self._calendar, done_at) <= told.promised_day,
            rush=told.rush,
        )
        return one.measured

    def _kept(self, one: _Open) -> KeptOrder:
        done_at = one.done_at or one.order.placed_at
        return KeptOrder(
            one.order.placed_at,
            first_work_day(self._calendar, one.order.placed_at),
            one.material_day,
            one.told,
            done_at,
            dispatch_day(self._calendar, done_at),
        )
