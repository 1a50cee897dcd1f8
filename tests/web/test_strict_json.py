"""Reading JSON strictly: RFC 8259 and RFC 7493, and each trap of the usual readers."""

from __future__ import annotations

import contextlib
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.web.pointers import fragment_pointer
from service.web.problem_kinds import KINDS
from service.web.problems import Refusal
from service.web.strict_json import parse_json

SAFE = 2**53 - 1
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=6)
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-SAFE, SAFE)
    | st.floats(allow_nan=False, allow_infinity=False)
    | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=20,
)


def refusal(raw: bytes) -> Refusal:
    """The refusal of ``raw``."""
    with pytest.raises(Refusal) as caught:
        parse_json(raw)
    return caught.value


def place(raw: bytes) -> str:
    """Where the refusal of ``raw`` points."""
    [fault] = refusal(raw).faults
    return fragment_pointer(fault.path)


@given(VALUES, st.sampled_from([{}, {"indent": 2}, {"ensure_ascii": False}]))
def test_every_usable_document_is_read_as_it_is(value: Any, style: dict[str, Any]) -> None:
    """What a writer of JSON writes is read back equal, however it is spaced and escaped."""
    raw = json.dumps(value, **style).encode()
    assert parse_json(raw) == value


@pytest.mark.parametrize("raw", [b"", b" \n\t"])
def test_empty_body(raw: bytes) -> None:
    """Nothing but blanks is an empty body."""
    assert refusal(raw).code == "body-empty"


@pytest.mark.parametrize("raw", [b'"\xff"', b'{"a": "\xe9"}', '{"a": 1}'.encode("utf-16")])
def test_body_that_is_not_utf8(raw: bytes) -> None:
    """JSON between systems is UTF-8 (RFC 8259 section 8.1)."""
    assert refusal(raw).code == "body-not-utf8"


@pytest.mark.parametrize(
    "raw",
    [
        b"{",
        b'{"a":1,}',
        b"[1,]",
        b"{'a':1}",
        b"01",
        b"+1",
        b".5",
        b"1.",
        b"0x10",
        b"tru",
        b"[1] [2]",
        b'"\t"',
        b'"\\x41"',
        b'"\\u12"',
        b"// note\n1",
        b'{"a"}',
        b"{1:2}",
        b'"open',
        b"\xef\xbb\xbf{}",
        "\u0661".encode(),
        b"\x0c1",
        b"undefined",
    ],
)
def test_malformed_body(raw: bytes) -> None:
    """What the grammar of RFC 8259 sections 2 to 7 does not make is refused."""
    assert refusal(raw).code == "body-not-json"


def test_malformed_body_is_located_and_not_quoted() -> None:
    """The refusal gives line and column, and nothing of the body."""
    detail = refusal(b'{"a": 1,\n "secret": oops}').detail
    assert "line 2, column 12" in detail
    assert "secret" not in detail
    assert "oops" not in detail


@pytest.mark.parametrize(
    ("raw", "pointer"),
    [
        (b'{"a":1,"a":1}', "#/a"),
        (b'{"lines":[{},{"b":1,"c":2,"b":3}]}', "#/lines/1/b"),
        (b'{"a":1,"\\u0061":2}', "#/a"),
        (b'[[{"":1,"":2}]]', "#/0/0/"),
    ],
)
def test_repeated_name(raw: bytes, pointer: str) -> None:
    """A name twice in one object is refused by name (RFC 7493 section 2.3), also if escaped."""
    assert refusal(raw).code == "body-name-repeated"
    assert place(raw) == pointer


@pytest.mark.parametrize(
    ("raw", "pointer"),
    [
        (b'{"d": NaN}', "#/d"),
        (b"[1, Infinity]", "#/1"),
        (b'{"a":{"b":-Infinity}}', "#/a/b"),
        (b'{"d":1e999}', "#/d"),
        (b'{"d":-1e999}', "#/d"),
        (b'{"d":9007199254740992}', "#/d"),
        (b'{"d":-9007199254740992}', "#/d"),
        (b'{"d":' + b"9" * 5_000 + b"}", "#/d"),
        (b"1" * 100_000, "#"),
    ],
)
def test_number_that_cannot_be_carried(raw: bytes, pointer: str) -> None:
    """NaN, infinity (RFC 8259 section 6) and unsafe integers (RFC 7493 section 2.2) are refused."""
    assert refusal(raw).code == "body-number-refused"
    assert place(raw) == pointer


@pytest.mark.parametrize("number", [SAFE, -SAFE, 0, -0.0, 1e308, 5e-324])
def test_number_at_the_edge_is_taken(number: float) -> None:
    """The largest safe integers and the extreme doubles pass."""
    assert parse_json(json.dumps(number).encode()) == number


@pytest.mark.parametrize("depth", [33, 400, 100_000])
@pytest.mark.parametrize(("opening", "closing"), [(b"[", b"]"), (b'{"a":', b"}")])
def test_deep_body(depth: int, opening: bytes, closing: bytes) -> None:
    """More than 32 levels are refused, whatever the depth."""
    assert refusal(opening * depth + b"1" + closing * depth).code == "body-too-deep"


def test_body_of_the_deepest_allowed_nesting() -> None:
    """Exactly 32 levels pass."""
    assert parse_json(b"[" * 32 + b"1" + b"]" * 32)


def test_wide_body_is_not_deep() -> None:
    """Many objects side by side are no depth."""
    assert len(parse_json(b"[" + b",".join([b"{}"] * 1_000) + b"]")) == 1_000


@pytest.mark.parametrize(
    ("raw", "pointer"),
    [
        (b'{"a":"\\ud800"}', "#/a"),
        (b'["\\udc00\\ud800"]', "#/0"),
        (b'{"a":["\\u0000"]}', "#/a/0"),
        (b'{"in":{"\\u0000":1}}', "#/in"),
    ],
)
def test_text_that_cannot_be_kept(raw: bytes, pointer: str) -> None:
    """Lone surrogates (RFC 7493 section 2.1) and U+0000 are refused in values and names."""
    assert refusal(raw).code == "text-refused"
    assert place(raw) == pointer


def test_paired_surrogates_are_one_character() -> None:
    """An escaped pair is an ordinary character (RFC 8259 section 7)."""
    assert parse_json(b'"\\ud83d\\ude00"') == "\U0001f600"


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    """Whatever comes, there is a value or a refusal (400), and never another exception."""
    with contextlib.suppress(Refusal):
        parse_json(raw)


def test_refusals_are_bad_requests() -> None:
    """What cannot be read is 400 (RFC 9110 section 15.5.1), of whatever kind."""
    unreadable = (b"", b"{", b"\xff", b'{"a":1,"a":1}', b"NaN", b"[" * 99, b'"\\u0000"')
    assert {KINDS[refusal(raw).code].status for raw in unreadable} == {400}
