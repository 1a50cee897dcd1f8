"""How problem documents stand in the API description."""

from __future__ import annotations

from typing import Any

from service.web.problem_kinds import KINDS
from service.web.problems import MAX_ERRORS, PROBLEM_MEDIA_TYPE

Json = dict[str, Any]

_TEXT = {"type": "string"}

_ERROR_SCHEMA: Json = {
    "type": "object",
    "title": "One fault",
    "required": ["detail", "code"],
    "properties": {
        "detail": {**_TEXT, "description": "What is wrong, and what would be right."},
        "pointer": {**_TEXT, "description": "JSON Pointer into the body (RFC 6901 section 6)."},
        "parameter": {**_TEXT, "description": "The path, query or form parameter."},
        "header": {**_TEXT, "description": "The request header."},
        "code": {**_TEXT, "description": "Stable name of the fault."},
    },
}

PROBLEM_SCHEMA: Json = {
    "type": "object",
    "title": "Problem",
    "description": "A problem document (RFC 9457). Kinds add members; ignore unknown ones.",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {**_TEXT, "format": "uri-reference", "description": "The kind; leads to its page."},
        "title": {**_TEXT, "description": "The same for each occurrence of the kind."},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {**_TEXT, "description": "What happened this time, for a person to read."},
        "instance": {**_TEXT, "format": "uri", "description": "The request's id as a URN."},
        "errors": {"type": "array", "maxItems": MAX_ERRORS, "items": _ERROR_SCHEMA},
        "errors_omitted": {
            "type": "integer",
            "minimum": 1,
            "description": "How many faults are not listed.",
        },
    },
    "additionalProperties": True,
}

STANDING_HEADERS: Json = {
    "RequestId": {
        "description": "Id of this request, also in the log.",
        "schema": {**_TEXT, "format": "uuid"},
    },
    "RetryAfter": {
        "description": "Whole seconds to wait before the next try (RFC 9110 section 10.2.3).",
        "schema": {"type": "integer", "minimum": 0},
    },
    "Challenge": {
        "description": "What key is needed (RFC 6750 section 3).",
        "schema": _TEXT,
    },
}


def problem_answer(answer: Json) -> Json:
    """``answer``, which lists its kinds in ``x-problem-codes``, described in full."""
    kinds = sorted((KINDS[code] for code in answer["x-problem-codes"]), key=lambda kind: kind.code)
    full: Json = {
        **answer,
        "description": "; ".join(f"`{kind.code}`: {kind.title}" for kind in kinds),
        "x-problem-codes": [kind.code for kind in kinds],
        "headers": dict(answer.get("headers", {})),
        "content": {
            PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}},
        },
    }
    if any(kind.status == 503 or kind.retry_after_s for kind in kinds):
        full["headers"]["Retry-After"] = {"$ref": "#/components/headers/RetryAfter"}
    if any(kind.status in {401, 403} for kind in kinds):
        full["headers"]["WWW-Authenticate"] = {"$ref": "#/components/headers/Challenge"}
    return full
