"""What a promise is made of: material, room, rush and how real work scatters."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import partial

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.domain.booked_time import (
    Booked,
    BookedDays,
    BookedTime,
    ordinary_s,
    reserved_s,
    with_shares,
)
from service.domain.calendar import first_work_day, is_working_day
from service.domain.capable_to_promise import (
    Promise,
    Reach,
    load_of,
    needed_by,
    promise,
    rushed,
)
from service.domain.conformal import DecidedPromise
from service.domain.margins import Margin
from service.domain.promising import (
    MaterialDay,
    StationWork,
    material_ready_day,
    plan_work,
    station_works,
)
from service.domain.shop import Policy, StationException
from service.domain.shop_now import ShopNow
from service.domain.work import line_work
from tests.domain.shops import tiny_line, tiny_shop

HOUR_S = 3_600
NOW = datetime.fromisoformat("2026-06-03T09:00:00+02:00")
TODAY = date(2026, 6, 3)
AT_HAND = MaterialDay(TODAY, "")
SHOP = tiny_shop()
DAYS = [TODAY + timedelta(days=n) for n in range(30)]
OPEN_DAYS = [day for day in DAYS if is_working_day(SHOP.calendar, day)]
WORK = (
    StationWork("print", HOUR_S, HOUR_S),
    StationWork("cut", HOUR_S),
    StationWork("press", 2 * HOUR_S),
)


def _shop(booked: Booked | None = None, **policy: object) -> ShopNow:
    return replace(ShopNow.of(SHOP, NOW, booked or {}), policy=Policy.model_validate(policy))


def _full(station: str, days: int, hours: int = 8) -> dict[tuple[str, date], BookedTime]:
    """So many days of a station booked, in shares of an hour."""
    shares = [(station, day, HOUR_S) for day in OPEN_DAYS[:days] for _ in range(hours)]
    return dict(with_shares({}, shares))


def test_a_promise_says_what_decided_it() -> None:
    """The film's lead time decides while the shop is idle, the full cutter when it is not."""
    work = line_work(SHOP, tiny_line(SHOP, {"S": 5}))
    works, material = [station_works(work)], material_ready_day(SHOP, [work], NOW)
    idle = promise(_shop(promise_spread=0), works, material)
    assert idle.promised_day == idle.material.day == date(2026, 6, 8)
    assert idle.reason == (
        "Plain cut film is here on 2026-06-08, 3 working days from the start; the work itself "
        "adds 0 working days"
    )
    full = {("cut", date(2026, 6, 8) + timedelta(days=n)): BookedTime(8 * HOUR_S) for n in range(5)}
    busy = promise(_shop(full, promise_spread=0), works, material)
    assert busy.promised_day == date(2026, 6, 15)
    assert busy.reason == (
        "Cut station is the tightest station; from 2026-06-08 the work adds 5 working days"
    )


def test_an_order_without_work_or_wait_leaves_at_once() -> None:
    """A plain garment that is on the shelf leaves on the first working day."""
    made = promise(_shop(), [()], AT_HAND)
    assert (made.promised_day, made.plan.bottleneck) == (TODAY, "")
    assert made.reason == "there is no work to wait for"


def test_a_promise_allows_for_scatter_and_says_so() -> None:
    """Three full days before it: by standard minutes it fits the fourth, but often it will not."""
    booked = _full("cut", 3, hours=7)
    works = [[StationWork("cut", 6 * HOUR_S)]]
    exact = promise(_shop(booked, promise_spread=0), works, AT_HAND)
    real = promise(_shop(booked), works, AT_HAND)
    assert exact.promised_day == exact.plan.done_day == real.plan.done_day == OPEN_DAYS[3]
    assert real.promised_day > real.plan.done_day
    assert real.median_at < real.quantile_at
    assert real.reason.endswith("and what may go otherwise 1 working day")


def test_a_higher_share_kept_takes_longer() -> None:
    """The quantile rises with the share that the shop wants to keep."""
    works = [[StationWork("cut", 30 * HOUR_S)]]
    made = [promise(_shop(promise_percent=p), works, AT_HAND).quantile_at for p in (50, 75, 90, 99)]
    assert made == sorted(made)
    assert len(set(made)) == 4


