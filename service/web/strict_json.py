"""Reading JSON strictly: RFC 8259 grammar and the I-JSON limits of RFC 7493, nothing looser.

What Python's reader lets through and this one refuses: NaN and Infinity, numbers that overflow a
double, whole numbers beyond 2^53 - 1, a name twice in one object, nesting beyond 32 levels, lone
surrogates and U+0000. Numbers with a fraction or exponent become floats.
"""

from __future__ import annotations

import json
import re
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NoReturn

from starlette.requests import Request

from service.domain.errors import FieldFault
from service.web.problems import Refusal

MAX_DEPTH = 32
MAX_SAFE_INTEGER = 2**53 - 1
JSON_MEDIA_TYPE = "application/json"

Path = tuple[str | int, ...]

_ODD_ESCAPE = re.compile(r"\\u(?:0000|[dD][89a-fA-F])")


@dataclass(frozen=True, slots=True)
class _Flaw:
    """Stands in a parsed document where something cannot be taken, until its place is known."""

    code: str
    detail: str
    name: str | None = None


def parse_json(raw: bytes) -> Any:  # noqa: ANN401 - a JSON document is any JSON value
    """The JSON value in ``raw``; raises ``Refusal`` (400) saying where and why it cannot be taken.

    The fault's pointer leads to the value; the value itself is not repeated.
    """
    if not raw.strip():
        raise _empty()
    text = _decoded(raw)
    try:
        document = _read_quickly(text)
    except _FlawSeenError:
        document = _read_carefully(text)
    if _ODD_ESCAPE.search(text):
        _refuse_flaws(document)
    return document


async def read_body(request: Request, max_bytes: int) -> bytes:
    """The whole body; raises ``Refusal`` (413) as soon as it is known to exceed ``max_bytes``."""
    declared = request.headers.get("content-length", "")
    if declared.isdecimal() and int(declared) > max_bytes:
        raise _too_large(max_bytes)
    chunks: list[bytes] = []
    size = 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > max_bytes:
            raise _too_large(max_bytes)
        chunks.append(chunk)
    return b"".join(chunks)


async def read_json_body(request: Request, max_bytes: int) -> Any:  # noqa: ANN401 - as parse_json
    """The JSON value in the body of ``request``.

    Raises ``Refusal``: 415 unless it is declared as JSON, 413 if it is longer than ``max_bytes``,
    400 if it is empty or cannot be taken.
    """
    return parse_json(await read_json_bytes(request, max_bytes))


async def read_json_bytes(request: Request, max_bytes: int) -> bytes:
    """The body as sent, declared as JSON; raises ``Refusal`` (400 if empty, 413, 415)."""
    raw = await read_body(request, max_bytes)
    if not raw:
        raise _empty()
    require_media_type(request, JSON_MEDIA_TYPE)
    return raw


def require_media_type(request: Request, wanted: str) -> None:
    """Refuse (415) a body that is not declared as ``wanted``, or that is compressed.

    For JSON the one parameter allowed is ``charset=utf-8``; RFC 8259 section 11 defines none, yet
    many clients send it.
    """
    declared = request.headers.getlist("content-type")
    if len(declared) != 1 or not _is_media_type(declared[0], wanted):
        raise Refusal("media-type-unsupported", f"Send the body as {wanted}, declared once.")
    coding = request.headers.get("content-encoding", "identity").strip().lower()
    if coding != "identity":
        detail = "Send the body uncompressed, without Content-Encoding."
        raise Refusal("media-type-unsupported", detail)


def _is_media_type(declared: str, wanted: str) -> bool:
    media_type, *parameters = (part.strip().lower() for part in declared.split(";"))
    if media_type != wanted:
        return False
    return wanted != JSON_MEDIA_TYPE or all(
        parameter.replace('"', "") == "charset=utf-8" for parameter in parameters if parameter
    )


class _FlawSeenError(Exception):
    """The quick reader met what it cannot take; the careful one finds out what and where."""


def _read_quickly(text: str) -> Any:  # noqa: ANN401 - as parse_json
    """The document in ``text``, or ``_FlawSeenError`` if anything at all is wrong with it."""
    try:
        document = _QUICK.decode(text)
    except (ValueError, RecursionError):
        raise _FlawSeenError from None
    level: list[Any] = [[document]]
    for _ in range(MAX_DEPTH + 1):
        level = _next_level(level)
        if not level:
            return document
    raise _FlawSeenError


def _next_level(level: list[Any]) -> list[Any]:
    """The containers inside those of ``level``, once the numbers there are known to be safe."""
    inner: list[Any] = []
    for container in level:
        for value in container.values() if type(container) is dict else container:
            kind = type(value)
            if kind is dict or kind is list:
                inner.append(value)
            elif (kind is int or kind is float) and not _is_safe(value):
                raise _FlawSeenError
    return inner


