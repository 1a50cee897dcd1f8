"""``/try``: a storefront's developer chooses as a customer would and sees what is sent.

The page is static; its script calls the API as any storefront does, with a key that stays in the
page's memory. It is served where ``/docs`` is: with the setting ``docs``.
"""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import NoReturn

from fastapi import APIRouter
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import Response

from service.demo_artwork import DEMO_ARTWORKS
from service.domain.wishes import Consent
from service.intake.choices import Attribute
from service.intake.rule_views import RULE_CAUTION
from service.web.conditional import etag_for, not_modified
from service.web.docs_page import bundled_assets
from service.web.parts import RoomsPart
from service.web.problems import Refusal

FOLDER = Path(__file__).parent / "static_try"
PAGE = "try.html"

POLICY = (
    # Proofs are fetched with the key and shown from the page's memory: blob. With no trusted type
    # admitted, no text from an answer can become markup or script.
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)

_GROUPS = (
    (Attribute.BLANK, "Blank", "left open"),
    (Attribute.COLOUR, "Colour", "left open"),
    (Attribute.PLACEMENT, "Placement", "left open"),
    (Attribute.METHOD, "Method", "any that works"),
    (Attribute.FILM_COLOUR, "Film colour", "the shop chooses"),
)
_CONSENT_WORDS = {
    Consent.FADED_LOOK: "A faded look, where the cloth has too little polyester",
    Consent.COLOUR_SHIFT: "Colours that differ clearly from the artwork",
}
_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}

router = APIRouter(include_in_schema=False)


@router.get("/try")
async def try_page(request: Request, rooms: RoomsPart) -> Response:
    """The page, open to everyone: it holds no key and no data. 404 where ``docs`` is off."""
    _demand_docs(on=rooms.assembly.settings.docs)
    return _kept(request, try_html(), "text/html", {"Content-Security-Policy": POLICY})


@router.get("/try/{name}")
async def try_file(request: Request, rooms: RoomsPart, name: str) -> Response:
    """A script, sheet or icon of the page; 404 for any other name."""
    _demand_docs(on=rooms.assembly.settings.docs)
    text = _files().get(name)
    if text is None:
        _unknown()
    return _kept(request, text, _TYPES[Path(name).suffix])


@cache
def try_html() -> str:
    """The page as HTML, the same for everyone."""
    templates = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return templates.get_template(PAGE).render(
        demo_ids=[artwork.id for artwork in DEMO_ARTWORKS],
        groups=_GROUPS,
        consents=[(consent.value, words) for consent, words in _CONSENT_WORDS.items()],
        caution=RULE_CAUTION,
        viewer=bundled_assets() is not None,
    )


@cache
def _files() -> dict[str, str]:
    """What the page loads, by name; nothing else in the folder can be asked for."""
    return {
        file.name: file.read_text(encoding="utf-8")
        for file in FOLDER.iterdir()
        if file.suffix in _TYPES
    }


def _kept(
    request: Request, text: str, media_type: str, headers: dict[str, str] | None = None
) -> Response:
    """The text with a tag of its own, to be asked for again before each use."""
    mark = sha256(text.encode()).hexdigest()[:32]
    every = {"ETag": etag_for(mark), "Cache-Control": "no-cache", **(headers or {})}
    unchanged = not_modified(request, mark)
    if unchanged is not None:
        unchanged.headers.update(every)
        return unchanged
    return Response(text, headers=every, media_type=media_type)


def _demand_docs(*, on: bool) -> None:
    if not on:
        _unknown()


def _unknown() -> NoReturn:
    raise Refusal("path-unknown", "No operation has this path.")