def test_what_promises_of_late_had_needed_is_added() -> None:
    """Where they had needed two dispatches more the day is two working days later, never sooner."""
    late = [DecidedPromise(2.0, kept=True)] * 50
    early = [DecidedPromise(-9.0, kept=True)] * 50
    plain = promise(_shop(), [WORK], AT_HAND)
    put_off = promise(replace(_shop(), decided=late), [WORK], AT_HAND)
    assert put_off.promised_day == OPEN_DAYS[OPEN_DAYS.index(plain.promised_day) + 2]
    assert put_off.corrected_by == pytest.approx(2.0)
    put_on = promise(replace(_shop(), decided=early), [WORK], AT_HAND)
    assert put_on.promised_day == put_on.plan.done_day
    as_before = promise(replace(_shop(), decided=late), [WORK], AT_HAND, corrected_by=0.0)
    assert as_before == plain


def test_what_is_done_after_the_dispatch_leaves_with_the_next() -> None:
    """Done at four or so: with the dispatch at three it leaves a working day later."""
    works = [[StationWork("cut", 6 * HOUR_S)]]
    calendar = SHOP.calendar.model_copy(update={"dispatch": time(15)})
    shop = _shop(promise_spread=0)
    assert promise(shop, works, AT_HAND).promised_day == OPEN_DAYS[0]
    assert promise(replace(shop, calendar=calendar), works, AT_HAND).promised_day == OPEN_DAYS[1]


def test_a_share_of_every_day_is_kept_for_rush() -> None:
    """Of eight hours 48 minutes are kept: eight hours of ordinary work take two days, rush one."""
    eight = [[StationWork("cut", 8 * HOUR_S)]]
    shop = replace(_shop(promise_spread=0), now=NOW - timedelta(hours=2))
    plan = promise(shop, eight, AT_HAND).plan
    assert [one.seconds for one in plan.bookings] == [8 * HOUR_S - 48 * 60, 48 * 60]
    assert [one.seconds for one in promise(shop, eight, AT_HAND, rush=True).plan.bookings] == [
        8 * HOUR_S
    ]


def _filled(booked: Booked, station: str, work: Promise) -> Booked:
    shares = [(one.station, one.day, one.seconds) for one in work.plan.bookings]
    assert {share[0] for share in shares} == {station}
    return with_shares(booked, shares, rush=work.rush)


def test_rush_takes_minutes_that_nobody_was_promised() -> None:
    """The ordinary lane is full for days; rush fits today, and an ordinary promise stays put."""
    shop = _shop(promise_spread=0)
    short = [[StationWork("cut", 20 * 60)]]
    booked: Booked = {}
    for _ in range(3):
        day_long = promise(
            replace(shop, booked=booked), [[StationWork("cut", 7 * HOUR_S)]], AT_HAND
        )
        booked = _filled(booked, "cut", day_long)
    shop = replace(shop, booked=booked)
    ordinary = promise(shop, short, AT_HAND)
    fast = rushed(shop, short, ordinary, most_rush_days=5)
    assert fast is not None
    assert (fast.promised_day, fast.rush) == (TODAY, True)
    assert ordinary.promised_day > TODAY
    after = replace(shop, booked=_filled(booked, "cut", fast))
    assert promise(after, short, AT_HAND).promised_day == ordinary.promised_day
    held_back = rushed(shop, short, ordinary, most_rush_days=1)
    assert held_back is not None
    gained = OPEN_DAYS.index(ordinary.promised_day) - OPEN_DAYS.index(held_back.promised_day)
    assert gained == 1
    assert held_back.reason == f"{fast.reason}; rush gains no more than 1 working day"
    assert rushed(shop, short, ordinary, most_rush_days=0) is None
    assert rushed(_shop(booked, rush_reserve_percent=0), short, ordinary, most_rush_days=5) is None


