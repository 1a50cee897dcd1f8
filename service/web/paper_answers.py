"""Answers with a ticket's papers: found in the store, drawn off the event loop, kept by ETag."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256

from starlette.requests import Request
from starlette.responses import Response

from service import __version__
from service.domain.ticket_paper import TicketPaper
from service.intake.papers import ticket_paper, with_pictures
from service.render.pages import StyledPage
from service.render.proof import DRAWING_VERSION, draw_proof
from service.render.ticket_page import ticket_page
from service.render.ticket_pdf import ticket_pdf
from service.web.accept_types import preferred_type
from service.web.conditional import etag_for, not_modified
from service.web.parts import Rooms

PDF, HTML, JSON = "application/pdf", "text/html", "application/json"
Write = Callable[[TicketPaper], bytes | StyledPage]
"""Makes a PDF or a page of a ticket."""


async def accepted_sheet(request: Request, rooms: Rooms, number: str) -> Response | None:
    """The ticket's page or PDF where Accept would rather have it than JSON, else None."""
    kind = preferred_type(request.headers.getlist("accept"), (JSON, HTML, PDF))
    if kind == JSON:
        return None
    answer = await sheet_answer(
        request, rooms, number, kind, ticket_page if kind == HTML else ticket_pdf
    )
    answer.headers["Vary"] = "Accept"
    return answer


async def sheet_answer(
    request: Request, rooms: Rooms, number: str, kind: str, write: Write, *choices: str
) -> Response:
    """The answer with what is drawn of a ticket and its proofs."""
    paper, version = await _found(rooms, number)
    catalogue = rooms.services.catalogues.current.version
    mark = _mark(version, paper, kind, catalogue, DRAWING_VERSION, *choices)
    unchanged = _unchanged(request, mark)
    if unchanged is not None:
        return unchanged
    pictured = await rooms.at_pictures(
        lambda: with_pictures(rooms.services, paper, draw_proof, DRAWING_VERSION)
    )
    whole = all(one.png is not None for one in pictured.pictures)
    return await _written(rooms, pictured, kind, write, mark if whole else None, "ticket")


async def plain_answer(
    request: Request,
    rooms: Rooms,
    number: str,
    kind: str,
    write: Write,
    name: str,
    *choices: str,
) -> Response:
    """The answer with what is written of a ticket without its proofs."""
    paper, version = await _found(rooms, number)
    mark = _mark(version, paper, kind, name, *choices)
    unchanged = _unchanged(request, mark)
    return unchanged or await _written(rooms, paper, kind, write, mark, name)


async def _found(rooms: Rooms, number: str) -> tuple[TicketPaper, int]:
    public_url = rooms.assembly.settings.public_url
    return await rooms.in_store(lambda: ticket_paper(rooms.services, number, public_url))


def _mark(version: int, paper: TicketPaper, *depends_on: str) -> str:
    """The version, and a digest of what else the bytes depend on."""
    known = "\n".join((__version__, paper.bench_url, *depends_on))
    return f"{version}-{sha256(known.encode()).hexdigest()[:16]}"


def _unchanged(request: Request, mark: str) -> Response | None:
    answer = not_modified(request, mark)
    if answer is not None:
        answer.headers["Cache-Control"] = "private, no-cache"
    return answer


async def _written(
    rooms: Rooms, paper: TicketPaper, kind: str, write: Write, mark: str | None, name: str
) -> Response:
    """Write it off the event loop. Without a mark, as when a proof is missing, nobody keeps it."""
    made = await rooms.computing(lambda: write(paper))
    headers = {"Cache-Control": "private, no-cache" if mark else "no-store"}
    if mark:
        headers["ETag"] = etag_for(mark)
    if isinstance(made, StyledPage):
        headers["Content-Security-Policy"] = _policy(made)
        return Response(made.html, headers=headers, media_type="text/html; charset=utf-8")
    headers["Content-Disposition"] = f'inline; filename="{paper.number}-{name}.pdf"'
    return Response(made, headers=headers, media_type=kind)


def _policy(page: StyledPage) -> str:
    """The page's own style and the pictures inside it, and nothing else at all."""
    return (
        f"default-src 'none'; style-src 'sha256-{page.style_sha256}'; img-src data:; "
        "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    )
