"""A run occupies printer and plotter once: its tickets' set-ups but one are given back.

Minutes are those of the invented demonstration shop: printed film takes 6 minutes to set up a run
at the printer and 6 at the plotter. That a run is set up for once is common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from service.domain.shop import StationException
from service.store.tables import Booking, Order, RunSetup, StationDay
from tests.web.shop.bench import go
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import ON_SQLITE, Caller, Json, ShopDoor, answered, decoration, line
from tests.web.shop.test_runs import act, cut, done, one_proposed, printed, proposed

SETUP_S = 6 * 60


def bookings(shop: ShopDoor) -> dict[tuple[int, str, Any], tuple[int, bool, bool]]:
    """Every booking; the ledger must be their sum, nowhere below nothing."""
    found = {
        (row.ticket_id, row.station, row.day): (row.seconds, row.rush, row.worked)
        for row in shop.rows(Booking)
    }
    seconds: Counter[tuple[str, Any]] = Counter()
    squares: Counter[tuple[str, Any]] = Counter()
    for (_, station, day), (each, _, _) in found.items():
        assert each > 0
        seconds[station, day] += each
        squares[station, day] += each * each
    for row in shop.rows(StationDay):
        key = row.station, row.day
        assert (row.booked_s, row.rush_s) == (seconds.pop(key, 0), 0)
        assert row.squares_s2 == squares.pop(key, 0)
    assert not seconds
    return found


def by_station(shop: ShopDoor) -> Counter[str]:
    """Seconds booked at each station."""
    found: Counter[str] = Counter()
    for (_, station, _), (seconds, _, _) in bookings(shop).items():
        found[station] += seconds
    return found


def test_the_printers_day_is_shorter_by_the_set_ups_that_are_shared(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Of three tickets two set-ups are given back; dissolved and done again all is as it was."""
    for pieces in (3, 4, 5):
        printed(storefront, pieces)
    before, seconds = bookings(shop), by_station(shop)
    promised = [row.promised_day for row in shop.rows(Order)]
    run = one_proposed(staff)
    assert bookings(shop) == before
    done(staff, run, "accept")
    after = bookings(shop)
    assert seconds - by_station(shop) == {"printing": 2 * SETUP_S, "cutting": 2 * SETUP_S}
    assert after.keys() == before.keys()
    assert {before[key][0] - after[key][0] for key in before} == {0, SETUP_S}
    assert len(shop.rows(RunSetup)) == 4
    gone = done(staff, run, "dissolve")
    assert gone["acts"][-1]["note"] == ""
    assert bookings(shop) == before
    run = one_proposed(staff)
    done(staff, run, "accept")
    assert bookings(shop) == after
    done(staff, run, "dissolve")
    assert (bookings(shop), shop.rows(RunSetup)) == (before, [])
    assert [row.promised_day for row in shop.rows(Order)] == promised


def test_a_set_up_without_room_is_not_booked_again(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Dissolving says so, moves nobody, and books what has room: here the plotter's."""
    numbers = [printed(storefront) for _ in range(2)]
    before = by_station(shop)
    run = one_proposed(staff)
    done(staff, run, "accept")
    (setup,) = (row for row in shop.rows(RunSetup) if row.station == "printing")
    booked_s = shop.booked_s()["printing", setup.day.isoformat()]
    station = demo_catalogue().catalogue.station_by_id["printing"]
    minutes = -(-booked_s // (60 * station.machines))
    short = StationException(station=station.id, day=setup.day, minutes=minutes, why="a test")
    calendar = demo_catalogue().catalogue.calendar
    put_in_force(
        shop,
        changed_catalogue(calendar=calendar.model_copy(update={"station_days": (short,)})),
    )
    gone = done(staff, run, "dissolve", note="wrong roll")
    note: str = gone["acts"][-1]["note"]
    assert note.startswith(f"wrong roll Set-up without room again: 6 min at {station.name} (")
    assert any(number in note for number in numbers)
    assert before - by_station(shop) == {"printing": SETUP_S}


@ON_SQLITE
def test_a_halted_ticket_has_no_place_to_be_booked_again(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """What is left of it is set aside; it goes on without the set-up, and the act says so."""
    numbers = [printed(storefront) for _ in range(2)]
    before = by_station(shop)
    run = one_proposed(staff)
    done(staff, run, "accept")
    gave = {row.ticket_id for row in shop.rows(RunSetup)}
    (ticket_id,) = gave
    number = numbers[ticket_id - 1]
    go(staff, number, "halt")
    gone = done(staff, run, "dissolve")
    assert gone["acts"][-1]["note"].count(number) == 2
    go(staff, number, "resume")
    assert before - by_station(shop) == {"printing": SETUP_S, "cutting": SETUP_S}


def _two_prints(storefront: Caller) -> Json:
    """An order for one ticket with a print in front and one on the back, of the same film."""
    back = decoration(placement="back", width_mm=200)
    return storefront.order(line(decoration(width_mm=200), back, sizes={"M": 3}))


@ON_SQLITE
def test_whose_set_ups_are_shared(shop: ShopDoor, storefront: Caller, staff: Caller) -> None:
    """A ticket alone keeps its own; two prints of one ticket are set up for once as it is."""
    _two_prints(storefront)
    before = by_station(shop)
    alone = one_proposed(staff)
    assert len(alone["tickets"]) == 1
    done(staff, alone, "accept")
    assert by_station(shop) == before
    done(staff, alone, "dissolve")
    printed(storefront)
    before = by_station(shop)
    run = one_proposed(staff)
    assert len(run["tickets"]) == 2
    done(staff, run, "accept")
    assert before - by_station(shop) == {"printing": SETUP_S, "cutting": SETUP_S}


@ON_SQLITE
def test_pieces_made_anew_give_nothing_back(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Nothing was booked to set up for them, so the other ticket's set-up is the run's own."""
    first = printed(storefront)
    run = one_proposed(staff)
    done(staff, run, "accept")
    answered(act(staff, run, "reprints", {"ticket": first, "decoration": 0, "pieces": 1}), 201)
    printed(storefront)
    before = by_station(shop)
    again = one_proposed(staff)
    assert len(again["tickets"]) == 2
    done(staff, again, "accept")
    assert by_station(shop) == before


@ON_SQLITE
def test_media_are_set_up_for_apart(shop: ShopDoor, storefront: Caller, staff: Caller) -> None:
    """Runs on two media share nothing."""
    printed(storefront)
    cut(storefront)
    before = by_station(shop)
    runs = proposed(staff)
    assert len(runs) == 2
    for run in runs:
        done(staff, run, "accept")
    assert by_station(shop) == before
