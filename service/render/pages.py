"""Pages from templates: everything is escaped, nothing is fetched, and the style stands inside."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from service.render.placement_svg import placement_svg
from service.render.plain_text import plain_text

_FOLDER = Path(__file__).parent / "templates"


@dataclass(frozen=True, slots=True)
class StyledPage:
    """A whole page, and the SHA-256 of the one style it may use, in Base64, for its policy."""

    html: str
    style_sha256: str


@cache
def _templates() -> Environment:
    made = Environment(
        loader=FileSystemLoader(_FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=False,
    )
    made.filters["plain"] = plain_text
    made.filters["base64"] = _base64
    made.filters["drawing"] = drawing
    return made


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def drawing(scene: Any) -> Markup:  # noqa: ANN401 (the filter is given what the template holds)
    """The scene as an element; its words are escaped where it is drawn."""
    return Markup(placement_svg(scene))  # noqa: S704 (made by us, words escaped)


@cache
def _style(name: str) -> str:
    return (_FOLDER / f"{name}.css").read_text(encoding="utf-8")


def page_of(name: str, **what: Any) -> StyledPage:  # noqa: ANN401 (templates take anything)
    """The page of that template with its own style."""
    style = _style(name)
    html = (
        _templates()
        .get_template(f"{name}.html")
        .render(
            style=Markup(style),  # noqa: S704 (our own file)
            **what,
        )
    )
    digest = hashlib.sha256(style.encode()).digest()
    return StyledPage(html, base64.b64encode(digest).decode("ascii"))
