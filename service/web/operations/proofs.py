"""Pictures of artworks: how it is predicted to look."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from service.intake.kept_pictures import kept_row
from service.intake.proofs import ProofQuery, drawn_proof, plan_proof, proof_mark
from service.intake.requests import Identifier
from service.render.proof import DRAWING_VERSION, PNG, WEBP, draw_proof
from service.web.accept_pictures import picture_type
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified
from service.web.openapi import problems
from service.web.parts import AnyCaller, RoomsPart, artworks_for, once_each

router = new_router("artworks", "/v1")

_MAY_REPEAT = {"consent"}
_PICTURE = {"schema": {"type": "string", "format": "binary"}}


@router.get(
    "/artworks/{artwork_id}/proof",
    summary="Show how an artwork is predicted to look",
    response_class=Response,
    responses={
        200: {
            "description": "The picture; WebP where Accept prefers it",
            "content": {PNG: _PICTURE, WEBP: _PICTURE},
        },
        304: {"description": "Unchanged since that ETag"},
        **problems("artwork-not-found", "fields-refused"),
    },
)
async def show_proof(
    request: Request,
    rooms: RoomsPart,
    caller: AnyCaller,
    artwork_id: Identifier,
    query: Annotated[ProofQuery, Query()],
) -> Response:
    """The garment with the artwork on it at true scale, in the colours that are predicted.

    Beside it stand the wanted and the predicted colours, a scale, and whether it can be made. What
    cannot be made is shown too, marked with the rule that forbids it. A prediction from sRGB
    colours and fibre shares is no guarantee.
    """
    once_each(request, _MAY_REPEAT)
    services = rooms.services
    compiled = services.catalogues.current
    artworks = await artworks_for(rooms, caller, [artwork_id])
    proof = await rooms.computing(lambda: plan_proof(compiled, artwork_id, query, artworks))
    picture = await rooms.in_store(lambda: kept_row(services, caller, artwork_id))
    media_type = picture_type(request.headers.getlist("accept"))
    mark = proof_mark(compiled, picture, artworks[artwork_id], query, media_type, DRAWING_VERSION)
    headers = {"ETag": etag_for(mark), "Cache-Control": "private, no-cache", "Vary": "Accept"}
    unchanged = not_modified(request, mark)
    if unchanged is not None:
        unchanged.headers.update(headers)
        return unchanged
    drawn = await rooms.at_pictures(
        lambda: drawn_proof(
            services,
            compiled,
            picture,
            proof,
            mark=mark,
            width_px=query.px,
            media_type=media_type,
            draw=draw_proof,
        )
    )
    return Response(drawn, headers=headers, media_type=media_type)
