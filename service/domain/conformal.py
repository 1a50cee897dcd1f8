"""Promises measured by what became of them: how much later, or earlier, they should have been.

A promise is told as a dispatch, and time counts in dispatches: a moment's *place* is the number of
working days' dispatches before it, and how far the day after them has gone. A promise for place
``x`` leaves with dispatch ``ceil(x)``.

The shop's simulated quantile is corrected by split conformal prediction (Vovk, Gammerman and
Shafer 2005; Lei et al., JASA 113, 2018; from memory): for each order whose promise is decided,
``needed`` is the least that its place would have had to be put off so that it was kept, also below
0, and still open orders need without bound. Of ``n`` such the correction is the ``k``-th smallest,
``k = ceil((n + 1) p)``, and nothing where they are too few to speak of ``p`` at all (of 9 at 90 %
it is the largest).

A busy spell makes many orders late together, so ``p`` is led: where of the latest promises more
were broken than may be, a higher share is aimed at, where fewer, a lower one (adaptive conformal
inference: Gibbs and Candes, NeurIPS 2021, from memory). Load needs no groups of its own, for the
quantile knows it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from service.domain.calendar import (
    is_working_day,
    local_instant,
    next_working_day,
    opening,
    place_of,
    working_days_between,
)
from service.domain.shop import WorkCalendar

MOST_DECIDED = 100
"""Orders looked back on, the latest promised."""

MOST_READ = 400
"""Orders looked through for those, ordinary ones and rush."""

LEAST_RUSHED = 20
"""Rushed orders from which these are asked for rush; before, all are, and rush is not put on."""

LATEST = 20
"""Of those, the latest that lead the share aimed at."""

LEADING = 0.3
"""By how much of what they were broken too often. Chosen on simulated years, no source."""

_LEVELS = 70.0, 99.0

PLAN_IS_ENOUGH = -20.0
"""Dispatches sooner than a quantile that stand for the plan's own day."""

_A_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class DecidedPromise:
    """An order whose promised day is over: whether it was kept, and what it had needed for that.

    Infinity stands for one still open, and less than any for one that its plan's own day would
    have kept, before which nothing is promised.
    """

    needed: float
    kept: bool
    rush: bool = False


def conformal_rank(count: int, percent: float) -> int:
    """The place, from 1, of the sample's value that the next one does not pass with that chance.

    Greater than ``count`` where so few can say nothing of it.
    """
    return math.ceil((count + 1) * percent / 100)


def correction(decided: Sequence[DecidedPromise], percent: int, *, rush: bool = False) -> float:
    """By how many dispatches to put a promise off, or on; for rush by what became of rush.

    ``decided`` is in the order of promised days. Where so many are still open that their need has
    no bound, it is the largest that is known; where the days of plans alone kept enough, it is
    :data:`PLAN_IS_ENOUGH`. Rush is chosen where it looks sooner, so what ordinary orders had not
    needed puts none of it on.
    """
    alike = [one for one in decided if one.rush == rush]
    if rush and len(alike) < LEAST_RUSHED:
        return max(0.0, _correction(decided, percent))
    return _correction(alike, percent)


def _correction(decided: Sequence[DecidedPromise], percent: int) -> float:
    asked = sorted(one.needed for one in decided[-MOST_DECIDED:])
    if conformal_rank(len(asked), percent) > len(asked):
        return 0.0
    rank = min(len(asked), conformal_rank(len(asked), aimed_at(decided, percent)))
    known = [needed for needed in asked[:rank] if needed < math.inf]
    return max(PLAN_IS_ENOUGH, known[-1] + _A_HAIR) if known else 0.0


def aimed_at(decided: Sequence[DecidedPromise], percent: int) -> float:
    """The percentage to aim at, led by how often the latest promises were broken."""
    latest = decided[-LATEST:]
    if len(latest) < LATEST:
        return float(percent)
    broken = 100 * sum(not one.kept for one in latest) / len(latest)
    led = percent + LEADING * (broken - (100 - percent))
    lowest, highest = min(_LEVELS[0], percent), max(_LEVELS[1], percent)
    return min(max(lowest, led), highest)


def dispatch_of(calendar: WorkCalendar, day: date) -> datetime:
    """When what was done on a working day leaves, in UTC; without a time, as the next one opens."""
    following = day + timedelta(days=1)
    if calendar.dispatch is None:
        return opening(calendar, following)
    overnight = calendar.dispatch <= calendar.opens
    return local_instant(calendar, following if overnight else day, calendar.dispatch)


def dispatch_day(calendar: WorkCalendar, moment: datetime) -> date:
    """The first working day with whose dispatch something leaves that is done at that moment."""
    day, _ = place_of(calendar, moment)
    day = next_working_day(calendar, day)
    if dispatch_of(calendar, day) < moment:
        day = next_working_day(calendar, day + timedelta(days=1))
    return day


def dispatch_place(calendar: WorkCalendar, origin: date, moment: datetime) -> float:
    """The place of a moment, counted from the working day ``origin``, whose dispatch ends place 1.

    Between an opening and its dispatch a place goes on with the clock. From a dispatch to the next
    opening it stands still, a hair after the dispatch.
    """
    day, into_s = place_of(calendar, moment)
    return working_days_between(calendar, origin, day) + _gone_of(calendar, day, into_s)


def _gone_of(calendar: WorkCalendar, day: date, into_s: int) -> float:
    """How far a day has gone towards its dispatch, so many seconds after its opening."""
    if not is_working_day(calendar, day):
        return _A_HAIR
    length_s = (dispatch_of(calendar, day) - opening(calendar, day)) / timedelta(seconds=1)
    # A clock change may put the opening on the dispatch, and nothing of that day is in between.
    share = into_s / length_s if length_s > 0 else math.inf
    return 1 + _A_HAIR if share > 1 else max(_A_HAIR, share)


def needed_correction(
    calendar: WorkCalendar, quantile: datetime, done: datetime | None, *, nominal: date
) -> float:
    """What a promise made of that ``quantile`` had needed; infinity while it is not done.

    One done with the dispatch after place ``k`` was kept by a promise for any place above ``k``,
    and by any at all where that is the dispatch of its plan's own day, ``nominal``, or before.
    """
    if done is None:
        return math.inf
    left = dispatch_day(calendar, done)
    if left <= nominal:
        return -math.inf
    origin = min(place_of(calendar, quantile)[0], place_of(calendar, done)[0])
    return working_days_between(calendar, origin, left) - dispatch_place(calendar, origin, quantile)


def promised_dispatch(calendar: WorkCalendar, quantile: datetime, corrected_by: float) -> date:
    """The working day whose dispatch a quantile, put off by so much, is promised for."""
    day, into_s = place_of(calendar, quantile)
    place = _gone_of(calendar, day, into_s) + corrected_by
    return nth_working_day(calendar, day, math.ceil(place) - 1)


def nth_working_day(calendar: WorkCalendar, day: date, count: int) -> date:
    """The working day with so many working days between; before ``day`` for fewer than none."""
    found = next_working_day(calendar, day)
    for _ in range(count):
        found = next_working_day(calendar, found + timedelta(days=1))
    for _ in range(-count):
        found = _working_day_before(calendar, found)
    return found


def _working_day_before(calendar: WorkCalendar, day: date) -> date:
    return next(
        candidate
        for candidate in (day - timedelta(days=back) for back in range(1, 1_000))
        if is_working_day(calendar, candidate)
    )
