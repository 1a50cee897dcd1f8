"""What surrounds every request, as plain ASGI: id and trace, headers, log line, last resort.

``surround`` gives the layers in their order, outermost first. The layer for uncaught exceptions
lies inside those that set headers, so that even a bare 500 carries the request id and the security
headers; the framework's own handler for ``Exception`` runs outside of them all.
"""

from __future__ import annotations

import itertools
import time
import traceback
from collections.abc import Awaitable, Callable, Iterator, Mapping
from pathlib import Path

import structlog
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

import service
from service.web.problem_kinds import KINDS
from service.web.problems import internal_fault, problem_response
from service.web.request_mark import MARK, RequestIds, current_mark, make_mark
from service.web.routes import route_template

SECURITY_HEADERS: Mapping[str, str] = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "content-security-policy": "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; "
    "form-action 'none'",
}
"""Set on each answer unless the answer sets its own; pages that need more send their own CSP."""

_RAW_SECURITY_HEADERS = [
    (name.encode(), value.encode()) for name, value in SECURITY_HEADERS.items()
]

QUIET_PATHS = frozenset({"/livez", "/readyz"})
"""Probes, which stay out of the access log."""

_MOST_CAUSES, _MOST_LINES = 5, 8
_OUR_FOLDER = str(Path(service.__file__).parent)

_log = structlog.get_logger("service.web")


def surround(request_ids: RequestIds, max_bytes: int) -> list[Middleware]:
    """All layers, outermost first. No request body of more than ``max_bytes`` gets through."""
    return [
        Middleware(StandingHeaders, request_ids=request_ids),
        Middleware(AccessLog),
        Middleware(UncaughtFaults),
        Middleware(UsableAddress),
        Middleware(BodyCap, max_bytes=max_bytes),
        Middleware(HeadAsGet),
    ]


