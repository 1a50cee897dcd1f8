"""The page of a ticket, as it is looked at and as it answers a form that could not be taken."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import Path
from pydantic import TypeAdapter, ValidationError
from starlette.requests import Request
from starlette.responses import Response

from service.domain.errors import NotFound
from service.domain.pieces import SPOIL_WORDS
from service.intake.learning_entries import TIMED, minutes_of_ticket
from service.intake.papers import BROUGHT
from service.intake.proofs import ProofQuery
from service.intake.tickets import get_ticket
from service.web.bench.bench_ticket import shown_ticket
from service.web.bench.refused import Refused
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router
from service.web.bench.session import Visit, VisitPart
from service.web.bench.shop_time import shop_today, shop_zone
from service.web.operations.proofs import show_proof
from service.web.operations.ticket_papers import (
    care_card_as_pdf,
    labels,
    ticket_as_page,
    ticket_as_pdf,
)
from service.web.parts import Rooms, RoomsPart

router = bench_router()

Number = Annotated[str, Path(pattern=r"^[A-Za-z0-9-]{1,16}$")]
PROOF_PX = 1_000

_MOMENT = TypeAdapter[datetime](datetime)


@router.get("/tickets/{number}")
async def ticket(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """One step large, all steps, pieces by size, moves, pictures, materials and history."""
    return await ticket_page(request, rooms, visit, number)


async def ticket_page(
    request: Request,
    rooms: Rooms,
    visit: Visit,
    number: str,
    refused: Refused | None = None,
) -> Response:
    """The page as the ticket stands now; with the fields of a form that was refused, and why."""
    services = rooms.services
    answer, version = await rooms.in_store(lambda: get_ticket(services, number))
    timed = await rooms.in_store(lambda: minutes_of_ticket(services, number))
    shown = shown_ticket(answer, shop_today(services))
    fields = refused.fields if refused else {}
    since = shown.since(_seen_at(fields)) if refused and refused.changed else ()
    return bench_page(
        request,
        "ticket.html",
        visit,
        status=refused.status if refused else HTTPStatus.OK,
        title=f"Ticket {answer.number}",
        shown=shown,
        ticket=answer,
        version=version,
        seen_at=services.clock().isoformat(),
        timed={one.step_key for one in timed.steps} if answer.state in TIMED else (),
        taken=[one for one in timed.entries if one.corrected_by is None],
        current=shown.step_to_show(request.query_params.get("step", fields.get("step", ""))),
        zone=shop_zone(services),
        spoil_words=SPOIL_WORDS,
        no_proof=BROUGHT,
        refused=refused,
        since=since,
        typed=_typed(request, fields),
    )


def _seen_at(fields: Mapping[str, str]) -> datetime:
    """When the form's page was made; the beginning of time where it does not say."""
    try:
        moment = _MOMENT.validate_python(fields.get("seen_at", ""))
    except ValidationError:
        return datetime.min.replace(tzinfo=UTC)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _typed(request: Request, fields: Mapping[str, str]) -> dict[str, str]:
    """What was typed, by the field of the page where it is shown again."""
    of_pieces = request.url.path.endswith("/pieces")
    note = fields.get("note", "")
    return {
        "note": "" if of_pieces else note,
        "piece_note": note if of_pieces else "",
        "size": fields.get("size", ""),
        "count": fields.get("count", "") if of_pieces else "1",
        "reason": fields.get("reason", ""),
        "minutes": fields.get("minutes", ""),
        "pieces": fields.get("pieces", ""),
    }


@router.get("/tickets/{number}/sheet.pdf")
async def sheet(request: Request, rooms: RoomsPart, visit: VisitPart, number: Number) -> Response:
    """The ticket on paper."""
    return await ticket_as_pdf(request, rooms, visit.caller, number)


@router.get("/tickets/{number}/sheet.html")
async def sheet_page(
    request: Request, rooms: RoomsPart, visit: VisitPart, number: Number
) -> Response:
    """The same sheet as a page."""
    return await ticket_as_page(request, rooms, visit.caller, number)


@router.get("/tickets/{number}/labels.pdf")
async def garment_labels(
    request: Request, rooms: RoomsPart, visit: VisitPart, number: Number
) -> Response:
    """A label for every garment."""
    return await labels(request, rooms, visit.caller, number)


@router.get("/tickets/{number}/care-card.pdf")
async def care_card(
    request: Request, rooms: RoomsPart, visit: VisitPart, number: Number
) -> Response:
    """The card that goes with the garments."""
    return await care_card_as_pdf(request, rooms, visit.caller, number)


@router.get("/tickets/{number}/proofs/{index}")
async def proof(
    request: Request, rooms: RoomsPart, visit: VisitPart, number: Number, index: int
) -> Response:
    """The picture of one of the ticket's decorations, by the catalogue now in force."""
    answer, _ = await rooms.in_store(lambda: get_ticket(rooms.services, number))
    decorations = answer.document.decorations
    wish = decorations[index].proof if 0 <= index < len(decorations) else None
    if wish is None:
        raise NotFound("artwork-not-found", "This ticket has no such picture.")
    asked = wish.model_dump(exclude={"artwork_id"})
    query = ProofQuery(**asked, px=PROOF_PX)
    return await show_proof(request, rooms, visit.caller, wish.artwork_id, query)
