"""Plans through finite station time, material days, and the promise made of both."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.booked_time import BookedTime
from service.domain.calendar import add_working_days, is_working_day
from service.domain.machines import Station
from service.domain.promising import (
    HORIZON_DAYS,
    HorizonExceeded,
    Plan,
    StationWork,
    material_ready_day,
    plan_work,
    station_works,
)
from service.domain.shop import StationException, WorkCalendar
from service.domain.work import line_work
from tests.domain.shops import (
    tiny_calendar,
    tiny_decoration,
    tiny_line,
    tiny_prices,
    tiny_shop,
    tiny_stations,
    tiny_supplied_line,
)

HOUR_S = 3_600
MONDAY = date(2026, 6, 1)
FRIDAY = date(2026, 6, 5)
NEXT_MONDAY = date(2026, 6, 8)
CALENDAR = tiny_calendar(closures=frozenset({date(2026, 6, 17)}))
STATIONS = {station.id: station for station in tiny_stations()}
"""Eight hours a day each; two presses, so sixteen hours at ``press``."""

BookedSeconds = Mapping[tuple[str, date], int]


def _plan(
    *works: list[StationWork],
    ready_day: date = MONDAY,
    booked_s: BookedSeconds | None = None,
    calendar: WorkCalendar = CALENDAR,
    stations: Mapping[str, Station] = STATIONS,
    now: datetime | None = None,
) -> Plan:
    return plan_work(
        works,
        ready_day=ready_day,
        calendar=calendar,
        stations=stations,
        booked={key: BookedTime(seconds) for key, seconds in (booked_s or {}).items()},
        now=now,
    )


def _with(*rows: tuple[str, date, int]) -> WorkCalendar:
    """The calendar with exceptions: station, day and minutes of each machine."""
    exceptions = tuple(
        StationException(station=station, day=day, minutes=minutes, why="a test")
        for station, day, minutes in rows
    )
    return CALENDAR.model_copy(update={"station_days": exceptions})


def _rows(plan: Plan) -> list[tuple[int, str, date, int]]:
    return [(b.ticket_index, b.station, b.day, b.seconds) for b in plan.bookings]


def test_small_work_is_done_the_day_it_may_begin() -> None:
    """An hour each of printing, cutting and pressing fits into one Monday."""
    plan = _plan([StationWork(station, HOUR_S) for station in ("print", "cut", "press")])
    assert plan.first_day == plan.done_day == MONDAY
    assert {booking.day for booking in plan.bookings} == {MONDAY}


def test_work_that_does_not_fit_goes_on_the_next_day() -> None:
    """Ten hours of printing are eight on Friday and two on Monday."""
    plan = _plan([StationWork("print", 10 * HOUR_S)], ready_day=FRIDAY)
    assert _rows(plan) == [
        (0, "print", FRIDAY, 8 * HOUR_S),
        (0, "print", NEXT_MONDAY, 2 * HOUR_S),
    ]


def test_what_is_booked_stays_and_the_rest_is_filled() -> None:
    """With seven of eight hours taken, two hours are one today and one tomorrow."""
    plan = _plan([StationWork("cut", 2 * HOUR_S)], booked_s={("cut", MONDAY): 7 * HOUR_S})
    assert [booking.seconds for booking in plan.bookings] == [HOUR_S, HOUR_S]
    assert plan.done_day == MONDAY + timedelta(days=1)


def test_a_day_booked_beyond_its_capacity_takes_nothing_more() -> None:
    """Capacity lowered under a booking leaves no room and no negative room."""
    plan = _plan([StationWork("cut", 60)], booked_s={("cut", MONDAY): 20 * HOUR_S})
    assert plan.first_day == MONDAY + timedelta(days=1)


def test_an_exception_is_that_days_capacity_of_that_station() -> None:
    """A half day takes half, a machine down nothing, and a long day more; others stay as they are.

    The exception counts for each machine: two presses of four hours take eight.
    """
    tuesday = MONDAY + timedelta(days=1)
    long = [StationWork("print", 10 * HOUR_S)]
    half = _plan(long, calendar=_with(("print", MONDAY, 240)))
    assert [b.seconds // HOUR_S for b in half.bookings] == [4, 6]
    down = _plan(long, calendar=_with(("print", MONDAY, 0)))
    assert (down.first_day, down.bottleneck) == (tuesday, "print")
    assert _plan(long, calendar=_with(("print", MONDAY, 600))).done_day == MONDAY
    assert _plan(long, calendar=_with(("cut", MONDAY, 0))) == _plan(long)
    presses = _plan([StationWork("press", 9 * HOUR_S)], calendar=_with(("press", MONDAY, 240)))
    assert [b.seconds // HOUR_S for b in presses.bookings] == [8, 1]


def test_a_day_lowered_under_its_bookings_is_full() -> None:
    """What was booked stays and is not moved; the day only takes nothing more."""
    calendar = _with(("cut", MONDAY, 60))
    plan = _plan(
        [StationWork("cut", 60)], booked_s={("cut", MONDAY): 2 * HOUR_S}, calendar=calendar
    )
    assert _rows(plan) == [(0, "cut", MONDAY + timedelta(days=1), 60)]


@pytest.mark.parametrize(
    ("now", "booked_h", "hours"),
    [
        ("2026-06-01T07:00:00+02:00", 0, [8, 2]),  # before opening all of the day is there
        ("2026-06-01T11:00:00+02:00", 0, [5, 5]),  # three hours are gone
        ("2026-06-01T11:00:00+02:00", 2, [5, 5]),  # two booked ones of them are done by now
        ("2026-06-01T11:00:00+02:00", 6, [2, 8]),  # three booked hours are still to come
        ("2026-06-01T16:00:00+02:00", 0, [8, 2]),  # closed: from Tuesday on
        ("2026-06-02T00:30:00+02:00", 0, [8, 2]),  # and after midnight too
        ("2026-05-29T11:00:00+02:00", 0, [8, 2]),  # another day's hours are no matter
    ],
)
def test_of_today_only_what_is_left_counts(now: str, booked_h: int, hours: list[int]) -> None:
    """Work of ten hours at a station that opens at eight and works eight hours."""
    plan = _plan(
        [StationWork("print", 10 * HOUR_S)],
        booked_s={("print", MONDAY): booked_h * HOUR_S},
        now=datetime.fromisoformat(now),
    )
    assert [b.seconds // HOUR_S for b in plan.bookings] == hours


def test_of_today_all_tickets_together_get_what_is_left() -> None:
    """At eleven five of eight hours are left, for two tickets of five hours as for one of ten."""
    plan = _plan(
        [StationWork("print", 5 * HOUR_S)],
        [StationWork("print", 5 * HOUR_S)],
        now=datetime.fromisoformat("2026-06-01T11:00:00+02:00"),
    )
    tuesday = MONDAY + timedelta(days=1)
    assert _rows(plan) == [(0, "print", MONDAY, 5 * HOUR_S), (1, "print", tuesday, 5 * HOUR_S)]


def test_drying_begins_no_earlier_than_now() -> None:
    """Six hours of drying from two in the afternoon end at closing time: cutting is tomorrow's."""
    steps = [StationWork("print", 0, 6 * HOUR_S), StationWork("cut", 60)]
    at_two = datetime.fromisoformat("2026-06-01T14:00:00+02:00")
    assert _plan(steps).done_day == MONDAY
    assert _plan(steps, now=at_two).done_day == MONDAY + timedelta(days=1)


