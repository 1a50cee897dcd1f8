"""Runs, for staff: propose, list, show, accept, dissolve, reprint, and what is printed and cut."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import Query
from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response

from service.domain.run_paper import RunPaper
from service.domain.run_states import RunState
from service.intake.cursors import read_cursor, write_cursor
from service.intake.idempotency import Outcome, StoreSession
from service.intake.requests import Identifier
from service.intake.run_answers import ProposedAnswer, RunAnswer, RunPage
from service.intake.run_papers import (
    refuse_unprinted,
    run_paper,
    with_outlines,
    with_pictures,
)
from service.intake.run_proposals import lay_runs, waiting_prints, write_runs
from service.intake.run_requests import ReprintRequest, RunActRequest, RunsRequest
from service.intake.runs import accept_run, dissolve_run, get_run, list_runs, reprint_pieces
from service.intake.services import Caller
from service.render import run_layout_svg as layout
from service.render import run_print_pdf as printing
from service.render.outline_svg import SVG_MEDIA_TYPE
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified, parse_if_match
from service.web.openapi import problems
from service.web.paging import page_answer
from service.web.parts import Rooms, RoomsPart, StaffCaller, do, json_answer, once_each, request_key

router = new_router("runs", "/v1")

PDF = "application/pdf"
_KEY_CODES = ("idempotency-key-malformed", "idempotency-key-reused")
_ACT_CODES = (
    "run-not-found",
    "run-changed",
    "run-not-legal",
    "precondition-malformed",
    *_KEY_CODES,
)
"""What every act on a run can be refused with."""

_UNCHANGED: dict[int | str, dict[str, Any]] = {304: {"description": "Unchanged since that ETag"}}


@router.post(
    "/runs",
    status_code=201,
    summary="Propose runs from waiting tickets",
    response_model=ProposedAnswer,
    responses={
        200: {"description": "Nothing new: none waits, or all was proposed before"},
        **problems(*_KEY_CODES),
    },
)
async def propose(
    request: Request, rooms: RoomsPart, caller: StaffCaller, body: RunsRequest
) -> Response:
    """Gang what waits on one medium and colour, mirrored alike and pressed alike, and nest it.

    The most urgent go first, and no run spans more days or roll than the shop's policy allows.
    Where boxes waste more than a quarter of a roll that a plotter cuts, pieces are nested by their
    envelopes if that is shorter. A proposal binds nothing until it is accepted; what was proposed
    before and still stands is given again. `left_out` tells what no run can take.
    """
    key = request_key(request, caller, body.model_dump(mode="json"))
    waiting = await rooms.in_store(lambda: waiting_prints(rooms.services, body))
    proposed = await rooms.computing(lambda: lay_runs(waiting))

    def write(session: StoreSession) -> Outcome:
        answer, new = write_runs(rooms.services, session, body, proposed, more=waiting.more)
        return Outcome.of(201 if new else 200, answer)

    return await do(rooms, request, key, write)


@router.get(
    "/runs",
    summary="List runs, the newest first",
    response_model=RunPage,
    responses=problems("cursor-refused"),
)
async def list_all(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    state: Annotated[
        list[RunState] | None, Query(description="Only these states; repeat to name several.")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=100)] = 50,
    cursor: Annotated[str | None, Query(max_length=200)] = None,
) -> Response:
    """Runs of the states asked for; follow `next` for more."""
    once_each(request, may_repeat=("state",))
    states = tuple(sorted(set(state or ())))
    bound_to = f"runs:{','.join(states)}"
    start = read_cursor(cursor, bound_to) if cursor is not None else None
    found = await rooms.in_store(
        lambda: list_runs(rooms.services, states=states, limit=limit, cursor=start)
    )
    following = write_cursor(found.following, bound_to) if found.following else None
    asked = [("state", one) for one in states]
    return page_answer(found.page, "/v1/runs", asked, limit, following)


@router.get(
    "/runs/{run_id}",
    summary="Show a run",
    response_model=RunAnswer,
    responses=problems("run-not-found", "fields-refused"),
)
async def show(request: Request, rooms: RoomsPart, _: StaffCaller, run_id: Identifier) -> Response:
    """The run with its tickets, every piece in its place in the order of cutting, and its history.

    Its ETag is what If-Match of an act takes. States of tickets change without it.
    """
    once_each(request)
    answer, version = await rooms.in_store(lambda: get_run(rooms.services, run_id))
    return json_answer(answer, headers={"ETag": etag_for(version)})


@router.post(
    "/runs/{run_id}/accept",
    status_code=201,
    summary="Accept a run",
    response_model=RunAnswer,
    responses=problems(*_ACT_CODES, "run-ticket-taken"),
)
async def accept(
    request: Request,
    rooms: RoomsPart,
    caller: StaffCaller,
    run_id: Identifier,
    body: RunActRequest,
) -> Response:
    """Take the run as proposed: its pieces are on no other run, and its film is booked."""
    return await _act(request, rooms, caller, run_id, body, accept_run)


@router.post(
    "/runs/{run_id}/dissolve",
    status_code=201,
    summary="Dissolve a run",
    response_model=RunAnswer,
    responses=problems(*_ACT_CODES),
)
async def dissolve(
    request: Request,
    rooms: RoomsPart,
    caller: StaffCaller,
    run_id: Identifier,
    body: RunActRequest,
) -> Response:
    """Drop a proposal; of an accepted run nothing of which was begun, give the film back too."""
    return await _act(request, rooms, caller, run_id, body, dissolve_run)


@router.post(
    "/runs/{run_id}/reprints",
    status_code=201,
    summary="Have spoiled pieces of a run made anew",
    response_model=RunAnswer,
    responses=problems(*_ACT_CODES, "run-ticket-taken"),
)
async def reprint(
    request: Request,
    rooms: RoomsPart,
    caller: StaffCaller,
    run_id: Identifier,
    body: ReprintRequest,
) -> Response:
    """The pieces wait as pieces of their ticket and go into the next proposal."""
    return await _act(request, rooms, caller, run_id, body, reprint_pieces)


async def _act(
    request: Request,
    rooms: Rooms,
    caller: Caller,
    run_id: str,
    body: BaseModel,
    act: Callable[..., tuple[RunAnswer, int]],
) -> Response:
    """Do something to a run, once per key; answers with what it has become."""
    sent = request.headers.getlist("if-match")
    versions = parse_if_match(sent).versions if sent else None

    def act_once(session: StoreSession) -> Outcome:
        answer, version = act(rooms.services, session, run_id, body, allowed_versions=versions)
        return Outcome.of(201, answer, etag=etag_for(version))

    key = request_key(request, caller, body.model_dump(mode="json"))
    return await do(rooms, request, key, act_once)


@router.get(
    "/runs/{run_id}/layout.svg",
    summary="Draw the layout of a run",
    response_class=Response,
    responses={
        200: {
            "description": "The drawing",
            "content": {SVG_MEDIA_TYPE: {"schema": {"type": "string"}}},
        },
        **_UNCHANGED,
        **problems("run-not-found", "fields-refused", "pictures-waiting"),
    },
)
async def layout_svg(
    request: Request, rooms: RoomsPart, _: StaffCaller, run_id: Identifier
) -> Response:
    """Strip, pieces, cut lines, order and labels in true size, as SVG 1.1 in mm, layer by layer.

    Cut lines are mirrored as the method asks for it; words never are. Follow the data sheets of the
    machine and the film, and cut a test piece first.
    """
    once_each(request)

    def draw(paper: RunPaper) -> str:
        drawn = with_outlines(rooms.services, paper, layout.outline_path)
        return layout.run_layout_svg(drawn)

    return await _drawn(request, rooms, run_id, SVG_MEDIA_TYPE, layout.EDITION, draw)


@router.get(
    "/runs/{run_id}/print.pdf",
    summary="Print a run",
    response_class=Response,
    responses={
        200: {
            "description": "The print file, a page for each length of roll or sheet",
            "content": {PDF: {"schema": {"type": "string", "format": "binary"}}},
        },
        **_UNCHANGED,
        **problems(
            "run-not-found",
            "run-not-printed",
            "artwork-not-found",
            "file-not-found",
            "fields-refused",
            "pictures-waiting",
        ),
    },
)
async def print_pdf(
    request: Request, rooms: RoomsPart, _: StaffCaller, run_id: Identifier
) -> Response:
    """Every picture in true size where it lies, mirrored as the method asks for it.

    In the margins stand registration marks and ticket numbers. Print it at 100 %, and a test first.
    """
    once_each(request)

    def draw(paper: RunPaper) -> bytes:
        return printing.run_print_pdf(with_pictures(rooms.services, paper))

    return await _drawn(
        request, rooms, run_id, PDF, printing.EDITION, draw, allowed=refuse_unprinted
    )


async def _drawn(
    request: Request,
    rooms: Rooms,
    run_id: str,
    media_type: str,
    edition: str,
    draw: Callable[[RunPaper], str | bytes],
    allowed: Callable[[RunPaper], None] | None = None,
) -> Response:
    """The answer with a drawing, made off the event loop; 304 to whoever has it already."""
    found = await rooms.in_store(lambda: run_paper(rooms.services, run_id))
    if allowed is not None:
        allowed(found.paper)
    mark = f"{found.mark}-{edition}"
    headers = {"ETag": etag_for(mark), "Cache-Control": "private, no-cache"}
    unchanged = not_modified(request, mark)
    if unchanged is not None:
        unchanged.headers.update(headers)
        return unchanged
    made = await rooms.at_pictures(lambda: draw(found.paper))
    name = f"{found.paper.number}.{'pdf' if media_type == PDF else 'svg'}"
    headers["Content-Disposition"] = f'inline; filename="{name}"'
    return Response(made, headers=headers, media_type=media_type)
