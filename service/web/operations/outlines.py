"""Pictures of artworks: what the plotter cuts."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from service.intake.kept_pictures import kept_row
from service.intake.outlines import OutlineQuery, outline_drawing, outline_mark
from service.intake.requests import Identifier
from service.render.outline_svg import EDITION, SVG_MEDIA_TYPE, outline_svg
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified
from service.web.openapi import problems
from service.web.parts import AnyCaller, RoomsPart, once_each

router = new_router("artworks", "/v1")


@router.get(
    "/artworks/{artwork_id}/outline.svg",
    summary="Draw the cut outline of an artwork",
    response_class=Response,
    responses={
        200: {
            "description": "The drawing",
            "content": {SVG_MEDIA_TYPE: {"schema": {"type": "string"}}},
        },
        304: {"description": "Unchanged since that ETag"},
        **problems("artwork-not-found", "file-not-found", "fields-refused"),
    },
)
async def show_outline(
    request: Request,
    rooms: RoomsPart,
    caller: AnyCaller,
    artwork_id: Identifier,
    query: Annotated[OutlineQuery, Query()],
) -> Response:
    """Closed paths in true size for a plotter, as SVG 1.1 in mm.

    They follow what is inked; where the artwork stands on an opaque background box, they follow the
    figure on it, as the artwork's measures do. One path to a piece with its holes, inner pieces
    first. The drawing is as large as the inked box, and larger by an outward offset on each side.
    Follow the data sheets of the machine and the film, and cut a test piece first.
    """
    once_each(request)
    services = rooms.services
    picture = await rooms.in_store(lambda: kept_row(services, caller, artwork_id))
    mark = outline_mark(picture, query, EDITION)
    headers = {"ETag": etag_for(mark), "Cache-Control": "private, no-cache"}
    unchanged = not_modified(request, mark)
    if unchanged is not None:
        unchanged.headers.update(headers)
        return unchanged
    drawing = await rooms.at_pictures(
        lambda: outline_drawing(services, picture, query, outline_svg)
    )
    return Response(drawing, headers=headers, media_type=SVG_MEDIA_TYPE)