class _Layer:
    """One layer around HTTP requests; everything else passes through."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    def __call__(self, scope: Scope, receive: Receive, send: Send) -> Awaitable[None]:
        """Handle an HTTP request, or pass on what is none."""
        # Without a coroutine of its own, through which each message would go once more.
        handle = self._handle if scope["type"] == "http" else self._app
        return handle(scope, receive, send)

    def _handle(self, scope: Scope, receive: Receive, send: Send) -> Awaitable[None]:
        return self._app(scope, receive, send)


class StandingHeaders(_Layer):
    """Gives each request its mark, and each answer ``SECURITY_HEADERS`` and ``request-id``.

    Headers that an answer sets itself are left. A ``request-id`` sent by the caller is not taken
    over: it is nobody's word.
    """

    def __init__(self, app: ASGIApp, request_ids: RequestIds) -> None:
        super().__init__(app)
        self._request_ids = request_ids

    async def _handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        mark = make_mark(self._request_ids, _sent(scope, b"traceparent"))
        standing = (*_RAW_SECURITY_HEADERS, (b"request-id", str(mark.request_id).encode()))

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                present = {name for name, _ in message["headers"]}
                added = [pair for pair in standing if pair[0] not in present]
                message["headers"] = [*message["headers"], *added]
            await send(message)

        token = MARK.set(mark)
        try:
            await self._app(scope, receive, sending)
        finally:
            MARK.reset(token)


class AccessLog(_Layer):
    """One line a request: route template, method, status, duration; no address, body or key."""

    def __init__(self, app: ASGIApp, timer: Callable[[], float] = time.perf_counter) -> None:
        """``timer`` gives seconds from any fixed point."""
        super().__init__(app)
        self._timer = timer

    async def _handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["path"] in QUIET_PATHS:
            await self._app(scope, receive, send)
            return
        started = self._timer()
        status = 0

        async def watched(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self._app(scope, receive, watched)
        finally:
            self._write(scope, status, self._timer() - started)

    def _write(self, scope: Scope, status: int, duration_s: float) -> None:
        mark = current_mark()
        _log.info(
            "request",
            method=scope["method"],
            route=route_template(scope),
            status=int(status),
            duration_ms=round(duration_s * 1_000, 2),
            request_id=str(mark.request_id),
            trace_id=mark.trace_id,
        )


class UncaughtFaults(_Layer):
    """Answers whatever nobody caught with a bare 500, and logs where it came from.

    The log gets the kinds of the exceptions and the lines they passed, not their messages: those
    may quote what a customer sent.
    """

    async def _handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        started = False

        async def watched(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self._app(scope, receive, watched)
        except ClientDisconnect:
            _log.info("caller left", request_id=str(current_mark().request_id))
        except Exception as error:
            _log_fault(error)
            if started:
                raise  # the server must break off an answer that cannot be finished
            await internal_fault(scope["app"].state.public_url)(scope, receive, send)


class UsableAddress(_Layer):
    """Refuses U+0000 in path and query, which no store can look up."""

    def _handle(self, scope: Scope, receive: Receive, send: Send) -> Awaitable[None]:
        if _holds_nul(scope):
            detail = "The address holds U+0000; leave it out."
            return _problem(scope, "text-refused", detail)(scope, receive, send)
        return self._app(scope, receive, send)


class BodyCap(_Layer):
    """The last limit on any request body, whatever reads it."""

    def __init__(self, app: ASGIApp, max_bytes: int) -> None:
        super().__init__(app)
        self._max_bytes = max_bytes

    def _handle(self, scope: Scope, receive: Receive, send: Send) -> Awaitable[None]:
        declared = next(iter(_sent(scope, b"content-length")), "")
        if declared.isdecimal() and int(declared) > self._max_bytes:
            detail = f"The body is longer than {self._max_bytes} bytes."
            return _problem(scope, "body-too-large", detail)(scope, receive, send)
        received = 0

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > self._max_bytes:
                # The framework lets this one kind pass while it reads a body.
                raise HTTPException(413)
            return message

        return self._app(scope, counted, send)


class HeadAsGet(_Layer):
    """Answers HEAD as GET without the body (RFC 9110 section 9.3.2)."""

    def _handle(self, scope: Scope, receive: Receive, send: Send) -> Awaitable[None]:
        handle = self._bodiless if scope["method"] == "HEAD" else self._app
        return handle(scope, receive, send)

    async def _bodiless(self, scope: Scope, receive: Receive, send: Send) -> None:
        inner = {**scope, "method": "GET"}

        async def bodiless(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        try:
            await self._app(inner, receive, bodiless)
        finally:
            scope.update({name: inner[name] for name in ("route", "endpoint") if name in inner})


def _sent(scope: Scope, header: bytes) -> list[str]:
    """The values of a header, named in lower case as servers hand them over."""
    return [value.decode("latin-1") for name, value in scope["headers"] if name == header]


def _problem(scope: Scope, code: str, detail: str) -> Response:
    return problem_response(scope["app"].state.public_url, KINDS[code], detail)


def _holds_nul(scope: Scope) -> bool:
    return "\0" in scope["path"] or b"%00" in scope["query_string"]


def _log_fault(error: BaseException) -> None:
    mark = current_mark()
    chain = list(itertools.islice(_causes(error), _MOST_CAUSES))
    _log.error(
        "uncaught fault",
        kinds=[type(one).__qualname__ for one in chain],
        lines=[line for one in chain for line in _innermost_lines(one)],
        request_id=str(mark.request_id),
        trace_id=mark.trace_id,
    )


def _innermost_lines(error: BaseException) -> list[str]:
    """Where it happened: the innermost frames of this package, and the very last frame."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames[:-1] if frame.filename.startswith(_OUR_FOLDER)][-_MOST_LINES:]
    return [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in (*ours, *frames[-1:])]


def _causes(error: BaseException) -> Iterator[BaseException]:
    """``error`` and what led to it, outermost first."""
    seen: BaseException | None = error
    while seen is not None:
        yield seen
        seen = seen.__cause__ or (None if seen.__suppress_context__ else seen.__context__)