def test_a_day_that_is_needed_is_answered() -> None:
    """Yes as things are, by rush, or no with the nearest day and what would help."""
    booked: Booked = with_shares({}, [("cut", day, 26_000) for day in OPEN_DAYS[:4]])
    shop = _shop(booked, promise_spread=0)
    works = [[StationWork("cut", 40 * 60)]]
    ordinary = promise(shop, works, AT_HAND)

    def answer(day: date, most_rush_days: int = 5) -> tuple[Reach, date, tuple[str, ...]]:
        found = needed_by(shop, works, ordinary, day, most_rush_days=most_rush_days)
        return found.reach, found.nearest.promised_day, found.ways

    assert ordinary.promised_day == OPEN_DAYS[4]
    assert answer(OPEN_DAYS[4]) == (Reach.YES, OPEN_DAYS[4], ())
    assert answer(OPEN_DAYS[1])[:2] == (Reach.RUSH, OPEN_DAYS[0])
    assert "4 working days earlier" in answer(OPEN_DAYS[1])[2][0]
    reach, nearest, ways = answer(OPEN_DAYS[1], most_rush_days=0)
    assert (reach, nearest) == (Reach.NO, OPEN_DAYS[4])
    assert ways[0] == f"The nearest day is {OPEN_DAYS[4]}."
    assert ways[1].startswith(
        f"Cut station comes to the last 40 minutes of it after {OPEN_DAYS[1]}:"
    )


def test_a_missing_material_is_named_as_what_would_help() -> None:
    """With film on the shelf the day could be kept."""
    shop, film = _shop(promise_spread=0), MaterialDay(OPEN_DAYS[6], "Plain cut film, red")
    ordinary = promise(shop, [WORK], film)
    found = needed_by(shop, [WORK], ordinary, OPEN_DAYS[2], most_rush_days=5)
    assert found.reach is Reach.NO
    assert found.ways[1] == (
        f"Plain cut film, red is here on {OPEN_DAYS[6]}. With all that it takes on the shelf it "
        f"could leave on {TODAY}."
    )


def test_ways_promise_no_more_than_acting_on_them_gives() -> None:
    """Asked again with all on the shelf the day is the one told; what rush may not gain is not."""
    booked = with_shares({}, [("cut", day, 26_000) for day in OPEN_DAYS[:6]])
    shop, film = _shop(booked, promise_spread=0), MaterialDay(OPEN_DAYS[3], "Plain cut film, red")
    works = [[StationWork("cut", 40 * 60)]]
    ordinary, there = promise(shop, works, film), promise(shop, works, AT_HAND)
    assert ordinary.promised_day == there.promised_day == OPEN_DAYS[6]
    for most_rush_days, day in itertools.product((0, 2, 5, 9), OPEN_DAYS[:3]):
        found = needed_by(shop, works, ordinary, day, most_rush_days=most_rush_days)
        again = needed_by(shop, works, there, day, most_rush_days=most_rush_days)
        assert found.reach is Reach.NO
        told = f"it could leave on {again.nearest.promised_day} with rush."
        assert any(way.endswith(told) for way in found.ways) == (again.reach is Reach.RUSH)
        assert f"Plain cut film, red is here on {OPEN_DAYS[3]}." in found.ways[1]
    before = TODAY - timedelta(days=1)
    found = needed_by(shop, works, ordinary, before, most_rush_days=5)
    assert found.ways[1] == f"The shop next begins new work on {TODAY}."


def test_a_hold_is_advised_only_where_work_begins_sooner_by_it() -> None:
    """Asked a quarter before noon, the cut-off, for today, the last moment being after it."""
    morning, works = TODAY, [[StationWork("cut", 40 * 60)]]
    asked = NOW + timedelta(hours=2, minutes=45)
    last = replace(_shop(promise_spread=0), now=asked + timedelta(days=1), booked_from=asked)

    def way(shop: ShopNow, day: date = morning) -> str:
        there = MaterialDay(first_work_day(shop.calendar, shop.now), "")
        ordinary = promise(shop, works, there)
        return needed_by(shop, works, ordinary, day, most_rush_days=0).ways[1]

    late = f"Accepted at the last moment it may be, its work begins on {OPEN_DAYS[1]}"
    assert way(last) == f"{late}; with a hold that ends soon it may begin on {TODAY}."
    never = replace(last, policy=last.policy.model_copy(update={"hold_max_min": 0}))
    assert way(never) == f"{late}."
    assert way(last, TODAY - timedelta(days=1)) == f"{late}."
    # A minute before noon the shortest hold ends at noon, which is in time; later none does.
    for minutes, begins in ((14, TODAY), (15, OPEN_DAYS[1])):
        told = way(replace(last, booked_from=asked + timedelta(minutes=minutes)))
        assert (f"may begin on {begins}." in told) == (begins == TODAY)
        assert ("next begins new work" in told) == (begins != TODAY)
    # On a Sunday nothing begins before Monday, however short the hold is.
    sunday = date(2026, 6, 7)
    asked_then = NOW + timedelta(days=4)
    closed = replace(last, now=asked_then + timedelta(minutes=30), booked_from=asked_then)
    assert way(closed, sunday) == "The shop next begins new work on 2026-06-08."


