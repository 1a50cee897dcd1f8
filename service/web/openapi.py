"""The API description: OpenAPI 3.1 from the routes, with what the framework leaves out.

What is added: the problem statuses that follow from what an operation depends on, the scopes it
admits, required headers, examples, webhooks and cautions. What is removed: the framework's own
model of a refused body, which is never sent.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Body, FastAPI, params
from fastapi.openapi.models import Example as ShownExample
from fastapi.routing import APIRoute, RouteContext
from pydantic import BaseModel
from starlette.responses import Response

from service.web.auth import BEARER, scopes_of
from service.web.conditional import read_if_match
from service.web.examples import Example, Json, attach_examples
from service.web.idempotency import HEADER, read_idempotency_key
from service.web.problem_kinds import KINDS
from service.web.problem_schema import PROBLEM_SCHEMA, STANDING_HEADERS, problem_answer
from service.web.routes import dependency_calls, documented_routes
from service.web.strict_route import StrictRoute

DESCRIPTION = """\
Order intake of a custom garment decorator: check whether artwork, garment and method go together,
get a price and a day, place the order, follow its tickets.

**Cautions.** Press temperatures, times and cloth limits come from the shop's own catalogue and from
common practice. They are no proof that a garment is safe, fit for a child, lawful to sell or
properly labelled, and nothing here claims compliance with any law or standard. Heated platens burn;
inks and films give off fumes. Follow the makers' safety sheets and test on the garment itself.

Errors are problem documents (RFC 9457). Send each change that may be repeated with an
`Idempotency-Key`. Answers may gain members and listed values may gain members later: ignore those
that you do not know. Times are UTC; money is in whole minor units of its currency.
"""

_JSON_BODY_CODES = (
    "body-empty",
    "body-not-utf8",
    "body-not-json",
    "body-name-repeated",
    "body-number-refused",
    "body-too-deep",
    "text-refused",
    "body-too-large",
    "media-type-unsupported",
    "fields-refused",
)
_FORM_CODES = ("body-not-form", "body-too-large", "media-type-unsupported", "fields-refused")
_DEPENDENCY_CODES: Mapping[Any, tuple[str, ...]] = {
    read_idempotency_key: (
        "idempotency-key-missing",
        "idempotency-key-malformed",
        "idempotency-key-in-progress",
        "idempotency-key-reused",
    ),
    read_if_match: ("precondition-malformed", "precondition-failed", "precondition-missing"),
}
_REQUIRED_HEADERS: Mapping[str, Json] = {
    HEADER: {"type": "string", "minLength": 16, "maxLength": 128},
    "If-Match": {"type": "string", "minLength": 1},
}
_DELIVERY_HEADERS = (
    ("webhook-id", "The same for each attempt to tell one event; drop repeats by it."),
    ("webhook-timestamp", "When this attempt was made, in Unix seconds."),
    ("webhook-signature", "Signatures over id, timestamp and body, as Standard Webhooks has it."),
)


@dataclass(frozen=True, slots=True)
class WebhookDoc:
    """What is told to endpoints under ``name``: the payload's model and one example of it."""

    name: str
    summary: str
    description: str
    payload: type[BaseModel]
    example: Any


def operation_id(route: APIRoute) -> str:
    """A stable id made of the first tag and the handler's name: ``orders_place_order``."""
    words = [str(tag) for tag in route.tags[:1]]
    return re.sub(r"[^A-Za-z0-9]+", "_", "_".join([*words, route.name]))


def problems(*codes: str) -> dict[int | str, dict[str, Any]]:
    """The ``responses`` of a route that can answer with the problem kinds ``codes``.

    Codes that follow from the route's dependencies and body need not be named. Raises ``KeyError``
    for a code without a kind.
    """
    by_status: dict[int | str, dict[str, Any]] = {}
    for code in codes:
        answer = by_status.setdefault(KINDS[code].status, {"x-problem-codes": []})
        answer["x-problem-codes"].append(code)
    return by_status


