"""The schedule, for staff: load of each station by day, and how promises turned out."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from service.domain.errors import BadInput, FieldFault
from service.intake.reliability import MOST_DAYS as MOST_DAYS_BACK
from service.intake.reliability import USUAL_DAYS as USUAL_DAYS_BACK
from service.intake.reliability import ReliabilityAnswer, look_back, reliability_answer
from service.intake.schedule import (
    MOST_DAYS,
    USUAL_DAYS,
    ScheduleAnswer,
    look_at_schedule,
    schedule_answer,
)
from service.render.load_svg import load_svg
from service.render.outline_svg import SVG_MEDIA_TYPE
from service.web.application import new_router
from service.web.openapi import problems
from service.web.parts import RoomsPart, StaffCaller, json_answer, once_each

router = new_router("schedule", "/v1")

FromDay = Annotated[
    date | None,
    Query(alias="from", description="The first day, such as 2026-12-04; today if left out."),
]
Days = Annotated[int, Query(ge=1, le=MOST_DAYS, description="How many days in a row.")]

DaysBack = Annotated[
    int, Query(ge=1, le=MOST_DAYS_BACK, description="How many days to look back, before today.")
]

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_HEADERS = {"Cache-Control": "private, no-cache"}


@router.get(
    "/schedule",
    summary="Show the load of each station by day",
    response_model=ScheduleAnswer,
    responses=problems("fields-refused"),
)
async def show_schedule(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    from_day: FromDay = None,
    days: Days = USUAL_DAYS,
) -> Response:
    """Capacity, what is booked and free, exceptions, and tickets whose day no longer has the room.

    Capacity lowered under what is booked drops nothing: the day is full, and `at_risk` names the
    tickets to make room for. The next booking or move of the shop moves them on to where there is
    room. `late_orders` are those that are expected after their promised day.
    """
    once_each(request)
    _day_as_written(request)
    found = await rooms.in_store(lambda: look_at_schedule(rooms.services, from_day, days))
    return json_answer(schedule_answer(found), headers=_HEADERS)


@router.get(
    "/schedule.svg",
    summary="Draw the load of each station by day",
    response_class=Response,
    responses={
        200: {
            "description": "The picture",
            "content": {SVG_MEDIA_TYPE: {"schema": {"type": "string"}}},
        },
        **problems("fields-refused"),
    },
)
async def draw_schedule(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    from_day: FromDay = None,
    days: Days = USUAL_DAYS,
) -> Response:
    """The same as bars, as SVG 1.1: days across, stations down, and all numbers as text."""
    once_each(request)
    _day_as_written(request)
    found = await rooms.in_store(lambda: look_at_schedule(rooms.services, from_day, days))
    return Response(load_svg(found.days), headers=_HEADERS, media_type=SVG_MEDIA_TYPE)


@router.get(
    "/schedule/reliability",
    summary="Compare what was promised with what was done",
    response_model=ReliabilityAnswer,
    responses=problems("fields-refused"),
)
async def show_reliability(
    request: Request, rooms: RoomsPart, _: StaffCaller, days: DaysBack = USUAL_DAYS_BACK
) -> Response:
    """The share of promises kept beside its target, and how late and early orders were.

    The same by load, method and rush, and what the plan alone or a constant lead time would have
    given. Counts orders promised for the last `days` days before today. One that is still open
    counts as late by what it is so far.
    """
    once_each(request)
    found = await rooms.in_store(lambda: look_back(rooms.services, days))
    return json_answer(reliability_answer(found), headers=_HEADERS)


def _day_as_written(request: Request) -> None:
    """Refuse what could be read as a day and is none: seconds of an epoch, a moment at midnight."""
    written = request.query_params.get("from")
    if written is not None and _DAY.fullmatch(written) is None:
        detail = "Give a day that exists, as YYYY-MM-DD."
        fault = FieldFault(detail, parameter="from", code="wrong-form")
        raise BadInput("fields-refused", "One field cannot be used.", faults=[fault])
