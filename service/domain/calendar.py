"""The shop's working days. Pure date arithmetic; only the cut-off knows of a clock.

A day is a :class:`~datetime.date` in the shop's own time zone. Every search is bounded: a calendar
without a working day for three years raises :class:`NoWorkingDay`.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from service.domain.shop import WorkCalendar

SEARCH_DAYS = 1_096
"""Calendar days searched for a working day: three years, one of them a leap year."""


class NoWorkingDay(ValueError):
    """The calendar has no working day within three years of ``day``."""

    def __init__(self, day: date) -> None:
        """Keep the day the search began on."""
        super().__init__(f"no working day within three years from {day.isoformat()}")
        self.day = day


def is_working_day(calendar: WorkCalendar, day: date) -> bool:
    """True when the shop works on that day."""
    return day.weekday() in calendar.working_weekdays and day not in calendar.closures


def working_days_between(calendar: WorkCalendar, start: date, end: date) -> int:
    """Working days from ``start`` up to but not including ``end``; negative when swapped."""
    if end < start:
        return -working_days_between(calendar, end, start)
    weekdays = calendar.working_weekdays
    weeks, rest = divmod((end - start).days, 7)
    open_days = weeks * len(weekdays)
    open_days += sum((start.weekday() + offset) % 7 in weekdays for offset in range(rest))
    closed = sum(start <= day < end and day.weekday() in weekdays for day in calendar.closures)
    return open_days - closed


def next_working_day(calendar: WorkCalendar, day: date) -> date:
    """The first working day on or after ``day``; :class:`NoWorkingDay` if there is none."""
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
    zone = ZoneInfo(calendar.time_zone)
    today = now.astimezone(zone).date()
    cut_off = datetime.combine(today, calendar.cut_off.replace(tzinfo=None), zone)
    late = now.astimezone(UTC) > cut_off.astimezone(UTC)
    return next_working_day(calendar, today + timedelta(days=1) if late else today)
