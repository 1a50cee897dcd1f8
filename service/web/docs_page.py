"""``/docs``: the API description to read and try, with every script served from here."""

from __future__ import annotations

import json
from html import escape
from importlib.util import find_spec
from pathlib import Path

from fastapi import FastAPI
from starlette.responses import HTMLResponse, Response
from starlette.staticfiles import StaticFiles

SCRIPT = "swagger-ui-bundle.js"
STYLE = "swagger-ui.css"

_CSP = (
    # The viewer sets styles on elements from its script, and draws its icons from data: URLs.
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data:; font-src 'self' data:; connect-src 'self'; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
_OPTIONS = {
    "dom_id": "#viewer",
    "deepLinking": True,
    "persistAuthorization": False,
    "tryItOutEnabled": True,
    "validatorUrl": None,
    "defaultModelsExpandDepth": 0,
}


def bundled_assets() -> Path | None:
    """The folder with the viewer's files from the installed asset package, if there is one."""
    found = find_spec("fastapi_swagger")
    if found is None or found.origin is None:
        return None
    folder = Path(found.origin).parent / "resources"
    return folder if (folder / SCRIPT).is_file() and (folder / STYLE).is_file() else None


def install_docs(app: FastAPI, assets: Path) -> None:
    """Serve the viewer at ``/docs`` from the folder ``assets``, reading ``app.openapi_url``.

    Raises ``FileNotFoundError`` if the folder lacks the viewer's script or style.
    """
    for name in (SCRIPT, STYLE):
        if not (assets / name).is_file():
            raise FileNotFoundError(f"{assets} lacks {name}")
    page, start = _page(app.title), _start_script(app.openapi_url or "/openapi.json")

    @app.get("/docs", include_in_schema=False)
    async def docs() -> HTMLResponse:
        return HTMLResponse(page, headers={"Content-Security-Policy": _CSP})

    @app.get("/docs/start.js", include_in_schema=False)
    async def start_script() -> Response:
        return Response(start, media_type="text/javascript")

    app.mount("/docs/assets", StaticFiles(directory=assets), name="docs-assets")


def _page(title: str) -> str:
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title>"
        f'<link rel="icon" href="data:,"><link rel="stylesheet" href="docs/assets/{STYLE}">'
        f'</head><body><main id="viewer"></main><script src="docs/assets/{SCRIPT}"></script>'
        '<script src="docs/start.js"></script></body></html>'
    )


def _start_script(openapi_url: str) -> str:
    # Relative, so that the page also works below a path prefix.
    options = json.dumps({"url": openapi_url.lstrip("/"), **_OPTIONS})
    return f"window.addEventListener('load', () => SwaggerUIBundle({options}));"
