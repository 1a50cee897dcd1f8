"""Tickets, for staff: the queue, one ticket, what is done to it, and what to fetch for a day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Annotated, Literal

from fastapi import Path, Query
from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response

from service.domain.picking import PickingList
from service.domain.ticket_states import TicketState
from service.domain.values import Slug
from service.intake.answers import RemakeAnswer, TicketAnswer, TicketPage
from service.intake.bench_work import (
    add_note,
    bench_queue,
    picking_of_day,
    record_pieces,
    tick_step,
)
from service.intake.cursors import read_moment_cursor, write_moment_cursor
from service.intake.idempotency import Outcome, StoreSession
from service.intake.remakes import open_remake
from service.intake.requests import (
    MoveRequest,
    NoteRequest,
    PiecesRequest,
    RemakeRequest,
    TickRequest,
)
from service.intake.services import Caller
from service.intake.tickets import get_ticket, move_ticket
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified, parse_if_match
from service.web.openapi import problems
from service.web.paging import page_answer
from service.web.paper_answers import accepted_sheet
from service.web.parts import Rooms, RoomsPart, StaffCaller, do, json_answer, once_each, request_key
from service.web.request_mark import current_mark

router = new_router("tickets", "/v1")

Number = Annotated[str, Path(pattern=r"^[A-Za-z0-9-]{1,16}$", description="Such as T000001.")]

_ACT_CODES = (
    "ticket-not-found",
    "ticket-changed",
    "precondition-malformed",
    "idempotency-key-malformed",
    "idempotency-key-reused",
)
"""What every act on a ticket can be refused with."""


@router.get(
    "/tickets",
    summary="List tickets, the most urgent first",
    response_model=TicketPage,
    responses=problems("cursor-refused"),
)
async def queue(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    state: Annotated[
        list[TicketState] | None, Query(description="Only these states; repeat to name several.")
    ] = None,
    station: Annotated[
        Slug | None, Query(description="Only tickets whose next step is at this station.")
    ] = None,
    sort: Annotated[
        Literal["urgency"],
        Query(description="By slack, the least first, then as they were written."),
    ] = "urgency",
    limit: Annotated[int, Query(ge=1, le=100)] = 50,
    cursor: Annotated[str | None, Query(max_length=200)] = None,
) -> Response:
    """Tickets with the least slack first; follow `next` for more.

    Slack is the working time from now to the promised dispatch, less what is still booked of the
    ticket. It is below 0 for a ticket that will be late unless others wait for it.
    """
    once_each(request, may_repeat=("state",))
    states = tuple(sorted(set(state or ())))
    bound_to = f"tickets:{','.join(states)}:{station or ''}:{sort}"
    start = read_moment_cursor(cursor, bound_to) if cursor is not None else None
    found = await rooms.in_store(
        lambda: bench_queue(
            rooms.services, station=station, states=states, limit=limit, cursor=start
        )
    )
    page = TicketPage(tickets=found.tickets, stations=found.stations)
    following = write_moment_cursor(found.following, bound_to) if found.following else None
    asked = [("state", one) for one in states] + [("station", station)] * (station is not None)
    return page_answer(page, "/v1/tickets", asked, limit, following)


@router.get(
    "/picking-list",
    summary="What to fetch for a day",
    response_model=PickingList,
    responses=problems("fields-refused"),
)
async def picking(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    day: Annotated[date, Query(description="Tickets promised up to this day, such as 2026-12-04.")],
) -> Response:
    """Blanks and media of all tickets not yet begun that are promised up to the day."""
    once_each(request)
    return json_answer(await rooms.in_store(lambda: picking_of_day(rooms.services, day)))


@router.get(
    "/tickets/{number}",
    summary="Show a ticket",
    response_model=TicketAnswer,
    responses=problems("ticket-not-found", "fields-refused")
    | {304: {"description": "Unchanged since that ETag"}},
)
async def show_ticket(
    request: Request, rooms: RoomsPart, _: StaffCaller, number: Number
) -> Response:
    """The ticket with its steps, settings, materials, cautions, pieces and history.

    Asked for as `application/pdf` or `text/html` it is the sheet, as at the addresses that end so.
    """
    sheet = await accepted_sheet(request, rooms, number)
    if sheet is not None:
        return sheet
    answer, version = await rooms.in_store(lambda: get_ticket(rooms.services, number))
    shown = not_modified(request, version) or json_answer(
        answer, headers={"ETag": etag_for(version)}
    )
    shown.headers["Vary"] = "Accept"
    return shown


@router.post(
    "/tickets/{number}/moves",
    status_code=201,
    summary="Move a ticket",
    response_model=TicketAnswer,
    responses=problems(*_ACT_CODES, "move-not-legal"),
)
async def move(
    request: Request, rooms: RoomsPart, caller: StaffCaller, number: Number, body: MoveRequest
) -> Response:
    """Move the ticket on. With If-Match it is moved only if nobody changed it since."""
    return await _act(request, rooms, caller, number, body, move_ticket)


@router.post(
    "/tickets/{number}/pieces",
    status_code=201,
    summary="Enter pieces made or spoiled",
    response_model=TicketAnswer,
    responses=problems(*_ACT_CODES, "bench-work-not-legal", "piece-limit"),
)
async def enter_pieces(
    request: Request, rooms: RoomsPart, caller: StaffCaller, number: Number, body: PiecesRequest
) -> Response:
    """Enter pieces of one size; a mistaken entry is taken back by another, `undone`.

    Without If-Match entries of several people add up, and never to more than there can be.
    """
    return await _act(request, rooms, caller, number, body, record_pieces)


@router.post(
    "/tickets/{number}/ticks",
    status_code=201,
    summary="Tick a step off",
    response_model=TicketAnswer,
    responses=problems(*_ACT_CODES, "bench-work-not-legal"),
)
async def tick(
    request: Request, rooms: RoomsPart, caller: StaffCaller, number: Number, body: TickRequest
) -> Response:
    """Tick a step off or take its tick back; the ticket goes on to the next step's station."""
    return await _act(request, rooms, caller, number, body, tick_step)


