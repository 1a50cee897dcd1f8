"""Tickets, for staff: the queue, one ticket, and moving it."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import Path, Query
from starlette.requests import Request
from starlette.responses import Response

from service.domain.ticket_states import TicketState
from service.intake.answers import TicketAnswer, TicketPage
from service.intake.cursors import read_cursor, write_cursor
from service.intake.idempotency import Outcome, StoreSession
from service.intake.requests import MoveRequest
from service.intake.tickets import get_ticket, list_tickets, move_ticket
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified, parse_if_match
from service.web.openapi import problems
from service.web.parts import RoomsPart, StaffCaller, do, json_answer, request_key
from service.web.request_mark import current_mark

router = new_router("tickets", "/v1")

Number = Annotated[str, Path(pattern=r"^[A-Za-z0-9-]{1,16}$", description="Such as T000001.")]


@router.get(
    "/tickets",
    summary="List tickets by promised day",
    response_model=TicketPage,
    responses=problems("cursor-refused"),
)
async def queue(
    rooms: RoomsPart,
    _: StaffCaller,
    state: Annotated[
        list[TicketState] | None, Query(description="Only these states; repeat to name several.")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=100)] = 50,
    cursor: Annotated[str | None, Query(max_length=200)] = None,
) -> Response:
    """Tickets with the earliest promised day first; follow `next` for more."""
    states = tuple(sorted(set(state or ())))
    bound_to = f"tickets:{','.join(states)}"
    start = read_cursor(cursor, bound_to) if cursor is not None else None
    page, following = await rooms.in_store(
        lambda: list_tickets(rooms.services, states=states, limit=limit, cursor=start)
    )
    if following is None:
        return json_answer(page)
    asked = [("state", one) for one in states] + [("limit", str(limit))]
    query = urlencode([*asked, ("cursor", write_cursor(following, bound_to))])
    address = f"/v1/tickets?{query}"
    link = {"Link": f'<{address}>; rel="next"'}
    return json_answer(page.model_copy(update={"next": address}), headers=link)


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
    """The ticket with its steps, settings, materials, cautions and history."""
    answer, version = await rooms.in_store(lambda: get_ticket(rooms.services, number))
    unchanged = not_modified(request, version)
    return unchanged or json_answer(answer, headers={"ETag": etag_for(version)})


@router.post(
    "/tickets/{number}/moves",
    status_code=201,
    summary="Move a ticket",
    response_model=TicketAnswer,
    responses=problems(
        "ticket-not-found",
        "move-not-legal",
        "ticket-changed",
        "precondition-malformed",
        "idempotency-key-malformed",
        "idempotency-key-reused",
    ),
)
async def move(
    request: Request, rooms: RoomsPart, caller: StaffCaller, number: Number, body: MoveRequest
) -> Response:
    """Move the ticket on. With If-Match it is moved only if nobody moved it since."""
    sent = request.headers.getlist("if-match")
    precondition = parse_if_match(sent) if sent else None

    def make_move(session: StoreSession) -> Outcome:
        answer, version = move_ticket(
            rooms.services,
            session,
            number,
            body,
            allowed_versions=precondition.versions if precondition else None,
            trace_id=current_mark().trace_id,
        )
        return Outcome.of(201, answer, etag=etag_for(version))

    key = request_key(request, caller, body.model_dump(mode="json"))
    return await do(rooms, request, key, make_move)
