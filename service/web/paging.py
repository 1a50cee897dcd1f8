"""A page of a list as it is answered: with the address of the next, in its body and as a Link."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import urlencode

from pydantic import BaseModel
from starlette.responses import Response

from service.web.parts import json_answer


def page_answer(
    page: BaseModel,
    path: str,
    asked: Iterable[tuple[str, object]],
    limit: int,
    following: str | None,
) -> Response:
    """The page, which has a member ``next``; ``following`` is the next one's cursor, or None.

    ``asked`` are the filters of the list as they were given. The Link is that of RFC 8288.
    """
    if following is None:
        return json_answer(page)
    query = urlencode([*asked, ("limit", limit), ("cursor", following)])
    address = f"{path}?{query}"
    link = {"Link": f'<{address}>; rel="next"'}
    return json_answer(page.model_copy(update={"next": address}), headers=link)
