"""The day an order is promised for: what is free and in the house, and how real work scatters.

1. A plan by standard minutes, each ticket after its own material, into what is free
   (:func:`service.domain.promising.plan_work`), with the order's tickets in an order that is done
   early (:func:`service.domain.ticket_sequence.earliest_plan`), and nowhere in front of anybody who
   does not bear it (:mod:`service.domain.margins`).
2. The quantile of the day's end over many courses of the shop's present state
   (:mod:`service.domain.completion`).
3. What the shop's own promises of late had needed (:mod:`service.domain.conformal`).
4. The next dispatch, never one before the plan's own day.

Ordinary work and rush are planned apart (:mod:`service.domain.booked_time`): rush takes the minutes
that are kept for it and what is free besides, so it takes no minute that was promised. The courses
work what is booked by its day; the bench works by urgency, so an order accepted later may go first
after all. What that costs those before it is part of what their promises had needed, and is
corrected for with the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import StrEnum

from service.domain.booked_time import NOTHING_BOOKED
from service.domain.calendar import (
    StationHours,
    first_work_day,
    next_working_day,
    place_of,
    working_days_between,
)
from service.domain.completion import quantile_of
from service.domain.conformal import (
    correction,
    nth_working_day,
)
from service.domain.found_day import FoundDay, found_day, moment_of, ticket_days
from service.domain.promising import MaterialDay, Plan, StationWork
from service.domain.shop_now import ShopNow

LOAD_DAYS = 5
"""Working days, from the present one on, whose booked share is the load."""

_SHORTEST_HOLD = timedelta(minutes=1)

_HALF = 50
_S_PER_MIN = 60


@dataclass(frozen=True, slots=True)
class Promise:
    """The day an order leaves, the plan that holds it, and what decided it in words.

    Half of its courses are done by ``median_at``, ``target_percent`` of them by ``quantile_at``,
    both in UTC; ``corrected_by`` dispatches were added to that. ``load`` is the booked share of the
    tightest station's coming days. ``material`` is all that the order waits for, ``bottleneck`` the
    station where the ticket that decides the day loses most. ``ticket_days`` are those on which
    each ticket alone would be done as surely, none after the order; it leaves as a whole.
    """

    promised_day: date
    ticket_days: tuple[date, ...]
    plan: Plan
    bottleneck: str
    material: MaterialDay
    rush: bool
    median_at: datetime
    quantile_at: datetime
    corrected_by: float
    target_percent: int
    load: float
    reason: str
    found: FoundDay = field(compare=False, repr=False)


def promise(
    shop: ShopNow,
    works: Sequence[Sequence[StationWork]],
    material: MaterialDay,
    *,
    rush: bool = False,
    corrected_by: float | None = None,
) -> Promise:
    """Promise the day the last ticket leaves; errors as :func:`~.promising.plan_work`.

    ``corrected_by`` is a correction found before; None finds it by what was decided.
    """
    percent = shop.policy.promise_percent
    if corrected_by is None:
        corrected_by = correction(shop.decided, percent, rush=rush)
    found = found_day(shop, works, material, rush=rush, corrected_by=corrected_by)
    days = ticket_days(shop, found, corrected_by=corrected_by)
    waited_for, bottleneck = _deciding(found, days)
    return Promise(
        promised_day=found.day,
        ticket_days=days,
        plan=found.plan,
        bottleneck=bottleneck,
        material=material,
        rush=rush,
        median_at=moment_of(quantile_of(found.ends, _HALF)),
        quantile_at=moment_of(quantile_of(found.ends, percent)),
        corrected_by=corrected_by,
        target_percent=percent,
        load=load_of(shop, works),
        reason=_reason(shop, found.plan, waited_for, bottleneck, found.day),
        found=found,
    )


def load_of(shop: ShopNow, works: Sequence[Sequence[StationWork]]) -> float:
    """The booked share of the coming days at the tightest station that the work needs."""
    day, days = next_working_day(shop.calendar, place_of(shop.calendar, shop.now)[0]), list[date]()
    while len(days) < LOAD_DAYS:
        days.append(day)
        day = next_working_day(shop.calendar, day + timedelta(days=1))
    hours = StationHours(shop.calendar)
    tightest = 0.0
    for name in sorted({step.station for steps in works for step in steps if step.seconds}):
        station = shop.stations[name]
        room_s = sum(hours.day_s(station, one) for one in days) * station.machines
        booked_s = sum(shop.booked.get((name, one), NOTHING_BOOKED).seconds for one in days)
        tightest = max(tightest, booked_s / room_s if room_s else 1.0)
    return tightest


class Reach(StrEnum):
    """Whether a day that is needed can be had: as things are, by rush, or not."""

    YES = "yes"
    RUSH = "rush"
    NO = "no"


@dataclass(frozen=True, slots=True)
class NeededBy:
    """How a needed day stands: ``nearest`` is the promise that comes nearest to it.

    ``ways`` say what would make it possible, or cheaper.
    """

    day: date
    reach: Reach
    nearest: Promise
    ways: tuple[str, ...]


def needed_by(
    shop: ShopNow,
    works: Sequence[Sequence[StationWork]],
    ordinary: Promise,
    day: date,
    *,
    most_rush_days: int,
) -> NeededBy:
    """Whether the work can be done by ``day``; ``ordinary`` is its promise without rush.

    Rush may gain up to ``most_rush_days`` working days, 0 where the shop offers none.
    """
    if ordinary.promised_day <= day:
        return NeededBy(day, Reach.YES, ordinary, ())
    fast = rushed(shop, works, ordinary, most_rush_days=most_rush_days)
    if fast is not None and fast.promised_day <= day:
        gained = working_days_between(shop.calendar, fast.promised_day, ordinary.promised_day)
        ways = (
            f"With rush it leaves on {fast.promised_day}, {_days(gained)} earlier than without.",
        )
        return NeededBy(day, Reach.RUSH, fast, ways)
    nearest = fast or ordinary
    found = _ways(shop, works, nearest, day, most_rush_days=most_rush_days)
    return NeededBy(day, Reach.NO, nearest, tuple(found))


def rushed(
    shop: ShopNow,
    works: Sequence[Sequence[StationWork]],
    ordinary: Promise,
    *,
    most_rush_days: int,
) -> Promise | None:
    """The promise with rush, where it gains days and no more than may be gained; None if not.

    Where it could gain more, the promise is for the day that may be.
    """
    if most_rush_days == 0 or shop.policy.rush_reserve_percent == 0:
        return None
    calendar = shop.calendar
    fast = promise(shop, works, ordinary.material, rush=True)
    gained = working_days_between(calendar, fast.promised_day, ordinary.promised_day)
    if gained <= 0:
        return None
    # Nor does a ticket gain more by it than the order may.
    fast = replace(
        fast,
        ticket_days=tuple(
            max(day, nth_working_day(calendar, without, -most_rush_days))
            for day, without in zip(fast.ticket_days, ordinary.ticket_days, strict=True)
        ),
    )
    if gained <= most_rush_days:
        return fast
    return replace(
        fast,
        promised_day=nth_working_day(calendar, fast.promised_day, gained - most_rush_days),
        reason=f"{fast.reason}; rush gains no more than {_days(most_rush_days)}",
    )


def _ways(
    shop: ShopNow,
    works: Sequence[Sequence[StationWork]],
    nearest: Promise,
    day: date,
    *,
    most_rush_days: int,
) -> list[str]:
    """What would make the day possible, in words; the nearest day comes first."""
    found = [f"The nearest day is {nearest.promised_day}{_by(nearest)}."]
    first = first_work_day(shop.calendar, shop.now)
    if first > day:
        found.append(_begins_late(shop, first, day))
        return found
    at_hand, if_there = nearest, ""
    if nearest.material.waits_for and nearest.material.day > first:
        ordinary = promise(shop, works, MaterialDay(first, ""))
        at_hand = ordinary
        if ordinary.promised_day > day:
            at_hand = rushed(shop, works, ordinary, most_rush_days=most_rush_days) or ordinary
        missing = f"{nearest.material.waits_for} is here on {nearest.material.day}."
        if at_hand.promised_day <= day:
            found.append(
                f"{missing} With all that it takes on the shelf it could leave on "
                f"{at_hand.promised_day}{_by(at_hand)}."
            )
            return found
        if nearest.material.day > day:
            found.append(missing)
            if_there = "With all that it takes on the shelf, "
    found.extend(_late_station(shop, at_hand.plan, day, if_there))
    return found


def _begins_late(shop: ShopNow, first: date, day: date) -> str:
    """Why work that begins ``first`` cannot be done by an earlier day, and whether a hold helps."""
    present = shop.now if shop.booked_from is None else shop.booked_from
    held = first_work_day(shop.calendar, present + _SHORTEST_HOLD)
    if held == first:
        return f"The shop next begins new work on {first}."
    late = f"Accepted at the last moment it may be, its work begins on {first}"
    if not shop.policy.hold_max_min or held > day:
        return f"{late}."
    return f"{late}; with a hold that ends soon it may begin on {held}."


def _late_station(shop: ShopNow, plan: Plan, day: date, if_there: str) -> Iterator[str]:
    """The station that comes to the work after that day, the bottleneck before others."""
    late = {booking.station for booking in plan.bookings if booking.day > day}
    name = min(late, key=lambda name: (name != plan.bottleneck, name), default="")
    if name:
        seconds = sum(one.seconds for one in plan.bookings if one.station == name and one.day > day)
        yield (
            f"{if_there}{shop.stations[name].name} comes to the last {-(-seconds // _S_PER_MIN)} "
            f"minutes of it after {day}: fewer pieces, or another way of making them, may be "
            "sooner."
        )


def _by(promised: Promise) -> str:
    return " with rush" if promised.rush else ""


def _deciding(found: FoundDay, days: Sequence[date]) -> tuple[MaterialDay, str]:
    """What the ticket that decides the day waits for, and the station where it loses most.

    It is the one that alone is done last; of several the one that waits longest for material.
    """
    plan, material = found.plan, found.material
    last = max(
        range(len(days)),
        key=lambda ticket: (days[ticket], plan.done_days[ticket], material.of_ticket(ticket).day),
        default=None,
    )
    if last is None:
        return material, ""
    return material.of_ticket(last), plan.bottlenecks[last]


def _reason(shop: ShopNow, plan: Plan, material: MaterialDay, bottleneck: str, day: date) -> str:
    calendar = shop.calendar
    waiting = working_days_between(calendar, first_work_day(calendar, shop.now), material.day)
    working = working_days_between(calendar, material.day, plan.done_day)
    spare = working_days_between(calendar, plan.done_day, day)
    if material.waits_for and waiting >= working:
        reason = (
            f"{material.waits_for} is here on {material.day}, {_days(waiting)} from the start; "
            f"the work itself adds {_days(working)}"
        )
    elif bottleneck:
        name = shop.stations[bottleneck].name
        reason = (
            f"{name} is the tightest station; from {material.day} the work adds {_days(working)}"
        )
    else:
        return "there is no work to wait for"
    if not spare:
        return reason
    return f"{reason}, and what may go otherwise {_days(spare)}"


def _days(count: int) -> str:
    return f"{count} working day{'' if count == 1 else 's'}"
