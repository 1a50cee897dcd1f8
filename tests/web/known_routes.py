"""Routes worked out once for all applications: what a router becomes where it is included.

The framework works them out anew for each application, when the first request comes, which takes
longer than most tests. The routers of the operations are the same for all, and so is what becomes
of them where they are included alike.
"""

from __future__ import annotations

from dataclasses import replace

from fastapi import FastAPI
from fastapi.routing import _IncludedRouter

from service.web.app import ROUTERS

_known: list[_IncludedRouter] = []


def take_known_routes(app: FastAPI) -> None:
    """Give the application's operations what was worked out for an application before.

    Overriding a dependency of the application has no effect on them.
    """
    operations = {id(router) for router in ROUTERS}
    for included in app.router.routes:
        if isinstance(included, _IncludedRouter) and id(included.original_router) in operations:
            known = _known_as(included)
            included._effective_candidates = known.effective_candidates()
            included._effective_candidates_version = known._effective_candidates_version


def _known_as(included: _IncludedRouter) -> _IncludedRouter:
    context = replace(included.include_context, dependency_overrides_provider=None)
    for known in _known:
        if known.include_context == context:
            return known
    known = replace(included, include_context=context)
    _known.append(known)
    return known
