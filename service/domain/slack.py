"""Slack: the working time that a ticket may still lose before it leaves too late.

It is the working time from now to the promised dispatch, less the work that is still to do. It
shrinks with the clock for all tickets alike, so tickets are ordered by their *latest start*, which
does not: the instant at which the work that is left would have to begin, and go on without a
pause, to be done by then.

Working time counts the hours of the station that works shortest on a day, one that stands still
left out: a rack that dries around the clock gives nobody time.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

from service.domain.calendar import SEARCH_DAYS, StationHours, opening, place_of
from service.domain.conformal import dispatch_of
from service.domain.machines import Station
from service.domain.shop import WorkCalendar

_SECOND = timedelta(seconds=1)
_DAY = timedelta(days=1)


class ShopHours:
    """The working time of a shop's days, each found once."""

    def __init__(self, calendar: WorkCalendar, stations: Iterable[Station]) -> None:
        """Days are asked of the calendar as they are needed."""
        self._calendar = calendar
        self._stations = tuple(stations)
        self._hours = StationHours(calendar)
        self._found: dict[date, int] = {}
        self._sums: dict[date, list[int]] = {}

    def day_s(self, day: date) -> int:
        """Seconds from the opening on; 0 on a day that is not worked."""
        if day not in self._found:
            each = (self._hours.day_s(station, day) for station in self._stations)
            self._found[day] = min((seconds for seconds in each if seconds), default=0)
        return self._found[day]

    def latest_start(self, promised_day: date, work_s: int) -> datetime:
        """When ``work_s`` seconds of work must begin to leave with that day's dispatch, in UTC.

        Days before a stretch of three years without working time do not count.
        """
        day, left_s, idle = promised_day, work_s, 0
        room_s = self._before_dispatch_s(day)
        while left_s > room_s and idle <= SEARCH_DAYS:
            left_s -= room_s
            day -= _DAY
            room_s = self.day_s(day)
            idle = 0 if room_s else idle + 1
        return opening(self._calendar, day) + timedelta(seconds=max(0, room_s - left_s))

    def slack_s(self, now: datetime, latest_start: datetime) -> int:
        """Working seconds from now to the latest start; below 0 once that is past.

        Three years at most are looked at.
        """
        if latest_start < now:
            return -self._between_s(latest_start, now)
        return self._between_s(now, latest_start)

    def _between_s(self, start: datetime, end: datetime) -> int:
        first, from_s = place_of(self._calendar, start)
        last, to_s = place_of(self._calendar, end)
        whole = self._whole_s(first, min((last - first).days, SEARCH_DAYS))
        into = min(to_s, self.day_s(last)) - min(from_s, self.day_s(first))
        return max(0, whole + into)

    def _whole_s(self, first: date, days: int) -> int:
        """The working time of so many days; from one day on, sums are kept for the next ticket."""
        sums = self._sums.setdefault(first, [0])
        while len(sums) <= days:
            sums.append(sums[-1] + self.day_s(first + timedelta(days=len(sums) - 1)))
        return sums[days]

    def _before_dispatch_s(self, day: date) -> int:
        day_s = self.day_s(day)
        if self._calendar.dispatch is None:
            return day_s
        return min(
            day_s, (dispatch_of(self._calendar, day) - opening(self._calendar, day)) // _SECOND
        )


def epoch_s(moment: datetime) -> int:
    """Whole seconds of the epoch, rounded down, as a latest start is kept."""
    return int(moment.timestamp() // 1)


def from_epoch_s(seconds: int) -> datetime:
    """The moment in UTC, as :func:`epoch_s` told it."""
    return datetime.fromtimestamp(seconds, UTC)
