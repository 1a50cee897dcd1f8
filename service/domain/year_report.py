"""What a simulated year says of promises: how many were kept, how long they were, and at what load.

Days are working days. A promise for the first day on which work could begin is one day long, so
that a constant lead time of one day is the shortest there is.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from service.domain.calendar import opening, place_of, working_days_between
from service.domain.conformal import nth_working_day
from service.domain.shop_year import KeptOrder, PlayedYear

CONFIDENCE = 0.99
"""Of the band in which the share kept lies by chance alone, where orders are independent."""

_DAYS_A_WEEK = 7
_PERCENT = 100
_Floats = NDArray[np.float64]


def kept_band(count: int, share: float, confidence: float = CONFIDENCE) -> tuple[int, int]:
    """Between which numbers of ``count`` promises are kept, each with that chance by itself.

    Quantiles of the binomial distribution that leave the same chance on either side.
    """
    tail, below, chance, found = (1 - confidence) / 2, 0.0, 0.0, list[int]()
    for kept in range(count + 1):
        log_ways = math.lgamma(count + 1) - math.lgamma(kept + 1) - math.lgamma(count - kept + 1)
        logs = [
            n * math.log(p) if n else 0.0 for n, p in ((kept, share), (count - kept, 1 - share))
        ]
        chance = math.exp(log_ways + sum(logs))
        below += chance
        while len(found) < 2 and below >= (tail, 1 - tail)[len(found)]:
            found.append(kept)
    return found[0], found[1] if len(found) > 1 else count


@dataclass(frozen=True, slots=True)
class LoadThird:
    """The third of the orders that met the least, middle or greatest load, between those loads."""

    least_load: float
    greatest_load: float
    orders: int
    kept: int

    @property
    def share(self) -> float:
        """Share of the promises kept."""
        return self.kept / self.orders if self.orders else math.nan


@dataclass(frozen=True, slots=True)
class YearReport:
    """How promises of a year turned out; days are working days, ``calendar_days`` all days.

    ``late_95_days`` is how late at most 95 % of the orders were, and ``pinball_days`` the mean
    pinball loss, a proper score of a quantile: a day late costs the target, a day early the rest.
    """

    orders: int
    kept: int
    thirds: tuple[LoadThird, ...]
    promise_days: float
    calendar_days: float
    late_days: float
    late_95_days: float
    early_days: float
    pinball_days: float
    rush: int
    rush_kept: int

    @property
    def share(self) -> float:
        """Share of the promises kept."""
        return self.kept / self.orders if self.orders else math.nan


def year_report(played: PlayedYear) -> YearReport:
    """The report on the promises of a year; the target is the policy's."""
    orders = played.orders
    target = played.year.catalogue.policy.promise_percent / _PERCENT
    promised = _days_to(played, [one.told.promised_day for one in orders])
    over = _left_days(played) - promised
    late, early = np.maximum(over, 0), np.maximum(-over, 0)
    calendar = [(one.told.promised_day - _placed_day(played, one)).days for one in orders]
    return YearReport(
        orders=len(orders),
        kept=sum(one.kept for one in orders),
        thirds=_thirds(orders),
        promise_days=_mean(promised),
        calendar_days=_mean(np.array(calendar, np.float64)),
        late_days=_mean(late),
        late_95_days=float(np.quantile(late, 0.95)) if orders else 0.0,
        early_days=_mean(early),
        pinball_days=_mean(target * late + (1 - target) * early),
        rush=sum(one.told.rush for one in orders),
        rush_kept=sum(one.told.rush and one.kept for one in orders),
    )


def _placed_day(played: PlayedYear, one: KeptOrder) -> date:
    return place_of(played.year.catalogue.calendar, one.placed_at)[0]


def _days_to(played: PlayedYear, days: Sequence[date]) -> _Floats:
    """How many working days each order takes up to and with that day."""
    calendar = played.year.catalogue.calendar
    pairs = zip(played.orders, days, strict=True)
    counts = [working_days_between(calendar, one.first_day, day) + 1 for one, day in pairs]
    return np.array(counts, np.float64)


def _left_days(played: PlayedYear) -> _Floats:
    return _days_to(played, [one.left_day for one in played.orders])


