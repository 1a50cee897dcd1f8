"""The catalogue as a storefront sees it."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from service.intake.catalogue_view import CatalogueAnswer, catalogue_answer
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified
from service.web.parts import AnyCaller, RoomsPart, json_answer

router = new_router("catalogue", "/v1")


@router.get(
    "/catalogue",
    summary="Show what can be chosen",
    response_model=CatalogueAnswer,
    responses={304: {"description": "Unchanged since that ETag"}},
)
async def show_catalogue(request: Request, rooms: RoomsPart, _: AnyCaller) -> Response:
    """Blanks, colours, sizes, placements and methods of the catalogue in force."""
    compiled = rooms.services.catalogues.current
    unchanged = not_modified(request, compiled.version)
    headers = {"ETag": etag_for(compiled.version)}
    return unchanged or json_answer(catalogue_answer(compiled), headers=headers)
