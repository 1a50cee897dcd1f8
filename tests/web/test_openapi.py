"""The API description: OpenAPI 3.1.1."""

from __future__ import annotations

import json
from typing import Any

import pytest
from fastapi import APIRouter
from jsonschema import Draft202012Validator
from pydantic import BaseModel
from starlette.testclient import TestClient

from service.web.application import Documentation
from service.web.examples import Example
from service.web.openapi import WebhookDoc, problems
from service.web.problem_kinds import KINDS
from tests.web.miniature import PUBLIC_URL, SampleRequest, make_app, make_client

METHODS = {"get", "post", "put", "patch", "delete"}


class Told(BaseModel):
    """A payload of a webhook."""

    order_id: str
    pieces: int


TOLD = WebhookDoc(
    "order.told", "An order is told", "Sent once.", Told, {"order_id": "o", "pieces": 1}
)
MADE = Example(
    name="made",
    summary="A sample is made",
    method="POST",
    path="/v1/samples",
    status=201,
    body={"pieces": 3},
    answer={"pieces": 3, "price": "0", "holder": "web-shop"},
)
REFUSED = Example(
    name="refused",
    summary="Too many",
    method="POST",
    path="/v1/samples",
    status=422,
    body={"pieces": 0},
    answer={
        "type": f"{PUBLIC_URL}/problems/fields-refused",
        "title": "x",
        "status": 422,
        "detail": "x",
        "instance": "urn:uuid:0",
    },
)
LISTED = Example(
    name="listed", summary="Few", method="GET", path="/v1/samples?limit=5", status=200, answer=5
)
CHANGED = Example(
    name="changed",
    summary="Changed",
    method="PATCH",
    path="/v1/samples/known",
    status=200,
    headers={"if-match": '"7"'},
)
ALL = Documentation(examples=[MADE, REFUSED, LISTED, CHANGED], webhooks=[TOLD])


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    """The description with examples and a webhook."""
    return make_app(ALL).openapi()