def test_waiting_over_a_clock_change_is_not_an_hour_short() -> None:
    """Printed on Saturday until nine, dry 24 hours later: on the clock put forward that is ten.

    Eight hours of cutting from ten on do not fit, and seven from ten on do not either once an hour
    of the shorter night is missed.
    """
    calendar = tiny_calendar(working_weekdays=frozenset(range(7)))
    saturday, sunday = date(2026, 3, 28), date(2026, 3, 29)

    def done(cut_h: int, ready_day: date) -> date:
        steps = [StationWork("print", HOUR_S, 24 * HOUR_S), StationWork("cut", cut_h * HOUR_S)]
        return _plan(steps, ready_day=ready_day, calendar=calendar).done_day

    assert done(7, saturday - timedelta(days=7)) == sunday - timedelta(days=7)
    assert done(7, saturday) == sunday + timedelta(days=1)
    assert done(6, saturday) == sunday


def test_two_machines_halve_the_days() -> None:
    """Sixteen hours of pressing are one day on two presses."""
    assert _plan([StationWork("press", 16 * HOUR_S)]).done_day == MONDAY


def test_a_ticket_cannot_be_in_two_places_at_once() -> None:
    """Five hours of printing and then five of cutting do not fit into one day of eight."""
    plan = _plan([StationWork("print", 5 * HOUR_S), StationWork("cut", 5 * HOUR_S)])
    assert _rows(plan)[1:] == [
        (0, "print", MONDAY, 5 * HOUR_S),
        (0, "cut", MONDAY + timedelta(days=1), 2 * HOUR_S),
    ]
    assert _rows(plan)[0] == (0, "cut", MONDAY, 3 * HOUR_S)


