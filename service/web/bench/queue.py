"""The queue: tickets by urgency, which is the slack they have left, of all stations or one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from service.domain.shop import Catalogue
from service.domain.ticket_states import TicketState
from service.intake.answers import TicketSummary
from service.intake.bench_work import bench_queue
from service.intake.cursors import read_moment_cursor, write_moment_cursor
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router
from service.web.bench.session import VisitPart
from service.web.bench.shop_time import shop_today, shop_zone
from service.web.bench.words import OPEN_STATES, Urgency, urgency
from service.web.parts import RoomsPart

router = bench_router()

PAGE_TICKETS: Final = 50
URGENCY_TITLES: Final[Mapping[Urgency, str]] = {
    Urgency.OVERDUE: "No slack left",
    Urgency.TODAY: "To go on today",
    Urgency.TOMORROW: "To go on tomorrow",
    Urgency.LATER: "Later",
}
_NOTHING_LEFT: Final = "Nothing left to do"


@dataclass(frozen=True, slots=True)
class StationOption:
    """A station to choose, with how many of the shown states wait there."""

    id: str
    name: str
    count: int


@dataclass(frozen=True, slots=True)
class Group:
    """Tickets of one urgency."""

    urgency: Urgency
    title: str
    rows: tuple[TicketSummary, ...]


@router.get("")
async def queue_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Tickets by slack; what is asked for and does not exist counts as not asked for."""
    query, services = request.query_params, rooms.services
    catalogue = services.catalogues.current.catalogue
    asked_station, asked_state = query.get("station", ""), query.get("state", "")
    state = TicketState(asked_state) if asked_state in set(TicketState) else None
    station = asked_station if asked_station in catalogue.station_by_id else None
    states = (state,) if state is not None else OPEN_STATES
    bound_to = f"bench:{station}:{state}"
    cursor = query.get("cursor")
    start = read_moment_cursor(cursor, bound_to) if cursor else None
    page = await rooms.in_store(
        lambda: bench_queue(
            services, station=station, states=states, limit=PAGE_TICKETS, cursor=start
        )
    )
    following = ""
    if page.following is not None:
        asked = {"station": station or "", "state": state or ""}
        following = urlencode({**asked, "cursor": write_moment_cursor(page.following, bound_to)})
    return bench_page(
        request,
        "queue.html",
        visit,
        title="Queue",
        station=station,
        state=state,
        states=tuple(TicketState),
        stations=station_options(catalogue, page.stations),
        names={one.id: one.name for one in catalogue.stations},
        groups=tuple(grouped(page.tickets, services.clock(), shop_zone(services))),
        today=shop_today(services),
        slack_words=slack_words,
        following=following,
        start=start is None,
    )


def station_options(catalogue: Catalogue, counts: Mapping[str, int]) -> tuple[StationOption, ...]:
    """Every station in the shop's order."""
    return tuple(
        StationOption(one.id, one.name, counts.get(one.id, 0)) for one in catalogue.stations
    )


def grouped(tickets: Sequence[TicketSummary], now: datetime, zone: ZoneInfo) -> Iterator[Group]:
    """Tickets, which go by their latest start, in groups of urgency."""

    def of(row: TicketSummary) -> tuple[Urgency, str]:
        if row.latest_start is None:
            return Urgency.LATER, _NOTHING_LEFT
        urgent = start_urgency(row.latest_start, now, zone)
        return urgent, URGENCY_TITLES[urgent]

    for (urgent, title), rows in groupby(tickets, key=of):
        yield Group(urgent, title, tuple(rows))


def start_urgency(latest_start: datetime, now: datetime, zone: ZoneInfo) -> Urgency:
    """How near the moment is at which a ticket must go on."""
    if latest_start < now:
        return Urgency.OVERDUE
    return urgency(latest_start.astimezone(zone).date(), now.astimezone(zone).date())


def slack_words(slack_min: int | None) -> str:
    """``2 h 5 min`` of working time; with a minus sign once it is gone."""
    if slack_min is None:
        return ""
    hours, minutes = divmod(abs(slack_min), 60)
    parts = [f"{hours} h"] * (hours > 0) + [f"{minutes} min"] * (minutes > 0 or hours == 0)
    return ("\u2212" if slack_min < 0 else "") + " ".join(parts)
