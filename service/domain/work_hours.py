"""Moments in working days, and what time is gone or waited between them, for plans ahead."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import NamedTuple

from service.domain.calendar import opening, place_of
from service.domain.machines import Station
from service.domain.shop import WorkCalendar

_S_PER_MIN = 60


class Moment(NamedTuple):
    """A place in a ticket's course: a working day by index, and seconds into it.

    Seconds are those of the clock, or while a station is at work those of all its machines.
    """

    day_index: int
    into_day_s: int


AT_ONCE = Moment(0, 0)


class WorkHours:
    """How much of a day is gone by ``now``, and when what is left unattended is over."""

    def __init__(self, calendar: WorkCalendar, now: datetime | None) -> None:
        self._calendar = calendar
        self.today, self._gone_s = place_of(calendar, now) if now is not None else (date.min, 0)

    def gone_s(self, day: date) -> int:
        """Seconds since the day's opening that nothing can be planned in any more."""
        return self._gone_s if day == self.today else 0

    def wait(self, station: Station, day: date, from_s: int, wait_s: int) -> tuple[date, int]:
        """Day and seconds into it at which a wait ends; if after hours, the next morning."""
        opened = opening(self._calendar, day)
        # A day booked beyond its end is not waited for longer than the day itself.
        began = min(
            opened + timedelta(seconds=from_s), opening(self._calendar, day + timedelta(days=1))
        )
        ends, into_s = place_of(self._calendar, began + timedelta(seconds=wait_s))
        if into_s > station.minutes_per_day * _S_PER_MIN:
            return ends + timedelta(days=1), 0
        return ends, into_s
