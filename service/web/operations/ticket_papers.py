"""Papers of a ticket, for staff: its sheet, labels for the garments, and the care card.

Their paths end in a dot and a kind, and so are included before the ticket itself, whose path would
take them for a number.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from service.domain.ticket_paper import TicketPaper
from service.render.care_paper import care_page, care_pdf
from service.render.label_pdf import LabelFor, label_pdf
from service.render.languages import Language
from service.render.pages import StyledPage
from service.render.ticket_page import ticket_page
from service.render.ticket_pdf import PaperSize, ticket_pdf
from service.web.application import new_router
from service.web.openapi import problems
from service.web.operations.tickets import Number
from service.web.paper_answers import HTML, PDF, plain_answer, sheet_answer
from service.web.parts import Rooms, RoomsPart, StaffCaller, once_each

router = new_router("tickets", "/v1")

_FILE = {PDF: {"schema": {"type": "string", "format": "binary"}}}
_PAGE = {HTML: {"schema": {"type": "string"}}}
_Answers = dict[int | str, dict[str, Any]]
_PROBLEMS: _Answers = problems("ticket-not-found", "fields-refused")
_SHEET_PROBLEMS: _Answers = problems("ticket-not-found", "fields-refused", "pictures-waiting")

Paper = Annotated[PaperSize, Query(description="Size of the sheet.")]
InLanguage = Annotated[Language, Query(description="Language of what customers read.")]


def _answers(what: str, content: dict[str, Any], refusals: _Answers) -> _Answers:
    """What an operation that gives a file may answer."""
    unchanged = {"description": "Unchanged since that ETag"}
    return {200: {"description": what, "content": content}, 304: unchanged, **refusals}


@router.get(
    "/tickets/{number}.pdf",
    summary="Print a ticket",
    response_class=Response,
    responses=_answers("The sheet", _FILE, _SHEET_PROBLEMS),
)
async def ticket_as_pdf(
    request: Request, rooms: RoomsPart, _: StaffCaller, number: Number, paper: Paper = PaperSize.A4
) -> Response:
    """The ticket as a PDF: all that stands in it, with proof, distances, code and boxes to tick.

    Where a proof cannot be drawn the sheet says so in its place.
    """
    once_each(request)
    return await sheet_answer(
        request, rooms, number, PDF, lambda found: ticket_pdf(found, paper), paper
    )


@router.get(
    "/tickets/{number}.html",
    summary="Show a ticket as a page",
    response_class=Response,
    responses=_answers("The page", _PAGE, _SHEET_PROBLEMS),
)
async def ticket_as_page(
    request: Request, rooms: RoomsPart, _: StaffCaller, number: Number
) -> Response:
    """The same sheet as one page that loads nothing else and runs no script."""
    return await sheet_answer(request, rooms, number, HTML, ticket_page)


@router.get(
    "/tickets/{number}/label.pdf",
    summary="Print labels for a ticket's garments",
    response_class=Response,
    responses=_answers("A label on each page", _FILE, _PROBLEMS),
)
async def labels(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    number: Number,
    each: Annotated[
        LabelFor, Query(description="A label for every blank that is taken, or for every size.")
    ] = LabelFor.PIECE,
    language: InLanguage = Language.ENGLISH,
    first: Annotated[
        int, Query(ge=1, le=1_000_000, description="Begin with that label; a file holds 500.")
    ] = 1,
) -> Response:
    """Labels of 70 by 40 mm with number, size, placements and the code of the bench page."""
    once_each(request)

    def write(found: TicketPaper) -> bytes:
        return label_pdf(found, each, language, first)

    return await plain_answer(
        request, rooms, number, PDF, write, "label", each, language, str(first)
    )


@router.get(
    "/tickets/{number}/care-card.pdf",
    summary="Print the care card",
    response_class=Response,
    responses=_answers("The card", _FILE, _PROBLEMS),
)
async def care_card_as_pdf(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    number: Number,
    language: InLanguage = Language.ENGLISH,
) -> Response:
    """How the decorated garment is cared for, on A6; its drawings are no symbols of a standard."""
    return await _care_card(request, rooms, number, PDF, care_pdf, language)


@router.get(
    "/tickets/{number}/care-card.html",
    summary="Show the care card as a page",
    response_class=Response,
    responses=_answers("The page", _PAGE, _PROBLEMS),
)
async def care_card_as_page(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    number: Number,
    language: InLanguage = Language.ENGLISH,
) -> Response:
    """The same card as one page."""
    return await _care_card(request, rooms, number, HTML, care_page, language)


async def _care_card(
    request: Request,
    rooms: Rooms,
    number: str,
    kind: str,
    write: Callable[[TicketPaper, Language], bytes | StyledPage],
    language: Language,
) -> Response:
    once_each(request)
    return await plain_answer(
        request, rooms, number, kind, lambda found: write(found, language), "care-card", language
    )