def operations(document: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Every operation by its id."""
    return {
        operation["operationId"]: operation
        for item in document["paths"].values()
        for method, operation in item.items()
        if method in METHODS
    }


def resolved(document: dict[str, Any], schema: dict[str, Any]) -> Draft202012Validator:
    """A validator of ``schema`` that finds the document's components."""
    return Draft202012Validator({**schema, "components": document["components"]})


def test_description_is_served_without_a_key(stranger: TestClient) -> None:
    """/openapi.json is OpenAPI 3.1 with the server's public address."""
    served = stranger.get("/openapi.json").json()
    assert served["openapi"].startswith("3.1.")
    assert served["servers"] == [{"url": PUBLIC_URL}]


def test_description_warns_and_claims_nothing(document: dict[str, Any]) -> None:
    """The text states cautions, and says that nothing claims compliance."""
    text = " ".join(document["info"]["description"].split())
    assert "Cautions" in text
    assert "nothing here claims compliance" in text


def test_operation_ids_are_made_of_tag_and_name(document: dict[str, Any]) -> None:
    """Ids are stable and unique: the tag and the handler's name."""
    named = operations(document)
    assert {"samples_make_sample", "samples_read_sample", "faults_fail", "health_livez"} <= set(
        named
    )
    assert len(named) == sum(
        method in METHODS for item in document["paths"].values() for method in item
    )


def test_framework_model_of_refusals_is_gone(document: dict[str, Any]) -> None:
    """The framework's own 422 model is in no part of the document."""
    assert "ValidationError" not in json.dumps(document)


@pytest.mark.parametrize(
    ("operation_id", "statuses"),
    [
        ("samples_make_sample", "201 400 401 403 413 415 422 500 503"),
        ("samples_list_samples", "200 400 401 403 422 500 503"),
        ("samples_read_sample", "200 400 404 500"),
        ("samples_change_sample", "200 400 401 403 404 412 428 500 503"),
        ("samples_repeatable", "200 400 401 403 409 413 415 422 500 503"),
        ("samples_take_picture", "200 400 401 403 413 415 422 500 503"),
        ("health_livez", "200 500"),
    ],
)
def test_each_status_follows_from_what_is_depended_on(
    document: dict[str, Any], operation_id: str, statuses: str
) -> None:
    """An operation lists the refusals of its keys, headers, parameters and body."""
    assert list(operations(document)[operation_id]["responses"]) == statuses.split()


def test_each_refusal_is_a_problem_document(document: dict[str, Any]) -> None:
    """Every 4xx and 5xx of an operation is problem+json with the Problem schema."""
    for operation in operations(document).values():
        for status, answer in operation["responses"].items():
            assert "$ref" in answer["headers"]["request-id"]
            if status >= "400" and "x-problem-codes" in answer:
                schema = answer["content"]["application/problem+json"]["schema"]
                assert schema == {"$ref": "#/components/schemas/Problem"}
                assert all(KINDS[code].status == int(status) for code in answer["x-problem-codes"])


def test_headers_of_refusals_are_listed(document: dict[str, Any]) -> None:
    """401 lists WWW-Authenticate; 503 and a 409 in progress list Retry-After."""
    answers = operations(document)["samples_repeatable"]["responses"]
    assert "WWW-Authenticate" in answers["401"]["headers"]
    assert "Retry-After" in answers["503"]["headers"]
    assert "Retry-After" in answers["409"]["headers"]


def test_real_problems_fit_the_schema(document: dict[str, Any], client: TestClient) -> None:
    """What is answered validates against what is described."""
    validator = resolved(document, {"$ref": "#/components/schemas/Problem"})
    for path in ("input", "many", "missing", "conflict", "busy", "secret"):
        validator.validate(client.get(f"/v1/faults/{path}").json())


def test_demanded_headers_are_required(document: dict[str, Any]) -> None:
    """Headers whose absence is refused are required, though the handler reads them itself."""
    for operation_id, name in (
        ("samples_repeatable", "Idempotency-Key"),
        ("samples_change_sample", "If-Match"),
    ):
        [parameter] = [
            one for one in operations(document)[operation_id]["parameters"] if one["name"] == name
        ]
        assert parameter["required"] is True
        assert parameter["schema"]["type"] == "string"


def test_body_schema_is_the_handlers_model(document: dict[str, Any]) -> None:
    """A strictly read body keeps its schema, closed to unknown fields."""
    content = operations(document)["samples_make_sample"]["requestBody"]["content"]
    assert content["application/json"]["schema"] == {"$ref": "#/components/schemas/SampleRequest"}
    schema = document["components"]["schemas"]["SampleRequest"]
    assert schema["additionalProperties"] is False
    assert set(schema["properties"]) == set(SampleRequest.model_fields)


def test_examples_are_attached_to_body_and_answer(document: dict[str, Any]) -> None:
    """Each example stands with the request it makes and the status it gets."""
    operation = operations(document)["samples_make_sample"]
    body = operation["requestBody"]["content"]["application/json"]["examples"]
    assert {name: one["value"] for name, one in body.items()} == {
        "made": {"pieces": 3},
        "refused": {"pieces": 0},
    }
    made = operation["responses"]["201"]["content"]["application/json"]["examples"]["made"]
    assert made == {"summary": "A sample is made", "value": MADE.answer}
    refused = operation["responses"]["422"]["content"]["application/problem+json"]
    assert refused["examples"]["refused"]["value"] == REFUSED.answer


def test_examples_fill_parameters(document: dict[str, Any]) -> None:
    """Path, query and header values of an example are examples of the parameters."""
    listed = operations(document)["samples_list_samples"]["parameters"]
    assert {p["name"]: p["examples"]["listed"]["value"] for p in listed} == {"limit": 5}
    changed = operations(document)["samples_change_sample"]["parameters"]
    values = {p["name"]: p["examples"]["changed"]["value"] for p in changed}
    assert values == {"sample_id": "known", "If-Match": '"7"'}


def walk(value: Any) -> list[dict[str, Any]]:
    """Every object in a document."""
    if isinstance(value, dict):
        return [value, *(found for inner in value.values() for found in walk(inner))]
    return [found for inner in value for found in walk(inner)] if isinstance(value, list) else []


def test_example_and_examples_exclude_each_other(document: dict[str, Any]) -> None:
    """No media type or parameter has ``example`` (OpenAPI 3.1.1 section 4.8.14)."""
    holders = [one for one in walk(document["paths"]) if "schema" in one]
    assert holders
    assert all("example" not in one for one in holders)


def test_examples_fit_their_schemas(document: dict[str, Any]) -> None:
    """Every example validates against the schema beside it, except bodies meant to be refused."""
    checked = 0
    for holder in walk(document["paths"]):
        for name, example in holder.get("examples", {}).items() if "schema" in holder else ():
            fits = resolved(document, holder["schema"]).is_valid(example["value"])
            assert fits is not (name == "refused" and "pieces" in str(example["value"]))
            checked += 1
    assert checked == 8


@pytest.mark.parametrize(
    ("example", "words"),
    [
        (Example("x", "x", "POST", "/nowhere", 200), "there is no POST /nowhere"),
        (Example("x", "x", "DELETE", "/v1/samples", 200), "there is no DELETE /v1/samples"),
        (Example("x", "x", "GET", "/v1/samples", 418), "status 418 is not listed"),
    ],
)
def test_example_that_fits_nothing_is_an_error(example: Example, words: str) -> None:
    """An example never drops out silently."""
    app = make_app(Documentation(examples=[example]))
    with pytest.raises(ValueError, match=words):
        app.openapi()


def test_webhooks_are_described(document: dict[str, Any]) -> None:
    """Events stand under ``webhooks`` (section 4.8.1) with payload, example and headers."""
    told = document["webhooks"]["order.told"]["post"]
    content = told["requestBody"]["content"]["application/json"]
    assert content["examples"]["order.told"]["value"] == TOLD.example
    resolved(document, content["schema"]).validate(TOLD.example)
    assert [p["name"] for p in told["parameters"]] == [
        "webhook-id",
        "webhook-timestamp",
        "webhook-signature",
    ]
    assert set(told["responses"]) == {"204"}


def test_description_is_built_once() -> None:
    """The document is made at the first call and kept."""
    app = make_app()
    assert app.openapi() is app.openapi()


def test_loosely_read_body_is_an_error() -> None:
    """A router that forgot the strict route class is found out."""
    router, app = APIRouter(tags=["loose"]), make_app()

    @router.post("/loose")
    async def loose(body: SampleRequest) -> None:
        """Read loosely."""

    app.include_router(router)
    with pytest.raises(TypeError, match="/loose"):
        app.openapi()


def test_declared_problems_are_grouped_by_status() -> None:
    """A route's own problems join those that follow from its dependencies."""
    declared = problems("conflict", "gone", "idempotency-key-in-progress")
    assert declared[409]["x-problem-codes"] == ["conflict", "idempotency-key-in-progress"]
    assert declared[410]["x-problem-codes"] == ["gone"]
    with pytest.raises(KeyError):
        problems("never-heard-of")


def test_declared_problems_are_described() -> None:
    """They are listed with the title of their kind."""
    app = make_app()

    @app.get("/v1/declared", responses=problems("gone"), tags=["declared"])
    async def declared() -> None:
        """Declare one."""

    answer = app.openapi()["paths"]["/v1/declared"]["get"]["responses"]["410"]
    assert answer["description"] == f"`gone`: {KINDS['gone'].title}"
    assert make_client(app).get("/v1/declared").status_code == 200
