"""The pages that problem types lead to."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser

import pytest
from starlette.testclient import TestClient

from service.web.problem_kinds import KINDS
from service.web.problem_pages import problem_page
from tests.web.checks import assert_problem


@pytest.mark.parametrize("code", KINDS)
def test_each_type_leads_to_its_page(stranger: TestClient, code: str) -> None:
    """The address in ``type`` is a page in a stated language that needs no key."""
    answer = stranger.get(f"/problems/{code}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert '<html lang="en">' in answer.text
    assert str(KINDS[code].status) in answer.text


def test_index_lists_every_kind(stranger: TestClient) -> None:
    """The index links to each page."""
    links = re.findall(r'href="problems/([^"]+)"', stranger.get("/problems").text)
    assert links == list(KINDS)


def test_unknown_page_is_a_problem(stranger: TestClient) -> None:
    """A page that does not exist is a 404, and its name is not repeated."""
    answer = stranger.get("/problems/<script>")
    assert_problem(answer, 404, "path-unknown")
    assert "script" not in answer.text
    with pytest.raises(KeyError):
        problem_page("<script>")


class Tags(HTMLParser):
    """Notes the tags of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note one tag."""
        del attrs
        self.seen.add(tag)


def test_page_fetches_nothing(stranger: TestClient) -> None:
    """No script, picture or sheet is loaded, and the policy admits this page's style alone."""
    answer = stranger.get("/problems/conflict")
    parser = Tags()
    parser.feed(answer.text)
    assert not {"script", "link", "img", "iframe"} & parser.seen
    [style] = re.findall("<style>(.*)</style>", answer.text)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in answer.headers["content-security-policy"]
