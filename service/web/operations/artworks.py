"""Artworks: upload a picture, see what was measured."""

from __future__ import annotations

from typing import Annotated

from fastapi import File, Form, Query, UploadFile
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from service.domain.errors import BadInput, FieldFault
from service.intake.answers import ArtworkAnswer
from service.intake.artwork_views import get_artwork
from service.intake.artworks import upload_artwork
from service.intake.requests import LEAST_WIDTH_MM, Identifier
from service.web.application import new_router
from service.web.openapi import problems
from service.web.parts import AnyCaller, RoomsPart, StorefrontCaller, json_answer, once_each

router = new_router("artworks", "/v1")


@router.post(
    "/artworks",
    status_code=201,
    summary="Upload an artwork",
    response_model=ArtworkAnswer,
    responses=problems("picture-refused", "fields-refused")
    | {200: {"model": ArtworkAnswer, "description": "The same picture was uploaded before"}},
)
async def upload(
    request: Request,
    rooms: RoomsPart,
    caller: StorefrontCaller,
    file: Annotated[
        UploadFile,
        File(
            description="A PNG, JPEG, WebP, TIFF or SVG picture: still, one page; SVG without "
            "text, scripts and references."
        ),
    ],
    rights_declared: Annotated[  # noqa: FBT002 - a form field is named, never positional
        bool, Form(description="The customer declares to hold the rights to this picture.")
    ] = False,
) -> Response:
    """Measure the picture once and keep it. The same bytes again give the first answer again."""
    _part_once_each(await request.form())
    # Read in the thread: until its turn comes, an upload of more than a megabyte lies on the disk.
    answer, new = await rooms.at_pictures(
        lambda: upload_artwork(
            rooms.services,
            caller,
            file.file.read(),
            declared_media_type=file.content_type,
            rights_declared=rights_declared,
        )
    )
    return json_answer(answer, 201 if new else 200, {"Location": f"/v1/artworks/{answer.id}"})


def _part_once_each(form: FormData) -> None:
    """Refuse a part sent twice: of two pictures one would be lost without a word."""
    names = [name for name, _ in form.multi_items()]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        detail = "Some parts of the form are sent more than once; upload each picture by itself."
        faults = [
            FieldFault("Send it once at most.", parameter=name, code="too-many") for name in twice
        ]
        raise BadInput("fields-refused", detail, faults=faults)


@router.get(
    "/artworks/{artwork_id}",
    summary="Show an artwork",
    response_model=ArtworkAnswer,
    responses=problems("artwork-not-found", "fields-refused"),
)
async def show_artwork(
    request: Request,
    rooms: RoomsPart,
    caller: AnyCaller,
    artwork_id: Identifier,
    width_mm: Annotated[
        float | None,
        Query(
            ge=LEAST_WIDTH_MM,
            le=10_000,
            description="A print width: what follows at it is told too.",
        ),
    ] = None,
) -> Response:
    """What was measured of the artwork, and what to know of it before it is made."""
    once_each(request)
    answer = await rooms.in_store(
        lambda: get_artwork(rooms.services, caller, artwork_id, width_mm=width_mm)
    )
    return json_answer(answer)
