"""What every problem answer must fulfil."""

from __future__ import annotations

import re
from typing import Any

from httpx2 import Response

from tests.web.miniature import PUBLIC_URL


def assert_problem(response: Response, status: int, code: str) -> dict[str, Any]:
    """Check a problem answer against RFC 9457 section 3 and give its members."""
    assert response.status_code == status
    assert response.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = response.json()
    assert problem["type"] == f"{PUBLIC_URL}/problems/{code}"
    assert problem["status"] == status
    assert isinstance(problem["title"], str)
    assert isinstance(problem["detail"], str)
    assert problem["instance"] == f"urn:uuid:{response.headers['request-id']}"
    extensions = set(problem) - {"type", "title", "status", "detail", "instance"}
    # RFC 9457 section 3.2: a letter, then letters, digits and underscores, three or more in all.
    assert all(re.fullmatch(r"[A-Za-z][A-Za-z0-9_]{2,}", name) for name in extensions)
    return problem


def pointers(problem: dict[str, Any]) -> list[str]:
    """The places of a problem's errors."""
    return [error["pointer"] for error in problem["errors"]]