def customise_openapi(
    app: FastAPI, *, examples: Sequence[Example] = (), webhooks: Iterable[WebhookDoc] = ()
) -> None:
    """Make ``app.openapi()`` give the full description; it is built once, when first asked for.

    Building raises ``ValueError`` for an example that fits no operation, and ``TypeError`` for an
    operation with a JSON body that is not read strictly.
    """
    framework_document = app.openapi

    def build() -> Json:
        if app.openapi_schema is None:
            for webhook in webhooks:
                _add_webhook(app, webhook)
            document = framework_document()
            _complete(app, document)
            attach_examples(document, examples)
        return app.openapi_schema or {}

    app.openapi = build  # type: ignore[method-assign] # the way the framework documents


def _complete(app: FastAPI, document: Json) -> None:
    components = document.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    schemas["Problem"] = PROBLEM_SCHEMA
    components["headers"] = STANDING_HEADERS
    for route in documented_routes(app):
        if isinstance(route.original_route, APIRoute) and route.include_in_schema:
            for method in route.methods or ():
                _complete_operation(route, document["paths"][route.path_format][method.lower()])
    for item in document.get("webhooks", {}).values():
        item["post"]["responses"].pop("422", None)


def _complete_operation(route: RouteContext, operation: Json) -> None:
    answers = operation["responses"]
    if "HTTPValidationError" in str(answers.get("422")):
        del answers["422"]
    for code in _codes(route):
        answer = answers.setdefault(str(KINDS[code].status), {})
        codes = answer.setdefault("x-problem-codes", [])
        if code not in codes:
            codes.append(code)
    for status, answer in answers.items():
        if "x-problem-codes" in answer:
            answers[status] = problem_answer(answer)
        answers[status].setdefault("headers", {})["request-id"] = {
            "$ref": "#/components/headers/RequestId"
        }
    operation["responses"] = dict(sorted(answers.items()))
    _complete_request(route, operation)


def _complete_request(route: RouteContext, operation: Json) -> None:
    scopes = scopes_of(route)
    if scopes is not None:
        operation["security"] = [{BEARER.scheme_name: sorted(scopes)}]
    for parameter in operation.get("parameters", ()):
        if parameter["in"] == "header" and parameter["name"] in _REQUIRED_HEADERS:
            parameter["required"] = True
            parameter["schema"] = dict(_REQUIRED_HEADERS[parameter["name"]])


def _codes(route: RouteContext) -> Iterator[str]:
    """The problem kinds that follow from what ``route`` takes and depends on."""
    yield "internal-fault"
    if scopes_of(route) is not None:
        yield from ("key-missing", "key-refused", "scope-missing", "unavailable")
    for call in dependency_calls(route):
        yield from _DEPENDENCY_CODES.get(call, ())
    yield from _body_codes(route)
    if "{" in (route.path_format or ""):
        yield from ("not-found", "text-refused")
    if any(dependant.query_params for dependant in _dependants(route)):
        yield from ("fields-refused", "text-refused")


def _body_codes(route: RouteContext) -> tuple[str, ...]:
    if route.body_field is None:
        return ()
    if isinstance(route.body_field.field_info, params.Form):
        return _FORM_CODES
    if not isinstance(route.original_route, StrictRoute):
        raise TypeError(f"{route.path}: its body is not read strictly; use StrictRoute")
    return _JSON_BODY_CODES


def _dependants(route: RouteContext) -> Iterator[Any]:
    waiting = [route.dependant]
    while waiting:
        dependant = waiting.pop()
        yield dependant
        waiting.extend(dependant.dependencies)


def _add_webhook(app: FastAPI, doc: WebhookDoc) -> None:
    example: ShownExample = {"value": doc.example, "summary": doc.summary}

    def told(body: object) -> None:
        """Stands for the receiver; never called."""

    told.__annotations__["body"] = Annotated[
        doc.payload, Body(openapi_examples={doc.name: example})
    ]
    app.webhooks.add_api_route(
        doc.name,
        told,
        methods=["POST"],
        operation_id=re.sub(r"[^A-Za-z0-9]+", "_", f"told_{doc.name}"),
        summary=doc.summary,
        description=doc.description,
        status_code=204,
        response_class=Response,
        response_description="Any 2xx means that it was received",
        openapi_extra={"parameters": [_delivery_header(*one) for one in _DELIVERY_HEADERS]},
    )


def _delivery_header(name: str, description: str) -> Json:
    return {
        "name": name,
        "in": "header",
        "required": True,
        "description": description,
        "schema": {"type": "string"},
    }