def test_tickets_share_the_stations() -> None:
    """The second ticket finds what the first has left."""
    plan = _plan([StationWork("print", 6 * HOUR_S)], [StationWork("print", 6 * HOUR_S)])
    assert plan.done_days == (MONDAY, MONDAY + timedelta(days=1))


@pytest.mark.parametrize(
    ("print_h", "wait_h", "booked_h", "done"),
    [
        (1, 6, 0, MONDAY),  # dry at three in an eight-hour day's clock
        (1, 8, 0, MONDAY + timedelta(days=1)),  # dry after hours
        (1, 6, 2, MONDAY + timedelta(days=1)),  # last in the day's queue, so dry after hours
        (1, 24, 0, MONDAY + timedelta(days=1)),  # the same hour a day later
        (8, 23, 0, MONDAY + timedelta(days=1)),  # in the seventh hour of the next day
        (8, 24, 0, MONDAY + timedelta(days=2)),  # at closing time: cutting begins a day later
    ],
)
def test_waiting_runs_by_the_clock(print_h: int, wait_h: int, booked_h: int, done: date) -> None:
    """Unattended time that ends after hours goes on with the next working day."""
    steps = [StationWork("print", print_h * HOUR_S, wait_h * HOUR_S), StationWork("cut", 60)]
    plan = _plan(steps, booked_s={("print", MONDAY): booked_h * HOUR_S})
    assert plan.done_day == done


def test_waiting_over_a_closed_day_ends_on_the_next_open_one() -> None:
    """A day's wait from Friday ends on Saturday, so cutting is on Monday, from the morning on."""
    steps = [StationWork("print", HOUR_S, 24 * HOUR_S), StationWork("cut", 8 * HOUR_S)]
    assert _plan(steps, ready_day=FRIDAY).done_day == NEXT_MONDAY


def test_the_bottleneck_is_where_the_days_go() -> None:
    """The cutter is booked out on Monday and Tuesday, so it decides, though pressing is longer."""
    booked = {("cut", MONDAY + timedelta(days=n)): 8 * HOUR_S for n in range(2)}
    steps = [StationWork("cut", 60), StationWork("press", HOUR_S)]
    assert _plan(steps, booked_s=booked).bottleneck == "cut"
    assert _plan(steps).bottleneck == "press"


def test_no_work_is_done_at_once() -> None:
    """Nothing to do is done on the first working day and has no bottleneck."""
    plan = _plan(ready_day=date(2026, 6, 6))
    assert (plan.bookings, plan.done_day, plan.bottleneck) == ((), NEXT_MONDAY, "")


def test_work_beyond_the_horizon_is_not_promised() -> None:
    """More than 400 days of printing name the station and end."""
    with pytest.raises(HorizonExceeded) as caught:
        _plan([StationWork("print", (HORIZON_DAYS * 8 + 1) * HOUR_S)])
    assert caught.value.station == "print"
    assert len(_plan([StationWork("print", HORIZON_DAYS * 8 * HOUR_S)]).bookings) == HORIZON_DAYS


def test_an_unknown_station_is_a_fault() -> None:
    """Stations are checked when the catalogue is loaded."""
    with pytest.raises(KeyError):
        _plan([StationWork("loom", 60)])


def test_a_lines_operations_become_visits_to_stations() -> None:
    """Press and peel are one visit, as are check and pack; dry time ends the visit to the printer.

    Five pieces: cut 5 + 5 min; weed 10; press 4 + 7.5 and peel 1.25; check 2.5 and pack 5.
    """
    shop = tiny_shop()
    visits = station_works(line_work(shop, tiny_line(shop, {"S": 5})))
    assert visits == (
        StationWork("cut", 600),
        StationWork("bench", 600),
        StationWork("press", 765),
        StationWork("bench", 450),
    )
    glitter = tiny_line(shop, {"S": 5}, tiny_decoration("dye-on-glitter"))
    assert station_works(line_work(shop, glitter))[0] == StationWork("print", 660, 1_800)


