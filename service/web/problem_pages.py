"""The pages that problem types lead to: small HTML, with nothing fetched from elsewhere."""

from __future__ import annotations

from html import escape

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from service.web.pages import page, page_answer
from service.web.problem_kind import ProblemKind
from service.web.problem_kinds import KINDS
from service.web.problems import Refusal


def problem_page(code: str) -> str:
    """The page of the kind ``code`` as HTML; raises ``KeyError`` for an unknown code."""
    kind = KINDS[code]
    return page(
        kind.title,
        f"<p>Code <code>{escape(kind.code)}</code>, HTTP status {kind.status}</p>"
        f"<p>{escape(kind.explanation)}</p>"
        f"<h2>What to do</h2><p>{escape(kind.remedy)}</p>"
        '<p><a href="../problems">All problems</a></p>',
    )


def problem_index() -> str:
    """The page that lists every kind, by status."""
    return page("Problems", "<ul>" + "".join(map(_index_row, KINDS.values())) + "</ul>")


def problem_pages_router() -> APIRouter:
    """Routes for the index and for each page; open to everyone, outside the API description."""
    router = APIRouter(include_in_schema=False)

    @router.get("/problems")
    async def index() -> HTMLResponse:
        return page_answer(problem_index())

    @router.get("/problems/{code}")
    async def one(code: str) -> HTMLResponse:
        if code not in KINDS:
            raise Refusal("path-unknown", "There is no problem of that name.")
        return page_answer(problem_page(code))

    return router


def _index_row(kind: ProblemKind) -> str:
    link = f'<a href="problems/{escape(kind.code)}">{escape(kind.code)}</a>'
    return f"<li>{kind.status} {link}: {escape(kind.title)}</li>"
