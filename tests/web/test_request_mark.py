"""Request ids and the W3C trace context, level 2."""

from __future__ import annotations

import itertools
import string
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.web.request_mark import (
    MARK,
    RequestMark,
    TraceParent,
    add_mark,
    make_mark,
    parse_traceparent,
)

TRACE, PARENT = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
GOOD = f"00-{TRACE}-{PARENT}-01"  # the example of Trace Context section 3.2.3 (from memory)


def mark_for(*values: str) -> RequestMark:
    """A mark for a request with these traceparent headers."""
    numbers = itertools.count(1)
    return make_mark(lambda: UUID(int=next(numbers), version=4), values)


def test_good_header() -> None:
    """Version 00 is taken apart at its fixed places."""
    assert parse_traceparent([GOOD]) == TraceParent(TRACE, PARENT, 1)


@pytest.mark.parametrize(
    "value",
    [
        f"00-{'0' * 32}-{PARENT}-01",
        f"00-{TRACE}-{'0' * 16}-01",
        f"ff-{TRACE}-{PARENT}-01",
        f"00-{TRACE.upper()}-{PARENT}-01",
        f"00-{TRACE}-{PARENT}-01-more",
        f"00-{TRACE}-{PARENT}-1",
        f"00-{TRACE}-{PARENT}",
        f"00-{TRACE[:-1]}-{PARENT}-01",
        f"00_{TRACE}_{PARENT}_01",
        f"01-{TRACE}-{PARENT}-01more",
        f" {GOOD}",
        "",
    ],
)
def test_invalid_header_is_ignored(value: str) -> None:
    """An invalid header counts as none at all, so that a new trace starts."""
    assert parse_traceparent([value]) is None
    assert mark_for(value).trace_id != TRACE


def test_repeated_header_is_ignored() -> None:
    """Two traceparent headers are none."""
    assert parse_traceparent([GOOD, GOOD]) is None
    assert parse_traceparent([]) is None


@pytest.mark.parametrize("rest", ["", "-", "-what-comes-later"])
def test_later_version_is_read_by_its_first_part(rest: str) -> None:
    """Of a higher version the first 55 characters count."""
    assert parse_traceparent([f"cc-{TRACE}-{PARENT}-03{rest}"]) == TraceParent(TRACE, PARENT, 3)


@pytest.mark.parametrize(
    ("flags", "sampled"), [("00", False), ("01", True), ("02", False), ("ff", True)]
)
def test_flags_are_bits(flags: str, sampled: bool) -> None:  # noqa: FBT001 - table
    """Sampled is bit 0, whatever other bits are set."""
    parent = parse_traceparent([f"00-{TRACE}-{PARENT}-{flags}"])
    assert parent is not None
    assert parent.sampled is sampled


def test_valid_trace_goes_on_with_a_new_parent() -> None:
    """The trace id stays, the parent id becomes ours, unknown flags are cleared."""
    mark = mark_for(f"00-{TRACE}-{PARENT}-ff")
    assert mark.trace_id == TRACE
    assert mark.span_id != PARENT
    assert parse_traceparent([mark.traceparent]) == TraceParent(TRACE, mark.span_id, 0x03)


def test_new_trace_is_random() -> None:
    """Without a valid header a new trace starts, with the random flag (bit 1) alone."""
    mark = mark_for()
    assert parse_traceparent([mark.traceparent]) == TraceParent(mark.trace_id, mark.span_id, 0x02)


@given(st.text(string.hexdigits + "-", max_size=70))
def test_whatever_comes_the_outgoing_header_is_valid(value: str) -> None:
    """A mark's own header can always be read again."""
    assert parse_traceparent([mark_for(value).traceparent]) is not None


def test_log_lines_within_a_request_carry_its_ids() -> None:
    """Any line written while a request is handled gets the ids, and none outside."""
    assert add_mark(None, "info", {"event": "x"}) == {"event": "x"}
    mark = mark_for(GOOD)
    token = MARK.set(mark)
    try:
        line = add_mark(None, "info", {"event": "x"})
    finally:
        MARK.reset(token)
    assert line == {"event": "x", "request_id": str(mark.request_id), "trace_id": TRACE}
