"""What the pages for people share: their look, and headers that let them load nothing else."""

from __future__ import annotations

import base64
import hashlib

from starlette.responses import HTMLResponse

from service.render.html_page import html_page

_STYLE = (
    "body{font:1rem/1.5 sans-serif;max-width:40rem;margin:2rem auto;padding:0 1rem;"
    "color:#1b1b1b;background:#fff}code{background:#eee;padding:0 .2em}"
    "table{border-collapse:collapse}th,td{text-align:left;padding:.2em .8em .2em 0;"
    "border-bottom:1px solid #bbb}"
)
_STYLE_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
_POLICY = (
    f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)


def page(title: str, content: str) -> str:
    """A page of the service: ``title`` is plain text, ``content`` HTML."""
    return html_page(title, content, style=_STYLE)


def page_answer(html: str, *, kept_s: int = 3_600) -> HTMLResponse:
    """The answer with a page made by :func:`page`, which anyone may keep for ``kept_s`` seconds."""
    headers = {"Cache-Control": f"public, max-age={kept_s}", "Content-Security-Policy": _POLICY}
    return HTMLResponse(html, headers=headers)
