"""Strict bodies behind ordinary handlers."""

from __future__ import annotations

import json
from typing import Annotated, Any

import pytest
from fastapi import Body, FastAPI
from pydantic import BaseModel
from starlette.testclient import TestClient

from service.web.application import new_router
from tests.web.checks import assert_problem, pointers
from tests.web.miniature import MAX_BODY_BYTES, STAFF_KEY, make_app, make_client, samples
from tests.web.raw_call import Call

JSON = {"Content-Type": "application/json"}


def refused(client: TestClient, **fields: Any) -> list[dict[str, str]]:
    """The errors of a sample with ``fields``."""
    answer = client.post("/v1/samples", json={"pieces": 1, **fields})
    errors: list[dict[str, str]] = assert_problem(answer, 422, "fields-refused")["errors"]
    return errors


def test_good_body_reaches_the_handler(client: TestClient) -> None:
    """Text becomes enum, date and decimal, whole numbers pass as floats, and nothing is lost."""
    body = {
        "pieces": 3,
        "width_mm": 10,
        "price": "1.10",
        "rush": True,
        "day": "2024-02-29",
        "finish": "brushed",
        "sizes": {"XL": 2},
        "parts": [{"kind": "patch", "width_mm": 20.5}, {"kind": "label", "words": "hand wash"}],
    }
    answer = client.post("/v1/samples", json=body)
    assert answer.status_code == 201
    assert answer.json() == {"pieces": 3, "price": "1.10", "holder": "web-shop"}


@pytest.mark.parametrize("pieces", ["1", 1.0, True, None, [1]])
def test_integers_are_integers(client: TestClient, pieces: Any) -> None:
    """Text, fractions and true are no whole numbers."""
    [error] = refused(client, pieces=pieces)
    assert (error["pointer"], error["code"]) == ("#/pieces", "wrong-type")


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("width_mm", "10", "wrong-type"),
        ("width_mm", True, "wrong-type"),
        ("rush", "true", "wrong-type"),
        ("rush", 1, "wrong-type"),
        ("price", True, "wrong-type"),
        ("price", "NaN", "not-finite"),
        ("price", "Infinity", "not-finite"),
        ("price", "1.001", "too-precise"),
        ("price", "-1", "too-small"),
        ("day", 1_700_000_000, "wrong-type"),
        ("day", "2023-02-29", "wrong-form"),
        ("finish", "shiny", "unknown-value"),
        ("note", 5, "wrong-type"),
        ("parts", {"0": 1}, "wrong-type"),
        ("sizes", [], "wrong-type"),
    ],
)
def test_each_field_is_strict(client: TestClient, field: str, value: Any, code: str) -> None:
    """A value of another type, or beyond a limit, is refused at its place."""
    [error] = refused(client, **{field: value})
    assert (error["pointer"], error["code"]) == (f"#/{field}", code)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"pieces": 0}, "at least 1"),
        ({"pieces": 1_001}, "at most 1000"),
        ({"width_mm": 0}, "above 0"),
        ({"finish": "shiny"}, "'plain' or 'brushed'"),
        ({"price": "1.001"}, "at most 2 decimal places"),
        ({"parts": [{"kind": "label", "words": "x" * 21}]}, "at most 20 characters"),
        ({"rush": True, "pieces": 101}, "a rush takes at most 100 pieces"),
    ],
)
def test_words_name_the_limit(client: TestClient, fields: dict[str, Any], words: str) -> None:
    """The detail names the limit that was broken, or the words of the model's own check."""
    [error] = refused(client, **fields)
    assert words in error["detail"]


def test_fault_of_the_whole_body_points_to_it(client: TestClient) -> None:
    """A check over several fields points to the whole document: ``#``."""
    [error] = refused(client, rush=True, pieces=101)
    assert error["pointer"] == "#"


def test_unknown_fields_are_refused_by_name(client: TestClient) -> None:
    """A field that the model lacks is refused, at any depth."""
    errors = refused(client, tenant="me", parts=[{"kind": "patch", "width_mm": 1, "w/h": 2}])
    assert [(e["pointer"], e["code"]) for e in errors] == [
        ("#/parts/0/w~1h", "unknown-field"),
        ("#/tenant", "unknown-field"),
    ]


def test_pointers_hold_no_names_of_union_members(client: TestClient) -> None:
    """The place inside a union is the place in the body, without the member's tag."""
    errors = refused(client, parts=[{"kind": "patch", "width_mm": 0}, {"kind": "label"}, {}, 7])
    assert [e["pointer"] for e in errors] == [
        "#/parts/0/width_mm",
        "#/parts/1/words",
        "#/parts/2",
        "#/parts/3",
    ]


def test_bad_name_in_an_object_is_pointed_to(client: TestClient) -> None:
    """A refused name of an open object is told from its value."""
    name, value = sorted(refused(client, sizes={"xl": 1, "XL": "1"}), key=lambda e: e["detail"])
    assert name["pointer"] == "#/sizes/xl"
    assert name["detail"].startswith("As a name")
    assert value["pointer"] == "#/sizes/XL"


