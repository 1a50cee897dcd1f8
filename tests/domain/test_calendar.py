"""Working days, cut-offs and clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.calendar import (
    NoWorkingDay,
    StationHours,
    add_working_days,
    after_minutes,
    closed_because,
    first_work_day,
    is_working_day,
    next_working_day,
    opening,
    place_of,
    working_days_between,
)
from service.domain.shop import PublicHolidays, StationException, WorkCalendar
from tests.domain.shops import tiny_calendar, tiny_stations

EVERY_DAY = frozenset(range(7))
days = st.dates(date(2020, 1, 1), date(2040, 12, 31))
calendars = st.builds(
    tiny_calendar,
    working_weekdays=st.frozensets(st.integers(0, 6), min_size=1),
    closures=st.frozensets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=40),
)


def test_weekends_and_closures_are_not_worked() -> None:
    """Friday is worked, Saturday is not, and a closed Monday is not."""
    calendar = tiny_calendar(closures=frozenset({date(2026, 5, 25)}))
    worked = [is_working_day(calendar, date(2026, 5, day)) for day in (22, 23, 25, 26)]
    assert worked == [True, False, False, True]


def test_the_next_working_day_may_be_the_day_itself() -> None:
    """Friday stays Friday, Saturday becomes Monday."""
    calendar = tiny_calendar()
    assert next_working_day(calendar, date(2026, 5, 22)) == date(2026, 5, 22)
    assert next_working_day(calendar, date(2026, 5, 23)) == date(2026, 5, 25)


def test_leap_day_and_year_end_are_ordinary_days() -> None:
    """Two working days from Monday 28 February 2028 cross the 29th; New Year is only a date."""
    calendar = tiny_calendar()
    assert add_working_days(calendar, date(2028, 2, 28), 2) == date(2028, 3, 1)
    assert add_working_days(calendar, date(2026, 12, 31), 1) == date(2027, 1, 1)


def test_a_calendar_without_working_days_ends_the_search() -> None:
    """A shop whose only weekday is always closed gives an error, not an endless loop."""
    mondays = frozenset(date(2026, 1, 5) + timedelta(weeks=week) for week in range(160))
    calendar = tiny_calendar(working_weekdays=frozenset({0}), closures=mondays)
    with pytest.raises(NoWorkingDay) as caught:
        next_working_day(calendar, date(2026, 1, 5))
    assert caught.value.day == date(2026, 1, 5)


def test_the_last_day_there_is_ends_the_search() -> None:
    """31 December 9999 is a Friday; no day follows it."""
    calendar = tiny_calendar()
    with pytest.raises(NoWorkingDay):
        add_working_days(calendar, date.max, 1)


def test_working_days_are_only_added() -> None:
    """A negative count is a fault of the caller."""
    with pytest.raises(ValueError, match="only added"):
        add_working_days(tiny_calendar(), date(2026, 5, 22), -1)


@given(calendar=calendars, day=days, count=st.integers(0, 60))
def test_adding_and_counting_agree(calendar: WorkCalendar, day: date, count: int) -> None:
    """From the first working day there are as many working days as were added."""
    reached = add_working_days(calendar, day, count)
    assert is_working_day(calendar, reached)
    assert working_days_between(calendar, day, reached) == count


@given(start=days, middle=days, end=days)
def test_counts_of_neighbouring_spans_add_up(start: date, middle: date, end: date) -> None:
    """A span is the sum of its parts, and swapping its ends changes its sign."""
    calendar = tiny_calendar(closures=frozenset({date(2030, 1, 1), date(2031, 5, 1)}))
    first, second = (
        working_days_between(calendar, start, middle),
        working_days_between(calendar, middle, end),
    )
    assert first + second == working_days_between(calendar, start, end)
    assert working_days_between(calendar, middle, start) == -first


@pytest.mark.parametrize(
    ("now", "day"),
    [
        ("2026-05-20T11:59:59+02:00", date(2026, 5, 20)),  # Wednesday, before the cut-off
        ("2026-05-20T12:00:00+02:00", date(2026, 5, 20)),  # at the cut-off
        ("2026-05-20T12:00:01+02:00", date(2026, 5, 21)),  # after it
        ("2026-05-22T12:00:01+02:00", date(2026, 5, 25)),  # Friday after it
        ("2026-05-23T09:00:00+02:00", date(2026, 5, 25)),  # Saturday
        ("2026-05-19T23:30:00+00:00", date(2026, 5, 20)),  # already Wednesday in Berlin
        ("2026-05-20T09:30:00-04:00", date(2026, 5, 21)),  # 15:30 in Berlin
        ("2026-01-14T11:30:00+00:00", date(2026, 1, 15)),  # 12:30 in winter
        ("2026-07-14T10:00:00+00:00", date(2026, 7, 14)),  # 12:00 in summer
    ],
)
def test_work_begins_by_the_shops_own_clock(now: str, day: date) -> None:
    """The cut-off is noon in Berlin, whatever zone the time is given in."""
    assert first_work_day(tiny_calendar(), datetime.fromisoformat(now)) == day


def test_a_time_without_a_zone_is_refused() -> None:
    """It could be any instant."""
    with pytest.raises(ValueError, match="zone"):
        first_work_day(tiny_calendar(), datetime(2026, 5, 20, 9))  # noqa: DTZ001 - the point


@pytest.mark.parametrize(
    ("last_in_time_utc", "day"),
    [
        # 25 October 2026: 02:30 comes twice, first as +02:00, which is 00:30 UTC.
        ("2026-10-25T00:30:00+00:00", date(2026, 10, 25)),
        # 29 March 2026: 02:30 is left out; 150 minutes after midnight, +01:00, is 01:30 UTC.
        ("2026-03-29T01:30:00+00:00", date(2026, 3, 29)),
    ],
)
def test_a_cut_off_in_a_clock_change_is_one_instant(last_in_time_utc: str, day: date) -> None:
    """A second later it is tomorrow, and stays so though the clock shows the hour again."""
    calendar = tiny_calendar(cut_off=time(2, 30), working_weekdays=EVERY_DAY)
    last = datetime.fromisoformat(last_in_time_utc)
    assert first_work_day(calendar, last) == day
    for later in (timedelta(seconds=1), timedelta(minutes=45), timedelta(hours=20)):
        assert first_work_day(calendar, last + later) == day + timedelta(days=1)


@given(
    instants=st.tuples(*[st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31))] * 2),  # noqa: DTZ001 - UTC is added below
    zone=st.sampled_from(["Europe/Berlin", "America/New_York", "Asia/Kolkata", "Pacific/Apia"]),
    cut_off=st.times(),
)
def test_a_later_order_never_begins_earlier(
    instants: tuple[datetime, datetime], zone: str, cut_off: time
) -> None:
    """The first work day follows the clock, changes of it included."""
    calendar = tiny_calendar(time_zone=zone, cut_off=cut_off)
    early, late = sorted(instant.replace(tzinfo=UTC) for instant in instants)
    assert first_work_day(calendar, early) <= first_work_day(calendar, late)
    assert first_work_day(calendar, early) >= early.astimezone(ZoneInfo(zone)).date()


PRINT = tiny_stations()[0]
BERLIN = ZoneInfo("Europe/Berlin")


def test_holidays_are_closed_and_told_by_name() -> None:
    """A holiday is no working day, is counted once though it is a closure too, and has a name."""
    good_friday, saturday = date(2026, 4, 3), date(2026, 4, 4)
    calendar = tiny_calendar(
        holidays=PublicHolidays(country="DE", days={good_friday: "Good Friday"}),
        closures=frozenset({good_friday, date(2026, 4, 7)}),
    )
    told = [closed_because(calendar, good_friday + timedelta(days=n)) for n in (0, 1, 4, 5)]
    assert told == ["Good Friday", "no working weekday", "closed by the shop", ""]
    assert next_working_day(calendar, good_friday) == date(2026, 4, 6)
    assert working_days_between(calendar, date(2026, 3, 30), saturday) == 4


def test_leap_day_can_be_closed() -> None:
    """29 February 2028 is a Tuesday; with it closed, Monday is followed by Wednesday."""
    calendar = tiny_calendar(closures=frozenset({date(2028, 2, 29)}))
    assert add_working_days(calendar, date(2028, 2, 28), 1) == date(2028, 3, 1)


def test_a_day_goes_from_opening_to_opening() -> None:
    """At seven in the morning it is still the 23rd hour of the day before."""
    calendar = tiny_calendar(opens=time(8))
    before = datetime(2026, 5, 20, 7, tzinfo=BERLIN)
    assert place_of(calendar, before) == (date(2026, 5, 19), 23 * 3_600)
    assert place_of(calendar, before + timedelta(hours=1)) == (date(2026, 5, 20), 0)
    assert place_of(calendar, before + timedelta(microseconds=1))[1] == 23 * 3_600 + 1
    with pytest.raises(ValueError, match="zone"):
        place_of(calendar, datetime(2026, 5, 20, 9))  # noqa: DTZ001 - the point


@pytest.mark.parametrize(
    ("day", "opened_utc"),
    [
        (date(2026, 3, 29), "2026-03-29T01:30:00+00:00"),  # left out: 150 min after midnight
        (date(2026, 10, 25), "2026-10-25T00:30:00+00:00"),  # twice: the first of the two
        (date(2026, 7, 1), "2026-07-01T00:30:00+00:00"),
    ],
)
def test_an_opening_in_a_clock_change_is_one_instant(day: date, opened_utc: str) -> None:
    """Opening at 02:30 in Berlin; a calendar that is loaded may not leave it out on a work day."""
    assert opening(tiny_calendar(opens=time(2, 30)), day) == datetime.fromisoformat(opened_utc)


@pytest.mark.parametrize(
    ("day", "hours"),
    [
        (date(2026, 3, 28), 23),  # Saturday 08:00 to Sunday 08:00 loses an hour
        (date(2026, 10, 24), 24),  # and here wins one, which nobody is at hand for
        (date(2026, 5, 20), 24),
    ],
)
def test_around_the_clock_is_no_longer_than_the_day(day: date, hours: int) -> None:
    """A station of 1440 minutes works an hour less where the clock is put forward."""
    rack = PRINT.model_copy(update={"minutes_per_day": 1_440})
    calendar = tiny_calendar(working_weekdays=EVERY_DAY)
    assert StationHours(calendar).day_s(rack, day) == hours * 3_600


def test_exceptions_change_a_working_day_of_one_station() -> None:
    """Fewer minutes, more or none on that day; a closed day stays closed."""
    wednesday, sunday = date(2026, 5, 20), date(2026, 5, 24)
    rows = [(wednesday, 90), (wednesday + timedelta(1), 0), (wednesday + timedelta(2), 600)]
    calendar = tiny_calendar(
        station_days=tuple(
            StationException(station="print", day=day, minutes=minutes, why="a test")
            for day, minutes in [*rows, (sunday, 60)]
        )
    )
    hours = StationHours(calendar)
    cut = tiny_stations()[1]
    days = [*(day for day, _ in rows), sunday, date(2026, 5, 25)]
    assert [hours.day_s(PRINT, day) // 60 for day in days] == [90, 0, 600, 0, 480]
    assert [hours.day_s(cut, day) // 60 for day in days] == [480, 480, 480, 0, 480]


def test_no_work_is_done_at_once_or_when_work_begins() -> None:
    """At noon nothing is done at noon; at night it is done at the next opening."""
    calendar = tiny_calendar()
    noon = datetime(2026, 5, 20, 12, tzinfo=BERLIN)
    night = datetime(2026, 5, 22, 23, tzinfo=BERLIN)
    assert after_minutes(calendar, noon, 0, lambda _: 28_800) == noon
    assert after_minutes(calendar, night, 0, lambda _: 28_800) == datetime(
        2026, 5, 25, 8, tzinfo=BERLIN
    )
    with pytest.raises(ValueError, match="only goes on"):
        after_minutes(calendar, noon, -1, lambda _: 28_800)


def test_a_station_that_never_works_ends_the_search() -> None:
    """No time that counts for three years is an error, not an endless loop."""
    with pytest.raises(NoWorkingDay):
        after_minutes(tiny_calendar(), datetime(2026, 5, 20, 12, tzinfo=BERLIN), 1, lambda _: 0)


@given(
    start=st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31)),  # noqa: DTZ001 - UTC is added below
    parts=st.tuples(st.integers(0, 2_000), st.integers(0, 2_000)),
    day_min=st.integers(1, 1_380),
    zone=st.sampled_from(["Europe/Berlin", "America/New_York", "Australia/Lord_Howe"]),
    calendar=calendars,
)
def test_work_adds_up(
    start: datetime, parts: tuple[int, int], day_min: int, zone: str, calendar: WorkCalendar
) -> None:
    """One piece of work after the other is done when both together are, never before they began."""
    calendar = calendar.model_copy(update={"time_zone": zone})
    moment = start.replace(tzinfo=UTC)

    def after(at: datetime, minutes: int) -> datetime:
        return after_minutes(calendar, at, minutes, lambda _: day_min * 60)

    first, both = after(moment, parts[0]), after(moment, sum(parts))
    assert after(first, parts[1]) == both or parts[1] == 0
    assert both - moment >= timedelta(minutes=sum(parts))
    day, into_s = place_of(calendar, both)
    assert is_working_day(calendar, day)
    assert into_s <= day_min * 60
