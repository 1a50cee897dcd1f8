"""Entity tags and preconditions: RFC 9110 sections 8.8.3 and 13."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from service.web.conditional import (
    EntityTag,
    Precondition,
    etag_for,
    is_unchanged,
    parse_if_match,
    parse_tags,
)
from service.web.problems import Refusal
from tests.web.checks import assert_problem
from tests.web.miniature import STAFF_KEY

STAFF = {"Authorization": f"Bearer {STAFF_KEY}"}


@pytest.mark.parametrize(
    ("sent", "strong", "weak"),
    [
        # RFC 9110 section 8.8.3.2, table 3 (from memory), with "1" as the present tag.
        ('W/"1"', False, True),
        ('W/"2"', False, False),
        ('"1"', True, True),
        ('"2"', False, False),
    ],
)
def test_comparison_is_that_of_the_standard(sent: str, strong: bool, weak: bool) -> None:  # noqa: FBT001 - table
    """If-Match compares strongly, If-None-Match weakly."""
    assert parse_if_match([sent]).allows(1) is strong
    assert is_unchanged([sent], 1) is weak


def test_etag_is_strong_and_quoted() -> None:
    """An entity tag is a quoted string without ``W/`` (section 8.8.3)."""
    assert etag_for(7) == '"7"'
    assert parse_tags([etag_for(7)]) == (EntityTag("7"),)


@given(st.integers(0, 10**15), st.integers(0, 10**15))
def test_etag_matches_its_own_version_alone(version: int, other: int) -> None:
    """A tag lets through the version it was made for, and no other."""
    assert parse_if_match([etag_for(version)]).allows(other) is (version == other)
    assert is_unchanged([etag_for(version)], other) is (version == other)


@pytest.mark.parametrize(
    "values",
    [['"1", "7"'], ['"1"', '"7"'], ['"1",,"7"'], [', "7" ,'], ['W/"7", "7"'], ["*"], [' "7"']],
)
def test_lists_and_star_match(values: list[str]) -> None:
    """A list matches by any member, over several headers too; ``*`` matches all (13.1.1)."""
    assert parse_if_match(values).allows(7)


@pytest.mark.parametrize("value", ["7", "'7'", '"7', '*, "7"', "", "W/7", 'w/"7"', '"a b"'])
def test_unreadable_precondition_runs_nothing(client: TestClient, value: str) -> None:
    """An If-Match that cannot be read is 400: a change is never made on a guess."""
    answer = client.patch("/v1/samples/known", headers={**STAFF, "If-Match": value})
    assert_problem(answer, 400, "precondition-malformed")


@pytest.mark.parametrize("value", ['"6"', 'W/"7"', '"abc"', '"07"', '"+7"', '"' + "7" * 400 + '"'])
def test_other_tag_is_412(client: TestClient, value: str) -> None:
    """A tag that is not that of the present state fails: 412 (section 15.5.13)."""
    answer = client.patch("/v1/samples/known", headers={**STAFF, "If-Match": value})
    assert_problem(answer, 412, "precondition-failed")


def test_missing_precondition_is_428(client: TestClient) -> None:
    """Where it is demanded its absence is 428, with words on how, not cached (RFC 6585 3)."""
    answer = client.patch("/v1/samples/known", headers=STAFF)
    problem = assert_problem(answer, 428, "precondition-missing")
    assert problem["errors"][0]["header"] == "If-Match"
    assert answer.headers["cache-control"] == "no-store"


def test_order_of_refusals(client: TestClient, stranger: TestClient) -> None:
    """401, 403 and 404 win over 412 (section 13.2.1)."""
    old = {"If-Match": '"6"'}
    assert stranger.patch("/v1/samples/known", headers=old).status_code == 401
    assert client.patch("/v1/samples/known", headers=old).status_code == 403
    assert client.patch("/v1/samples/other", headers={**STAFF, **old}).status_code == 404
    assert client.patch("/v1/samples/known", headers={**STAFF, **old}).status_code == 412


@pytest.mark.parametrize("sent", ['"7"', 'W/"7"', '"1", "7"', "*"])
def test_unchanged_get_is_304(client: TestClient, sent: str) -> None:
    """304 has the ETag and no body (section 15.4.5)."""
    answer = client.get("/v1/samples/known", headers={"If-None-Match": sent})
    assert answer.status_code == 304
    assert answer.headers["etag"] == '"7"'
    assert answer.content == b""


@pytest.mark.parametrize("sent", ['"6"', "7", "garbage"])
def test_changed_get_is_answered_in_full(client: TestClient, sent: str) -> None:
    """Another tag, or a header that cannot be read, gives the full answer with its ETag."""
    answer = client.get("/v1/samples/known", headers={"If-None-Match": sent})
    assert answer.status_code == 200
    assert answer.headers["etag"] == '"7"'


def test_precondition_keeps_its_versions() -> None:
    """What may be compared in the store: the versions named, or all."""
    assert parse_if_match(['"3", W/"4", "x"']) == Precondition(frozenset({3}))
    assert parse_if_match(["*"]) == Precondition(None)
    with pytest.raises(Refusal):
        Precondition(frozenset({3})).check(4)
