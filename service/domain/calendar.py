"""The shop's working days, and the hours of its stations on them.

A day is a :class:`~datetime.date` in the shop's own time zone, and goes from one opening time to
the next: a station that opens at 20:00 and works eight hours does so on the day it opened. Moments
are instants with a zone and come back in UTC, so that clock changes neither add nor lose a minute.
Every search is bounded: a calendar without a working day for three years raises
:class:`NoWorkingDay`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from service.domain.machines import Station
from service.domain.memo import Memo, Same
from service.domain.shop import WorkCalendar

SEARCH_DAYS = 1_096
"""Calendar days searched for a working day: three years, one of them a leap year."""

_S_PER_MIN = 60
_DIARY_ENTRIES = 20_000
"""Answers kept of one calendar: a dozen stations over some years."""
_SURELY_IN_A_DAY_S = 22 * 3_600
"""No clock change of today's zones makes the time from one opening to the next shorter."""


class NoWorkingDay(ValueError):
    """The calendar has no working day within three years of ``day``."""

    def __init__(self, day: date) -> None:
        """Keep the day the search began on."""
        super().__init__(f"no working day within three years from {day.isoformat()}")
        self.day = day


def is_working_day(calendar: WorkCalendar, day: date) -> bool:
    """True when the shop works on that day."""
    return (
        day.weekday() in calendar.working_weekdays
        and day not in calendar.closures
        and day not in _holiday_names(calendar)
    )


class _Diary:
    """What was found of one calendar, for days that are asked for again and again."""

    def __init__(self, calendar: WorkCalendar) -> None:
        self.minutes = {(one.station, one.day): one.minutes for one in calendar.station_days}
        self.found = Memo(_DIARY_ENTRIES)
        self.openings = Memo(_DIARY_ENTRIES)


@lru_cache(maxsize=8)
def _diary(calendar: Same[WorkCalendar]) -> _Diary:
    return _Diary(calendar.it)


def closed_because(calendar: WorkCalendar, day: date) -> str:
    """Why the shop does not work on that day, in words; empty when it does."""
    if day in _holiday_names(calendar):
        return _holiday_names(calendar)[day]
    if day in calendar.closures:
        return "closed by the shop"
    if day.weekday() not in calendar.working_weekdays:
        return "no working weekday"
    return ""


def _holiday_names(calendar: WorkCalendar) -> Mapping[date, str]:
    return calendar.holidays.days if calendar.holidays is not None else {}


def working_days_between(calendar: WorkCalendar, start: date, end: date) -> int:
    """Working days from ``start`` up to but not including ``end``; negative when swapped."""
    if end < start:
        return -working_days_between(calendar, end, start)
    weekdays = calendar.working_weekdays
    weeks, rest = divmod((end - start).days, 7)
    open_days = weeks * len(weekdays)
    open_days += sum((start.weekday() + offset) % 7 in weekdays for offset in range(rest))
    closed = calendar.closures.union(_holiday_names(calendar))
    return open_days - sum(start <= day < end and day.weekday() in weekdays for day in closed)


def next_working_day(calendar: WorkCalendar, day: date) -> date:
    """The first working day on or after ``day``; :class:`NoWorkingDay` if there is none."""
    return _diary(Same(calendar)).found.get(day, lambda: _next_working_day(calendar, day))


def _next_working_day(calendar: WorkCalendar, day: date) -> date:
    last = min(day.toordinal() + SEARCH_DAYS, date.max.toordinal())
    for ordinal in range(day.toordinal(), last + 1):
        candidate = date.fromordinal(ordinal)
        if is_working_day(calendar, candidate):
            return candidate
    raise NoWorkingDay(day)


def add_working_days(calendar: WorkCalendar, day: date, count: int) -> date:
    """The working day ``count`` working days after the first one on or after ``day``.

    ValueError for a negative count; :class:`NoWorkingDay` as :func:`next_working_day`.
    """
    if count < 0:
        raise ValueError(f"count is {count}; working days are only added")
    reached = next_working_day(calendar, day)
    for _ in range(count):
        if reached == date.max:
            raise NoWorkingDay(reached)
        reached = next_working_day(calendar, reached + timedelta(days=1))
    return reached


