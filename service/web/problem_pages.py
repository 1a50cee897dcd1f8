"""The pages that problem types lead to: small HTML, with nothing fetched from elsewhere."""

from __future__ import annotations

import base64
import hashlib
from html import escape

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from service.web.problem_kinds import KINDS, ProblemKind
from service.web.problems import Refusal

_STYLE = (
    "body{font:1rem/1.5 sans-serif;max-width:40rem;margin:2rem auto;padding:0 1rem;"
    "color:#1b1b1b;background:#fff}code{background:#eee;padding:0 .2em}"
)
_STYLE_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
_HEADERS = {
    "Cache-Control": "public, max-age=3600",
    "Content-Security-Policy": f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
}


def problem_page(code: str) -> str:
    """The page of the kind ``code`` as HTML; raises ``KeyError`` for an unknown code."""
    kind = KINDS[code]
    return _page(
        kind.title,
        f"<p>Code <code>{escape(kind.code)}</code>, HTTP status {kind.status}</p>"
        f"<p>{escape(kind.explanation)}</p>"
        f"<h2>What to do</h2><p>{escape(kind.remedy)}</p>"
        '<p><a href="../problems">All problems</a></p>',
    )


def problem_index() -> str:
    """The page that lists every kind, by status."""
    return _page("Problems", "<ul>" + "".join(map(_index_row, KINDS.values())) + "</ul>")


def problem_pages_router() -> APIRouter:
    """Routes for the index and for each page; open to everyone, outside the API description."""
    router = APIRouter(include_in_schema=False)

    @router.get("/problems")
    async def index() -> HTMLResponse:
        return HTMLResponse(problem_index(), headers=_HEADERS)

    @router.get("/problems/{code}")
    async def page(code: str) -> HTMLResponse:
        if code not in KINDS:
            raise Refusal("path-unknown", "There is no problem of that name.")
        return HTMLResponse(problem_page(code), headers=_HEADERS)

    return router


def _index_row(kind: ProblemKind) -> str:
    link = f'<a href="problems/{escape(kind.code)}">{escape(kind.code)}</a>'
    return f"<li>{kind.status} {link}: {escape(kind.title)}</li>"


def _page(title: str, content: str) -> str:
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{_STYLE}</style></head><body><main><h1>{escape(title)}</h1>{content}</main>"
        "</body></html>"
    )
