"""Every answer that is not a success, as ``application/problem+json`` (RFC 9457).

``problem_response`` is the one place where such an answer is built; ``install_problem_handlers``
leads every exception there but the unforeseen ones, which the outermost middleware catches.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, cast

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Match, Router
from starlette.types import Scope

from service.domain.errors import (
    BadInput,
    Conflict,
    FieldFault,
    Gone,
    NotFound,
    ServiceError,
    Unavailable,
)
from service.web.field_words import FaultEntry, entries_of_errors, entries_of_faults
from service.web.problem_kind import ProblemKind
from service.web.problem_kinds import KINDS
from service.web.request_mark import current_mark

PROBLEM_MEDIA_TYPE = "application/problem+json"
MAX_ERRORS = 100
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
CHALLENGE = 'Bearer realm="garment-intake"'

_STANDARD_MEMBERS = frozenset(
    {"type", "title", "status", "detail", "instance", "errors", "errors_omitted"}
)
_EXTENSION_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{2,}")
_GENERIC: tuple[tuple[type[ServiceError], str], ...] = (
    (BadInput, "input-refused"),
    (NotFound, "not-found"),
    (Conflict, "conflict"),
    (Gone, "gone"),
    (Unavailable, "unavailable"),
)
_OF_STATUS: Mapping[int, tuple[str, str]] = {
    # Of the framework's own refusals only unreadable forms carry 400.
    400: ("body-not-form", "The form cannot be read."),
    404: ("path-unknown", "No operation has this path."),
    405: ("method-not-allowed", "This path does not take that method."),
    413: ("body-too-large", "The body is longer than this operation takes."),
}


class Refusal(ServiceError):
    """A refusal by the web room itself; ``code`` is one of ``KINDS``."""

    def __init__(
        self,
        code: str,
        detail: str,
        *,
        faults: Sequence[FieldFault] = (),
        entries: Sequence[FaultEntry] = (),
        extra: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        """Keep header ``entries`` that no ``FieldFault`` can name, and response ``headers``."""
        super().__init__(code, detail, faults=faults, extra=extra)
        self.entries = tuple(entries)
        self.headers = dict(headers or {})


def problem_response(
    base_url: str,
    kind: ProblemKind,
    detail: str,
    *,
    entries: Sequence[FaultEntry] = (),
    extra: Mapping[str, Any] | None = None,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The problem document of ``kind`` for the request being handled.

    ``base_url`` is the service's public address. ``entries`` are sorted and cut to 100, the rest
    counted in ``errors_omitted``. Raises ``ValueError`` if a name in ``extra`` is taken or is not
    a letter followed by two or more letters, digits or underscores (RFC 9457 section 3.2).
    """
    members: dict[str, Any] = {
        "type": type_uri(base_url, kind.code),
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "instance": current_mark().request_id.urn,
        **_checked_extra(extra or {}),
        **_error_members(entries),
    }
    return Response(
        json.dumps(members, ensure_ascii=False, allow_nan=False).encode(),
        status_code=kind.status,
        headers={**_standing_headers(kind), **(headers or {})},
        media_type=PROBLEM_MEDIA_TYPE,
    )


def type_uri(base_url: str, code: str) -> str:
    """The ``type`` of the kind ``code``: the address of its page."""
    return f"{base_url.rstrip('/')}/problems/{code}"


def kind_of(error: ServiceError) -> ProblemKind:
    """The kind named by the error's code, else the general kind of its class."""
    known = KINDS.get(error.code)
    if known is not None:
        return known
    code = next((code for cls, code in _GENERIC if isinstance(error, cls)), "internal-fault")
    return KINDS[code]


def problem_of_error(base_url: str, error: ServiceError) -> Response:
    """The problem document for ``error``.

    An error whose code has no kind of its own is answered as the general kind of its class, with
    the code as the extension ``reason``.
    """
    kind = kind_of(error)
    entries = entries_of_faults(error.faults)
    headers: dict[str, str] = {}
    if isinstance(error, Refusal):
        entries.extend(error.entries)
        headers.update(error.headers)
    if isinstance(error, Unavailable):
        headers["Retry-After"] = str(error.retry_after_s)
    extra = error.extra if kind.code == error.code else {**error.extra, "reason": error.code}
    return problem_response(
        base_url, kind, error.detail, entries=entries, extra=extra, headers=headers
    )


