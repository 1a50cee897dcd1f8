"""Pages of runs: what is proposed and accepted, and one run with its layout, tickets and acts.

Forms carry the version of the run that their page showed, and are taken only for that one. After a
change comes a redirect; what cannot be taken is shown again with all that was typed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import Path
from pydantic import ValidationError
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from service.domain.errors import BadInput, Conflict
from service.domain.run_states import RunAct, RunState
from service.domain.ticket_steps import MIRROR_WORDS
from service.intake.cursors import read_cursor, write_cursor
from service.intake.idempotency import StoreSession
from service.intake.run_answers import LeftOutAnswer, ProposedAnswer, RunAnswer, RunSummary
from service.intake.run_proposals import lay_runs, waiting_prints, write_runs
from service.intake.run_requests import ReprintRequest, RunActRequest, RunsRequest
from service.intake.runs import accept_run, dissolve_run, get_run, list_runs, reprint_pieces
from service.web.bench.refused import Refused, version_seen
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router, read_form
from service.web.bench.session import Visit, VisitPart, check_form, root_of
from service.web.bench.shop_time import shop_zone
from service.web.operations.runs import layout_svg, print_pdf
from service.web.parts import Rooms, RoomsPart

router = bench_router()

RunId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
PAGE_RUNS: Final = 30
OPEN_STATES: Final = (RunState.PROPOSED, RunState.ACCEPTED)
"""What the list shows unless told otherwise."""

ACT_WORDS: Final[Mapping[RunAct, str]] = {
    RunAct.PROPOSE: "Proposed",
    RunAct.ACCEPT: "Accepted",
    RunAct.REPRINT: "Asked for pieces anew",
    RunAct.DISSOLVE: "Dissolved",
}
_PRINT = re.compile(r"([A-Za-z0-9-]{1,16}):([0-9]{1,2})")
_SAID_BY_FIELD: Final[Mapping[str, str]] = {
    "until": "A day is written as year, month and day: 2026-03-09.",
    "medium": "Choose a medium of the list.",
    "pieces": "Give how many pieces, as a whole number from 1.",
    "note": "A note may have 4,000 characters at most.",
    "ticket": "Choose a ticket of the list.",
}


@router.get("/runs")
async def runs_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Runs, the newest first, and a form to propose more."""
    return await _list_page(request, rooms, visit)


