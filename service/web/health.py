"""Probes: ``/livez`` says that the process runs, ``/readyz`` that it can do its work.

The document follows the health+json draft (inadarei-06): ``checks`` maps ``component:measurement``
to a list. Whoever probes judges by the status code; nothing tells strangers versions or hosts.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable, Mapping
from http import HTTPStatus

import structlog
from fastapi import APIRouter
from starlette.responses import Response

HEALTH_MEDIA_TYPE = "application/health+json"
CHECK_TIMEOUT_S = 2.0

Check = Callable[[], Awaitable[bool]]
"""Whether one thing that the service needs is well; an exception counts as no."""

_log = structlog.get_logger("service.web")


def health_router(checks: Mapping[str, Check], *, timeout_s: float = CHECK_TIMEOUT_S) -> APIRouter:
    """The two probes. ``checks`` are run together by ``/readyz``, each within ``timeout_s``.

    Their names are ``component:measurement``, such as ``store:answers``.
    """
    router = APIRouter(tags=["health"])

    @router.get("/livez", response_class=_HealthResponse, summary="Whether the process runs")
    async def livez() -> Response:
        """Answers 200 as long as the process can answer at all."""
        return _answer(HTTPStatus.OK, {"status": "pass"})

    @router.get(
        "/readyz",
        response_class=_HealthResponse,
        summary="Whether the service can do its work",
        responses={503: {"description": "A check fails", "content": {HEALTH_MEDIA_TYPE: {}}}},
    )
    async def readyz() -> Response:
        """Answers 200 if every check passes, else 503; the checks say which one."""
        outcomes = await asyncio.gather(*(_passes(n, c, timeout_s) for n, c in checks.items()))
        statuses = dict(zip(checks, map(_word, outcomes), strict=True))
        status = HTTPStatus.OK if all(outcomes) else HTTPStatus.SERVICE_UNAVAILABLE
        document = {
            "status": _word(all(outcomes)),
            "checks": {name: [{"status": word}] for name, word in statuses.items()},
        }
        return _answer(status, document)

    return router


class _HealthResponse(Response):
    media_type = HEALTH_MEDIA_TYPE


async def _passes(name: str, check: Check, timeout_s: float) -> bool:
    try:
        async with asyncio.timeout(timeout_s):
            return await check()
    except Exception as error:  # noqa: BLE001 - whatever goes wrong, the check has failed
        _log.warning("check failed", check=name, kind=type(error).__qualname__)
        return False


def _word(passes: bool) -> str:  # noqa: FBT001 - the one thing it turns into a word
    return "pass" if passes else "fail"


def _answer(status: HTTPStatus, document: object) -> Response:
    return _HealthResponse(json.dumps(document), status_code=status)
