"""Who a request is: its id and its place in a trace (W3C Trace Context, level 2)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, MutableMapping
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any
from uuid import UUID

RequestIds = Callable[[], UUID]
"""Gives a new random UUID for each call."""

_TRACEPARENT = re.compile(r"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(-.*)?")
_SAMPLED, _RANDOM = 0x01, 0x02


@dataclass(frozen=True, slots=True)
class TraceParent:
    """A parsed ``traceparent``: lower-case hex ids and the flag bits."""

    trace_id: str
    parent_id: str
    flags: int

    @property
    def sampled(self) -> bool:
        """Whether the caller may have recorded the trace (bit 0)."""
        return bool(self.flags & _SAMPLED)


def parse_traceparent(values: Iterable[str]) -> TraceParent | None:
    """The trace in the ``traceparent`` headers ``values``, or None unless exactly one is valid.

    Version ``ff``, all-zero ids and upper case are invalid. Of a version above 00 the first 55
    characters count, and anything longer goes on with a hyphen.
    """
    headers = list(values)
    match = _TRACEPARENT.fullmatch(headers[0]) if len(headers) == 1 else None
    if match is None:
        return None
    version, trace_id, parent_id, flags, rest = match.groups()
    if version == "ff" or (version == "00" and rest is not None):
        return None
    if not trace_id.strip("0") or not parent_id.strip("0"):
        return None
    return TraceParent(trace_id, parent_id, int(flags, 16))


@dataclass(frozen=True, slots=True)
class RequestMark:
    """The id of a request, and the trace and span it is handled under."""

    request_id: UUID
    trace_id: str
    span_id: str
    flags: int

    @property
    def traceparent(self) -> str:
        """The header to send on, with this request as the parent (version 00)."""
        return f"00-{self.trace_id}-{self.span_id}-{self.flags:02x}"


def make_mark(new_id: RequestIds, traceparents: Iterable[str]) -> RequestMark:
    """A mark for a new request: the caller's trace goes on if valid, else a new one starts."""
    parent = parse_traceparent(traceparents)
    trace_id = parent.trace_id if parent else new_id().hex
    request_id = new_id()
    # Only the two flags that level 2 defines may be passed on.
    flags = parent.flags & (_SAMPLED | _RANDOM) if parent else _RANDOM
    # The span is of this request alone, so half of its id, which is as random, names it too.
    return RequestMark(request_id, trace_id, request_id.hex[16:], flags)


_UNMARKED = RequestMark(UUID(int=0), "", "", 0)
MARK: ContextVar[RequestMark] = ContextVar("request_mark", default=_UNMARKED)
"""The mark of the request being handled; ids are zero or empty outside a request."""


def current_mark() -> RequestMark:
    """The mark of the request being handled, also in threads that the request started."""
    return MARK.get()


def add_mark(_logger: object, _method: str, event: MutableMapping[str, Any]) -> Mapping[str, Any]:
    """A structlog processor: puts the ids of the request being handled, if any, into a line."""
    mark = MARK.get()
    if mark is not _UNMARKED:
        if "request_id" not in event:
            event["request_id"] = str(mark.request_id)
        event.setdefault("trace_id", mark.trace_id)
    return event
