"""What later orders may cost those accepted before them, found anew for each by all its courses."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.booked_time import NOTHING_BOOKED, BookedTime, with_shares
from service.domain.completion import Courses, rank_of
from service.domain.found_day import FoundDay, found_day, kept_of, margins_with, workroom
from service.domain.margins import Margin, freed_after
from service.domain.promising import MaterialDay, ReadyDay, StationWork
from service.domain.replanning import without
from service.domain.shop import Policy
from service.domain.shop_now import ShopNow
from service.domain.station_stands import PATHS
from tests.domain.shops import tiny_shop

HOUR_S = 3_600
NOW = datetime.fromisoformat("2026-06-03T08:00:00+02:00")
TODAY = date(2026, 6, 3)
SHOP = tiny_shop()


@dataclass(frozen=True)
class Accepted:
    """An order as it was accepted; ``number`` counts orders."""

    number: int
    works: list[list[StationWork]]
    found: FoundDay
    ready: ReadyDay
    rush: bool
    corrected_by: float


class Desk:
    """A shop that accepts orders and cancels them, all at one moment."""

    def __init__(self, **policy: object) -> None:
        shop = ShopNow.of(SHOP, NOW, {})
        self.shop = replace(shop, policy=Policy.model_validate(policy))
        self.accepted: list[Accepted] = []
        self._count = 0

    def accept(
        self,
        steps: list[StationWork],
        *,
        rush: bool = False,
        ready_in: int = 0,
        corrected_by: float = 0.0,
        second_in: int | None = None,
    ) -> Accepted:
        """Promise an order and accept it at once, of two tickets where the second is ready then."""
        days = [ready_in] if second_in is None else [ready_in, second_in]
        material = MaterialDay.of_order(
            [MaterialDay(TODAY + timedelta(days=day), "") for day in days]
        )
        shop, works = self.shop, [steps] * len(days)
        found = found_day(shop, works, material, rush=rush, corrected_by=corrected_by)
        changed = margins_with(shop, found, found.day, rush=rush, corrected_by=corrected_by)
        margins = {place: dict(by_day) for place, by_day in shop.margins.items()}
        for place, by_day in changed.items():
            margins.setdefault(place, {}).update(by_day)
        shares = [(one.station, one.day, one.seconds) for one in found.plan.bookings]
        freed = {**shop.freed, **freed_after(shop.freed, found.plan.bookings, rush=rush)}
        booked = with_shares(shop.booked, shares, rush=rush)
        self.shop = replace(shop, booked=booked, margins=margins, freed=freed)
        self._count += 1
        ready = found.material.ready_day
        made = Accepted(self._count, works, found, ready, rush, corrected_by)
        self.accepted.append(made)
        return made

    def cancel(self, gone: Accepted) -> None:
        """Give an order's time back."""
        shares = [(one.station, one.day, one.seconds) for one in gone.found.plan.bookings]
        booked = without(self.shop.booked, [(*share, gone.rush) for share in shares])
        freed = with_shares(self.shop.freed, shares, rush=gone.rush)
        self.shop = replace(self.shop, booked=booked, freed=freed)
        self.accepted.remove(gone)

    def kept(self, one: Accepted) -> int:
        """How many of an order's courses end in time as things stand, every share looked up.

        Before it is what is booked for earlier days than its last at a station, and on that day
        what was accepted earlier.
        """
        last: dict[str, date] = {}
        for booking in one.found.plan.bookings:
            last[booking.station] = max(booking.day, last.get(booking.station, booking.day))
        before: dict[tuple[str, date], BookedTime] = {}
        for other in self.accepted:
            for booking in other.found.plan.bookings:
                place = booking.station, booking.day
                end = last.get(booking.station)
                first = end is not None and (booking.day, other.number) < (end, one.number)
                if other is not one and first:
                    known = before.get(place, NOTHING_BOOKED)
                    before[place] = known.and_also(booking.seconds, rush=other.rush)
        room = workroom(replace(self.shop, booked=before), rush=one.rush)
        ends = Courses(room, one.works, one.found.plan.shares, one.ready).ends()
        return kept_of(self.shop, ends, one.found.day, min(0.0, one.corrected_by))


