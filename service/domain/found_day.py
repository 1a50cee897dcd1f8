"""The earliest day an order can be promised for, and what it leaves to those that come later.

A plan by standard minutes that takes more of somebody's margin than is left
(:mod:`service.domain.margins`) is made again with that station left alone until then, and so on;
then its courses are followed. Each ticket waits for its own material.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache, partial
from typing import Final, NamedTuple

from service.domain.booked_time import NOTHING_BOOKED
from service.domain.completion import Courses, Workroom, quantile_of, rank_of
from service.domain.conformal import dispatch_of, nth_working_day, promised_dispatch
from service.domain.margins import Margin, Margins, toll
from service.domain.promising import (
    HORIZON_DAYS,
    HorizonExceeded,
    MaterialDay,
    Plan,
    StationWork,
    plan_work,
)
from service.domain.shop_now import ShopNow
from service.domain.station_stands import PATHS, Floats
from service.domain.ticket_sequence import earliest_plan

MARGINS_S: Final = (0, 600, 1_800, 3_600, 2 * 3_600, 4 * 3_600, 8 * 3_600, 16 * 3_600)
"""How late stations may come to an order; its margin is the greatest of these that it bears."""

_FEW = 1
"""Courses at each of an order's places that its margin leaves to be delayed by more, at least."""

_LEAPS: Final = (0, 0, 0, *(2**power - 1 for power in range(HORIZON_DAYS.bit_length() + 1)))
"""Working days by which work is put off further, each time that it would still take too much."""


class FoundDay(NamedTuple):
    """The day that may be promised, the plan that holds it, its courses and when they end.

    ``ends`` are in ascending seconds of the epoch; ``margins`` what the plan leaves of those of
    orders before it, where it takes any. ``material`` is what its tickets wait for in the plan.
    """

    day: date
    material: MaterialDay
    plan: Plan
    courses: Courses
    ends: Floats
    margins: Margins


def found_day(
    shop: ShopNow,
    works: Sequence[Sequence[StationWork]],
    material: MaterialDay,
    *,
    rush: bool,
    corrected_by: float,
) -> FoundDay:
    """Find it; errors as :func:`~.promising.plan_work`.

    A ticket that is begun before the last material is here may take what somebody before it does
    not bear. So where something was refused, it is also tried to begin with none before.
    """
    find = partial(_found_day, shop, works, rush=rush, corrected_by=corrected_by)
    if not material.of_tickets:
        return find(material)[0]
    for_all = replace(material, of_tickets=())
    try:
        found, refused = find(material)
    except HorizonExceeded:
        return find(for_all)[0]
    if refused:
        with suppress(HorizonExceeded):
            later, _ = find(for_all)
            found = later if later.day < found.day else found
    return found


def _found_day(
    shop: ShopNow,
    works: Sequence[Sequence[StationWork]],
    material: MaterialDay,
    *,
    rush: bool,
    corrected_by: float,
) -> tuple[FoundDay, bool]:
    """Find it for tickets that wait for that, and whether a plan before it was refused."""
    ready_day = material.ready_day
    rooms = {of_rush: workroom(shop, rush=of_rush) for of_rush in (False, True)}
    not_before: dict[str, date] = {}
    for leap in _LEAPS:
        plan = earliest_plan(
            works,
            ready_day,
            partial(
                plan_work,
                calendar=shop.calendar,
                stations=shop.stations,
                booked=shop.booked,
                now=shop.now,
                reserve_percent=rooms[rush].reserve_percent,
                not_before=not_before,
            ),
        )
        taken = toll(rooms, shop.margins, plan.bookings, shop.freed, rush=rush)
        if not taken.refused:
            break
        for station, day in taken.refused.items():
            not_before[station] = nth_working_day(shop.calendar, day, leap)
    else:
        # All leaps together go beyond the days looked ahead.
        raise HorizonExceeded(min(taken.refused))
    courses = Courses(rooms[rush], works, plan.shares, ready_day)
    ends = courses.ends()
    day = _day_of(shop, plan.done_day, ends, corrected_by)
    return FoundDay(day, material, plan, courses, ends, taken.left), bool(not_before)


