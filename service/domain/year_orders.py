"""The orders of a simulated year and what really happens to them, drawn once before it is played.

All of it is invented. Orders come by a Poisson process over the opening hours of working days, its
rate swinging slowly with the weeks. Each has one to three lines, each line one of the ways in which
the catalogue's blanks can really be decorated, for few pieces more often than for many. Real
minutes are the standard ones times a lognormal factor of mean 1 and the station's spread. A line
of which more pieces are spoiled than it has spares is made anew for the missing ones. Machines
break down. The rates are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import islice

import numpy as np

from service.domain.calendar import StationHours, is_working_day, opening
from service.domain.compiled import CompiledCatalogue
from service.domain.machines import Station
from service.domain.matrix import SAMPLES, standard_width_mm, usual_placement
from service.domain.promising import StationWork, station_works
from service.domain.rules import Severity
from service.domain.shop import Catalogue
from service.domain.shop_floor import JobStep, OpenTimes, Span, without
from service.domain.verdict import judge
from service.domain.wishes import Decoration, Line
from service.domain.work import LineAccount, LineWork, line_account

KINDS_OF_A_METHOD = 4
"""Wishes of a method: an artwork on a blank, the catalogue's first of which nothing warns."""

MOST_PIECES = 60
DAYS_AFTER = 250
"""Days after the last order in which what is open can be done."""

_LINES = (0.6, 0.3, 0.1)
_WEEKS_OF_A_SWING = 17.0
_WEEK_KEEPS = 0.7
_WEEK_SPREAD = 0.08
_DAYS_A_WEEK = 7


class NothingToMake(ValueError):
    """No method of the catalogue works on any of its blanks without a warning."""


@dataclass(frozen=True, slots=True)
class YearSetting:
    """What kind of a year it is.

    ``load`` is the mean load of the busiest station, and ``swing`` how far demand goes up and down
    about its mean. ``bought_in_share`` of the orders need something that is not on the shelf,
    ``rush_share`` ask for rush. A
    machine works for ``down_after_h`` hours on the mean until it is down for ``down_h``, and of all
    pieces ``spoiled_share`` come to nothing.
    """

    first_day: date = date(2027, 1, 1)
    days: int = 365
    load: float = 0.8
    swing: float = 0.15
    bought_in_share: float = 0.2
    rush_share: float = 0.1
    down_after_h: float = 150.0
    down_h: float = 3.0
    spoiled_share: float = 0.03


@dataclass(frozen=True, slots=True)
class YearTicket:
    """A line's standard work and what it really takes.

    ``again`` is the work on the pieces that are made anew, empty if none. ``real`` are the steps of
    both, one after the other.
    """

    works: tuple[StationWork, ...]
    again: tuple[StationWork, ...]
    real: tuple[JobStep, ...]


@dataclass(frozen=True, slots=True)
class YearOrder:
    """An order, with a ticket for each line."""

    placed_at: datetime
    bought_in: bool
    rush: bool
    lines: tuple[LineWork, ...]
    tickets: tuple[YearTicket, ...]


@dataclass(frozen=True, slots=True)
class Year:
    """The orders in the order in which they come, and when each station's machines really work."""

    setting: YearSetting
    catalogue: Catalogue
    orders: tuple[YearOrder, ...]
    machines: Mapping[str, tuple[OpenTimes, ...]]


def draw_year(compiled: CompiledCatalogue, setting: YearSetting, seed: int) -> Year:
    """The year of that seed; equal arguments give equal years. NothingToMake."""
    streams = (np.random.default_rng(one) for one in np.random.SeedSequence(seed).spawn(3))
    coming, making, breaking = streams
    catalogue, shelf = compiled.catalogue, _Shelf(compiled)
    days = [setting.first_day + timedelta(days=n) for n in range(setting.days)]
    open_days = [day for day in days if is_working_day(catalogue.calendar, day)]
    busiest, orders_a_day = _demand(catalogue, shelf, setting, open_days)
    rates = _rates(setting, open_days, coming)
    hours = StationHours(catalogue.calendar)
    maker = _Maker(catalogue, shelf, setting, making)
    placed: list[datetime] = []
    for day, rate in zip(open_days, rates, strict=True):
        count = int(coming.poisson(orders_a_day * rate))
        into_s = sorted(coming.uniform(0, hours.day_s(busiest, day), count).tolist())
        opens = opening(catalogue.calendar, day)
        placed += [opens + timedelta(seconds=round(one)) for one in into_s]
    return Year(
        setting,
        catalogue,
        tuple(maker.order(at) for at in placed),
        _machines(catalogue, setting, breaking),
    )


