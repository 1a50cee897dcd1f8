"""Forms that change a ticket: moves, pieces, ticks, notes, remakes and what its work took.

Each carries the version of the ticket that its page showed, and is taken only for that one, so
that nobody overwrites what they have not seen. After a change comes a redirect, so that going back
or loading anew sends nothing twice. What cannot be taken is shown again with all that was typed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from http import HTTPStatus
from typing import Any, Protocol

from pydantic import ValidationError
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from service.domain.errors import BadInput, Conflict
from service.intake.bench_work import add_note, record_pieces, tick_step
from service.intake.idempotency import StoreSession
from service.intake.learning_entries import record_minutes
from service.intake.learning_requests import MOST_TAKEN_MIN, MinutesRequest
from service.intake.remakes import open_remake
from service.intake.requests import (
    MoveRequest,
    NoteRequest,
    PiecesRequest,
    RemakeRequest,
    TickRequest,
)
from service.intake.services import Services
from service.intake.tickets import move_ticket
from service.web.bench.refused import Refused, version_seen
from service.web.bench.routing import bench_router, read_form
from service.web.bench.session import Visit, VisitPart, check_form, root_of
from service.web.bench.ticket_pages import Number, ticket_page
from service.web.parts import Rooms, RoomsPart
from service.web.request_mark import current_mark

router = bench_router()

_COUNT_DIGITS = 9
_PIECE_ENTRIES: Mapping[str, Mapping[str, str]] = {
    "done": {"kind": "done"},
    "spoiled": {"kind": "spoiled"},
    "undo-done": {"kind": "undone", "undoes": "done"},
    "undo-spoiled": {"kind": "undone", "undoes": "spoiled"},
}
_SAID_BY_FIELD: Mapping[str, str] = {
    "count": "Give how many pieces, as a whole number from 1.",
    "pieces": "Give how many pieces, as a whole number from 1.",
    "minutes": (
        f"Give minutes as a number above 0, such as 12.5, of two decimals at most and at most "
        f"{MOST_TAKEN_MIN:,}."
    ),
    "note": "A note may have 4,000 characters at most.",
    "text": "A note needs at least one character, and may have 4,000 at most.",
    "reason": "Choose a reason.",
    "kind": "Press one of the buttons.",
    "move": "Press one of the buttons.",
}


class Act(Protocol):
    """Changes a ticket within a transaction."""

    def __call__(
        self,
        services: Services,
        session: StoreSession,
        number: str,
        request: Any,  # noqa: ANN401 - each act has a request of its own
        /,
        *,
        allowed_versions: tuple[int, ...] | None,
        trace_id: str,
    ) -> object:
        """Change the ticket, or raise a ``ServiceError``."""
        ...


@router.get("/tickets/{number}/moves")
@router.get("/tickets/{number}/pieces")
@router.get("/tickets/{number}/ticks")
@router.get("/tickets/{number}/notes")
@router.get("/tickets/{number}/remakes")
@router.get("/tickets/{number}/minutes")
async def form_address(request: Request, number: Number) -> Response:
    """Where a form was refused, its page stands at this address; loaded anew it is the ticket's."""
    return RedirectResponse(f"{root_of(request)}/bench/tickets/{number}", HTTPStatus.SEE_OTHER)


