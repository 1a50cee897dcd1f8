"""Page cursors: read back as written, by the list they were made for and by no other."""

from __future__ import annotations

import base64
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.errors import BadInput
from service.intake.cursors import Cursor, read_cursor, write_cursor

ROWS = st.builds(Cursor, st.dates(), st.integers(0, 2**31 - 1))
LISTS = st.text(st.characters(codec="utf-8"), max_size=40)


@given(cursor=ROWS, bound_to=LISTS)
def test_round_trip(cursor: Cursor, bound_to: str) -> None:
    """What was written is read back, and is safe in a URL (RFC 3986 section 2.3, from memory)."""
    text = write_cursor(cursor, bound_to)
    assert read_cursor(text, bound_to) == cursor
    assert text.replace("-", "").replace("_", "").isalnum()
    assert len(text) <= 200


@given(cursor=ROWS, lists=st.lists(LISTS, min_size=2, max_size=2, unique=True))
def test_another_list(cursor: Cursor, lists: list[str]) -> None:
    """A cursor of one list or filter is refused by another."""
    with pytest.raises(BadInput) as refused:
        read_cursor(write_cursor(cursor, lists[0]), lists[1])
    (fault,) = refused.value.faults
    assert (refused.value.code, fault.parameter) == ("cursor-refused", "cursor")


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=6,
)


@given(document=JSON | st.tuples(st.just("2026-03-02"), JSON, JSON))
def test_documents_that_are_no_cursor(document: object) -> None:
    """Whatever JSON a caller dresses up as a cursor, infinity included, is refused."""
    text = base64.urlsafe_b64encode(json.dumps(document).encode()).decode()
    with pytest.raises(BadInput):
        read_cursor(text, "tickets:")


@given(text=st.text(max_size=60) | st.binary(max_size=60).map(lambda raw: raw.hex()))
def test_texts_that_are_no_cursor(text: str) -> None:
    """Whatever text is sent as a cursor is refused."""
    with pytest.raises(BadInput):
        read_cursor(text, "tickets:")