def test_input_is_not_repeated(client: TestClient) -> None:
    """No value of the caller's comes back (RFC 9457 section 5)."""
    answer = client.post("/v1/samples", json={"pieces": "hush-7", "finish": "hush-8", "note": 1})
    assert "hush" not in answer.text


def test_many_faults_are_cut(client: TestClient) -> None:
    """A body with hundreds of faults gets 100 entries and a count."""
    body = {"pieces": 1, "parts": [{"kind": "label"}] * 400}
    problem = assert_problem(client.post("/v1/samples", json=body), 422, "fields-refused")
    assert (len(problem["errors"]), problem["errors_omitted"]) == (100, 300)


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b"", "body-empty"),
        (b"{", "body-not-json"),
        (b"\xff", "body-not-utf8"),
        (b'{"pieces":1,"pieces":2}', "body-name-repeated"),
        (b'{"pieces":1,"width_mm":NaN}', "body-number-refused"),
        (b'{"pieces":1,"width_mm":1e999}', "body-number-refused"),
        (b'{"pieces":1,"price":1e999}', "body-number-refused"),
        (b'{"pieces":' + b"9" * 5_000 + b"}", "body-number-refused"),
        (b"[" * 9_000, "body-too-deep"),
        (b'{"pieces":1,"note":"\\u0000"}', "text-refused"),
    ],
)
def test_unreadable_body(client: TestClient, raw: bytes, code: str) -> None:
    """What cannot be read is 400, never 422 or 500."""
    assert_problem(client.post("/v1/samples", content=raw, headers=JSON), 400, code)


@pytest.mark.parametrize("body", [[], "x", 1, None, True])
def test_body_of_another_shape(client: TestClient, body: Any) -> None:
    """JSON that is no object is understood, and cannot be used: 422 for the whole of it."""
    answer = client.post("/v1/samples", content=json.dumps(body), headers=JSON)
    assert pointers(assert_problem(answer, 422, "fields-refused")) == ["#"]


@pytest.mark.parametrize(
    "declared",
    [
        None,
        "text/plain",
        "application/x-www-form-urlencoded",
        "application/json; charset=latin-1",
        "application/jsonx",
        "application/merge-patch+json",
        "",
    ],
)
def test_body_declared_otherwise(client: TestClient, declared: str | None) -> None:
    """A body that is not declared as JSON is 415 (RFC 9110 section 15.5.16)."""
    headers = {} if declared is None else {"Content-Type": declared}
    answer = client.post("/v1/samples", content=b'{"pieces":1}', headers=headers)
    assert_problem(answer, 415, "media-type-unsupported")


@pytest.mark.parametrize(
    "declared",
    [
        "application/json",
        "Application/JSON",
        'application/json; charset="UTF-8"',
        "application/json;",
    ],
)
def test_body_declared_as_json(client: TestClient, declared: str) -> None:
    """Media types are case-insensitive (RFC 9110 section 8.3.1); charset=utf-8 is let pass."""
    headers = {"Content-Type": declared}
    assert client.post("/v1/samples", content=b'{"pieces":1}', headers=headers).status_code == 201


def test_body_declared_twice(client: TestClient) -> None:
    """Two Content-Type headers leave the type open, and are refused."""
    headers = [("Content-Type", "application/json"), ("Content-Type", "text/plain")]
    answer = client.post("/v1/samples", content=b'{"pieces":1}', headers=headers)
    assert_problem(answer, 415, "media-type-unsupported")


def test_compressed_body(client: TestClient) -> None:
    """A content coding that is not undone is 415 (RFC 9110 section 15.5.16)."""
    headers = {**JSON, "Content-Encoding": "gzip"}
    answer = client.post("/v1/samples", content=b'{"pieces":1}', headers=headers)
    assert_problem(answer, 415, "media-type-unsupported")


def test_long_body(client: TestClient) -> None:
    """A body over the limit is 413, whether its length is declared or comes out on the way."""
    body = json.dumps({"pieces": 1, "note": "x" * MAX_BODY_BYTES}).encode()
    declared = client.post("/v1/samples", content=body, headers=JSON)
    assert str(MAX_BODY_BYTES) in assert_problem(declared, 413, "body-too-large")["detail"]
    chunks = (body[n : n + 1_000] for n in range(0, len(body), 1_000))
    streamed = client.post("/v1/samples", content=chunks, headers=JSON)
    assert_problem(streamed, 413, "body-too-large")


def test_body_of_just_the_limit(client: TestClient) -> None:
    """The limit itself is allowed."""
    start = b'{"pieces":1,"note":"'
    body = start + b"x" * (MAX_BODY_BYTES - len(start) - 2) + b'"}'
    assert len(body) == MAX_BODY_BYTES
    assert client.post("/v1/samples", content=body, headers=JSON).status_code == 201


