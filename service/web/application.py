"""The bare application: everything that holds for each operation, and no operation yet."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from fastapi import APIRouter, FastAPI

from service import __version__
from service.settings import Settings
from service.web.auth import KeyCache, KeyLookup
from service.web.docs_page import bundled_assets, install_docs
from service.web.examples import Example
from service.web.health import Check, health_router
from service.web.middleware import surround
from service.web.openapi import DESCRIPTION, WebhookDoc, customise_openapi, operation_id
from service.web.problem_pages import problem_pages_router
from service.web.problems import install_problem_handlers
from service.web.request_mark import RequestIds
from service.web.strict_route import StrictRoute

_FORM_OVERHEAD_BYTES = 65_536
"""Room for the boundaries and small fields around an upload."""


@dataclass(frozen=True, slots=True)
class Documentation:
    """What the API description shows besides the operations.

    ``assets`` is the folder with the viewer's files for ``/docs``; without it the installed asset
    package is used, and without that there is no ``/docs``.
    """

    examples: Sequence[Example] = ()
    webhooks: Sequence[WebhookDoc] = ()
    assets: Path | None = None


_UNDOCUMENTED = Documentation()


def create_base_app(
    settings: Settings,
    *,
    request_ids: RequestIds,
    clock: Callable[[], datetime],
    find_key: KeyLookup,
    checks: Mapping[str, Check],
    documentation: Documentation = _UNDOCUMENTED,
    lifespan: Any = None,  # noqa: ANN401 - the framework's own union of lifespan kinds
) -> FastAPI:
    """An application with problem documents, marks, headers, log, keys, probes and description.

    Routers made by ``new_router`` are included into it. ``request_ids`` gives random UUIDs,
    ``clock`` the time in UTC, ``find_key`` a key in force, and ``checks`` what ``/readyz`` asks.
    """
    app = FastAPI(
        title="Garment intake",
        summary="Order intake for a custom garment decorator",
        description=DESCRIPTION,
        version=__version__,
        servers=[{"url": settings.public_url}],
        openapi_url="/openapi.json" if settings.docs else None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        generate_unique_id_function=operation_id,
        middleware=surround(request_ids, _largest_body(settings)),
        lifespan=lifespan,
        # The framework's telemetry would carry bodies and messages of exceptions outside.
        telemetry={"tracing": False, "metrics": False, "logs": False, "auto_configure": False},
    )
    app.state.max_body_bytes = settings.max_body_bytes
    app.state.keys = KeyCache(find_key, clock)
    install_problem_handlers(app, settings.public_url)
    app.include_router(health_router(checks))
    app.include_router(problem_pages_router())
    customise_openapi(app, examples=documentation.examples, webhooks=documentation.webhooks)
    _install_docs(app, settings, documentation.assets)
    return app


def new_router(tag: str, prefix: str = "") -> APIRouter:
    """A router whose operations carry ``tag`` and read their bodies strictly."""
    return APIRouter(prefix=prefix, tags=[tag], route_class=StrictRoute)


def _largest_body(settings: Settings) -> int:
    return max(settings.max_body_bytes, settings.max_upload_bytes + _FORM_OVERHEAD_BYTES)


def _install_docs(app: FastAPI, settings: Settings, assets: Path | None) -> None:
    folder = assets or bundled_assets()
    if settings.docs and folder is not None:
        install_docs(app, folder)
