"""What surrounds every request."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

import pytest
from starlette.testclient import TestClient
from structlog.testing import capture_logs

from service.web.middleware import SECURITY_HEADERS
from service.web.request_mark import current_mark
from tests.web.checks import assert_problem
from tests.web.miniature import MAX_UPLOAD_BYTES, STOREFRONT_KEY, make_app, make_client
from tests.web.raw_call import Call

TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"
PATHS = [
    "/livez",
    "/v1/samples",
    "/nowhere",
    "/v1/faults/secret",
    "/openapi.json",
    "/v1/samples/a%00",
]


@pytest.mark.parametrize("path", PATHS)
def test_each_answer_is_marked_and_guarded(client: TestClient, path: str) -> None:
    """Success, refusal and crash alike carry a UUID of the request and the security headers."""
    headers = client.get(path).headers
    assert str(UUID(headers["request-id"])) == headers["request-id"]
    assert {name: headers[name] for name in SECURITY_HEADERS} == dict(SECURITY_HEADERS)


def test_request_ids_differ_and_are_ours(client: TestClient) -> None:
    """Each request has its own id, and none takes over what a caller claims."""
    claimed = "00000000-0000-0000-0000-000000000001"
    ids = [
        client.get("/livez", headers={"request-id": claimed}).headers["request-id"]
        for _ in range(3)
    ]
    assert len({*ids, claimed}) == 4


def test_head_is_get_without_a_body(client: TestClient) -> None:
    """HEAD has the status and headers of GET (RFC 9110 section 9.3.2)."""
    got, head = client.get("/v1/samples/known"), client.head("/v1/samples/known")
    assert head.status_code == got.status_code == 200
    assert head.content == b""
    for name in ("etag", "content-length", "content-type"):
        assert head.headers[name] == got.headers[name]


def test_head_of_what_cannot_be_got(client: TestClient) -> None:
    """HEAD where there is no GET is 405, and of an unknown path 404."""
    answer = client.head("/v1/samples/optional/")
    assert answer.status_code == 404
    assert client.head("/v1/faults").status_code == 404


@pytest.mark.parametrize("method", ["OPTIONS", "TRACE", "DELETE"])
def test_unused_methods_are_off(client: TestClient, method: str) -> None:
    """No method is answered that no operation has; TRACE echoes nothing."""
    answer = client.request(method, "/v1/samples/known", headers={"X-Secret": "hush"})
    assert_problem(answer, 405, "method-not-allowed")
    assert "hush" not in answer.text


@pytest.mark.parametrize("address", ["/v1/samples/a%00b", "/v1/samples?limit=1%002", "/%00"])
def test_nul_in_the_address(client: TestClient, address: str) -> None:
    """U+0000 in path or query is refused before any store could choke on it."""
    assert_problem(client.get(address), 400, "text-refused")


def test_no_body_gets_over_the_last_limit(client: TestClient) -> None:
    """An upload over the limit is 413, by its declared length or as it comes in."""
    files = {"file": ("a", b"x" * (MAX_UPLOAD_BYTES + 70_000))}
    assert_problem(client.post("/v1/samples/pictures", files=files), 413, "body-too-large")
    call = Call(
        "POST",
        "/v1/samples/pictures",
        {
            "content-type": "multipart/form-data; boundary=x",
            "authorization": f"Bearer {STOREFRONT_KEY}",
        },
    )
    start = b'--x\r\ncontent-disposition: form-data; name="file"; filename="a"\r\n\r\n'
    call.run(make_app(), chunks=[start, *[b"x" * 10_000] * 1_000])
    assert call.status == 413
    assert json.loads(call.body)["type"].endswith("/problems/body-too-large")
    assert call.chunks_taken < 15


def test_caller_who_leaves_is_no_fault() -> None:
    """A caller who breaks off while sending is noted, and no error is logged."""
    call = Call("POST", "/v1/samples", {"content-type": "application/json"})
    with capture_logs() as lines:
        call.run(make_app(), chunks=[b"{"], leaves=True)
    assert call.sent == []
    assert {line["log_level"] for line in lines} == {"info"}


def test_fault_in_mid_answer_breaks_it_off() -> None:
    """Once an answer has begun no second one is put into it; the server must close."""
    call = Call("GET", "/v1/faults/late/stream")
    with capture_logs() as lines, pytest.raises(RuntimeError):
        call.run(make_app())
    assert call.status == 200
    assert call.body == b"half"
    assert [line["event"] for line in lines] == ["uncaught fault", "request"]


def test_requests_are_not_mixed_up() -> None:
    """Outside a request there is no mark, and after one none is left."""
    make_client().get("/livez")
    assert current_mark().trace_id == ""


def logged(path: str, **options: Any) -> dict[str, Any]:
    """The access line of one call."""
    with capture_logs() as lines:
        make_client().request(options.pop("method", "GET"), path, **options)
    [line] = [one for one in lines if one["event"] == "request"]
    return dict(line)


@pytest.mark.parametrize(
    ("method", "path", "route", "status"),
    [
        ("GET", "/v1/samples/known", "/v1/samples/{sample_id}", 200),
        ("HEAD", "/v1/samples/known", "/v1/samples/{sample_id}", 200),
        ("GET", "/v1/faults/conflict", "/v1/faults/{code}", 409),
        ("GET", "/v1/faults/secret", "/v1/faults/{code}", 500),
        ("PUT", "/v1/samples/known", "/v1/samples/{sample_id}", 405),
        ("GET", "/nowhere/at/all", "-", 404),
    ],
)
def test_log_line_names_the_route(method: str, path: str, route: str, status: int) -> None:
    """A line has method, route template, status and duration; also behind a router's prefix."""
    line = logged(path, method=method)
    assert (line["method"], line["route"], line["status"]) == (method, route, status)
    assert line["duration_ms"] >= 0


def test_log_line_carries_ids() -> None:
    """A line can be joined with the answer and with the caller's trace."""
    line = logged("/livez2", headers={"traceparent": f"00-{TRACE}-00f067aa0ba902b7-01"})
    assert line["trace_id"] == TRACE
    assert str(UUID(line["request_id"])) == line["request_id"]


def test_log_holds_no_secret() -> None:
    """Neither key, query, body nor the message of an exception reaches the log."""
    with capture_logs() as lines:
        client = make_client()
        client.get("/v1/samples", params={"limit": "hush-1"})
        client.post("/v1/samples", json={"pieces": "hush-2"})
        client.get("/v1/faults/secret")
    text = json.dumps(lines, default=str)
    assert "hush" not in text
    assert STOREFRONT_KEY not in text
    assert "passwd" not in text
    assert "RuntimeError" in text


def test_probes_are_not_logged() -> None:
    """Health routes stay out of the access log."""
    with capture_logs() as lines:
        make_client().get("/livez")
        make_client().get("/readyz")
    assert lines == []
