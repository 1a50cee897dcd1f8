"""Pages that list: the picking list of a day, the schedule, and deliveries of late."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from service.domain.calendar import is_working_day
from service.domain.errors import BadInput, FieldFault
from service.domain.shop import Catalogue
from service.intake.bench_work import picking_of_day
from service.store.ledger import booked_seconds
from service.store.recent_deliveries import recent_deliveries
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router
from service.web.bench.session import VisitPart
from service.web.bench.shop_time import shop_today, shop_zone
from service.web.parts import RoomsPart

router = bench_router()

DELIVERIES_SHOWN: Final = 50
SCHEDULE_DAYS: Final = 28
WORKING_DAYS_LEAST: Final = 5
HIGH_SHARE: Final = 0.85
"""From this share of its minutes on, a station's day is shown as nearly full."""

_S_PER_MIN: Final = 60


@dataclass(frozen=True, slots=True)
class StationLoad:
    """Whole minutes promised at a station on a day, rounded up, and how many it can do."""

    name: str
    booked_min: int
    capacity_min: int

    @property
    def over(self) -> bool:
        """More than fits."""
        return self.booked_min > self.capacity_min

    @property
    def high_min(self) -> int:
        """Minutes from which on it is nearly full."""
        return int(self.capacity_min * HIGH_SHARE)


@dataclass(frozen=True, slots=True)
class DayLoad:
    """A day's stations that have something to do; ``closed`` when the shop does not work."""

    day: date
    closed: bool
    stations: tuple[StationLoad, ...]


@router.get("/picking")
async def picking_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """What to fetch for the tickets of a day; today's unless another is asked for."""
    day = _day(request.query_params.get("day")) or shop_today(rooms.services)
    found = await rooms.in_store(lambda: picking_of_day(rooms.services, day))
    return bench_page(request, "picking.html", visit, title="Picking list", day=day, list=found)


@router.get("/schedule")
async def schedule_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Minutes promised by station and day."""
    services = rooms.services
    today = shop_today(services)
    booked_s = await rooms.in_store(
        lambda: services.database.read(lambda session: booked_seconds(session, today))
    )
    days = tuple(schedule(services.catalogues.current.catalogue, booked_s, today))
    return bench_page(request, "schedule.html", visit, title="Schedule", today=today, days=days)


@router.get("/deliveries")
async def deliveries_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """The newest deliveries over all storefronts."""
    database = rooms.services.database
    found = await rooms.in_store(
        lambda: database.read(lambda session: recent_deliveries(session, DELIVERIES_SHOWN))
    )
    zone = shop_zone(rooms.services)
    return bench_page(
        request, "deliveries.html", visit, title="Deliveries", deliveries=found, zone=zone
    )


def schedule(
    catalogue: Catalogue, booked_s: Mapping[tuple[str, date], int], today: date
) -> Iterator[DayLoad]:
    """Days from today on: the next working days, and all with something promised.

    Beyond ``SCHEDULE_DAYS`` nothing is shown. A station that the catalogue has lost is named by
    its id and can do nothing.
    """
    working = 0
    for offset in range(SCHEDULE_DAYS):
        day = today + timedelta(days=offset)
        works = is_working_day(catalogue.calendar, day)
        working += works
        stations = tuple(_loads(catalogue, booked_s, day))
        if stations or (works and working <= WORKING_DAYS_LEAST):
            yield DayLoad(day, closed=not works, stations=stations)


def _loads(
    catalogue: Catalogue, booked_s: Mapping[tuple[str, date], int], day: date
) -> Iterator[StationLoad]:
    order = {station.id: place for place, station in enumerate(catalogue.stations)}
    there = [station for station, on in booked_s if on == day]
    for id_ in sorted(there, key=lambda one: (order.get(one, len(order)), one)):
        minutes = -(-booked_s[id_, day] // _S_PER_MIN)
        station = catalogue.station_by_id.get(id_)
        if station is None:
            yield StationLoad(id_, minutes, 0)
        else:
            yield StationLoad(station.name, minutes, station.capacity_min)


def _day(text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        detail = "A day is written as year, month and day: 2026-03-09."
        fault = FieldFault(detail, parameter="day")
        raise BadInput("fields-refused", detail, faults=[fault]) from None