@pytest.mark.parametrize("raw", [b"{", b'{"pieces":"1"}', b"", b"x" * (MAX_BODY_BYTES + 1)])
def test_key_is_asked_for_before_the_body_is_judged(stranger: TestClient, raw: bytes) -> None:
    """A caller without a key learns nothing of the body; one of the wrong scope neither."""
    assert_problem(stranger.post("/v1/samples", content=raw, headers=JSON), 401, "key-missing")
    headers = {**JSON, "Authorization": f"Bearer {STAFF_KEY}"}
    assert_problem(stranger.post("/v1/samples", content=raw, headers=headers), 403, "scope-missing")


@pytest.mark.parametrize("raw", [b"{", b'{"pieces":"1"}', b""])
def test_malformed_key_header_is_told_before_the_body(client: TestClient, raw: bytes) -> None:
    """Headers are judged before the body, so a bad body hides no missing header."""
    answer = client.post("/v1/samples/repeatable", content=raw, headers=JSON)
    assert_problem(answer, 400, "idempotency-key-missing")


def test_optional_body(client: TestClient) -> None:
    """An operation whose body is optional takes none, or one that is as strict as any."""
    assert client.post("/v1/samples/optional").json() is False
    assert client.post("/v1/samples/optional", json={"pieces": 1}).json() is True
    bad = client.post("/v1/samples/optional", json={"pieces": "1"})
    assert_problem(bad, 422, "fields-refused")
    unread = client.post("/v1/samples/optional", content=b"{", headers=JSON)
    assert_problem(unread, 400, "body-not-json")


@pytest.mark.parametrize(
    ("limit", "code"), [("0", "too-small"), ("101", "too-large"), ("x", "wrong-type")]
)
def test_query_parameter_is_named(client: TestClient, limit: str, code: str) -> None:
    """A fault of a query parameter names it as ``parameter``, without its value."""
    answer = client.get("/v1/samples", params={"limit": limit})
    [error] = assert_problem(answer, 422, "fields-refused")["errors"]
    assert (error["parameter"], error["code"]) == ("limit", code)
    assert "pointer" not in error


def test_form_is_read(client: TestClient) -> None:
    """A multipart form reaches its handler."""
    answer = client.post("/v1/samples/pictures", files={"file": ("a.png", b"12345")})
    assert answer.json() == 5


def test_form_declared_otherwise(client: TestClient) -> None:
    """An upload that is no multipart form is 415."""
    answer = client.post("/v1/samples/pictures", json={"file": "x"})
    assert_problem(answer, 415, "media-type-unsupported")


@pytest.mark.parametrize(
    ("content_type", "raw"),
    [
        ("multipart/form-data", b"--x\r\n"),
        ("multipart/form-data; boundary=x", b"garbage"),
        ("multipart/form-data; boundary=x", b"--x\r\nno colon here\r\n\r\n1\r\n--x--\r\n"),
    ],
)
def test_broken_form(client: TestClient, content_type: str, raw: bytes) -> None:
    """A form that cannot be read is 400."""
    headers = {"Content-Type": content_type}
    answer = client.post("/v1/samples/pictures", content=raw, headers=headers)
    assert_problem(answer, 400, "body-not-form")


def test_form_without_its_file(client: TestClient) -> None:
    """A missing form field is named as a parameter."""
    answer = client.post("/v1/samples/pictures", files={"other": ("a", b"1")})
    [error] = assert_problem(answer, 422, "fields-refused")["errors"]
    assert (error["parameter"], error["code"]) == ("file", "missing")


def test_upload_is_not_taken_in_without_a_key() -> None:
    """Without a key not one byte of an upload is read."""
    call = Call("POST", "/v1/samples/pictures", {"content-type": "multipart/form-data; boundary=x"})
    call.run(make_app(), chunks=[b"x" * 1_000] * 20)
    assert call.status == 401
    assert call.chunks_taken == 0


def test_two_bodies_are_refused_when_made() -> None:
    """An operation with two JSON body parameters is a mistake of its author."""
    router = new_router("x")

    async def two(one: Annotated[int, Body()], other: Annotated[int, Body()]) -> None:
        """Take two."""

    with pytest.raises(TypeError, match="one JSON body"):
        router.add_api_route("/two", two, methods=["POST"])


class Open(BaseModel):
    """A model that lets unknown fields through."""

    pieces: int


def test_open_model_is_refused_when_made() -> None:
    """A body that would swallow unknown fields is a mistake of its author."""
    router = new_router("x")

    async def swallow(body: Open) -> None:
        """Take anything."""

    with pytest.raises(TypeError, match="Open must forbid unknown fields"):
        router.add_api_route("/open", swallow, methods=["POST"])


def test_prefix_of_an_included_router_changes_nothing() -> None:
    """The same router stays strict when it is included below another one."""
    app: FastAPI = make_app()
    outer = new_router("outer", "/outer")
    outer.include_router(samples, prefix="/inner")
    app.include_router(outer, prefix="/most")
    answer = make_client(app).post("/most/outer/inner/v1/samples", json={"pieces": "1"})
    assert pointers(assert_problem(answer, 422, "fields-refused")) == ["#/pieces"]
