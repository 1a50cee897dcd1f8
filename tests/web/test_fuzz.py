"""Whatever is sent, the answer is a success or a problem document, and never a 500."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tests.web.miniature import PUBLIC_URL

FUZZ = settings(
    max_examples=50,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
FIELDS = ["pieces", "width_mm", "price", "rush", "day", "finish", "sizes", "parts", "note", "odd"]
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["patch", "label", "plain", "1.10", "2024-02-29", "XL", "\0", "\ud800"])
)
NAMES = st.sampled_from([*FIELDS, "kind", "words", "XL", "xl"]) | st.text(max_size=3)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES, inner, max_size=4),
    max_leaves=12,
)
BODIES = st.dictionaries(st.sampled_from(FIELDS), VALUES, max_size=6).map(json.dumps)
PATHS = st.sampled_from(["/v1/samples", "/v1/samples/repeatable", "/v1/samples/optional"])


def assert_answered(answer: Any) -> None:
    """Check that an answer is a success, or a problem whose shape holds."""
    if answer.status_code < 400:
        return
    assert answer.status_code < 500
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == answer.status_code
    assert problem["type"].startswith(f"{PUBLIC_URL}/problems/")
    for error in problem.get("errors", ()):
        assert len({"pointer", "parameter", "header"} & set(error)) == 1
        assert error["detail"]


@FUZZ
@given(path=PATHS, body=BODIES)
def test_documents_of_any_values(client: TestClient, path: str, body: str) -> None:
    """Bodies that look right and hold anything, NaN and lone surrogates included."""
    headers = {"Content-Type": "application/json", "Idempotency-Key": "x" * 20}
    assert_answered(client.post(path, content=body.encode(), headers=headers))


@FUZZ
@given(
    path=PATHS,
    body=st.binary(max_size=80)
    | BODIES.map(str.encode).flatmap(
        lambda raw: st.integers(0, len(raw)).map(lambda cut: raw[:cut])
    ),
    content_type=st.sampled_from(["application/json", "text/plain", "multipart/form-data", ""]),
)
def test_bodies_of_any_bytes(client: TestClient, path: str, body: bytes, content_type: str) -> None:
    """Bodies of any bytes, and documents that break off, declared as anything."""
    assert_answered(client.post(path, content=body, headers={"Content-Type": content_type}))


@FUZZ
@given(
    segment=st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
    limit=st.text(st.characters(exclude_categories=["Cs"]), max_size=6),
    method=st.sampled_from(["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"]),
)
def test_addresses_of_any_text(client: TestClient, segment: str, limit: str, method: str) -> None:
    """Paths, query values and methods of any kind."""
    path = f"/v1/samples/{quote(segment, safe='')}"
    answer = client.request(method, path, params={"limit": limit})
    if method != "HEAD":
        assert_answered(answer)


@FUZZ
@given(
    name=st.sampled_from(
        [
            "If-Match",
            "If-None-Match",
            "Idempotency-Key",
            "Authorization",
            "traceparent",
            "Content-Length",
            "Content-Encoding",
        ]
    ),
    value=st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=40),
)
def test_headers_of_any_text(client: TestClient, name: str, value: str) -> None:
    """Headers that are read hold anything."""
    for method, path in (("PATCH", "/v1/samples/known"), ("GET", "/v1/samples/known")):
        assert_answered(client.request(method, path, headers={name: value}))
    assert_answered(
        client.post("/v1/samples/repeatable", json={"pieces": 1}, headers={name: value})
    )
