"""Checks of the calendar: days to work on, an opening time that exists, exceptions that matter."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from service.catalogue.faults import PathFaults
from service.domain.calendar import closed_because, is_working_day
from service.domain.shop import Catalogue, StationException, WorkCalendar

LONGEST_CLOSURE_DAYS = 365
CLOCK_YEARS = 5
"""Years ahead in which the clock must show the opening time on every working day."""

_LAST_DAY = date(9999, 12, 30)


def calendar_faults(catalogue: Catalogue, today: date) -> PathFaults:
    """What the calendar alone, and with the stations, contradicts."""
    calendar = catalogue.calendar
    for name in ("opens", "cut_off", "dispatch"):
        local = getattr(calendar, name)
        if local is not None and local.tzinfo is not None:
            yield ("calendar", name), f"{name} is local time and takes no offset"
    closed = _longest_closure(calendar)
    if closed is not None:
        first, days = closed
        what = (
            f"the closures leave no working day for {days} days from {first.isoformat()}; "
            f"a shop may be closed for fewer than {LONGEST_CLOSURE_DAYS} days on end"
        )
        yield ("calendar", "closures"), what
    yield from _opening_faults(calendar, today)
    yield from _exception_faults(catalogue)


def _opening_faults(calendar: WorkCalendar, today: date) -> PathFaults:
    without = next(_days_without_opening(calendar, today), None)
    if without is not None:
        what = (
            f"on {without.isoformat()} the clock in {calendar.time_zone} is put forward over "
            f"{calendar.opens:%H:%M}; open before or after the hour left out, or close on that day"
        )
        yield ("calendar", "opens"), what


def _days_without_opening(calendar: WorkCalendar, today: date) -> Iterator[date]:
    """Working days in the years ahead on which the clock never shows the opening time."""
    zone, opens = ZoneInfo(calendar.time_zone), calendar.opens.replace(tzinfo=None, fold=0)
    for offset in range(CLOCK_YEARS * 366):
        if today.toordinal() + offset > _LAST_DAY.toordinal():
            return
        day = today + timedelta(days=offset)
        local = datetime.combine(day, opens, zone)
        there = local.astimezone(UTC).astimezone(zone)
        if there.replace(tzinfo=None) != local.replace(tzinfo=None) and is_working_day(
            calendar, day
        ):
            yield day


def _exception_faults(catalogue: Catalogue) -> PathFaults:
    seen: set[tuple[str, date]] = set()
    for index, one in enumerate(catalogue.calendar.station_days):
        for name, message in _of_exception(catalogue, one):
            yield ("calendar", "station_days", index, name), message
        if (one.station, one.day) in seen:
            what = f"station '{one.station}' has two exceptions on {one.day.isoformat()}"
            yield ("calendar", "station_days", index, "day"), what
        seen.add((one.station, one.day))


def _of_exception(catalogue: Catalogue, one: StationException) -> Iterator[tuple[str, str]]:
    if one.station not in catalogue.station_by_id:
        known = ", ".join(catalogue.station_by_id)
        what = f"station '{one.station}' is not in the catalogue; its stations are {known}"
        yield "station", what
    because = closed_because(catalogue.calendar, one.day)
    if because and one.minutes > 0:
        what = (
            f"the shop does not work on {one.day.isoformat()} ({because}), so {one.minutes} "
            "minutes there would never be used; an exception changes a working day alone"
        )
        yield "day", what


def _longest_closure(calendar: WorkCalendar) -> tuple[date, int] | None:
    """First day and length of a run of days without work, if one is a year long or longer."""
    weekdays = calendar.working_weekdays
    closed = calendar.closures.union(calendar.holidays.days if calendar.holidays else ())
    last_worked = expected = 0
    for closure in sorted(day for day in closed if day.weekday() in weekdays):
        ordinal = closure.toordinal()
        if ordinal != expected:
            last_worked = _next_weekday(ordinal, weekdays, step=-1)
        expected = _next_weekday(ordinal, weekdays)
        days = expected - last_worked - 1
        if days >= LONGEST_CLOSURE_DAYS:
            return date.fromordinal(max(last_worked + 1, 1)), days
    return None


def _next_weekday(ordinal: int, weekdays: frozenset[int], step: int = 1) -> int:
    # Ordinal 1 is Monday 1 January of year 1; ordinals cannot overflow as dates do.
    return next(
        day for day in range(ordinal + step, ordinal + 8 * step, step) if (day - 1) % 7 in weekdays
    )