def _thirds(orders: Sequence[KeptOrder]) -> tuple[LoadThird, ...]:
    """Orders in ascending load, cut in three parts as equal as can be."""
    by_load = sorted(orders, key=lambda one: one.told.load)
    cuts = [len(by_load) * part // 3 for part in range(4)]
    parts = [by_load[begin:end] for begin, end in itertools.pairwise(cuts)]
    return tuple(
        LoadThird(part[0].told.load, part[-1].told.load, len(part), sum(one.kept for one in part))
        for part in parts
        if part
    )


def _mean(values: _Floats) -> float:
    return float(values.mean()) if values.size else 0.0


@dataclass(frozen=True, slots=True)
class ConstantLead:
    """A lead time of so many working days for every order, that keeps a share of its promises.

    Of two whole numbers of days, of which one keeps less and one more than the share, all is the
    mix that keeps it. The other numbers are those of a :class:`YearReport`.
    """

    days: float
    calendar_days: float
    late_days: float
    pinball_days: float

    def shorter_by(self, report: YearReport) -> float:
        """By what share of it the promises of a report are shorter on the mean."""
        return 1 - report.promise_days / self.days if self.days else 0.0


def constant_lead(played: PlayedYear, share: float) -> ConstantLead:
    """The lead time that keeps the share, by a year that was played with a constant one."""
    left, days = _left_days(played), 0
    before, now = 0.0, 0.0
    while left.size and now < min(1.0, share):
        days += 1
        before, now = now, float((left <= days).mean())
    part = (share - before) / (now - before) if now > before else 1.0
    shorter, longer = (_constant(played, left, each) for each in (max(0, days - 1), days))
    mixed = ((1 - part) * one + part * other for one, other in zip(shorter, longer, strict=True))
    return ConstantLead(*mixed)


def _constant(played: PlayedYear, left: _Floats, days: int) -> tuple[float, float, float, float]:
    """Days, calendar days, lateness and pinball loss where all are promised so many days."""
    calendar = played.year.catalogue.calendar
    target = played.year.catalogue.policy.promise_percent / _PERCENT
    late, early = np.maximum(left - days, 0), np.maximum(days - left, 0)
    told = [
        (nth_working_day(calendar, one.first_day, days - 1) - _placed_day(played, one)).days
        for one in played.orders
    ]
    loss = target * late + (1 - target) * early
    return float(days), _mean(np.array(told, np.float64)), _mean(late), _mean(loss)


@dataclass(frozen=True, slots=True)
class YearWeek:
    """Seven days: how long stations worked of the time they were open, and what left by then.

    ``loads`` are by station, 0 where it was shut all week. ``promised`` orders were to leave in
    these days, of which ``kept`` did so in time.
    """

    first_day: date
    loads: Mapping[str, float]
    promised: int
    kept: int


def year_weeks(played: PlayedYear) -> tuple[YearWeek, ...]:
    """The weeks of the year, the last one perhaps shorter."""
    setting, calendar = played.year.setting, played.year.catalogue.calendar
    weeks = math.ceil(setting.days / _DAYS_A_WEEK)
    firsts = [setting.first_day + timedelta(days=_DAYS_A_WEEK * n) for n in range(weeks + 1)]
    bounds = [opening(calendar, day).timestamp() for day in firsts]
    worked = _worked_s(played, bounds)
    promised, kept = Counter[int](), Counter[int]()
    for one in played.orders:
        week = (one.told.promised_day - setting.first_day).days // _DAYS_A_WEEK
        promised[week] += 1
        kept[week] += one.kept
    return tuple(
        YearWeek(
            first,
            {
                station: worked[station, week] / open_s if open_s else 0.0
                for station, machines in played.year.machines.items()
                for open_s in [sum(one.open_s(*bounds[week : week + 2]) for one in machines)]
            },
            promised[week],
            kept[week],
        )
        for week, first in enumerate(firsts[:-1])
    )


def _worked_s(played: PlayedYear, bounds: Sequence[float]) -> dict[tuple[str, int], float]:
    """Seconds worked by station and week."""
    found: dict[tuple[str, int], float] = defaultdict(float)
    for one in played.worked:
        times = played.year.machines[one.station][one.machine]
        week, at = bisect_right(bounds, one.began_s) - 1, one.began_s
        while at < one.ended_s and week + 1 < len(bounds):
            until = min(one.ended_s, bounds[week + 1])
            found[one.station, week] += times.open_s(at, until)
            week, at = week + 1, until
    return found
