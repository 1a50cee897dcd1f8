"""A simulated year: drawn the same each time, played in order, and measured as it was."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cache

import numpy as np
import pytest
from scipy import stats

from service.domain.booked_time import NOTHING_BOOKED
from service.domain.calendar import StationHours, add_working_days, first_work_day, opening
from service.domain.shop_year import (
    Asked,
    KeptOrder,
    PlayedYear,
    Rule,
    Told,
    constant_rule,
    plan_rule,
    play_year,
    service_rule,
)
from service.domain.year_orders import NothingToMake, Year, YearSetting, draw_year
from service.domain.year_report import constant_lead, kept_band, year_report, year_weeks
from tests.domain.garments_and_lines import demo_shop

MONTH = YearSetting(first_day=date(2027, 3, 1), days=30)


RULES: Mapping[str, Rule] = {
    "as promised": service_rule,
    "plan alone": plan_rule,
    "constant": constant_rule,
}


@cache
def _month() -> Year:
    return draw_year(demo_shop(), MONTH, 1)


@cache
def _year(seed: int) -> Year:
    return draw_year(demo_shop(), YearSetting(), seed)


@cache
def _played(name: str) -> PlayedYear:
    return play_year(_month(), RULES[name])


def test_the_same_seed_gives_the_same_year() -> None:
    """All that is drawn and all that follows from it; another seed gives another year."""
    again = draw_year(demo_shop(), MONTH, 1)
    assert again.orders == _month().orders
    assert play_year(again, service_rule).worked == _played("as promised").worked
    assert draw_year(demo_shop(), MONTH, 2).orders != again.orders


def test_orders_come_while_the_shop_is_open() -> None:
    """On its working days, in the hours of its busiest station, in the order of time."""
    calendar = demo_shop().catalogue.calendar
    placed = [order.placed_at for order in _month().orders]
    assert placed == sorted(placed)
    hours = StationHours(calendar)
    press = demo_shop().catalogue.station_by_id["pressing"]
    for at in placed:
        into = at - opening(calendar, at.date())
        assert timedelta(0) <= into <= timedelta(seconds=hours.day_s(press, at.date()))


def test_the_busiest_station_is_loaded_as_was_asked() -> None:
    """Mean work booked a day, over several years, within what chance allows: 3 %.

    The demo shop's one heat press is its tightest station.
    """
    catalogue = demo_shop().catalogue
    press = catalogue.station_by_id["pressing"]
    hours = StationHours(catalogue.calendar)
    asked_s = done_s = 0
    for seed in range(3):
        year = _year(seed)
        days = (year.setting.first_day + timedelta(days=n) for n in range(365))
        asked_s += sum(hours.day_s(press, day) for day in days)
        tickets = (ticket for order in year.orders for ticket in order.tickets)
        done_s += sum(s.seconds for t in tickets for s in t.works if s.station == press.id)
    assert done_s / asked_s == pytest.approx(YearSetting().load, rel=0.05)


def test_real_minutes_scatter_as_the_station_says() -> None:
    """About the standard ones, with the spread of the policy where the station states none."""
    spread = demo_shop().catalogue.policy.promise_spread
    year = _year(1)
    factors = [
        real.seconds / planned.seconds
        for order in year.orders
        for ticket in order.tickets
        for planned, real in zip(ticket.works + ticket.again, ticket.real, strict=True)
        if planned.seconds
    ]
    assert len(factors) > 5_000
    assert np.mean(factors) == pytest.approx(1, abs=0.02)
    assert np.std(factors) == pytest.approx(spread, rel=0.05)


@pytest.mark.parametrize("rule", RULES)
def test_everything_ordered_is_made_in_order(rule: str) -> None:
    """No step before the one before it, none before the material, no machine at two things."""
    played = _played(rule)
    tickets = [(order, ticket) for order in played.year.orders for ticket in order.tickets]
    steps = {(one.job, one.step): one for one in played.worked}
    assert sorted(steps) == [
        (n, index) for n, (_, ticket) in enumerate(tickets) for index in range(len(ticket.real))
    ]
    for (number, index), one in steps.items():
        order, ticket = tickets[number]
        begins = steps[number, index - 1].over_s if index else order.placed_at.timestamp()
        assert one.began_s >= begins
        times = played.year.machines[one.station][one.machine]
        assert times.open_s(one.began_s, one.ended_s) == pytest.approx(ticket.real[index].seconds)
    by_machine = sorted(
        played.worked, key=lambda one: (one.station, one.machine, one.began_s, one.ended_s)
    )
    for before, after in itertools.pairwise(by_machine):
        same = (before.station, before.machine) == (after.station, after.machine)
        assert not same or before.ended_s <= after.began_s


def test_no_order_leaves_before_its_material_is_there() -> None:
    """Nor before it was placed, nor without being promised a day on which it could leave."""
    for one in _played("as promised").orders:
        assert one.left_day >= one.material_day >= one.first_day
        assert one.done_at > one.placed_at
        assert one.told.promised_day >= one.material_day


def test_the_books_are_never_filled_above_what_a_day_holds() -> None:
    """As every promise finds them; and there is nothing left to do for work that is done."""
    catalogue, hours = demo_shop().catalogue, StationHours(demo_shop().catalogue.calendar)
    seen = []

    def watching(asked: Asked) -> Told:
        for (name, day), time in asked.shop.booked.items():
            station = catalogue.station_by_id[name]
            assert 0 <= time.rush_s <= time.seconds <= hours.day_s(station, day) * station.machines
            assert time != NOTHING_BOOKED
        seen.append(len(asked.shop.booked))
        return plan_rule(asked)

    play_year(_month(), watching)
    assert max(seen) > 5


def test_a_shop_that_can_make_nothing() -> None:
    """Without a method there is nothing to order."""
    compiled = demo_shop()
    bare = replace(compiled, catalogue=compiled.catalogue.model_copy(update={"methods": ()}))
    with pytest.raises(NothingToMake):
        draw_year(bare, MONTH, 1)


@pytest.mark.parametrize("share", [0.5, 0.9, 0.99])
@pytest.mark.parametrize("count", [1, 9, 200, 500, 1_200])
def test_the_band_is_that_of_the_binomial_distribution(count: int, share: float) -> None:
    """Against scipy's quantiles; of 500 at 90 % the reference tells 432 to 466, of 200 168 to 190.

    Source: algorithms reference of the project, topic 3.
    """
    expected = [int(stats.binom.ppf(tail, count, share)) for tail in (0.005, 0.995)]
    assert list(kept_band(count, share)) == expected
    assert (kept_band(500, 0.9), kept_band(200, 0.9)) == ((432, 466), (168, 190))


def _made(*days: tuple[float, int, int]) -> PlayedYear:
    """Orders of one Monday morning: the load met, working days promised and those it took."""
    calendar = demo_shop().catalogue.calendar
    placed = datetime.fromisoformat("2027-03-01T09:00:00+01:00")
    first = first_work_day(calendar, placed)
    orders = []
    for load, promised, took in days:
        told = Told(add_working_days(calendar, first, promised - 1), load)
        left = add_working_days(calendar, first, took - 1)
        orders.append(KeptOrder(placed, first, first, told, placed, left))
    return PlayedYear(replace(_month(), machines={}), tuple(orders), ())


def test_what_a_report_says_by_hand() -> None:
    """Six orders: one a day late, one three; the loss is 0.9 a day late and 0.1 a day early.

    Six working days from Monday 1 March are Monday the 8th, seven days on.
    """
    played = _made((0.5, 2, 2), (0.1, 1, 1), (0.9, 6, 9), (0.2, 3, 1), (0.6, 2, 3), (0.8, 4, 4))
    report = year_report(played)
    assert (report.orders, report.kept) == (6, 4)
    assert report.promise_days == pytest.approx(18 / 6)
    assert report.calendar_days == pytest.approx((1 + 0 + 7 + 2 + 1 + 3) / 6)
    assert report.late_days == pytest.approx(4 / 6)
    assert report.early_days == pytest.approx(2 / 6)
    assert report.pinball_days == pytest.approx((0.9 * 4 + 0.1 * 2) / 6)
    assert [(t.least_load, t.greatest_load, t.kept) for t in report.thirds] == [
        (0.1, 0.2, 2),
        (0.5, 0.6, 1),
        (0.8, 0.9, 1),
    ]


def test_a_constant_lead_time_of_the_same_service() -> None:
    """Orders that took 1, 1, 2, 3 and 9 days: 2 days keep three of five, 3 keep four.

    Seven in ten are kept by two and a half; of these 0, 0, 0, 1/2 and 6 1/2 are late.
    """
    played = _made(*((0.5, 1, took) for took in (1, 1, 2, 3, 9)))
    assert constant_lead(played, 0.6).days == pytest.approx(2)
    lead = constant_lead(played, 0.7)
    assert lead.days == pytest.approx(2.5)
    assert lead.calendar_days == pytest.approx(1.5)
    assert lead.late_days == pytest.approx((0.5 + 6.5) / 5)
    assert lead.shorter_by(year_report(played)) == pytest.approx(1 - 1 / 2.5)


def test_weeks_hold_all_that_was_worked_and_promised() -> None:
    """No station works longer than it is open, and every promise of the month is counted once."""
    played = _played("as promised")
    weeks = year_weeks(played)
    assert [week.first_day for week in weeks] == [
        MONTH.first_day + timedelta(days=7 * n) for n in range(5)
    ]
    assert all(0 <= load <= 1 + 1e-9 for week in weeks for load in week.loads.values())
    ends = MONTH.first_day + timedelta(days=35)
    inside = [one for one in played.orders if one.told.promised_day < ends]
    assert sum(week.promised for week in weeks) == len(inside)
    assert sum(week.kept for week in weeks) == sum(one.kept for one in inside)
    assert weeks[1].loads["pressing"] > weeks[1].loads["printing"] > 0
