"""Problem documents: RFC 9457 on every answer that is not a success."""

from __future__ import annotations

import re
from http import HTTPStatus

import pytest
from starlette.testclient import TestClient

from service.domain.errors import BadInput, Conflict, Gone, NotFound, ServiceError, Unavailable
from service.web.problem_kinds import KINDS
from service.web.problems import Refusal, kind_of
from tests.web.checks import assert_problem, pointers
from tests.web.miniature import STAFF_KEY


def test_unknown_path_is_a_problem(client: TestClient) -> None:
    """A path that no operation has gives 404 as problem+json (RFC 9457 section 3)."""
    assert_problem(client.get("/nowhere"), 404, "path-unknown")


def test_problem_is_sent_whatever_accept_lists(client: TestClient) -> None:
    """The media type stays problem+json though Accept does not list it (RFC 9457 section 3)."""
    answer = client.get("/nowhere", headers={"Accept": "text/html"})
    assert_problem(answer, 404, "path-unknown")


def test_slash_at_the_end_is_not_redirected(client: TestClient) -> None:
    """An address with a slash too many is unknown, and no redirect is built from Host."""
    assert_problem(client.get("/v1/samples/"), 404, "path-unknown")


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE"])
def test_other_methods_give_405_with_allow(client: TestClient, method: str) -> None:
    """405 carries Allow with the methods of all routes of the path (RFC 9110 section 15.5.6)."""
    answer = client.request(method, "/v1/samples")
    assert_problem(answer, 405, "method-not-allowed")
    assert answer.headers["allow"] == "GET, HEAD, POST"


def test_allow_names_what_the_path_takes(client: TestClient) -> None:
    """Allow differs by path, and parameters in the path are seen through."""
    assert client.delete("/v1/samples/known").headers["allow"] == "GET, HEAD, PATCH"
    assert client.get("/v1/samples/optional/x").status_code == 404


@pytest.mark.parametrize(
    ("path", "status", "code"),
    [
        ("input", 422, "fields-refused"),
        ("conflict", 409, "conflict"),
        ("gone", 410, "gone"),
        ("busy", 503, "unavailable"),
    ],
)
def test_errors_of_the_inner_rooms_become_problems(
    client: TestClient, path: str, status: int, code: str
) -> None:
    """Each class of the error tree is answered with the status of its kind."""
    assert_problem(client.get(f"/v1/faults/{path}"), status, code)


def test_unknown_code_is_answered_as_its_class(client: TestClient) -> None:
    """A code without a kind keeps a type that has a page, and says its code besides."""
    problem = assert_problem(client.get("/v1/faults/missing"), 404, "not-found")
    assert problem["reason"] == "never-heard-of"


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (BadInput("odd", ""), "input-refused"),
        (NotFound("odd", ""), "not-found"),
        (Conflict("odd", ""), "conflict"),
        (Gone("odd", ""), "gone"),
        (Unavailable("odd", "", retry_after_s=1), "unavailable"),
        (Refusal("odd", ""), "internal-fault"),
        (Refusal("key-missing", ""), "key-missing"),
    ],
)
def test_kind_falls_back_by_class(error: ServiceError, code: str) -> None:
    """An error is of the kind of its code, else of the general kind of its class."""
    assert kind_of(error).code == code


def test_errors_are_sorted_and_pointed_to(client: TestClient) -> None:
    """Entries are ordered by place; pointers are escaped (RFC 6901 section 3: ~ before /)."""
    problem = assert_problem(client.get("/v1/faults/input"), 422, "fields-refused")
    assert problem["errors"] == [
        {"detail": "c", "parameter": "limit", "code": "invalid"},
        {"detail": "a", "pointer": "#/lines/0", "code": "invalid"},
        {"detail": "b", "pointer": "#/lines/1/a~1b~0c", "code": "invalid"},
    ]


def test_errors_are_bounded(client: TestClient) -> None:
    """At most 100 entries are listed, and the rest is counted."""
    problem = assert_problem(client.get("/v1/faults/many"), 422, "fields-refused")
    assert len(problem["errors"]) == 100
    assert problem["errors_omitted"] == 30
    assert pointers(problem) == sorted(pointers(problem))


def test_unavailable_says_when_to_come_back(client: TestClient) -> None:
    """503 carries Retry-After in whole seconds (RFC 9110 section 10.2.3)."""
    assert client.get("/v1/faults/busy").headers["retry-after"] == "7"


def test_running_first_call_says_when_to_come_back(client: TestClient) -> None:
    """409 for a key in progress carries Retry-After."""
    answer = client.get("/v1/faults/in-progress")
    assert_problem(answer, 409, "idempotency-key-in-progress")
    assert re.fullmatch(r"[1-9][0-9]*", answer.headers["retry-after"])


def test_extension_members_stand_beside_the_standard_ones(client: TestClient) -> None:
    """Extra members of an error are members of its problem (RFC 9457 section 3.2)."""
    problem = assert_problem(client.get("/v1/faults/conflict"), 409, "conflict")
    assert problem["state"] == "sent"


@pytest.mark.parametrize("path", ["secret", "clash", "hyphen", "nan"])
def test_uncaught_fault_is_a_bare_problem(client: TestClient, path: str) -> None:
    """A 500 tells nothing of its cause (RFC 9457 section 5) and keeps id and security headers.

    That goes for an exception, for extra members that cannot be sent, and for NaN in them.
    """
    answer = client.get(f"/v1/faults/{path}")
    problem = assert_problem(answer, 500, "internal-fault")
    assert set(problem) == {"type", "title", "status", "detail", "instance"}
    assert not re.search("secret|passwd|SELECT|Error|Traceback|[.]py", answer.text)
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"


def test_title_is_the_same_for_each_occurrence(client: TestClient) -> None:
    """Two occurrences of a kind share title and type, and differ in instance."""
    first, second = (client.get("/nowhere").json() for _ in range(2))
    assert (first["title"], first["type"]) == (second["title"], second["type"])
    assert first["instance"] != second["instance"]


def test_wrong_scope_names_the_right_ones(client: TestClient) -> None:
    """403 says which scopes the operation admits."""
    answer = client.patch("/v1/samples/known", headers={"If-Match": '"7"'})
    assert assert_problem(answer, 403, "scope-missing")["scopes"] == ["owner", "staff"]
    allowed = client.patch(
        "/v1/samples/known",
        headers={"If-Match": '"7"', "Authorization": f"Bearer {STAFF_KEY}"},
    )
    assert allowed.status_code == 200


def test_each_kind_is_a_client_or_server_fault_with_its_words() -> None:
    """Every kind documents type, title and status (RFC 9457 section 4)."""
    for code, kind in KINDS.items():
        assert kind.code == code
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", code)
        assert 400 <= HTTPStatus(kind.status) < 600
        assert all((kind.title, kind.explanation, kind.remedy))
    assert len({kind.title for kind in KINDS.values()}) == len(KINDS)
