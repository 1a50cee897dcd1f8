"""The schedule's page and picture: what stations have to do, and which tickets lost their room."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from service.domain.station_load import DayLoad, StationLoad
from service.intake.schedule import look_at_schedule
from service.render.load_svg import load_svg
from service.render.outline_svg import SVG_MEDIA_TYPE
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router
from service.web.bench.session import VisitPart
from service.web.parts import RoomsPart

router = bench_router()

SCHEDULE_DAYS: Final = 28
PICTURE_DAYS: Final = 7
"""As many as are readable across a tablet."""
WORKING_DAYS_LEAST: Final = 5
HIGH_SHARE: Final = 0.85
"""From this share of its minutes on, a station's day is shown as nearly full."""


@router.get("/schedule")
async def schedule_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Minutes promised by station and day, from today on, and what no longer fits."""
    services = rooms.services
    found = await rooms.in_store(lambda: look_at_schedule(services, None, SCHEDULE_DAYS))
    return bench_page(
        request,
        "schedule.html",
        visit,
        title="Schedule",
        today=found.days[0].day,
        picture_days=PICTURE_DAYS,
        days=tuple(shown_days(found.days)),
        at_risk=found.orders_at_risk,
        late=found.late_orders,
        late_count=found.late_order_count,
        high_share=HIGH_SHARE,
    )


@router.get("/schedule/load.svg")
async def load_picture(rooms: RoomsPart, _: VisitPart) -> Response:
    """The load of the next days as bars."""
    services = rooms.services
    found = await rooms.in_store(lambda: look_at_schedule(services, None, PICTURE_DAYS))
    headers = {"Cache-Control": "no-store"}
    return Response(load_svg(found.days), headers=headers, media_type=SVG_MEDIA_TYPE)


def shown_days(days: Iterable[DayLoad]) -> Iterator[DayLoad]:
    """The next working days, and all with something promised or unusual, with those stations."""
    working = 0
    for day in days:
        stations = tuple(filter(_matters, day.stations))
        working += not day.closed
        if stations or (not day.closed and working <= WORKING_DAYS_LEAST):
            yield replace(day, stations=stations)


def _matters(load: StationLoad) -> bool:
    return load.booked_min > 0 or load.excepted