@router.post("/tickets/{number}/moves")
async def move(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """Move the ticket."""
    return await _change(request, rooms, visit, number, move_ticket, _move)


@router.post("/tickets/{number}/pieces")
async def pieces(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """Enter pieces of a size as good or spoiled, or take such an entry back."""
    return await _change(request, rooms, visit, number, record_pieces, _pieces)


@router.post("/tickets/{number}/ticks")
async def ticks(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """Tick a step off, or take its tick back."""
    return await _change(request, rooms, visit, number, tick_step, _tick)


@router.post("/tickets/{number}/notes")
async def notes(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """Write a note; without a version, as after a session's end, it stands beside whatever came."""
    return await _change(request, rooms, visit, number, add_note, _note, any_version=True)


@router.post("/tickets/{number}/remakes")
async def remakes(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """Open a remake of what the ticket has no blank for."""
    return await _change(request, rooms, visit, number, open_remake, _remake)


@router.post("/tickets/{number}/minutes")
async def minutes(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """Enter what pieces took at a step; it stands beside whatever else was done since."""
    return await _change(request, rooms, visit, number, _record, _minutes, any_version=True)


def _record(
    services: Services,
    session: StoreSession,
    number: str,
    request: MinutesRequest,
    /,
    **_: object,
) -> object:
    return record_minutes(services, session, number, request)


def _minutes(fields: Mapping[str, str], who: str) -> MinutesRequest:
    return MinutesRequest.model_validate(
        {
            "step_key": fields.get("step", ""),
            "minutes": fields.get("minutes", "").strip().replace(",", "."),
            "pieces": _whole(fields.get("pieces", ""), _COUNT_DIGITS),
            "interrupted": fields.get("interrupted") == "yes",
            "who": who,
        }
    )


def _move(fields: Mapping[str, str], who: str) -> MoveRequest:
    given = {"move": fields.get("move"), "note": fields.get("note", "")}
    return MoveRequest.model_validate({**given, "who": who})


def _pieces(fields: Mapping[str, str], who: str) -> PiecesRequest:
    entry = _PIECE_ENTRIES.get(fields.get("kind", ""), {})
    of_spoiled = "spoiled" in entry.values()
    return PiecesRequest.model_validate(
        {
            **entry,
            "size": fields.get("size", ""),
            "count": _whole(fields.get("count", ""), _COUNT_DIGITS),
            "reason": (fields.get("reason") or None) if of_spoiled else None,
            "note": fields.get("note", ""),
            "who": who,
        }
    )


def _tick(fields: Mapping[str, str], who: str) -> TickRequest:
    done = fields.get("ticked") == "yes"
    return TickRequest.model_validate(
        {"step_key": fields.get("step", ""), "done": done, "who": who}
    )


def _note(fields: Mapping[str, str], who: str) -> NoteRequest:
    return NoteRequest.model_validate({"text": fields.get("note", ""), "who": who})


def _remake(fields: Mapping[str, str], who: str) -> RemakeRequest:
    return RemakeRequest.model_validate({"note": fields.get("note", ""), "who": who})


def _whole(text: str, digits_max: int) -> int | None:
    """A whole number without a sign; None for anything else, and for one that is far too large."""
    stripped = text.strip()
    if not (stripped.isascii() and stripped.isdecimal()) or len(stripped) > digits_max:
        return None
    return int(stripped)


async def _change(
    request: Request,
    rooms: Rooms,
    visit: Visit,
    number: str,
    act: Act,
    read: Callable[[Mapping[str, str], str], object],
    *,
    any_version: bool = False,
) -> Response:
    """Do what a form asks for, and lead back to the ticket; or show it again and say why not."""
    fields = await read_form(request)
    check_form(request, visit, fields)
    versions = _versions(fields, any_version=any_version)
    try:
        wish = read(fields, visit.who)
    except ValidationError as error:
        refused = Refused.unreadable(error, fields, _SAID_BY_FIELD)
        return await ticket_page(request, rooms, visit, number, refused)
    work = partial(
        _in_transaction,
        services=rooms.services,
        act=act,
        number=number,
        wish=wish,
        versions=versions,
        trace_id=current_mark().trace_id,
    )
    try:
        await rooms.in_store(lambda: rooms.services.database.write(work))
    except (Conflict, BadInput) as error:
        return await ticket_page(request, rooms, visit, number, Refused.by_service(error, fields))
    rooms.wake_sender.set()
    return RedirectResponse(f"{root_of(request)}/bench/tickets/{number}", HTTPStatus.SEE_OTHER)


def _versions(fields: Mapping[str, str], *, any_version: bool) -> tuple[int, ...] | None:
    """The version that the form's page showed: for no other is it taken; None for any."""
    if any_version and "version" not in fields:
        return None
    version = version_seen(fields)
    return () if version is None else (version,)


def _in_transaction(
    session: StoreSession,
    *,
    services: Services,
    act: Act,
    number: str,
    wish: object,
    versions: tuple[int, ...] | None,
    trace_id: str,
) -> None:
    act(services, session, number, wish, allowed_versions=versions, trace_id=trace_id)