class _Shelf:
    """What is wished: accounts of lines of one piece, and their work by count."""

    def __init__(self, compiled: CompiledCatalogue) -> None:
        self.accounts = tuple(_accounts(compiled))
        if not self.accounts:
            raise NothingToMake("no method works on any blank without a warning")
        self.work: Callable[[int, int], LineWork] = lru_cache(maxsize=None)(self._work)

    def _work(self, kind: int, pieces: int) -> LineWork:
        account = self.accounts[kind]
        sizes = dict.fromkeys(account.line.pieces_by_size, pieces)
        return replace(account, line=replace(account.line, pieces_by_size=sizes)).work()

    def draw(self, generator: np.random.Generator) -> list[tuple[int, int]]:
        """Kind and pieces of each line of an order."""
        lines = 1 + int(generator.choice(len(_LINES), p=_LINES))
        kinds = generator.integers(len(self.accounts), size=lines).tolist()
        pieces = np.floor(np.exp(generator.uniform(0, math.log(MOST_PIECES + 1), lines)))
        return list(zip(kinds, pieces.astype(int).tolist(), strict=True))

    def mean_seconds(self) -> dict[str, float]:
        """Seconds an order takes at each station on the mean."""
        lines = sum(number * share for number, share in enumerate(_LINES, 1))
        seconds: dict[str, float] = {}
        for pieces in range(1, MOST_PIECES + 1):
            chance = math.log((pieces + 1) / pieces) / math.log(MOST_PIECES + 1)
            for kind in range(len(self.accounts)):
                for step in station_works(self.work(kind, pieces)):
                    mean_s = lines * chance * step.seconds / len(self.accounts)
                    seconds[step.station] = seconds.get(step.station, 0.0) + mean_s
        return seconds


def _accounts(compiled: CompiledCatalogue) -> Iterator[LineAccount]:
    """What a piece needs by each method on the first blanks where nothing warns of it."""
    for method in compiled.catalogue.methods:
        suited = (
            line
            for line in _lines(compiled, method.id)
            if not judge(compiled, line, line.decorations[0], method.id).at_least(Severity.WARNS)
        )
        for line in islice(suited, KINDS_OF_A_METHOD):
            yield line_account(compiled.catalogue, line)


def _lines(compiled: CompiledCatalogue, method_id: str) -> Iterator[Line]:
    """A piece of each blank in its first colour, with each of the invented artworks."""
    catalogue = compiled.catalogue
    for blank in catalogue.blanks:
        colour = blank.colours[0]
        garment = compiled.garments[blank.id, colour.id]
        for name, sample in SAMPLES.items():
            width_mm = standard_width_mm(blank, sample.usual, catalogue.policy)
            decoration = Decoration(
                usual_placement(blank).id, f"art_{name}", sample.usual, width_mm, method_id
            )
            yield Line(garment, {blank.sizes[0].size: 1}, (decoration,))


def _demand(
    catalogue: Catalogue,
    shelf: _Shelf,
    setting: YearSetting,
    open_days: Sequence[date],
) -> tuple[Station, float]:
    """The busiest station, and how many orders a day load it as is wished on the mean."""
    seconds = shelf.mean_seconds()
    hours = StationHours(catalogue.calendar)

    def orders(name: str) -> float:
        station = catalogue.station_by_id[name]
        room_s = sum(hours.day_s(station, day) for day in open_days) * station.machines
        return setting.load * room_s / max(1, len(open_days)) / seconds[name]

    busiest = min((name for name in seconds if seconds[name]), key=orders)
    return catalogue.station_by_id[busiest], orders(busiest)