@router.post("/runs")
async def propose(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Propose runs of what waits; what no run can take is told at once."""
    fields = await read_form(request)
    check_form(request, visit, fields)
    given = {name: fields.get(name) or None for name in ("medium", "until")}
    try:
        wish = RunsRequest.model_validate({**given, "who": visit.who})
    except ValidationError as error:
        refused = Refused.unreadable(error, fields, _SAID_BY_FIELD)
        return await _list_page(request, rooms, visit, refused)
    waiting = await rooms.in_store(lambda: waiting_prints(rooms.services, wish))
    proposed = await rooms.computing(lambda: lay_runs(waiting))

    def write(session: StoreSession) -> ProposedAnswer:
        return write_runs(rooms.services, session, wish, proposed, more=waiting.more)[0]

    answer = await rooms.in_store(lambda: rooms.services.database.write(write))
    if answer.left_out or not answer.runs:
        return await _list_page(request, rooms, visit, told=answer)
    return RedirectResponse(f"{root_of(request)}/bench/runs", HTTPStatus.SEE_OTHER)


async def _list_page(
    request: Request,
    rooms: Rooms,
    visit: Visit,
    refused: Refused | None = None,
    told: ProposedAnswer | None = None,
) -> Response:
    services, asked = rooms.services, request.query_params.get("state", "")
    state = RunState(asked) if asked in set(RunState) else None
    states = (state,) if state is not None else OPEN_STATES
    bound_to = f"bench-runs:{state}"
    cursor = request.query_params.get("cursor")
    start = read_cursor(cursor, bound_to) if cursor else None
    found = await rooms.in_store(
        lambda: list_runs(services, states=states, limit=PAGE_RUNS, cursor=start)
    )
    left_out: Sequence[LeftOutAnswer] = told.left_out if told else ()
    return bench_page(
        request,
        "runs.html",
        visit,
        status=refused.status if refused else HTTPStatus.OK,
        title="Runs",
        runs=found.page.runs,
        state=state,
        states=tuple(RunState),
        media=services.catalogues.current.catalogue.media,
        fields=refused.fields if refused else {},
        refused=refused,
        left_out=left_out,
        none_waits=told is not None and not told.runs and not left_out,
        following=write_cursor(found.following, bound_to) if found.following else "",
        start=start is None,
        side=side_words,
    )


def side_words(run: RunSummary) -> str:
    """MIRRORED or NOT MIRRORED, as the run is printed or cut."""
    return MIRROR_WORDS[bool(run.print_mirrored or run.cut_mirrored)]


@router.get("/runs/{run_id}")
async def run_page(request: Request, rooms: RoomsPart, visit: VisitPart, run_id: RunId) -> Response:
    """A run: its layout, its tickets, what may be done to it, and what was."""
    return await _run_page(request, rooms, visit, run_id)


async def _run_page(
    request: Request, rooms: Rooms, visit: Visit, run_id: str, refused: Refused | None = None
) -> Response:
    services = rooms.services
    answer, version = await rooms.in_store(lambda: get_run(services, run_id))
    return bench_page(
        request,
        "run.html",
        visit,
        status=refused.status if refused else HTTPStatus.OK,
        title=f"Run {answer.number}",
        run=answer,
        version=version,
        side=side_words(answer),
        act_words=ACT_WORDS,
        printed=answer.print_mirrored is not None,
        zone=shop_zone(services),
        fields=refused.fields if refused else {},
        refused=refused,
    )


@router.get("/runs/{run_id}/layout.svg")
async def layout(request: Request, rooms: RoomsPart, visit: VisitPart, run_id: RunId) -> Response:
    """The layout as a drawing."""
    return await layout_svg(request, rooms, visit.caller, run_id)


@router.get("/runs/{run_id}/print.pdf")
async def print_file(
    request: Request, rooms: RoomsPart, visit: VisitPart, run_id: RunId
) -> Response:
    """The print file."""
    return await print_pdf(request, rooms, visit.caller, run_id)


@router.get("/runs/{run_id}/accept")
@router.get("/runs/{run_id}/dissolve")
@router.get("/runs/{run_id}/reprints")
async def form_address(request: Request, run_id: RunId) -> Response:
    """Where a form was refused, its page stands at this address; loaded anew it is the run's."""
    return RedirectResponse(f"{root_of(request)}/bench/runs/{run_id}", HTTPStatus.SEE_OTHER)


@router.post("/runs/{run_id}/accept")
async def accept(request: Request, rooms: RoomsPart, visit: VisitPart, run_id: RunId) -> Response:
    """Accept the run."""
    return await _change(request, rooms, visit, run_id, accept_run, _act)


@router.post("/runs/{run_id}/dissolve")
async def dissolve(request: Request, rooms: RoomsPart, visit: VisitPart, run_id: RunId) -> Response:
    """Dissolve the run."""
    return await _change(request, rooms, visit, run_id, dissolve_run, _act)


@router.post("/runs/{run_id}/reprints")
async def reprint(request: Request, rooms: RoomsPart, visit: VisitPart, run_id: RunId) -> Response:
    """Have spoiled pieces made anew."""
    return await _change(request, rooms, visit, run_id, reprint_pieces, _reprint)


def _act(fields: Mapping[str, str], who: str) -> RunActRequest:
    return RunActRequest.model_validate({"note": fields.get("note", ""), "who": who})


def _reprint(fields: Mapping[str, str], who: str) -> ReprintRequest:
    chosen = _PRINT.fullmatch(fields.get("print", ""))
    return ReprintRequest.model_validate(
        {
            "ticket": chosen[1] if chosen else None,
            "decoration": int(chosen[2]) if chosen else 0,
            "pieces": fields.get("count", "").strip(),
            "note": fields.get("note", ""),
            "who": who,
        }
    )


async def _change(
    request: Request,
    rooms: Rooms,
    visit: Visit,
    run_id: str,
    act: Callable[..., tuple[RunAnswer, int]],
    read: Callable[[Mapping[str, str], str], object],
) -> Response:
    """Do what a form asks for, and lead back to the run; or show it again and say why not."""
    fields = await read_form(request)
    check_form(request, visit, fields)
    try:
        wish = read(fields, visit.who)
    except ValidationError as error:
        refused = Refused.unreadable(error, fields, _SAID_BY_FIELD)
        return await _run_page(request, rooms, visit, run_id, refused)
    version = version_seen(fields)
    versions = () if version is None else (version,)
    work = partial(
        _in_transaction, rooms=rooms, act=act, run_id=run_id, wish=wish, versions=versions
    )
    try:
        await rooms.in_store(lambda: rooms.services.database.write(work))
    except (Conflict, BadInput) as error:
        return await _run_page(request, rooms, visit, run_id, Refused.by_service(error, fields))
    return RedirectResponse(f"{root_of(request)}/bench/runs/{run_id}", HTTPStatus.SEE_OTHER)


def _in_transaction(
    session: StoreSession,
    *,
    rooms: Rooms,
    act: Callable[..., Any],
    run_id: str,
    wish: object,
    versions: tuple[int, ...],
) -> None:
    act(rooms.services, session, run_id, wish, allowed_versions=versions)