def _days(*days: int) -> MaterialDay:
    """The material of each ticket, so many working days from today."""
    return MaterialDay.of_order([MaterialDay(OPEN_DAYS[n], f"film {n}" if n else "") for n in days])


def test_each_ticket_waits_for_its_own_material() -> None:
    """Five days of cutting and an hour that waits a week: the week is not added to the five days.

    The reason names the material only where the ticket that is done last waits for it.
    """
    shop = _shop(promise_spread=0, rush_reserve_percent=0)
    long, short = [StationWork("cut", 40 * HOUR_S)], [StationWork("press", HOUR_S)]
    alone = promise(shop, [long], AT_HAND)
    soon = promise(shop, [long, short], _days(0, 3))
    assert soon.promised_day == alone.promised_day
    assert soon.ticket_days == (alone.promised_day, OPEN_DAYS[3])
    assert (soon.material.day, soon.material.waits_for) == (OPEN_DAYS[3], "film 3")
    assert soon.reason == (
        f"Cut station is the tightest station; from {TODAY} the work adds 5 working days"
    )
    late = promise(shop, [long, short], _days(0, 9))
    assert late.ticket_days == (alone.promised_day, OPEN_DAYS[9])
    assert late.promised_day == OPEN_DAYS[9]
    assert late.reason.startswith(f"film 9 is here on {OPEN_DAYS[9]}, 9 working days from the")
    # Whichever comes first, for the ticket that is ready later is planned in front of it.
    both = [[StationWork("cut", 7 * HOUR_S)], [StationWork("cut", 8 * HOUR_S)]]
    assert promise(shop, both, _days(0, 1)).plan.done_days == (TODAY, OPEN_DAYS[1])
    assert promise(shop, both[::-1], _days(1, 0)).plan.done_days == (OPEN_DAYS[1], TODAY)


def test_a_ticket_gains_no_more_by_rush_than_the_order_may() -> None:
    """Of a full cutter rush gains six days; where two may be gained, so it is told of each line."""
    booked = with_shares({}, [("cut", day, 26_000) for day in OPEN_DAYS[:6]])
    shop, works = _shop(booked, promise_spread=0), [[StationWork("cut", 20 * 60)]] * 2
    material = _days(0, 4)
    ordinary = promise(shop, works, material)
    assert ordinary.ticket_days == (OPEN_DAYS[6], OPEN_DAYS[6])
    for most, days in ((9, (0, 4)), (2, (4, 4)), (1, (5, 5))):
        fast = rushed(shop, works, ordinary, most_rush_days=most)
        assert fast is not None
        assert fast.ticket_days == tuple(OPEN_DAYS[day] for day in days)
        assert fast.promised_day == max(fast.ticket_days)


def test_what_is_begun_early_makes_no_order_later_than_waiting_for_all_does() -> None:
    """Nobody of a week bears anything: put behind one after the other, both went past Monday.

    Begun on Monday together they are in front of nobody.
    """
    booked = with_shares({}, [("cut", day, 6 * HOUR_S) for day in OPEN_DAYS[:8]])
    nothing = dict.fromkeys(OPEN_DAYS[1:8], Margin(0, 0))
    shop = replace(_shop(booked, promise_spread=0.3), margins={("cut", False): nothing})
    works = [[StationWork("cut", HOUR_S)], [StationWork("cut", HOUR_S)]]
    bearing = promise(replace(shop, margins={}), works, _days(0, 8))
    assert bearing.plan.done_days == (TODAY, OPEN_DAYS[8])
    found = promise(shop, works, _days(0, 8))
    assert found.plan.done_days == (OPEN_DAYS[8], OPEN_DAYS[8])
    assert found.promised_day == promise(shop, works, _days(8, 8)).promised_day


