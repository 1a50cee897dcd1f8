"""Choices for a storefront's picker: which values still lead somewhere."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from service.domain.errors import BadInput, FieldFault
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.artworks import artworks_at_hand, artworks_of
from service.intake.choices import (
    ChoicesAnswer,
    ChoicesQuery,
    choices_answer,
    choices_at_hand,
    resolve_selection,
)
from service.intake.services import Caller
from service.web.application import new_router
from service.web.conditional import etag_for, not_modified
from service.web.parts import AnyCaller, Rooms, RoomsPart, json_answer

router = new_router("choices", "/v1")

_MAY_REPEAT = {"size", "consent"}


@router.get(
    "/choices",
    summary="Show what may still be chosen",
    response_model=ChoicesAnswer,
    responses={304: {"description": "Unchanged since that ETag"}},
)
async def show_choices(
    request: Request,
    rooms: RoomsPart,
    caller: AnyCaller,
    query: Annotated[ChoicesQuery, Query()],
) -> Response:
    """For each attribute which values remain beside what is selected, and what blocks the others.

    A value is possible exactly if some combination that the rules allow has it together with all
    that is selected for the other attributes; what is not selected is free. Choosing only among
    possible values, a page never comes to a dead end. A value that is not possible and blocked by
    no rule is not offered with what is selected.

    Sizes are listed once a blank is selected, each as if it alone were ordered. Any width within
    one of the ranges works in some way; ask again with the width to see which. Choose a film colour
    where one is possible: the shop picks one that is left open by the artwork, whether it works or
    not. The answer is for one decoration alone: others on the same garment come in with the check.
    Rules that only warn block nothing.
    """
    _once_each(request)
    compiled = rooms.services.catalogues.current
    base_url: str = request.app.state.public_url
    selection = resolve_selection(compiled, query, await _artworks(rooms, caller, query))
    answer = choices_at_hand(compiled, selection, base_url)
    if answer is None:
        answer = await rooms.computing(lambda: choices_answer(compiled, selection, base_url))
    return _tagged(request, answer)


def _once_each(request: Request) -> None:
    """Refuse a parameter given twice: which of the two is meant cannot be known."""
    names = [name for name, _ in request.query_params.multi_items()]
    twice = sorted({name for name in names if names.count(name) > 1} - _MAY_REPEAT)
    if twice:
        detail = "Some parameters are given more than once."
        faults = [
            FieldFault("Give it once at most.", parameter=name, code="too-many") for name in twice
        ]
        raise BadInput("fields-refused", detail, faults=faults)


async def _artworks(
    rooms: Rooms, caller: Caller, query: ChoicesQuery
) -> Mapping[str, ShelvedArtwork]:
    ids = [query.artwork_id] if query.artwork_id else []
    at_hand = artworks_at_hand(rooms.services, caller, ids)
    if at_hand is not None:
        return at_hand
    return await rooms.in_store(lambda: artworks_of(rooms.services, caller, ids))


def _tagged(request: Request, answer: ChoicesAnswer) -> Response:
    mark = hashlib.sha256(answer.model_dump_json().encode()).hexdigest()[:32]
    unchanged = not_modified(request, mark)
    return unchanged or json_answer(answer, headers={"ETag": etag_for(mark)})