def ticket_days(shop: ShopNow, found: FoundDay, *, corrected_by: float) -> tuple[date, ...]:
    """The day on which each ticket alone may be promised, found as the order's; none after it."""
    done_days = found.plan.done_days
    if len(done_days) == 1:
        return (found.day,)
    return tuple(
        _day_of(shop, done_day, found.courses.ends_of(ticket), corrected_by)
        for ticket, done_day in enumerate(done_days)
    )


def _day_of(shop: ShopNow, done_day: date, ends: Floats, corrected_by: float) -> date:
    """The day promised for what a plan is done with on that day, and courses with those ends."""
    quantile_at = moment_of(quantile_of(ends, shop.policy.promise_percent))
    return max(done_day, promised_dispatch(shop.calendar, quantile_at, corrected_by))


def margins_with(
    shop: ShopNow, found: FoundDay, promised_day: date, *, rush: bool, corrected_by: float
) -> dict[tuple[str, bool], dict[date, Margin]]:
    """The margins that change once an order so found is accepted, as they are then.

    ``promised_day`` is the one found, or a later one.
    """
    courses, ends = found.courses, found.ends
    mine = margin_of(shop, courses, ends, promised_day, corrected_by=corrected_by)
    return lowered(shop, found.margins, courses.places, mine, rush=rush)


def lowered(
    shop: ShopNow, left: Margins, places: Iterable[tuple[str, date]], mine: Margin, *, rush: bool
) -> dict[tuple[str, bool], dict[date, Margin]]:
    """The margins that are ``left`` of the shop's, and at those places no more than mine.

    Where nothing is booked any more, the margin that is known belongs to nobody.
    """
    changed = {place: dict(by_day) for place, by_day in left.items()}
    for station, day in places:
        by_day = changed.setdefault((station, rush), {})
        others = shop.booked.get((station, day), NOTHING_BOOKED).seconds > 0
        known = shop.margins.get((station, rush), {}).get(day) if others else None
        by_day[day] = mine.and_also(by_day.get(day) or known or mine)
    return changed


def margin_of(
    shop: ShopNow, courses: Courses, ends: Floats, promised_day: date, *, corrected_by: float
) -> Margin:
    """What an order bears at each of its places that its quantile stays before its promise.

    ``ends`` are those of its courses as they are. Where promises are put off, as they mostly are,
    the quantile is that before this is done. The courses that it can spare are shared out among
    its places, and the time is as long as some are left for each.
    """
    places = max(1, len(courses.places))
    put_on, percent = min(0.0, corrected_by), shop.policy.promise_percent

    @cache
    def courses_at_each(level: int) -> int:
        late = courses.ends(MARGINS_S[level]) if level else ends
        kept = kept_of(shop, late, promised_day, put_on)
        return (kept - rank_of(PATHS, percent)) // places

    # Looked for from where it may be, for following all courses again is most of the work.
    leaves_at = dispatch_of(shop.calendar, promised_day).timestamp()
    spare_s = courses.working_s(quantile_of(ends, percent), leaves_at)
    level = max(0, bisect_right(MARGINS_S, spare_s) - 1)
    while level and courses_at_each(level) < _FEW:
        level -= 1
    while level + 1 < len(MARGINS_S) and courses_at_each(level + 1) >= _FEW:
        level += 1
    return Margin(MARGINS_S[level], max(0, courses_at_each(level)))


def kept_of(shop: ShopNow, ends: Floats, promised_day: date, corrected_by: float) -> int:
    """How many courses end in time for that day's dispatch, each put off by so many dispatches."""
    if not corrected_by:
        leaves_at = dispatch_of(shop.calendar, promised_day).timestamp()
        return int(ends.searchsorted(leaves_at, side="right"))
    return bisect_right(
        ends,
        promised_day,
        key=lambda end: promised_dispatch(shop.calendar, moment_of(end), corrected_by),
    )


def workroom(shop: ShopNow, *, rush: bool) -> Workroom:
    """What the courses of ordinary work or of rush run through."""
    return Workroom(
        calendar=shop.calendar,
        stations=shop.stations,
        booked=shop.booked,
        now=shop.now if shop.booked_from is None else shop.booked_from,
        start=shop.now,
        reserve_percent=0 if rush else shop.policy.rush_reserve_percent,
        spread=shop.policy.promise_spread,
    )


def moment_of(seconds: float) -> datetime:
    """Seconds of the epoch as a moment in UTC, to the second."""
    return datetime.fromtimestamp(round(seconds), UTC)
