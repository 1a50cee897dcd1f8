"""How a bench page is made: templates, what every page shows, its headers, and pages of refusal."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from service.render.pages import drawing
from service.web.bench.session import Visit, root_of
from service.web.bench.words import FILTERS

FOLDER: Final = Path(__file__).parent
ASSETS: Final[Mapping[str, str]] = {
    "bench.css": "text/css",
    "bench.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}
"""Files of the pages, with their media types."""

MENU: Final = (
    ("Queue", "/bench"),
    ("Picking", "/bench/picking"),
    ("Runs", "/bench/runs"),
    ("Stock", "/bench/stock"),
    ("Schedule", "/bench/schedule"),
    ("Deliveries", "/bench/deliveries"),
)

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)

_NOT_IN_HTML = re.compile(
    "[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\\ud800-\\udfff\\ufdd0-\\ufdef"
    + "".join(
        f"{chr(plane + 0xFFFE)}{chr(plane + 0xFFFF)}" for plane in range(0, 0x110000, 0x10000)
    )
    + "]"
)
"""Controls, halves of surrogate pairs and noncharacters (HTML standard, section 13.2.3.5)."""


@cache
def asset(name: str) -> bytes:
    """The bytes of one of ``ASSETS``; KeyError for any other name."""
    if name not in ASSETS:
        raise KeyError(name)
    return (FOLDER / "static" / name).read_bytes()


@cache
def asset_mark(name: str) -> str:
    """A mark of an asset's bytes, which stands in its address: a changed one is fetched anew."""
    return hashlib.sha256(asset(name)).hexdigest()[:12]


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(FOLDER / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters.update(FILTERS)
    environment.filters["drawing"] = drawing
    environment.globals["asset_mark"] = asset_mark
    return environment


def bench_page(
    request: Request,
    template: str,
    visit: Visit | None,
    *,
    status: int = 200,
    **values: Any,  # noqa: ANN401 - whatever the template shows
) -> HTMLResponse:
    """The page made of a template; ``visit`` is None before anyone has signed in.

    It may load nothing but the service's own files, and nobody keeps it.
    """
    html = (
        _environment()
        .get_template(template)
        .render(root=root_of(request), menu=MENU, path=request.url.path, visit=visit, **values)
    )
    headers = {"Content-Security-Policy": POLICY, "Cache-Control": "no-store"}
    return HTMLResponse(_showable(html), status, headers=headers)


def _showable(html: str) -> str:
    """The page with what HTML does not allow in a text written out: ``[U+0007]``."""
    return _NOT_IN_HTML.sub(lambda found: f"[U+{ord(found[0]):04X}]", html)


def refusal_page(
    request: Request,
    visit: Visit | None,
    *,
    status: int,
    title: str,
    detail: str,
    typed: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """A page that says what could not be done; ``typed`` is shown again, so nothing is lost."""
    return bench_page(
        request,
        "refusal.html",
        visit,
        status=status,
        title=title,
        detail=detail,
        typed=typed or {},
    )
