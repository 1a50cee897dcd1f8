"""The Idempotency-Key header (IETF httpapi draft) and the fingerprint of a request.

The key's reservation and the stored answer belong to the transaction of the use case; here the
header is read and the request is made comparable.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Annotated

from fastapi import Depends, Header
from starlette.requests import Request

from service.domain.canonical import canonical_sha256
from service.web.field_words import FaultEntry
from service.web.problems import Refusal

HEADER = "Idempotency-Key"
REPLAYED_HEADER = "idempotency-replayed"
"""``true`` on an answer that was stored and is sent again."""

_BARE = re.compile(r"[\x21\x23-\x5b\x5d-\x7e]{16,128}")
_QUOTED = re.compile(r'"((?:[\x20\x21\x23-\x5b\x5d-\x7e]|\\["\\])*)"')
_VISIBLE = re.compile(r"[\x21-\x7e]{16,128}")


def parse_idempotency_key(values: Sequence[str]) -> str:
    """The key in the header ``values``: bare, or a Structured Field String (RFC 9651, from memory).

    Both forms of one key are equal. Raises ``Refusal`` (400) if it is missing, repeated, or not 16
    to 128 visible ASCII characters.
    """
    if not values:
        detail = "Send the header Idempotency-Key with a fresh UUID."
        raise Refusal("idempotency-key-missing", detail, entries=[_entry("missing", detail)])
    if len(values) > 1:
        raise _malformed("Send the header once.")
    value = values[0].strip()
    quoted = _QUOTED.fullmatch(value)
    if quoted is not None:
        key = re.sub(r'\\(["\\])', r"\1", quoted.group(1))
        if _VISIBLE.fullmatch(key):
            return key
    elif _BARE.fullmatch(value):
        return value
    raise _malformed("Give 16 to 128 visible ASCII characters, bare or in double quotes.")


async def read_idempotency_key(
    request: Request,
    # Described, and not judged by the framework: that would take it longer than reading the key.
    _: Annotated[
        object,
        Header(
            alias=HEADER,
            description="A fresh UUID for each new request, and the same one when repeating it. "
            "Kept for at least 24 hours; 16 to 128 visible ASCII characters.",
        ),
    ] = None,
) -> str:
    """The request's key, as ``parse_idempotency_key`` has it."""
    # Read from the request: the framework hands over the first of several headers only.
    return parse_idempotency_key(request.headers.getlist(HEADER))


IdempotencyKey = Annotated[str, Depends(read_idempotency_key)]
"""The key of the request, for a handler's signature."""


def fingerprint(
    method: str, route: str, query: Iterable[tuple[str, str]], caller: str, body: object
) -> str:
    """SHA-256 in hex of what makes a request the same request again.

    ``route`` is the path as called, ``query`` its pairs in any order, ``body`` the parsed JSON
    value (None without one). Spacing and the order of names in the body do not matter.
    """
    parts = [method, route, sorted([name, value] for name, value in query), caller, body]
    return canonical_sha256(parts)


def _malformed(detail: str) -> Refusal:
    return Refusal("idempotency-key-malformed", detail, entries=[_entry("wrong-form", detail)])


def _entry(code: str, detail: str) -> FaultEntry:
    return FaultEntry("header", HEADER, code, detail)
