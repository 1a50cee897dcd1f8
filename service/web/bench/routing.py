"""Routes of the bench: their forms, and refusals as pages for people instead of documents."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import parse_qsl, quote

from fastapi import APIRouter
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from service.domain.errors import ServiceError
from service.web.bench.rendering import bench_page, refusal_page
from service.web.bench.session import ForeignForm, SignInNeeded, root_of
from service.web.problems import kind_of
from service.web.strict_json import read_body

FORM_BYTES_MAX: Final = 131_072
"""A note of 4,000 characters is 48,000 bytes as a form writes it, at the most."""

FORM_FIELDS_MAX: Final = 20
SHOWN_AGAIN: Final = ("note", "count", "size", "reason", "minutes", "pieces", "q")
"""Fields that a person typed or chose, shown again where they could not be taken."""

_WITH_FORMS: Final = ("/bench/tickets/", "/bench/runs/")

Handler = Callable[[Request], Coroutine[Any, Any, Response]]


class BenchRoute(APIRoute):
    """A route whose refusals are pages, and which leads to sign-in where nobody is signed in."""

    def get_route_handler(self) -> Handler:
        """The framework's handler with its refusals made into pages."""
        handler = super().get_route_handler()

        async def handle(request: Request) -> Response:
            try:
                return await handler(request)
            except SignInNeeded as needed:
                return await _to_sign_in(request, ended=needed.ended)
            except ForeignForm:
                return await _foreign_form(request)
            except RequestValidationError:
                return refusal_page(
                    request,
                    None,
                    status=HTTPStatus.NOT_FOUND,
                    title="Not found",
                    detail="The address names nothing that could be here.",
                )
            except ServiceError as error:
                return await _refused(request, error)

        return handle


def bench_router() -> APIRouter:
    """A router of pages, which are no part of the API's description."""
    return APIRouter(prefix="/bench", include_in_schema=False, route_class=BenchRoute)


async def read_form(request: Request) -> Mapping[str, str]:
    """The fields of a form as it was sent; of a name given twice the last counts.

    Line ends are those of text, not of forms; U+0000, which no store takes, is shown as U+FFFD.
    Raises ``Refusal`` (413) for a form that is too long. One that cannot be read has no fields,
    and so no token either.
    """
    kept: Mapping[str, str] | None = getattr(request.state, "bench_form", None)
    if kept is not None:
        return kept
    raw = await read_body(request, FORM_BYTES_MAX)
    try:
        pairs = parse_qsl(
            raw.decode("ascii"),
            keep_blank_values=True,
            errors="replace",
            max_num_fields=FORM_FIELDS_MAX,
        )
    except ValueError:
        pairs = []
    fields = {name: _as_text(value) for name, value in pairs}
    request.state.bench_form = fields
    return fields


def _as_text(value: str) -> str:
    return value.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "\ufffd")


def typed_in(fields: Mapping[str, str]) -> dict[str, str]:
    """What a person typed or chose of a form's fields."""
    return {name: fields[name] for name in SHOWN_AGAIN if fields.get(name, "").strip()}


def here(request: Request) -> str:
    """Path and query of a page, to come back to; of a form, the page that it stands on."""
    path = request.url.path
    if request.method == "POST":
        parent = path.rsplit("/", 1)[0]
        return parent if parent.startswith(_WITH_FORMS) else "/bench"
    return f"{path}?{request.url.query}" if request.url.query else path


async def _to_sign_in(request: Request, *, ended: bool) -> Response:
    """The sign-in page; a form that came too late is shown there again."""
    if request.method in ("GET", "HEAD"):
        told = "&ended=1" if ended else ""
        address = f"{root_of(request)}/bench/sign-in?back={quote(here(request), safe='')}{told}"
        return RedirectResponse(address, HTTPStatus.SEE_OTHER)
    return bench_page(
        request,
        "sign_in.html",
        None,
        status=HTTPStatus.UNAUTHORIZED,
        title="Sign in",
        back=here(request),
        ended=True,  # a form is made within a session alone
        fault="",
        who="",
        note=(await read_form(request)).get("note", ""),
    )


async def _foreign_form(request: Request) -> Response:
    return refusal_page(
        request,
        None,
        status=HTTPStatus.FORBIDDEN,
        title="Nothing was changed",
        detail="This form was not made by a page of your present session. "
        "Go back to the page, look, and send it again.",
        typed=typed_in(await read_form(request)),
    )


async def _refused(request: Request, error: ServiceError) -> Response:
    kind = kind_of(error)
    too_long = kind.status == HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    fields = await read_form(request) if request.method == "POST" and not too_long else {}
    answer = refusal_page(
        request,
        None,
        status=kind.status,
        title=kind.title,
        detail=error.detail,
        typed=typed_in(fields),
    )
    if kind.retry_after_s is not None:
        answer.headers["Retry-After"] = str(kind.retry_after_s)
    return answer