def test_what_is_left_over_of_days_before_the_start_counts() -> None:
    """A quote that begins tomorrow meets what today's full lane does not get done.

    It is promised for no day that the courses of today keep less often than is meant.
    """
    calendar = SHOP.calendar.model_copy(update={"dispatch": time(15, 30)})
    booked = {("cut", OPEN_DAYS[0]): BookedTime(25_200, 0, 7 * HOUR_S**2)}
    booked |= {("cut", OPEN_DAYS[1]): BookedTime(18_000, 0, 5 * HOUR_S**2)}
    tomorrow = NOW + timedelta(days=1)
    alone = replace(_shop(booked), calendar=calendar, now=tomorrow)
    whole = replace(alone, booked_from=NOW)
    works, there = [[StationWork("cut", HOUR_S)]], MaterialDay(OPEN_DAYS[1], "")
    assert promise(whole, works, there).plan == promise(alone, works, there).plan
    assert promise(whole, works, there).quantile_at > promise(alone, works, there).quantile_at


def test_a_course_does_not_end_while_its_station_stands_still() -> None:
    """What today does not get done is done when the cutter works again, months later."""
    closed = tuple(
        StationException(station="cut", day=TODAY + timedelta(days=n), minutes=0, why="down")
        for n in range(1, 70)
    )
    calendar = SHOP.calendar.model_copy(update={"station_days": closed})
    shop = replace(_shop({("cut", TODAY): BookedTime(18_000, 0, 18_000**2)}), calendar=calendar)
    made = promise(shop, [[StationWork("cut", HOUR_S)]], AT_HAND)
    assert made.plan.done_day == TODAY
    assert made.promised_day > TODAY + timedelta(days=69)


def test_rush_that_is_kept_for_scatters_no_ordinary_work() -> None:
    """One long share among many short ones would put the quantile off."""
    many = {("cut", TODAY): BookedTime(24_000, 0, 24_000 * 60)}
    works = [[StationWork("cut", 600)]]
    after = with_shares(many, [("cut", TODAY, 2_880)], rush=True)
    before, again = (promise(_shop(booked), works, AT_HAND) for booked in (many, after))
    assert (again.quantile_at, again.promised_day) == (before.quantile_at, before.promised_day)


def test_the_load_is_that_of_the_tightest_station_needed() -> None:
    """Two of five days of the cutter booked are 0.4 of it; the full press is not asked for."""
    shop = _shop(_full("cut", 2) | _full("press", 5, hours=16))
    assert load_of(shop, [[StationWork("cut", 60)]]) == pytest.approx(0.4)
    assert load_of(shop, [WORK]) == pytest.approx(1.0)


stations = st.sampled_from(["print", "cut", "press", "bench"])
steps = st.lists(
    st.builds(
        StationWork,
        station=stations,
        seconds=st.integers(0, 12 * HOUR_S),
        wait_s=st.sampled_from([0, 0, 1_800, 20 * HOUR_S]),
    ),
    min_size=1,
    max_size=5,
)
shares = st.lists(
    st.tuples(stations, st.sampled_from(OPEN_DAYS[:12]), st.integers(60, 4 * HOUR_S)), max_size=25
)


def _within_ordinary(taken: list[tuple[str, date, int]]) -> Booked:
    """Those of the shares that the ordinary lane of a day has room for."""
    booked = BookedDays({})
    for station, day, seconds in taken:
        room_s = SHOP.station_by_id[station].capacity_min * 60
        free = room_s - reserved_s(room_s, 10)
        if booked.get((station, day), BookedTime()).seconds + seconds <= free:
            booked = with_shares(booked, [(station, day, seconds)])
    return booked


@given(works=steps, taken=shares, more=shares)
def test_more_booked_makes_no_promise_earlier(
    works: list[StationWork],
    taken: list[tuple[str, date, int]],
    more: list[tuple[str, date, int]],
) -> None:
    """Neither the plan's day nor the promised one."""
    before = promise(_shop(with_shares({}, taken)), [works], AT_HAND)
    after = promise(_shop(with_shares({}, taken + more)), [works], AT_HAND)
    assert before.plan.done_day <= after.plan.done_day
    assert before.promised_day <= after.promised_day


@given(works=steps, taken=shares, later=st.integers(0, 8))
def test_no_promise_is_before_its_material_or_its_plan(
    works: list[StationWork], taken: list[tuple[str, date, int]], later: int
) -> None:
    """And later material makes none earlier."""
    shop = _shop(with_shares({}, taken))
    made = promise(shop, [works], MaterialDay(OPEN_DAYS[later], "Film"))
    assert made.promised_day >= made.plan.done_day >= OPEN_DAYS[later]
    assert made.median_at <= made.quantile_at
    assert made.promised_day >= promise(shop, [works], AT_HAND).promised_day


