"""Routes as they are served: their full templates, and what they depend on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi.routing import RouteContext, iter_route_contexts
from starlette.routing import compile_path
from starlette.types import Scope

UNROUTED = "-"
"""Stands for a request that no route took."""


def route_template(scope: Scope) -> str:
    """The full path template of the route chosen for ``scope``, such as ``/v1/quotes/{quote_id}``.

    A router that was included under a prefix keeps its own path without it, so the candidates are
    looked up by their endpoint.
    """
    endpoint = scope.get("endpoint")
    if endpoint is None:
        return UNROUTED
    templates = templates_of(scope["app"]).get(endpoint, [])
    if len(templates) == 1:
        return templates[0]
    path = scope["path"]
    return next((one for one in templates if compile_path(one)[0].match(path)), UNROUTED)


def documented_routes(app: Any) -> Iterator[RouteContext]:  # noqa: ANN401 - app or router
    """Every route of ``app`` with what its including routers add to it."""
    return iter_route_contexts(app.routes)


def dependency_calls(route: RouteContext) -> Iterator[Any]:
    """Every callable that ``route`` depends on, directly or through others."""
    waiting = [route.dependant]
    while waiting:
        dependant = waiting.pop()
        yield dependant.call
        waiting.extend(dependant.dependencies)


def templates_of(app: Any) -> dict[Any, list[str]]:  # noqa: ANN401 - a FastAPI application
    """Full path templates by endpoint, worked out when first asked for, which takes a while."""
    known: dict[Any, list[str]] | None = getattr(app.state, "route_templates", None)
    if known is None:
        known = {}
        for route in documented_routes(app):
            if route.endpoint is not None and route.path is not None:
                known.setdefault(route.endpoint, []).append(route.path)
        app.state.route_templates = known
    return known
