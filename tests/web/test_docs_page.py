"""The page to read and try the API."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from fastapi import FastAPI

from service.web.application import Documentation
from service.web.docs_page import SCRIPT, STYLE, install_docs
from tests.web.miniature import make_app, make_client


@pytest.fixture
def assets(tmp_path: Path) -> Path:
    """A folder with stand-ins for the viewer's files."""
    (tmp_path / SCRIPT).write_text("window.SwaggerUIBundle = () => null;")
    (tmp_path / STYLE).write_text("main{}")
    return tmp_path


def test_page_and_all_it_loads_come_from_here(assets: Path) -> None:
    """Every script, sheet and icon of /docs is served by the service itself, and found."""
    client = make_client(make_app(Documentation(assets=assets)), key=None)
    page = client.get("/docs")
    links = re.findall(r'(?:src|href)="([^"]+)"', page.text)
    assert len(links) == 4
    for link in links:
        assert link == "data:," or client.get(f"/{link}").status_code == 200
    assert "http" not in page.text.lower().replace("http-equiv", "")


def test_policy_admits_no_inline_script(assets: Path) -> None:
    """The page runs under a policy of its own, which loads scripts from here alone."""
    client = make_client(make_app(Documentation(assets=assets)))
    page = client.get("/docs")
    policy = page.headers["content-security-policy"]
    assert "script-src 'self';" in policy
    assert "default-src 'none'" in policy
    assert re.findall(r"<script[^>]*>", page.text) == re.findall(r"<script src=[^>]*>", page.text)
    assert page.headers["x-frame-options"] == "DENY"


def test_viewer_is_pointed_at_the_description(assets: Path) -> None:
    """The start script opens this service's own description, with nothing sent elsewhere."""
    client = make_client(make_app(Documentation(assets=assets)))
    script = client.get("/docs/start.js")
    assert script.headers["content-type"].startswith("text/javascript")
    assert '"url": "openapi.json"' in script.text
    assert '"validatorUrl": null' in script.text


def test_folder_without_the_viewer_is_an_error(tmp_path: Path) -> None:
    """A wrong folder is found when the application is made."""
    with pytest.raises(FileNotFoundError, match=SCRIPT):
        install_docs(FastAPI(), tmp_path)


def test_paths_do_not_lead_out_of_the_assets(assets: Path) -> None:
    """Only the folder's files are served."""
    (assets.parent / "outside.txt").write_text("hush")
    client = make_client(make_app(Documentation(assets=assets)))
    answer = client.get("/docs/assets/%2e%2e/outside.txt")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