def install_problem_handlers(app: FastAPI, public_url: str) -> None:
    """Answer every foreseen exception of ``app`` with a problem document."""
    app.state.public_url = public_url.rstrip("/")
    app.add_exception_handler(ServiceError, _on_service_error)
    app.add_exception_handler(RequestValidationError, _on_validation_error)
    app.add_exception_handler(HTTPException, _on_http_exception)


def internal_fault(base_url: str) -> Response:
    """The bare 500: it says nothing of the cause."""
    detail = "The service failed on this request; its log holds the cause under this id."
    return problem_response(base_url, KINDS["internal-fault"], detail)


def allowed_methods(scope: Scope) -> tuple[str, ...]:
    """The methods that the path of ``scope`` takes, over all its routes; HEAD goes with GET."""
    router: Router = scope["app"].router
    allowed = {method for method in METHODS if _takes(router, {**scope, "method": method})}
    return tuple(m for m in METHODS if m in allowed or (m == "HEAD" and "GET" in allowed))


def _takes(router: Router, scope: Scope) -> bool:
    return any(route.matches(scope)[0] is Match.FULL for route in router.routes)


async def _on_service_error(request: Request, exc: Exception) -> Response:
    return problem_of_error(request.app.state.public_url, cast("ServiceError", exc))


async def _on_validation_error(request: Request, exc: Exception) -> Response:
    error = cast("RequestValidationError", exc)
    entries = entries_of_errors(error.errors(), error.body)
    detail = "One field cannot be used." if len(entries) == 1 else "Several fields cannot be used."
    return problem_response(
        request.app.state.public_url, KINDS["fields-refused"], detail, entries=entries
    )


async def _on_http_exception(request: Request, exc: Exception) -> Response:
    error = cast("HTTPException", exc)
    base_url, headers = request.app.state.public_url, dict(error.headers or {})
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        # The framework names the methods of the first route of that path only.
        headers = {"Allow": ", ".join(allowed_methods(request.scope))}
    if error.status_code not in _OF_STATUS:
        return _blank_problem(error.status_code, headers)
    code, detail = _OF_STATUS[error.status_code]
    return problem_response(base_url, KINDS[code], detail, headers=headers)


def _blank_problem(status: int, headers: Mapping[str, str]) -> Response:
    """A problem without a kind: ``about:blank``, titled as the status (RFC 9457 4.2.1)."""
    phrase = HTTPStatus(status).phrase
    members = {
        "type": "about:blank",
        "title": phrase,
        "status": status,
        "detail": phrase,
        "instance": current_mark().request_id.urn,
    }
    return Response(
        json.dumps(members).encode(),
        status_code=status,
        headers=dict(headers),
        media_type=PROBLEM_MEDIA_TYPE,
    )


def _checked_extra(extra: Mapping[str, Any]) -> Mapping[str, Any]:
    for name in extra:
        if name in _STANDARD_MEMBERS or not _EXTENSION_NAME.fullmatch(name):
            raise ValueError(f"{name} cannot be an extension member of a problem document")
    return extra


def _error_members(entries: Sequence[FaultEntry]) -> dict[str, Any]:
    if not entries:
        return {}
    members: dict[str, Any] = {"errors": [e.as_json() for e in sorted(entries)[:MAX_ERRORS]]}
    if len(entries) > MAX_ERRORS:
        members["errors_omitted"] = len(entries) - MAX_ERRORS
    return members


def _standing_headers(kind: ProblemKind) -> dict[str, str]:
    headers: dict[str, str] = {}
    if kind.status == HTTPStatus.UNAUTHORIZED:
        headers["WWW-Authenticate"] = CHALLENGE
    if kind.retry_after_s is not None:
        headers["Retry-After"] = str(kind.retry_after_s)
    return headers