@router.post(
    "/tickets/{number}/notes",
    status_code=201,
    summary="Write a note on a ticket",
    response_model=TicketAnswer,
    responses=problems(*_ACT_CODES),
)
async def write_note(
    request: Request, rooms: RoomsPart, caller: StaffCaller, number: Number, body: NoteRequest
) -> Response:
    """Write a note, in whatever state the ticket is; it is kept as it was written."""
    return await _act(request, rooms, caller, number, body, add_note)


@router.post(
    "/tickets/{number}/remakes",
    status_code=201,
    summary="Have spoiled pieces made anew",
    response_model=RemakeAnswer,
    responses=problems(
        *_ACT_CODES, "bench-work-not-legal", "nothing-to-remake", "more-than-the-shop-can-make"
    ),
)
async def remake(
    request: Request, rooms: RoomsPart, caller: StaffCaller, number: Number, body: RemakeRequest
) -> Response:
    """Open a ticket for all pieces that this one has no blank for, on station time of its own.

    Location and ETag are the new ticket's. `late` says that the promised day cannot be kept.
    """
    return await _act(request, rooms, caller, number, body, open_remake)


async def _act(
    request: Request,
    rooms: Rooms,
    caller: Caller,
    number: str,
    body: BaseModel,
    act: Callable[..., tuple[TicketAnswer | RemakeAnswer, int]],
) -> Response:
    """Do something to a ticket, once per key; answers with what it has become, or the new one."""
    versions = _allowed(request)

    def act_once(session: StoreSession) -> Outcome:
        answer, version = act(
            rooms.services,
            session,
            number,
            body,
            allowed_versions=versions,
            trace_id=current_mark().trace_id,
        )
        outcome = Outcome.of(201, answer, etag=etag_for(version))
        if not isinstance(answer, RemakeAnswer):
            return outcome
        location = f"/v1/tickets/{answer.ticket.number}"
        return replace(outcome, headers={**outcome.headers, "location": location})

    key = request_key(request, caller, body.model_dump(mode="json"))
    return await do(rooms, request, key, act_once)


def _allowed(request: Request) -> frozenset[int] | None:
    """The versions that If-Match names; None without the header or for ``*``."""
    sent = request.headers.getlist("if-match")
    return parse_if_match(sent).versions if sent else None
