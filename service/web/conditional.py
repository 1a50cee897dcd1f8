"""Entity tags and preconditions: RFC 9110 sections 8.8.3 and 13, RFC 6585 section 3.

A thing's ETag is its version number in quotes, always strong. Preconditions are judged after the
ordinary checks of a request and before its content is acted on (section 13.2.1).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated

from fastapi import Depends, Header
from starlette.requests import Request
from starlette.responses import Response

from service.web.field_words import FaultEntry
from service.web.problems import Refusal

_TAG = re.compile(r'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')
_TAG_LIST = re.compile(
    rf"(?:[ \t]*,)*[ \t]*{_TAG.pattern}(?:[ \t]*,[ \t]*(?:{_TAG.pattern})?)*[ \t]*"
)


@dataclass(frozen=True, slots=True)
class EntityTag:
    """An entity tag: its opaque text without quotes, and whether it is weak."""

    opaque: str
    weak: bool = False


def etag_for(version: int | str) -> str:
    """The ETag of version ``version``, as it stands in the header: ``"7"``."""
    return f'"{version}"'


def parse_tags(values: Sequence[str]) -> tuple[EntityTag, ...] | None:
    """The tags in If-Match or If-None-Match headers; None for ``*``.

    Raises ``ValueError`` if they are neither.
    """
    joined = ", ".join(values).strip()
    if joined == "*":
        return None
    if _TAG_LIST.fullmatch(joined) is None:
        raise ValueError("not a list of entity tags")
    return tuple(EntityTag(tag[2], weak=bool(tag[1])) for tag in _TAG.finditer(joined))


def is_unchanged(if_none_match: Sequence[str], version: int | str) -> bool:
    """Whether the caller of a GET has ``version`` already: weak comparison (section 13.1.2).

    A header that cannot be read is ignored: the caller then gets the full answer.
    """
    if not if_none_match:
        return False
    try:
        tags = parse_tags(if_none_match)
    except ValueError:
        return False
    return tags is None or any(tag.opaque == str(version) for tag in tags)


def not_modified(request: Request, version: int | str) -> Response | None:
    """The 304 to send instead of version ``version``, if the caller has it already."""
    if not is_unchanged(request.headers.getlist("if-none-match"), version):
        return None
    return Response(status_code=HTTPStatus.NOT_MODIFIED, headers={"ETag": etag_for(version)})


@dataclass(frozen=True, slots=True)
class Precondition:
    """What If-Match asks for: any of ``versions``; None lets every version pass (``*``)."""

    versions: frozenset[int] | None

    def allows(self, version: int) -> bool:
        """Whether the method may run on ``version``."""
        return self.versions is None or version in self.versions

    def check(self, version: int) -> None:
        """Raise ``Refusal`` (412) unless the method may run on ``version``."""
        if not self.allows(version):
            raise precondition_failed()


def precondition_failed() -> Refusal:
    """The 412, also for a writer that lost the race between reading and writing."""
    detail = "It has changed since it was read, so nothing was done. Read it again."
    return Refusal("precondition-failed", detail)


def parse_if_match(values: Sequence[str]) -> Precondition:
    """The precondition in the If-Match header ``values``.

    The comparison is strong: a weak tag never matches, and neither does one that is no version of
    ours. Raises ``Refusal``: 428 without the header, 400 if it cannot be read.
    """
    if not values:
        detail = "Read the thing first and send its ETag in the header If-Match."
        raise Refusal("precondition-missing", detail, entries=[_entry("missing", detail)])
    try:
        tags = parse_tags(values)
    except ValueError:
        detail = 'Give * or quoted entity tags, such as "7".'
        raise Refusal(
            "precondition-malformed", detail, entries=[_entry("wrong-form", detail)]
        ) from None
    if tags is None:
        return Precondition(None)
    strong = (tag.opaque for tag in tags if not tag.weak)
    return Precondition(frozenset(int(opaque) for opaque in strong if _is_version(opaque)))


async def read_if_match(
    request: Request,
    _: Annotated[
        str | None,
        Header(alias="If-Match", description='The ETag of the state that was read, such as "7".'),
    ] = None,
) -> Precondition:
    """The request's precondition, as ``parse_if_match`` has it."""
    return parse_if_match(request.headers.getlist("if-match"))


IfMatch = Annotated[Precondition, Depends(read_if_match)]
"""The precondition of the request, for a handler's signature; the header is demanded."""


def _is_version(opaque: str) -> bool:
    # Exactly as etag_for writes it: no sign, no leading zero, and short enough to convert.
    return re.fullmatch(r"[1-9][0-9]{0,17}|0", opaque) is not None


def _entry(code: str, detail: str) -> FaultEntry:
    return FaultEntry("header", "If-Match", code, detail)