def first_work_day(calendar: WorkCalendar, now: datetime) -> date:
    """The day work on an order accepted at ``now`` may begin.

    Up to and at the cut-off that is today, after it tomorrow, moved on to a working day. The
    cut-off is an instant: where the clock is put back and the hour comes twice it is the first of
    the two, and where the hour is left out it is as long after midnight as on other days.
    ValueError when ``now`` has no time zone.
    """
    if now.utcoffset() is None:
        raise ValueError("now must be a time with its zone")
    today = now.astimezone(ZoneInfo(calendar.time_zone)).date()
    late = now.astimezone(UTC) > local_instant(calendar, today, calendar.cut_off)
    return next_working_day(calendar, today + timedelta(days=1) if late else today)


def opening(calendar: WorkCalendar, day: date) -> datetime:
    """The instant at which stations begin on that day, in UTC, whether or not it is worked.

    Where a clock change leaves the hour out or brings it twice, as :func:`first_work_day` takes
    the cut-off.
    """
    openings = _diary(Same(calendar)).openings
    return openings.get(day, lambda: local_instant(calendar, day, calendar.opens))


def local_instant(calendar: WorkCalendar, day: date, local: time) -> datetime:
    """The instant, in UTC, of a time of a day in the shop's zone; clock changes as at openings."""
    # Fold 0 is the first of two, and in a gap it counts on from the time before the gap.
    there = datetime.combine(day, local.replace(tzinfo=None, fold=0), ZoneInfo(calendar.time_zone))
    return there.astimezone(UTC)


def place_of(calendar: WorkCalendar, moment: datetime) -> tuple[date, int]:
    """The day a moment belongs to, and whole seconds since that day's opening, rounded up.

    ValueError when ``moment`` has no time zone.
    """
    if moment.utcoffset() is None:
        raise ValueError("the moment must be a time with its zone")
    at = moment.astimezone(UTC)
    day = moment.astimezone(ZoneInfo(calendar.time_zone)).date()
    while (opened := opening(calendar, day)) > at:
        day -= timedelta(days=1)
    return day, -((opened - at) // timedelta(seconds=1))


class StationHours:
    """How long each machine of a station works on a day; exceptions and clock changes count."""

    def __init__(self, calendar: WorkCalendar) -> None:
        """Take up what is known of the calendar's days."""
        self._calendar = calendar
        self._diary = _diary(Same(calendar))

    def day_s(self, station: Station, day: date) -> int:
        """Seconds from the opening on; 0 on a day that is not worked.

        A station that works around the clock works an hour less when the clock is put forward.
        """
        key = station.id, station.minutes_per_day, day
        return self._diary.found.get(key, lambda: self._day_s(station, day))

    def _day_s(self, station: Station, day: date) -> int:
        if not is_working_day(self._calendar, day):
            return 0
        seconds = self._diary.minutes.get((station.id, day), station.minutes_per_day) * _S_PER_MIN
        if seconds <= _SURELY_IN_A_DAY_S:
            return seconds
        following = opening(self._calendar, day + timedelta(days=1))
        return min(seconds, (following - opening(self._calendar, day)) // timedelta(seconds=1))


def after_minutes(
    calendar: WorkCalendar, moment: datetime, work_min: int, day_s: Callable[[date], int]
) -> datetime:
    """The moment, in UTC, at which ``work_min`` minutes of work begun at ``moment`` are done.

    Only the first ``day_s`` seconds from each working day's opening count. No work at all is done
    at once, or with the next minute that counts. ValueError for a negative number of minutes or a
    moment without a zone; :class:`NoWorkingDay` when no time counts for three years.
    """
    if work_min < 0:
        raise ValueError(f"work_min is {work_min}; time only goes on")
    return after_seconds(calendar, moment, work_min * _S_PER_MIN, day_s)


def after_seconds(
    calendar: WorkCalendar, moment: datetime, work_s: int, day_s: Callable[[date], int]
) -> datetime:
    """The same of seconds, of which there are none too few."""
    day, into_s = place_of(calendar, moment)
    left_s, idle_since = work_s, day
    while (day - idle_since).days <= SEARCH_DAYS:
        room_s = day_s(day) - into_s if is_working_day(calendar, day) else 0
        if room_s > 0 and left_s <= room_s:
            return opening(calendar, day) + timedelta(seconds=into_s + left_s)
        if room_s > 0:
            left_s, idle_since = left_s - room_s, day
        day, into_s = day + timedelta(days=1), 0
    raise NoWorkingDay(idle_since)
