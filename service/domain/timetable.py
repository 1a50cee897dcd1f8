"""Working days in a row, found once: when they open, and how long stations work on them."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from datetime import date, timedelta
from functools import lru_cache

from service.domain.calendar import NoWorkingDay, StationHours, next_working_day, opening
from service.domain.machines import Station
from service.domain.memo import Same
from service.domain.shop import WorkCalendar

_AHEAD = 15
"""Days found at once beyond the one that is asked for."""


class Timetable:
    """Working days from a first one on, when they open, and what stations work on them.

    Found as far as they are needed, and kept. What is known is only ever replaced by more, whole,
    so that threads need not wait for each other.
    """

    def __init__(self, calendar: WorkCalendar, first: date) -> None:
        """Use :func:`timetable`; ``first`` is a working day."""
        self._calendar, self._day_s = calendar, StationHours(calendar).day_s
        self._known = [first], [opening(calendar, first).timestamp()]
        self._worked: dict[Same[Station], list[tuple[date, int]]] = {}

    def days(self, count: int) -> list[date]:
        """The first so many of them."""
        return self._at_least(count)[0][:count]

    def day(self, index: int) -> date:
        """The working day of that index."""
        return self._at_least(index + 1)[0][index]

    def opens(self, count: int) -> list[float]:
        """When those open, in seconds of the epoch."""
        return self._at_least(count)[1][:count]

    def index(self, day: date) -> int:
        """The place of a working day among them."""
        days = self._known[0]
        while days[-1] < day:
            days = self._at_least(len(days) + 1)[0]
        return bisect_left(days, day)

    def worked(self, station: Station, count: int) -> list[tuple[date, int]]:
        """The first days, at least so many, and seconds that the station works on each."""
        known = self._worked.get(Same(station), [])
        if len(known) < count:
            days = self._at_least(count)[0][len(known) :]
            known = [*known, *((day, self._day_s(station, day)) for day in days)]
            self._worked[Same(station)] = known
        return known

    def hours(self, station: Station, count: int) -> list[int]:
        """Seconds that the station works on each of the first ``count`` days."""
        return [day_s for _, day_s in self.worked(station, count)[:count]]

    def has(self, count: int) -> bool:
        """Whether there are so many."""
        try:
            self._at_least(count)
        except NoWorkingDay:
            return False
        return True

    def _at_least(self, count: int) -> tuple[list[date], list[float]]:
        days, opens = self._known
        if len(days) < count:
            days, opens = list(days), list(opens)
            for day in self._following(days[-1], count - len(days)):
                days.append(day)
                opens.append(opening(self._calendar, day).timestamp())
            self._known = days, opens
        return days, opens

    def _following(self, day: date, count: int) -> Iterator[date]:
        """So many working days after that one, and a few more where there are any."""
        for number in range(count + _AHEAD):
            try:
                day = next_working_day(self._calendar, day + timedelta(days=1))
            except NoWorkingDay:
                if number < count:
                    raise
                return
            yield day


def timetable(calendar: WorkCalendar, first: date) -> Timetable:
    """The working days from that one on; of one very calendar they are found once."""
    return _timetable(Same(calendar), first)


@lru_cache(maxsize=16)
def _timetable(calendar: Same[WorkCalendar], first: date) -> Timetable:
    return Timetable(calendar.it, first)
