"""Minutes: what work took at a ticket's steps, and the standard minutes that follow from it."""

from __future__ import annotations

from http import HTTPStatus
from typing import Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from service.domain.values import Slug
from service.intake.idempotency import Outcome, StoreSession
from service.intake.learning_answers import (
    AcceptedMinutesAnswer,
    MinutesEntryAnswer,
    StandardMinutesPage,
    TicketMinutesAnswer,
)
from service.intake.learning_entries import minutes_of_ticket, record_minutes
from service.intake.learning_requests import AcceptMinutesRequest, MinutesRequest
from service.intake.standard_minutes import accept_minutes, look, show_standard_minutes
from service.web.application import new_router
from service.web.catalogue_watch import follow_catalogue
from service.web.openapi import problems
from service.web.operations.tickets import Number
from service.web.parts import (
    OwnerCaller,
    RoomsPart,
    StaffCaller,
    do,
    json_answer,
    once_each,
    request_key,
)

router = new_router("standard minutes", "/v1")

_KEY_CODES = ("idempotency-key-malformed", "idempotency-key-reused")


@router.get(
    "/standard-minutes",
    summary="Show standard minutes, and what jobs have taught of them",
    response_model=StandardMinutesPage,
    responses=problems("fields-refused"),
)
async def show(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    method: Annotated[Slug | None, Query(description="Only operations of this method.")] = None,
) -> Response:
    """Each operation's minutes in force and as written, what its jobs have taught, and a proposal.

    Few jobs are believed little: `prior_jobs` says how many jobs the written minutes count for.
    What was entered before today counts, the newest most. Nothing changes before the owner accepts.
    """
    once_each(request)
    found = await rooms.in_store(lambda: show_standard_minutes(rooms.services, method))
    return json_answer(found)


@router.post(
    "/standard-minutes/accept",
    status_code=201,
    summary="Put proposed standard minutes in force",
    response_model=AcceptedMinutesAnswer,
    responses=problems(*_KEY_CODES, "fields-refused", "standard-minutes-changed"),
)
async def accept(
    request: Request, rooms: RoomsPart, caller: OwnerCaller, body: AcceptMinutesRequest
) -> Response:
    """Put the named minutes in force as a new catalogue version, and no others.

    Each is what is proposed, or what is written in the catalogue's files, to go back to that.
    Quotes given before stay bound to their version. The minutes hold, also after a restart, for as
    long as the files say what they were accepted for.
    """
    key = request_key(request, caller, body.model_dump(mode="json"))
    looked = await rooms.in_store(lambda: look(rooms.services))

    def act(session: StoreSession) -> Outcome:
        return Outcome.of(201, accept_minutes(rooms.services, session, body, looked))

    answer = await do(rooms, request, key, act)
    if answer.status_code == HTTPStatus.CREATED:
        await follow_catalogue(rooms)
    return answer


@router.get(
    "/tickets/{number}/minutes",
    summary="Show what a ticket's work took",
    response_model=TicketMinutesAnswer,
    responses=problems("ticket-not-found"),
)
async def show_ticket_minutes(
    request: Request, rooms: RoomsPart, _: StaffCaller, number: Number
) -> Response:
    """Steps whose minutes can be entered, with what was planned, and every entry so far."""
    once_each(request)
    return json_answer(await rooms.in_store(lambda: minutes_of_ticket(rooms.services, number)))


@router.post(
    "/tickets/{number}/minutes",
    status_code=201,
    summary="Enter what pieces took at a step",
    response_model=MinutesEntryAnswer,
    responses=problems(
        *_KEY_CODES,
        "ticket-not-found",
        "bench-work-not-legal",
        "fields-refused",
        "minutes-corrected",
    ),
)
async def enter_minutes(
    request: Request, rooms: RoomsPart, caller: StaffCaller, number: Number, body: MinutesRequest
) -> Response:
    """Enter minutes with a person at the pieces, as often as pieces are worked on; they add up.

    It is never asked for: whoever has no time to time leaves it. The ticket stays as it is. An
    entry made by mistake is corrected by another that names it.
    """
    key = request_key(request, caller, body.model_dump(mode="json"))

    def act(session: StoreSession) -> Outcome:
        return Outcome.of(201, record_minutes(rooms.services, session, number, body))

    return await do(rooms, request, key, act)
