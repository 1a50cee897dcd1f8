"""A route class whose JSON bodies are read and validated strictly.

Handlers keep an ordinary body parameter, ``body: QuoteRequest``, and the API description keeps its
schema. Before the framework sees the body it is read under a size limit, parsed by
``strict_json`` and validated from its bytes in pydantic's strict JSON mode, where ``"1"``, ``1.0``
and ``true`` are no integers, while text still becomes an enum member, a date or a decimal.

The dependencies speak before the body does: a caller without a key is told of the key, never of the
body, and cannot make the service take in an upload. For that they run once more beforehand where a
form is awaited or a body is refused, so they must have no side effect.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Coroutine
from typing import Annotated, Any

from fastapi import params
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from pydantic import TypeAdapter, ValidationError
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Message

from service.domain.errors import ServiceError
from service.web.strict_json import (
    JSON_MEDIA_TYPE,
    parse_json,
    read_body,
    read_json_bytes,
    require_media_type,
)

Handler = Callable[[Request], Coroutine[Any, Any, Response]]

FORM_MEDIA_TYPE = "multipart/form-data"


class _ReadRequest(Request):
    """A request whose JSON body is read and validated already."""

    def __init__(self, request: Request, raw: bytes, value: object) -> None:
        super().__init__(request.scope, request.receive)
        self._raw = raw
        self._value = value

    async def body(self) -> bytes:
        """The bytes that were read; empty where the body was refused."""
        return self._raw

    async def json(self) -> Any:  # noqa: ANN401 - as the framework declares it
        """The validated value of the body parameter's type."""
        return self._value


class StrictRoute(APIRoute):
    """``APIRouter(route_class=StrictRoute)``: strict JSON bodies, declared forms.

    Raises ``TypeError`` while routes are made if an operation has more than one JSON body
    parameter or its body's schema lets unknown fields through. The size limit is
    ``app.state.max_body_bytes``.
    """

    def get_route_handler(self) -> Handler:
        """The framework's handler behind a strict reading of the body."""
        handler = super().get_route_handler()
        if self.body_field is None:
            return handler
        field = self.body_field.field_info
        if isinstance(field, params.Form):
            return _form_handler(handler, required=field.is_required())
        if self._embed_body_fields:
            raise TypeError(f"{self.path}: an operation takes one JSON body parameter")
        body_type: Any = Annotated[field.annotation, field]
        adapter: TypeAdapter[Any] = TypeAdapter(body_type)
        _require_closed(adapter, self.path)
        return _json_handler(handler, adapter, required=field.is_required())


def _json_handler(handler: Handler, adapter: TypeAdapter[Any], *, required: bool) -> Handler:
    async def read_then_handle(request: Request) -> Response:
        max_bytes = request.app.state.max_body_bytes
        try:
            if required:
                raw = await read_json_bytes(request, max_bytes)
            else:
                raw = await read_body(request, max_bytes)
                if not raw:
                    return await handler(_ReadRequest(request, b"", None))
                require_media_type(request, JSON_MEDIA_TYPE)
            value = _validated(adapter, raw)
        except (ServiceError, RequestValidationError) as fault:
            return await _refuse(fault, handler, request, required=required)
        return await handler(_ReadRequest(request, raw, value))

    return read_then_handle


async def _refuse(
    fault: Exception, handler: Handler, request: Request, *, required: bool
) -> Response:
    """Let the dependencies speak first, then raise ``fault``."""
    if required:
        # Without a body the framework runs the dependencies and then finds the body missing.
        try:
            await handler(_ReadRequest(request, b"", None))
        except RequestValidationError as error:
            raise _merged(fault, error) from None
    raise fault


def _merged(fault: Exception, error: RequestValidationError) -> Exception:
    """``fault`` with the faults of parameters that the framework found besides."""
    others = [found for found in error.errors() if found["loc"][0] != "body"]
    if not others or not isinstance(fault, RequestValidationError):
        return fault
    return RequestValidationError([*fault.errors(), *others], body=fault.body)


def _validated(adapter: TypeAdapter[Any], raw: bytes) -> Any:  # noqa: ANN401 - the body's type
    document = parse_json(raw)
    try:
        return adapter.validate_json(raw, strict=True)
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False)
        raise RequestValidationError(
            [{**one, "loc": ("body", *one["loc"])} for one in found], body=document
        ) from None


def _form_handler(handler: Handler, *, required: bool) -> Handler:
    async def declared_then_handle(request: Request) -> Response:
        if required:
            with contextlib.suppress(RequestValidationError):
                await handler(_formless(request))
        require_media_type(request, FORM_MEDIA_TYPE)
        return await handler(request)

    return declared_then_handle


def _formless(request: Request) -> Request:
    """``request`` as if it had no form: its body stays unread."""
    headers = [pair for pair in request.scope["headers"] if pair[0] != b"content-type"]
    return Request({**request.scope, "headers": headers}, _no_body)


async def _no_body() -> Message:
    return {"type": "http.request", "body": b"", "more_body": False}


def _require_closed(adapter: TypeAdapter[Any], path: str) -> None:
    schema = adapter.json_schema()
    for part in (schema, *schema.get("$defs", {}).values()):
        if "properties" in part and part.get("additionalProperties") is not False:
            name = part.get("title", "its body")
            raise TypeError(f"{path}: {name} must forbid unknown fields")
