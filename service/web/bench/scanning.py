"""The scan field: a ticket's number, or the address that its square code holds."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import Final
from urllib.parse import unquote, urlsplit

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from service.domain.errors import NotFound
from service.intake.tickets import get_ticket
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router
from service.web.bench.session import VisitPart, root_of
from service.web.parts import Rooms, RoomsPart

router = bench_router()

SCANNED_MAX: Final = 400

_NUMBER = re.compile(r"[A-Za-z0-9-]{1,16}", re.ASCII)
_SCHEMES = ("http", "https")


@router.get("/scan")
async def scan(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Lead to the ticket; anything else is shown as plain text and leads nowhere."""
    scanned = request.query_params.get("q", "")[:SCANNED_MAX]
    if not scanned.strip():
        return RedirectResponse(f"{root_of(request)}/bench", HTTPStatus.SEE_OTHER)
    number = number_in(scanned, str(request.app.state.public_url))
    if number is not None and await _exists(rooms, number):
        address = f"{root_of(request)}/bench/tickets/{number}"
        return RedirectResponse(address, HTTPStatus.SEE_OTHER)
    return bench_page(
        request,
        "unknown_code.html",
        visit,
        status=HTTPStatus.NOT_FOUND,
        title="No ticket of ours",
        scanned=scanned,
    )


def number_in(scanned: str, public_url: str) -> str | None:
    """The ticket number that was scanned or typed, in capitals; None for what holds none.

    An address counts only if it is one of this bench, ``public_url`` before it: the code of
    another shop is none of ours even where the number exists here too.
    """
    text = scanned.strip()
    if "/" in text or ":" in text:
        text = _number_of_address(text, public_url) or ""
    return text.upper() if _NUMBER.fullmatch(text) else None


def _number_of_address(text: str, public_url: str) -> str | None:
    try:
        scanned, ours = urlsplit(text), urlsplit(public_url)
    except ValueError:
        return None
    if scanned.scheme.lower() not in _SCHEMES or scanned.netloc.lower() != ours.netloc.lower():
        return None
    before = f"{ours.path.rstrip('/')}/bench/tickets/"
    path = unquote(scanned.path)
    return path.removeprefix(before) if path.startswith(before) else None


async def _exists(rooms: Rooms, number: str) -> bool:
    try:
        await rooms.in_store(lambda: get_ticket(rooms.services, number))
    except NotFound:
        return False
    return True