def test_a_held_sample_is_pressed_a_day_before_the_rest() -> None:
    """Press 4 min set-up and 1.5 a piece, peel 0.25: one piece, 24 hours, then the other four.

    Source of the hold: trade facts, "migration delay", hold sample 24 h.
    """
    shop = tiny_shop()
    visits = station_works(line_work(shop, tiny_line(shop, {"S": 5})), hold_h=24)
    assert visits == (
        StationWork("cut", 600),
        StationWork("bench", 600),
        StationWork("press", 330, 24 * HOUR_S),
        StationWork("press", 435),
        StationWork("bench", 450),
    )
    assert _plan(list(visits), stations=shop.station_by_id).done_day == MONDAY + timedelta(days=1)


def test_work_waits_for_the_slowest_material() -> None:
    """Film is three working days away, the cotton tee one; ordered on Wednesday before noon."""
    shop = tiny_shop()
    now = datetime.fromisoformat("2026-06-03T10:00:00+02:00")
    work = line_work(shop, tiny_line(shop, {"S": 1}))
    ready = material_ready_day(shop, [work], now)
    assert (ready.day, ready.waits_for) == (NEXT_MONDAY, "Plain cut film")
    late = material_ready_day(shop, [work], now + timedelta(hours=3))
    assert late.day == NEXT_MONDAY + timedelta(days=1)


def test_customers_garments_wait_for_media_alone() -> None:
    """No blank is bought for a garment the customer brings; without media nothing is awaited."""
    shop = tiny_shop()
    media = tuple(m.model_copy(update={"supplier_lead_days": 0}) for m in shop.media)
    shop = shop.model_copy(update={"media": media})
    now = datetime.fromisoformat("2026-06-03T10:00:00+02:00")
    own = material_ready_day(shop, [line_work(shop, tiny_supplied_line({"S": 1}))], now)
    assert (own.day, own.waits_for) == (date(2026, 6, 3), "")


def test_a_longer_spoilage_allowance_takes_more_time() -> None:
    """Spare pieces are worked on too."""
    seconds = []
    for share in (Decimal(0), Decimal("0.10")):
        shop = tiny_shop(prices=tiny_prices(spoilage_share=share))
        plan = _plan(
            list(station_works(line_work(shop, tiny_line(shop, {"S": 20})))),
            stations=shop.station_by_id,
        )
        seconds.append(sum(booking.seconds for booking in plan.bookings))
    assert seconds[1] > seconds[0]


station_ids = st.sampled_from(sorted(STATIONS))
step_strategy = st.builds(
    StationWork,
    station=station_ids,
    seconds=st.integers(0, 20 * HOUR_S),
    wait_s=st.sampled_from([0, 0, 600, 5 * HOUR_S, 30 * HOUR_S]),
)
tickets_strategy = st.lists(st.lists(step_strategy, max_size=5), max_size=4)
booked_strategy = st.dictionaries(
    st.tuples(station_ids, st.integers(0, 20).map(lambda n: MONDAY + timedelta(days=n))),
    st.integers(0, 17 * HOUR_S),
    max_size=40,
)
ready_strategy = st.integers(0, 20).map(lambda n: MONDAY + timedelta(days=n))
minutes_strategy = st.dictionaries(
    st.tuples(station_ids, ready_strategy), st.sampled_from([0, 60, 240, 480, 600, 1_440])
)
now_strategy = st.none() | st.integers(-20, 300).map(
    lambda hours: datetime(2026, 6, 1, 8, tzinfo=UTC) + timedelta(hours=hours, minutes=7)
)


def _shorter(minutes: Mapping[tuple[str, date], int]) -> WorkCalendar:
    return _with(*((station, day, each) for (station, day), each in minutes.items()))


@given(
    works=tickets_strategy,
    booked=booked_strategy,
    ready=ready_strategy,
    minutes=minutes_strategy,
    now=now_strategy,
)
def test_no_station_day_is_overfilled_and_no_work_lost(
    works: list[list[StationWork]],
    booked: dict[tuple[str, date], int],
    ready: date,
    minutes: dict[tuple[str, date], int],
    now: datetime | None,
) -> None:
    """Bookings fit what is free, lie on working days after the material, and hold all the work.

    Exceptions are the capacity of their day, and of the present day nothing gone is booked.
    """
    plan = _plan(*works, ready_day=ready, booked_s=booked, calendar=_shorter(minutes), now=now)
    taken: Counter[tuple[str, date]] = Counter()
    done: Counter[tuple[int, str]] = Counter()
    for booking in plan.bookings:
        taken[booking.station, booking.day] += booking.seconds
        done[booking.ticket_index, booking.station] += booking.seconds
        assert booking.seconds > 0
        assert is_working_day(CALENDAR, booking.day)
        assert ready <= plan.first_day <= booking.day <= plan.done_days[booking.ticket_index]
    for (station, day), seconds in taken.items():
        machines = STATIONS[station].machines
        day_min = minutes.get((station, day), STATIONS[station].minutes_per_day)
        assert seconds <= day_min * machines * 60 - booked.get((station, day), 0)
        closes = datetime.combine(day, time(8), ZoneInfo("Europe/Berlin")) + timedelta(
            minutes=day_min
        )
        assert now is None or seconds <= max(0.0, (closes - now).total_seconds()) * machines
    wanted: Counter[tuple[int, str]] = Counter()
    for index, steps in enumerate(works):
        for step in steps:
            wanted[index, step.station] += step.seconds
    assert done == +wanted
    assert plan.done_day == max(plan.done_days, default=plan.done_day)


