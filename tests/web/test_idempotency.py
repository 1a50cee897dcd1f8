"""The Idempotency-Key header: IETF httpapi draft, and the rules that were left open there."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from service.web.idempotency import fingerprint, parse_idempotency_key
from service.web.problems import Refusal
from tests.web.checks import assert_problem

UUID_KEY = "8e03978e-40d5-43e8-bc93-6894a57f9324"  # the example of the draft, section 2.1
PATH = "/v1/samples/repeatable"


@pytest.mark.parametrize("sent", [UUID_KEY, f'"{UUID_KEY}"', f"  {UUID_KEY} "])
def test_bare_and_quoted_key_are_one(client: TestClient, sent: str) -> None:
    """The draft has a Structured Field String (2.1), most callers send it bare: both are taken."""
    answer = client.post(PATH, json={"pieces": 1}, headers={"Idempotency-Key": sent})
    assert answer.json()["key"] == UUID_KEY


def test_missing_key(client: TestClient) -> None:
    """Without the header the answer is 400 (draft section 2.7) and names the header."""
    problem = assert_problem(client.post(PATH, json={"pieces": 1}), 400, "idempotency-key-missing")
    assert problem["errors"][0]["header"] == "Idempotency-Key"


@pytest.mark.parametrize(
    "sent",
    ["", "short", "x" * 15, "x" * 129, "has a space in it", '"unclosed-quote-xx', f'"{"x" * 15}"'],
)
def test_malformed_key(client: TestClient, sent: str) -> None:
    """A key is 16 to 128 visible ASCII characters; anything else is 400."""
    answer = client.post(PATH, json={"pieces": 1}, headers={"Idempotency-Key": sent})
    assert_problem(answer, 400, "idempotency-key-malformed")


def test_repeated_key_header(client: TestClient) -> None:
    """Two headers are refused, though the framework would hand over the first."""
    headers = [("Idempotency-Key", UUID_KEY), ("Idempotency-Key", UUID_KEY)]
    answer = client.post(PATH, json={"pieces": 1}, headers=headers)
    assert_problem(answer, 400, "idempotency-key-malformed")


def test_faulty_body_and_key_are_both_told_in_turn(client: TestClient) -> None:
    """A body of the wrong shape is refused before any key could be used up."""
    answer = client.post(PATH, json={"pieces": "1"}, headers={"Idempotency-Key": UUID_KEY})
    assert_problem(answer, 422, "fields-refused")


@given(st.text(st.characters(min_codepoint=0x21, max_codepoint=0x7E), min_size=16, max_size=128))
def test_every_visible_key_survives_quoting(key: str) -> None:
    """A key written as a Structured Field String (RFC 9651, from memory) is read back."""
    escaped = key.replace("\\", "\\\\").replace('"', '\\"')
    assert parse_idempotency_key([f'"{escaped}"']) == key


def key_or_refusal(value: str) -> str | Refusal:
    """What becomes of the header ``value``."""
    try:
        return parse_idempotency_key([value])
    except Refusal as refused:
        return refused


@given(st.text(max_size=200))
def test_any_header_is_a_key_or_refused(value: str) -> None:
    """Whatever is sent, there is a usable key or a refusal."""
    outcome = key_or_refusal(value)
    if isinstance(outcome, Refusal):
        assert outcome.code == "idempotency-key-malformed"
    else:
        assert 16 <= len(outcome) <= 128
        assert all("!" <= character <= "~" for character in outcome)


BASE = ("POST", "/v1/orders", [("dry", "1"), ("a", "b")], "shop", {"a": 1, "b": [1, 2]})


def test_fingerprint_does_not_depend_on_order() -> None:
    """The order of names in the body and of pairs in the query makes no other request."""
    turned = ("POST", "/v1/orders", [("a", "b"), ("dry", "1")], "shop", {"b": [1, 2], "a": 1})
    assert fingerprint(*BASE) == fingerprint(*turned)


@pytest.mark.parametrize(
    ("position", "other"),
    [
        (0, "PUT"),
        (1, "/v1/quotes"),
        (2, [("dry", "1")]),
        (3, "other-shop"),
        (4, {"a": 1, "b": [2, 1]}),
        (4, {"a": "1", "b": [1, 2]}),
        (4, None),
    ],
)
def test_fingerprint_tells_requests_apart(position: int, other: object) -> None:
    """Method, path, query, caller and body each make another request (draft section 2.4)."""
    changed: list[object] = list(BASE)
    changed[position] = other
    assert fingerprint(*changed) != fingerprint(*BASE)  # type: ignore[arg-type] # loose on purpose
    assert len(fingerprint(*BASE)) == 64


def test_fingerprint_of_a_call_is_stable(client: TestClient) -> None:
    """The same document, spaced and ordered otherwise, has the same fingerprint."""
    headers = {"Idempotency-Key": UUID_KEY, "Content-Type": "application/json"}
    bodies = (b'{"pieces":1,"rush":true}', b'{ "rush": true,\n "pieces": 1 }')
    prints = {client.post(PATH, content=body, headers=headers).json()["print"] for body in bodies}
    assert len(prints) == 1