@given(works=steps, taken=shares, fast=steps)
def test_rush_within_its_minutes_moves_no_ordinary_promise(
    works: list[StationWork], taken: list[tuple[str, date, int]], fast: list[StationWork]
) -> None:
    """What rush takes of the share kept for it leaves ordinary promises as they were."""
    booked = _within_ordinary(taken)
    shop = _shop(booked)
    ordinary = promise(shop, [works], AT_HAND)
    plan = promise(shop, [fast], AT_HAND, rush=True).plan
    after = with_shares(booked, [(b.station, b.day, b.seconds) for b in plan.bookings], rush=True)
    for (station, day), taken_s in after.items():
        room_s = SHOP.station_by_id[station].capacity_min * 60
        assert taken_s.seconds <= room_s
        kept_s = reserved_s(room_s, 10)
        assume(ordinary_s(taken_s, kept_s) == booked.get((station, day), BookedTime()).seconds)
    again = promise(_shop(after), [works], AT_HAND)
    assert again.promised_day == ordinary.promised_day
    assert again.plan.bookings == ordinary.plan.bookings


@given(
    works=st.lists(steps, min_size=2, max_size=3),
    taken=shares,
    later=st.lists(st.integers(0, 8), min_size=3, max_size=3),
    corrected_by=st.sampled_from([0.0, 1.3, -1.4]),
)
def test_each_ticket_keeps_the_laws_with_material_of_its_own(
    works: list[list[StationWork]],
    taken: list[tuple[str, date, int]],
    later: list[int],
    corrected_by: float,
) -> None:
    """None is begun before its own material, nor done earlier than alone; the order not before any.

    A ticket that is planned last is not done earlier for material that comes later.
    """
    shop, days = _shop(with_shares({}, taken)), later[: len(works)]
    made = promise(shop, works, _days(*days), corrected_by=corrected_by)
    for booking in made.plan.bookings:
        assert booking.day >= OPEN_DAYS[days[booking.ticket_index]]
    assert made.promised_day >= max(made.ticket_days)
    for index, steps_of in enumerate(works):
        alone = promise(shop, [steps_of], _days(days[index]), corrected_by=corrected_by)
        assert made.plan.done_days[index] >= alone.plan.done_day
        assert made.ticket_days[index] >= made.plan.done_days[index]
    ready = [OPEN_DAYS[day] for day in days]
    put_off = [*ready[:-1], ready[-1] + timedelta(days=5)]
    plan = partial(
        plan_work, works, calendar=shop.calendar, stations=shop.stations, booked=shop.booked
    )
    before, after = plan(ready_day=ready), plan(ready_day=put_off)
    assert after.done_days[:-1] == before.done_days[:-1]
    assert before.done_days[-1] <= after.done_days[-1]
    assert before.done_day <= after.done_day


@given(orders=st.lists(st.tuples(steps, st.integers(0, 9), st.booleans()), min_size=2, max_size=12))
def test_what_is_known_of_full_days_changes_no_plan(
    orders: list[tuple[list[StationWork], int, bool]],
) -> None:
    """Orders planned one behind the other, and each as if nothing had been asked before it."""
    booked = BookedDays({})
    for work, ready, rush in orders:
        made, afresh = (
            promise(_shop(known), [work], MaterialDay(OPEN_DAYS[ready], ""), rush=rush)
            for known in (booked, dict(booked))
        )
        assert made == afresh
        mine = [(one.station, one.day, one.seconds) for one in made.plan.bookings]
        booked = booked.with_shares(mine, rush=rush)


@given(works=st.lists(steps, min_size=1, max_size=3), taken=shares)
def test_equal_questions_get_equal_promises(
    works: list[list[StationWork]], taken: list[tuple[str, date, int]]
) -> None:
    """Whatever the order in which booked time is handed over."""
    booked = with_shares({}, taken)
    backwards: Mapping[tuple[str, date], BookedTime] = dict(reversed([*booked.items()]))
    assert promise(_shop(booked), works, AT_HAND) == promise(_shop(backwards), works, AT_HAND)