ticket_strategy = st.lists(step_strategy, min_size=1, max_size=5)


@given(
    ticket=ticket_strategy,
    booked=booked_strategy,
    usual=minutes_strategy,
    lowered=minutes_strategy,
    closed=st.frozensets(ready_strategy, max_size=6),
    now=now_strategy,
)
def test_a_closed_or_shorter_day_never_makes_a_plan_earlier(
    ticket: list[StationWork],
    booked: dict[tuple[str, date], int],
    usual: dict[tuple[str, date], int],
    lowered: dict[tuple[str, date], int],
    closed: frozenset[date],
    now: datetime | None,
) -> None:
    """Closures, fewer minutes and a later now only ever put the day off."""
    before = _shorter(usual)
    day_min = {key: usual.get(key, STATIONS[key[0]].minutes_per_day) for key in lowered}
    fewer = {**usual, **{key: min(day_min[key], lowered[key]) for key in lowered}}
    after = _shorter(fewer).model_copy(update={"closures": CALENDAR.closures | closed})
    soonest = _plan(ticket, booked_s=booked, calendar=before).done_day
    as_it_was = _plan(ticket, booked_s=booked, calendar=before, now=now).done_day
    as_it_is = _plan(ticket, booked_s=booked, calendar=after, now=now).done_day
    assert soonest <= as_it_was <= as_it_is
    later = now + timedelta(hours=5) if now is not None else datetime(2026, 6, 2, 9, tzinfo=UTC)
    assert as_it_is <= _plan(ticket, booked_s=booked, calendar=after, now=later).done_day


@given(
    ticket=ticket_strategy, others=tickets_strategy, booked=booked_strategy, more=booked_strategy
)
def test_more_work_never_makes_a_promise_earlier(
    ticket: list[StationWork],
    others: list[list[StationWork]],
    booked: dict[tuple[str, date], int],
    more: dict[tuple[str, date], int],
) -> None:
    """Neither tickets planned before nor more bookings bring a ticket forward."""
    alone = _plan(ticket, booked_s=booked).done_day
    behind = _plan(*others, ticket, booked_s=booked).done_days[-1]
    crowded = _plan(ticket, booked_s=Counter(booked) + Counter(more)).done_day
    assert alone <= behind
    assert alone <= crowded


@given(works=tickets_strategy, later=ticket_strategy, booked=booked_strategy)
def test_a_later_ticket_moves_none_planned_before_it(
    works: list[list[StationWork]],
    later: list[StationWork],
    booked: dict[tuple[str, date], int],
) -> None:
    """What was planned first stays where it was."""
    before = _plan(*works, booked_s=booked)
    after = _plan(*works, later, booked_s=booked)
    assert after.done_days[:-1] == before.done_days
    assert [b for b in after.bookings if b.ticket_index < len(works)] == list(before.bookings)


@given(ticket=ticket_strategy, booked=booked_strategy, later=st.integers(0, 10))
def test_later_material_never_makes_a_promise_earlier(
    ticket: list[StationWork], booked: dict[tuple[str, date], int], later: int
) -> None:
    """The day of completion follows the day of the material."""
    early = _plan(ticket, booked_s=booked)
    late_day = add_working_days(CALENDAR, MONDAY, later)
    late = _plan(ticket, ready_day=late_day, booked_s=booked)
    assert early.done_day <= late.done_day


@given(works=tickets_strategy, booked=booked_strategy)
def test_equal_questions_get_equal_plans(
    works: list[list[StationWork]], booked: dict[tuple[str, date], int]
) -> None:
    """Bookings given in another order, and asking twice, change nothing."""
    backwards = dict(reversed(booked.items()))
    assert _plan(*works, booked_s=booked) == _plan(*works, booked_s=backwards)
