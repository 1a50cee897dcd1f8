"""The files of ``openapi_examples``: each is sent, and answered as it says and as is described."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from starlette.routing import compile_path

from service.settings import Settings
from service.web.app import describe
from service.web.examples import examples_folder
from tests.demo_pictures import remember_demo_pictures
from tests.web.example_shop import example_shop

FOLDER = examples_folder() or Path()
FILES = sorted(FOLDER.glob("*.json"))


def _content(path: Path) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return content


def test_every_file_is_answered_as_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sent in the order of their names to a fresh demo shop, all give the answers written down."""
    remember_demo_pictures(monkeypatch)
    with example_shop(tmp_path) as send:
        for path in FILES:
            content = _content(path)
            status, body = send(content)
            assert (path.name, status) == (path.name, content["answer"]["status"])
            assert body == content["answer"].get("body"), path.name


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    """The API description."""
    return describe(Settings(database_url=""))


def _operation(document: dict[str, Any], method: str, path: str) -> dict[str, Any]:
    for template in sorted(document["paths"], key=lambda one: one.count("{")):
        if compile_path(template)[0].match(path) and method.lower() in document["paths"][template]:
            operation: dict[str, Any] = document["paths"][template][method.lower()]
            return operation
    raise AssertionError(f"no operation {method} {path}")


def _validate(document: dict[str, Any], content: dict[str, Any], instance: object) -> None:
    schema = next(iter(content.values()))["schema"]
    whole = {**schema, "components": document["components"]}
    Draft202012Validator(whole).validate(instance)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_file_fits_the_description(document: dict[str, Any], path: Path) -> None:
    """Request and answer validate against the schemas of the operation and the status."""
    content = _content(path)
    request, answer = content["request"], content["answer"]
    operation = _operation(document, request["method"], request["path"].partition("?")[0])
    if "body" in request and answer["status"] < 400:
        _validate(document, operation["requestBody"]["content"], request["body"])
    described = operation["responses"][str(answer["status"])]
    if "body" in answer:
        _validate(document, described["content"], answer["body"])


def test_every_operation_has_an_example(document: dict[str, Any]) -> None:
    """Whoever opens the description finds each operation of the API filled in."""
    shown = {
        id(_operation(document, c["request"]["method"], c["request"]["path"].partition("?")[0]))
        for c in map(_content, FILES)
    }
    missing = [
        operation["operationId"]
        for path, operations in document["paths"].items()
        if path.startswith("/v1/")
        for operation in operations.values()
        if id(operation) not in shown
    ]
    assert missing == []
