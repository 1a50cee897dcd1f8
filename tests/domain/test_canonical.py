"""One text for one value."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.canonical import canonical_json, canonical_sha256, rfc3339

SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(min_value=-(2**53) + 1, max_value=2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8)
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=12,
)


def _turned_round(value: Any) -> Any:
    """The same value with the names of every mapping in the opposite order."""
    if isinstance(value, dict):
        return {name: _turned_round(value[name]) for name in reversed(value)}
    return [_turned_round(each) for each in value] if isinstance(value, list) else value


@given(VALUES)
def test_the_text_reads_back_as_the_value(value: Any) -> None:
    """Nothing is lost or changed: RFC 8259 JSON, read by the standard library."""
    assert json.loads(canonical_json(value)) == value


@given(VALUES)
def test_the_order_of_names_does_not_matter(value: Any) -> None:
    """Equal values have one text and one hash."""
    assert canonical_json(_turned_round(value)) == canonical_json(value)
    assert canonical_sha256(_turned_round(value)) == canonical_sha256(value)


@given(VALUES)
def test_the_text_is_its_own_canonical_text(value: Any) -> None:
    """Reading a kept document and writing it again changes not a byte."""
    text = canonical_json(value)
    assert canonical_json(json.loads(text)) == text


@given(VALUES)
def test_the_text_is_plain_ascii_without_blanks_between_members(value: Any) -> None:
    """It has the same bytes in every encoding a store or a receiver may use."""
    text = canonical_json(value)
    assert text.isascii()
    assert "\n" not in text
    assert text == json.dumps(json.loads(text), sort_keys=True, separators=(",", ":"))


def test_a_worked_example() -> None:
    """Names by code point (capitals first), lists in their own order, tuples as lists."""
    value = {"b": (1, 2.5, None), "a": {"ä": True, "Z": "\u2028"}}
    assert canonical_json(value) == '{"a":{"Z":"\\u2028","\\u00e4":true},"b":[1,2.5,null]}'


def test_the_hash_is_that_of_the_text() -> None:
    """SHA-256 of the two bytes ``{}``; value checked with the coreutils command sha256sum."""
    assert canonical_sha256({}) == (
        "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"
    )


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_json_has_no_number_for_is_refused(value: float) -> None:
    """RFC 8259 section 6."""
    with pytest.raises(ValueError, match="JSON compliant"):
        canonical_json({"share": [value]})


@pytest.mark.parametrize(
    "value",
    [Decimal("1.10"), datetime(2026, 3, 2, tzinfo=UTC), {1, 2}, b"x", object()],
    ids=lambda value: type(value).__name__,
)
def test_what_has_no_one_form_in_json_is_refused(value: object) -> None:
    """A document says how it writes money and moments before it comes here."""
    with pytest.raises(TypeError):
        canonical_json([value])


@pytest.mark.parametrize("name", [1, None, True, 1.5])
def test_a_name_that_is_not_text_is_refused(name: object) -> None:
    """As text, the names 1 and "1" would make two values one."""
    with pytest.raises(TypeError, match="name in JSON is text"):
        canonical_json({name: 0})


def test_a_moment_is_written_in_utc_with_three_decimals() -> None:
    """RFC 3339 section 5.6, upper-case T and Z, always the same number of digits."""
    zone = timezone(timedelta(hours=-8))
    # RFC 3339 section 5.8, second example: the same moment with an offset and in UTC.
    assert rfc3339(datetime(1996, 12, 19, 16, 39, 57, tzinfo=zone)) == "1996-12-20T00:39:57.000Z"
    assert rfc3339(datetime(2026, 3, 2, 9, 0, 0, 999_999, UTC)) == "2026-03-02T09:00:00.999Z"


def test_a_moment_without_a_zone_has_no_text() -> None:
    """It could be any of two dozen moments."""
    with pytest.raises(ValueError, match="time zone"):
        rfc3339(datetime(2026, 3, 2, 9, 0))  # noqa: DTZ001 - naive on purpose


@given(st.datetimes(timezones=st.just(UTC)))
def test_texts_of_moments_sort_as_the_moments_do(moment: datetime) -> None:
    """So that a list may be ordered by either."""
    later = moment + timedelta(milliseconds=1) if moment.year < 9999 else moment
    assert rfc3339(moment) <= rfc3339(later)
    assert len(rfc3339(moment)) == 24