def _rates(
    setting: YearSetting, open_days: Sequence[date], generator: np.random.Generator
) -> list[float]:
    """Demand of each day about its mean: a slow wave, and weeks that resemble the one before."""
    phase, weeks = float(generator.uniform(0, 2 * math.pi)), setting.days // _DAYS_A_WEEK + 2
    drift, drifts = 0.0, []
    for _ in range(weeks):
        drift = _WEEK_KEEPS * drift + float(generator.normal(0, _WEEK_SPREAD))
        drifts.append(drift)
    rates = []
    for day in open_days:
        week = (day - setting.first_day).days / _DAYS_A_WEEK
        wave = setting.swing * math.sin(2 * math.pi * week / _WEEKS_OF_A_SWING + phase)
        rates.append(max(0.0, (1 + wave) * math.exp(drifts[int(week)])))
    mean = sum(rates) / len(rates) if rates else 1.0
    return [rate / mean for rate in rates]


class _Maker:
    """Draws what each order is and what it really takes."""

    def __init__(
        self,
        catalogue: Catalogue,
        shelf: _Shelf,
        setting: YearSetting,
        generator: np.random.Generator,
    ) -> None:
        self._catalogue, self._shelf = catalogue, shelf
        self._setting, self._generator = setting, generator

    def order(self, placed_at: datetime) -> YearOrder:
        drawn = self._shelf.draw(self._generator)
        bought_in, rush = (
            bool(self._generator.random() < share)
            for share in (self._setting.bought_in_share, self._setting.rush_share)
        )
        lines = tuple(self._shelf.work(kind, pieces) for kind, pieces in drawn)
        tickets = tuple(
            self._ticket(kind, pieces, line)
            for (kind, pieces), line in zip(drawn, lines, strict=True)
        )
        return YearOrder(placed_at, bought_in, rush, lines, tickets)

    def _ticket(self, kind: int, pieces: int, line: LineWork) -> YearTicket:
        spoiled = int(self._generator.binomial(line.starts, self._setting.spoiled_share))
        short = pieces - (line.starts - spoiled)
        again = station_works(self._shelf.work(kind, short)) if short > 0 else ()
        works = station_works(line)
        return YearTicket(works, again, tuple(self._real(step) for step in works + again))

    def _real(self, step: StationWork) -> JobStep:
        station = self._catalogue.station_by_id[step.station]
        policy = self._catalogue.policy
        spread = station.spread_or(policy.promise_spread)
        sigma = math.sqrt(math.log1p(spread * spread))
        factor = math.exp(float(self._generator.normal(-sigma * sigma / 2, sigma)))
        return JobStep(step.station, step.seconds * factor, float(step.wait_s))


def _machines(
    catalogue: Catalogue, setting: YearSetting, generator: np.random.Generator
) -> dict[str, tuple[OpenTimes, ...]]:
    """When the machines of each station work, breakdowns left out."""
    may_break = {machine.station for machine in catalogue.machine_by_id.values()}
    found = {}
    for station in catalogue.stations:
        spans = tuple(_hours(catalogue, station, setting))
        found[station.id] = tuple(
            OpenTimes(without(spans, _breakdowns(spans, setting, generator)))
            if station.id in may_break
            else OpenTimes(spans)
            for _ in range(station.machines)
        )
    return found


def _hours(catalogue: Catalogue, station: Station, setting: YearSetting) -> Iterator[Span]:
    hours = StationHours(catalogue.calendar)
    for n in range(setting.days + DAYS_AFTER):
        day = setting.first_day + timedelta(days=n)
        opens = opening(catalogue.calendar, day).timestamp()
        yield opens, opens + hours.day_s(station, day)


def _breakdowns(
    spans: Sequence[Span], setting: YearSetting, generator: np.random.Generator
) -> list[Span]:
    """When a machine is down; both times are counted in hours in which it would work."""
    total_s = sum(ends - begins for begins, ends in spans)
    times, at_s, found = OpenTimes(spans), 0.0, list[Span]()
    while True:
        begins_s = at_s + float(generator.exponential(setting.down_after_h * 3_600))
        at_s = begins_s + float(generator.exponential(setting.down_h * 3_600))
        if at_s >= total_s:
            return found
        found.append((times.end_of(-math.inf, begins_s), times.end_of(-math.inf, at_s)))
