"""How promises turned out: the share kept beside its target, how late, early and long they were.

Days are working days. A promise for the first day on which work could begin is one day long. An
order leaves with the first dispatch after it is done; one that is still open is taken to leave with
the next, so its lateness is the least that it can be.

What other rules would have given is reckoned on the same orders with the days on which they really
left. It is a *counterfactual*: other promises would have changed what is made first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from service.domain.calendar import is_working_day
from service.domain.shop import WorkCalendar
from service.domain.spoilage import wilson

CONFIDENCE = 0.95
"""Of the interval about a share kept."""

_LATE_SHARE = Fraction(95, 100)
_PERCENT = 100

K = TypeVar("K", str, bool)


@dataclass(frozen=True, slots=True)
class PromiseOutcome:
    """An order whose promised dispatch is over, and the working day with whose dispatch it left.

    ``first_day`` is the one on which work could begin at the earliest by the calendar alone.
    ``load`` is the booked share that the promise met; ``method`` is empty for several.
    """

    first_day: date
    promised_day: date
    nominal_day: date
    left_day: date
    still_open: bool
    target_percent: int
    load: float
    method: str
    rush: bool


@dataclass(frozen=True, slots=True)
class Figures:
    """Of some orders: how many promises were kept, and the means of what was off, in working days.

    ``low`` and ``high`` bound the share kept by Wilson's interval; None without orders.
    ``late_days`` counts orders in time as 0, as does ``late_95_days``, which 95 % of the orders do
    not pass. ``pinball_days`` is a proper score of a quantile: a day late costs the target, a day
    early the rest.
    """

    orders: int
    kept: int
    still_open: int
    low: float | None
    high: float | None
    late_days: float
    late_95_days: float
    early_days: float
    pinball_days: float
    promise_days: float

    @property
    def share(self) -> float | None:
        """Share of the promises kept."""
        return self.kept / self.orders if self.orders else None


@dataclass(frozen=True, slots=True)
class LoadFigures:
    """A third of the orders by the load they met, from and to these."""

    least_load: float
    greatest_load: float
    figures: Figures


@dataclass(frozen=True, slots=True)
class ConstantLead:
    """The lead time, the same for every order, that would have kept the same share.

    Of two whole numbers of days, one of which keeps less and one more, ``days`` is the mix that
    keeps it; ``shorter_by`` is the share by which the shop's promises were shorter on the mean.
    """

    days: float
    shorter_by: float


@dataclass(frozen=True, slots=True)
class Reliability:
    """All orders, by third of load, by method and by rush, and what other rules had given."""

    overall: Figures
    by_load: tuple[LoadFigures, ...]
    by_method: tuple[tuple[str, Figures], ...]
    by_rush: tuple[tuple[bool, Figures], ...]
    by_plan: Figures
    constant: ConstantLead | None


def reliability(outcomes: Sequence[PromiseOutcome], calendar: WorkCalendar) -> Reliability:
    """Measure promises by what became of them."""
    days = _Days(calendar, outcomes)
    told = [days.measured(one, one.promised_day) for one in outcomes]
    overall = _figures(told)
    pairs = list(zip(outcomes, told, strict=True))
    return Reliability(
        overall=overall,
        by_load=tuple(_by_load(pairs)),
        by_method=_by(pairs, lambda one: one.method),
        by_rush=_by(pairs, lambda one: one.rush),
        by_plan=_figures(days.measured(one, one.nominal_day) for one in outcomes),
        constant=_constant(told, overall),
    )


@dataclass(frozen=True, slots=True)
class _Measured:
    """In working days from the first: what was promised, what it took, and the target."""

    promised: int
    took: int
    target_percent: int
    still_open: bool

    @property
    def late(self) -> int:
        return max(0, self.took - self.promised)

    @property
    def early(self) -> int:
        return max(0, self.promised - self.took)

    @property
    def pinball(self) -> float:
        target = self.target_percent
        return (target * self.late + (_PERCENT - target) * self.early) / _PERCENT


class _Days:
    """Working days counted once for all days that occur."""

    def __init__(self, calendar: WorkCalendar, outcomes: Iterable[PromiseOutcome]) -> None:
        seen = {
            day
            for one in outcomes
            for day in (one.first_day, one.promised_day, one.nominal_day, one.left_day)
        }
        self._begun: dict[date, int] = {}
        if not seen:
            return
        count, day, last = 0, min(seen), max(seen)
        while day <= last:
            self._begun[day] = count
            count += is_working_day(calendar, day)
            day += timedelta(days=1)

    def measured(self, one: PromiseOutcome, promised_day: date) -> _Measured:
        """The outcome as if that day had been promised."""
        first = self._begun[one.first_day]
        return _Measured(
            promised=self._begun[promised_day] - first + 1,
            took=self._begun[one.left_day] - first + 1,
            target_percent=one.target_percent,
            still_open=one.still_open,
        )


def _figures(outcomes: Iterable[_Measured]) -> Figures:
    some = list(outcomes)
    if not some:
        return Figures(0, 0, 0, None, None, 0.0, 0.0, 0.0, 0.0, 0.0)
    kept = sum(not one.late for one in some)
    band = wilson(kept, len(some), CONFIDENCE)
    late = sorted(one.late for one in some)
    return Figures(
        orders=len(some),
        kept=kept,
        still_open=sum(one.still_open for one in some),
        low=band.low,
        high=band.high,
        late_days=sum(late) / len(some),
        late_95_days=float(late[math.ceil(len(some) * _LATE_SHARE) - 1]),
        early_days=sum(one.early for one in some) / len(some),
        pinball_days=sum(one.pinball for one in some) / len(some),
        promise_days=sum(one.promised for one in some) / len(some),
    )


_Pairs = Sequence[tuple[PromiseOutcome, _Measured]]


def _by_load(pairs: _Pairs) -> Iterable[LoadFigures]:
    """Orders in ascending load, cut in three parts as equal as can be."""
    ascending = sorted(pairs, key=lambda pair: pair[0].load)
    cuts = [len(ascending) * part // 3 for part in range(4)]
    for begin, end in pairwise(cuts):
        part = ascending[begin:end]
        if part:
            figures = _figures(told for _, told in part)
            yield LoadFigures(part[0][0].load, part[-1][0].load, figures)


def _by(pairs: _Pairs, key: Callable[[PromiseOutcome], K]) -> tuple[tuple[K, Figures], ...]:
    parts: dict[K, list[_Measured]] = {}
    for one, told in pairs:
        parts.setdefault(key(one), []).append(told)
    return tuple((name, _figures(parts[name])) for name in sorted(parts))


def _constant(told: Sequence[_Measured], overall: Figures) -> ConstantLead | None:
    """None without a kept promise, for which no lead time is the equal."""
    if not overall.kept:
        return None
    took = sorted(one.took for one in told)
    whole = took[overall.kept - 1]
    kept_before = sum(one < whole for one in took)
    kept_then = sum(one <= whole for one in took)
    part = Fraction(overall.kept - kept_before, kept_then - kept_before)
    days = float(whole - 1 + part)
    return ConstantLead(days, 1 - overall.promise_days / days if days > 0 else 0.0)