def _is_safe(number: float) -> bool:
    limit = MAX_SAFE_INTEGER if type(number) is int else sys.float_info.max
    return -limit <= number <= limit


def _read_carefully(text: str) -> Any:  # noqa: ANN401 - as parse_json
    """The document in ``text``, or the refusal of the first thing in it that cannot be taken."""
    try:
        document = _CAREFUL.decode(text)
    except RecursionError:
        raise _too_deep() from None
    except json.JSONDecodeError as error:
        raise _not_json(error) from None
    _refuse_flaws(document)
    return document


def _closed_object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _FlawSeenError
    return members


def _no_constant(_: str) -> NoReturn:
    raise _FlawSeenError


_QUICK = json.JSONDecoder(object_pairs_hook=_closed_object, parse_constant=_no_constant)


def _object_or_flaw(pairs: list[tuple[str, Any]]) -> dict[str, Any] | _Flaw:
    members = dict(pairs)
    if len(members) == len(pairs):
        return members
    [(twice, _)] = Counter(name for name, _ in pairs).most_common(1)
    return _Flaw("body-name-repeated", "This name stands twice in its object.", twice)


def _integer_or_flaw(digits: str) -> int | _Flaw:
    # Seventeen characters hold a sign and sixteen digits; longer ones are never converted.
    value = int(digits) if len(digits) <= 17 else None
    if value is not None and _is_safe(value):
        return value
    detail = f"Give a whole number between -{MAX_SAFE_INTEGER} and {MAX_SAFE_INTEGER}."
    return _Flaw("body-number-refused", detail)


def _float_or_flaw(digits: str) -> float | _Flaw:
    value = float(digits)
    if _is_safe(value):
        return value
    return _Flaw("body-number-refused", "Give a number that a 64-bit float can hold.")


def _constant_flaw(_: str) -> _Flaw:
    return _Flaw("body-number-refused", "Give a finite number; NaN and Infinity are none.")


_CAREFUL = json.JSONDecoder(
    object_pairs_hook=_object_or_flaw,
    parse_int=_integer_or_flaw,
    parse_float=_float_or_flaw,
    parse_constant=_constant_flaw,
)
"""Python's JSON scanner with a hook on all it is too kind to."""


def _decoded(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        detail = f"The body is not UTF-8 from byte {error.start} on."
        raise Refusal("body-not-utf8", detail) from None


def _refuse_flaws(document: object) -> None:
    """Walk the whole document and refuse the first thing that cannot be taken."""
    for path, value in _walk(document):
        if len(path) == MAX_DEPTH and isinstance(value, (dict, list)):
            raise _too_deep()
        if isinstance(value, _Flaw):
            place = path if value.name is None else (*path, value.name)
            _refuse(value.code, value.detail, place)
        for text in _texts(value):
            if not _usable(text):
                detail = "Leave out U+0000 and surrogates that stand alone."
                _refuse("text-refused", detail, path)


def _walk(document: object) -> Iterator[tuple[Path, object]]:
    """Every value with its path, outermost first, without recursion."""
    waiting: list[tuple[Path, object]] = [((), document)]
    while waiting:
        path, value = waiting.pop()
        yield path, value
        if isinstance(value, dict):
            waiting.extend(((*path, name), inner) for name, inner in reversed(value.items()))
        elif isinstance(value, list):
            waiting.extend(((*path, index), inner) for index, inner in enumerate(value))


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from value


def _usable(text: str) -> bool:
    return "\0" not in text and not any("\ud800" <= character <= "\udfff" for character in text)


def _refuse(code: str, detail: str, path: Path) -> NoReturn:
    what = {
        "body-name-repeated": "A name stands twice in one object.",
        "body-number-refused": "A number cannot be taken.",
        "text-refused": "Text holds characters that cannot be kept.",
    }[code]
    raise Refusal(code, what, faults=[FieldFault(detail=detail, path=path, code=code)])


def _empty() -> Refusal:
    return Refusal("body-empty", "The body is empty; a JSON document is needed.")


def _not_json(error: json.JSONDecodeError) -> Refusal:
    # What follows a colon in the reader's message may be a piece of the body.
    words = error.msg.partition(":")[0].removesuffix(" at")
    where = f"line {error.lineno}, column {error.colno}"
    return Refusal("body-not-json", f"Reading stopped at {where}: {words}.")


def _too_deep() -> Refusal:
    return Refusal("body-too-deep", f"The body is nested more than {MAX_DEPTH} levels deep.")


def _too_large(max_bytes: int) -> Refusal:
    return Refusal("body-too-large", f"The body is longer than {max_bytes} bytes.")
