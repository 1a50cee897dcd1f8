"""Choices for a storefront's picker: which values still lead somewhere."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from service.intake.choices import (
    ChoicesAnswer,
    ChoicesQuery,
    choices_answer,
    choices_at_hand,
    resolve_selection,
)
from service.web.application import new_router
from service.web.parts import AnyCaller, RoomsPart, artworks_for, once_each, tagged_answer

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
    once_each(request, _MAY_REPEAT)
    compiled = rooms.services.catalogues.current
    base_url: str = request.app.state.public_url
    named = [query.artwork_id] if query.artwork_id else []
    selection = resolve_selection(compiled, query, await artworks_for(rooms, caller, named))
    answer = choices_at_hand(compiled, selection, base_url)
    if answer is None:
        answer = await rooms.computing(lambda: choices_answer(compiled, selection, base_url))
    return tagged_answer(request, answer)
