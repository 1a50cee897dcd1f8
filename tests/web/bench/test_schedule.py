"""The schedule's page: the picture, what is booked, and what has lost its room."""

from __future__ import annotations

from datetime import date, timedelta

from defusedxml.ElementTree import fromstring

from service.domain.shop import StationException
from service.domain.station_load import day_loads, span
from service.web.bench.schedule import shown_days
from tests.conftest import FakeClock
from tests.domain.garments_and_lines import demo_shop
from tests.web.bench.hand import Hand, text_of
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import ShopDoor


def test_the_schedule_shows_what_is_booked(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """Every booked station and day with its minutes, rounded up, of those it can do."""
    assert number
    page = text_of(ada.page("/bench/schedule"))
    catalogue = demo_shop().catalogue
    assert workroom.booked_s()
    for (station, _), seconds in workroom.booked_s().items():
        known = catalogue.station_by_id[station]
        assert f"{known.name} {-(-seconds // 60)} of {known.capacity_min} min" in page
    assert "Booked where the room is gone" not in page


def test_the_page_has_the_picture(ada: Hand) -> None:
    """It is the service's own file, with words for who cannot see it, and asks for the session."""
    (picture,) = ada.page("/bench/schedule").iter("img")
    assert picture.get("alt")
    answer = ada.get(str(picture.get("src")))
    assert answer.headers["content-type"].startswith("image/svg+xml")
    fromstring(answer.content, forbid_dtd=True)


def test_the_picture_is_for_who_is_signed_in(workroom: ShopDoor) -> None:
    """A stranger is led to sign in."""
    answer = Hand.stranger(workroom).get("/bench/schedule/load.svg")
    assert answer.status_code == 303
    assert "/bench/sign-in" in answer.headers["location"]


def test_a_day_without_its_room_is_flagged(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """The ticket is named above with a link, and at its station with the reason."""
    days = [date.fromisoformat(day) for place, day in workroom.booked_s() if place == "pressing"]
    exceptions = tuple(
        StationException(station="pressing", day=day, minutes=0, why="no power") for day in days
    )
    calendar = demo_catalogue().catalogue.calendar.model_copy(update={"station_days": exceptions})
    put_in_force(workroom, changed_catalogue(calendar=calendar))
    page = ada.page("/bench/schedule")
    put_in_force(workroom, demo_catalogue())
    links = {str(one.get("href")) for one in page.iter("a")}
    assert f"/bench/tickets/{number}" in links
    words = text_of(page)
    assert "Booked where the room is gone" in words
    assert "420 min on other days: no power" in words
    assert "No room for" in words


def test_the_schedule_is_bounded_and_names_lost_stations(clock: FakeClock) -> None:
    """Working days without work are shown for a week; what was booked is never left out."""
    today = date(2026, 3, 2)
    catalogue = demo_shop().catalogue
    booked = {("gone", today + timedelta(days=13)): 61, ("press-a", date(2030, 1, 1)): 60}
    loads = day_loads(catalogue, booked, [], due={}, days=span(today, 28), now=clock())
    days = list(shown_days(loads))
    assert days[0].day == today
    assert len(days) == 6
    (lost,) = days[-1].stations
    assert (lost.name, lost.booked_min, lost.capacity_min) == ("gone", 2, 0)
