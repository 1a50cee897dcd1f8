"""Pages that list: the picking list of a day, and deliveries of late."""

from __future__ import annotations

from datetime import date
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from service.domain.errors import BadInput, FieldFault
from service.intake.bench_work import picking_of_day
from service.store.recent_deliveries import recent_deliveries
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router
from service.web.bench.session import VisitPart
from service.web.bench.shop_time import shop_today, shop_zone
from service.web.parts import RoomsPart

router = bench_router()

DELIVERIES_SHOWN: Final = 50


@router.get("/picking")
async def picking_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """What to fetch for the tickets of a day; today's unless another is asked for."""
    day = _day(request.query_params.get("day")) or shop_today(rooms.services)
    found = await rooms.in_store(lambda: picking_of_day(rooms.services, day))
    return bench_page(request, "picking.html", visit, title="Picking list", day=day, list=found)


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


def _day(text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        detail = "A day is written as year, month and day: 2026-03-09."
        fault = FieldFault(detail, parameter="day")
        raise BadInput("fields-refused", detail, faults=[fault]) from None
