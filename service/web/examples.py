"""Worked examples of calls, kept as JSON files and shown in the API description.

A file holds ``{"name", "summary", "request": {"method", "path", "headers"?, "body"?}, "answer":
{"status", "body"?}}``. Each is attached to the operation it calls: its body and parameters to the
request, its answer to that status. A file that fits no operation is an error, never left out. Long
answers are shown once for each status, so that the description stays quick to load; the files hold
them all.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from starlette.routing import compile_path

import service

Json = dict[str, Any]
"""A JSON object of the API description, changed in place."""


SHORT_CHARS = 6_000
"""Answers longer than this are shown only where a status has no other."""


@dataclass(frozen=True, slots=True)
class Example:
    """One call and its answer; ``body`` and ``answer`` are None where there is none."""

    name: str
    summary: str
    method: str
    path: str
    status: int
    headers: Mapping[str, str] = field(default_factory=dict)
    body: Any = None
    answer: Any = None

    @property
    def is_short(self) -> bool:
        """Whether the answer is short enough to be shown beside others of its status."""
        return len(json.dumps(self.answer)) <= SHORT_CHARS


def examples_folder() -> Path | None:
    """The folder of the example files: inside the installed package, else beside it."""
    package = Path(service.__file__).parent
    candidates = (package / "openapi_examples", package.parent / "openapi_examples")
    return next((folder for folder in candidates if folder.is_dir()), None)


def load_examples(folder: Path) -> list[Example]:
    """Every example in the ``*.json`` files of ``folder``, ordered by file name.

    Raises ``ValueError`` naming the file if one is not of the described form.
    """
    return [_load(path) for path in sorted(folder.glob("*.json"))]


def attach_examples(document: Json, examples: Iterable[Example]) -> None:
    """Attach each of ``examples`` to its operation in the OpenAPI ``document``.

    Raises ``ValueError`` if there is no such operation, or it does not list the answer's status.
    """
    for example in examples:
        operation, values = _operation_of(document, example)
        _attach_parameters(operation, example, values)
        if example.body is not None:
            content = operation.get("requestBody", {}).get("content", {})
            _attach(content, "application/json", example, example.body)
        answer = operation["responses"].get(str(example.status))
        if answer is None:
            raise ValueError(f"example {example.name}: status {example.status} is not listed")
        if example.answer is not None:
            media_type = next(iter(answer.get("content", {})), "application/json")
            content = answer.setdefault("content", {})
            if example.is_short or not content.get(media_type, {}).get("examples"):
                _attach(content, media_type, example, example.answer)


def _load(path: Path) -> Example:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        request, answer = content["request"], content["answer"]
        return Example(
            name=content["name"],
            summary=content["summary"],
            method=request["method"].upper(),
            path=request["path"],
            status=int(answer["status"]),
            headers=request.get("headers", {}),
            body=request.get("body"),
            answer=answer.get("body"),
        )
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ValueError(f"{path.name} is not an example: {error}") from error


def _operation_of(document: Json, example: Example) -> tuple[Json, Mapping[str, str]]:
    """The operation that ``example`` calls, and the values of its path parameters."""
    path = urlsplit(example.path).path
    # Literal paths go before those with parameters, as a path may fit both.
    for template in sorted(document["paths"], key=lambda one: one.count("{")):
        match = compile_path(template)[0].match(path)
        operation = document["paths"][template].get(example.method.lower())
        if match is not None and operation is not None:
            return operation, match.groupdict()
    raise ValueError(f"example {example.name}: there is no {example.method} {path}")


def _attach_parameters(operation: Json, example: Example, in_path: Mapping[str, str]) -> None:
    given = {("path", name): value for name, value in in_path.items()}
    given |= {("query", name): value for name, value in parse_qsl(urlsplit(example.path).query)}
    given |= {("header", name.lower()): value for name, value in example.headers.items()}
    for parameter in operation.get("parameters", ()):
        name = parameter["name"]
        key = (parameter["in"], name.lower() if parameter["in"] == "header" else name)
        if key in given:
            _add(parameter, example, _typed(parameter["schema"], given[key]))


def _attach(content: Json, media_type: str, example: Example, value: object) -> None:
    _add(content.setdefault(media_type, {}), example, value)


def _add(holder: Json, example: Example, value: object) -> None:
    holder.pop("example", None)  # excluded by "examples": OpenAPI 3.1.1, 4.8.14
    holder.setdefault("examples", {})[example.name] = {"summary": example.summary, "value": value}


def _typed(schema: Json, text: str) -> object:
    """A parameter's example must fit its schema, where a number is no text."""
    return int(text) if "integer" in _types(schema) and text.isdecimal() else text


def _types(schema: Json) -> Iterator[str]:
    for part in (schema, *schema.get("anyOf", ())):
        yield str(part.get("type"))