STEPS = st.lists(
    st.tuples(
        st.sampled_from(("cut", "cut", "press")),
        st.sampled_from([part * HOUR_S // 2 for part in (1, 2, 3, 5, 8, 13)]),
    ),
    min_size=1,
    max_size=2,
    unique_by=lambda step: step[0],
)
ORDERS = st.tuples(
    STEPS,
    st.sampled_from((False, False, False, True)),
    st.sampled_from((0, 0, 1, 1, 2)),
    st.sampled_from((0.0, 0.0, 0.7, -0.6)),
    st.integers(0, 4),
    st.sampled_from((None, None, 0, 2, 5)),
)


@settings(max_examples=50)
@given(st.lists(ORDERS, min_size=5, max_size=14))
def test_no_quantile_passes_its_promise_by_what_is_accepted_later(
    orders: list[tuple[list[tuple[str, int]], bool, int, float, int, int | None]],
) -> None:
    """Ordinary work and rush, some waiting for material, some cancelled in between.

    Some have a second ticket, which may wait for material of its own.
    """
    desk = Desk()
    needed = rank_of(PATHS, desk.shop.policy.promise_percent)
    for steps, rush, ready_in, corrected_by, cancel, second_in in orders:
        desk.accept(
            [StationWork(station, seconds) for station, seconds in steps],
            rush=rush,
            ready_in=ready_in,
            corrected_by=corrected_by,
            second_in=second_in,
        )
        assert all(desk.kept(one) >= needed for one in desk.accepted)
        if cancel == 4 and len(desk.accepted) > 1:
            desk.cancel(desk.accepted[0])


def test_what_nobody_bears_goes_behind() -> None:
    """Free hours of today before a full week: a little goes there until nobody bears more."""
    desk = Desk(rush_reserve_percent=0, promise_spread=0.3)
    for _ in range(5):
        desk.accept([StationWork("cut", 8 * HOUR_S)], ready_in=1)
    days = []
    for _ in range(16):
        made = desk.accept([StationWork("cut", HOUR_S // 2)])
        days.append(made.found.plan.done_day)
    first, later = days.count(TODAY), [day for day in days if day > TODAY]
    assert 0 < first < 16
    assert days == sorted(days)
    assert min(later) > TODAY + timedelta(days=5)
    # The hours are free all the same.
    room = 8 * HOUR_S - desk.shop.booked["cut", TODAY].seconds
    assert room >= HOUR_S // 2


def test_time_that_was_given_back_is_taken_again() -> None:
    """As much as before takes the place of what was cancelled, though those behind bear nothing."""
    desk = Desk(rush_reserve_percent=0)
    first = desk.accept([StationWork("cut", 6 * HOUR_S)])
    for _ in range(4):
        desk.accept([StationWork("cut", 8 * HOUR_S)])
    bearing = desk.shop.margins["cut", False]
    nothing = {day: Margin(0, 0) for day in bearing}
    desk.shop = replace(desk.shop, margins={("cut", False): nothing})
    desk.cancel(first)
    assert desk.accept([StationWork("cut", 6 * HOUR_S)]).found.plan.done_day == TODAY
    desk.cancel(desk.accepted[-1])
    # Somebody is promised a day behind it without it, and so it is gone.
    behind = desk.accept([StationWork("cut", 7 * HOUR_S)])
    assert behind.found.plan.done_day > TODAY + timedelta(days=4)
    again = desk.accept([StationWork("cut", 6 * HOUR_S)])
    assert again.found.plan.done_day >= behind.found.plan.done_day


@given(st.lists(st.floats(0, 20_000), min_size=1, max_size=9), st.integers(0, 9_000))
def test_a_margin_counts_down(delays_s: list[float], seconds: int) -> None:
    """By the most that is borne, and by those courses that are delayed by more."""
    margin = Margin(seconds, 2)
    beyond = sum(delay > seconds for delay in delays_s)
    left = margin.less(np.array(delays_s))
    if beyond > 2:
        assert left is None
        return
    assert left is not None
    most = max((delay for delay in delays_s if delay <= seconds), default=0.0)
    assert left.courses == 2 - beyond
    assert seconds - left.seconds - 1 < most <= seconds - left.seconds
