"""JSON Pointers in fragment form."""

from __future__ import annotations

from urllib.parse import unquote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.web.pointers import fragment_pointer


@pytest.mark.parametrize(
    ("path", "pointer"),
    [
        # RFC 6901 section 6, the table of URI fragment identifiers (from memory).
        ((), "#"),
        (("foo",), "#/foo"),
        (("foo", 0), "#/foo/0"),
        (("",), "#/"),
        (("a/b",), "#/a~1b"),
        (("c%d",), "#/c%25d"),
        (("e^f",), "#/e%5Ef"),
        (("g|h",), "#/g%7Ch"),
        (("i\\j",), "#/i%5Cj"),
        (('k"l',), "#/k%22l"),
        ((" ",), "#/%20"),
        (("m~n",), "#/m~0n"),
    ],
)
def test_pointer_is_that_of_the_standard(path: tuple[str | int, ...], pointer: str) -> None:
    """Each path of the standard's table gives the table's pointer."""
    assert fragment_pointer(path) == pointer


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=8), max_size=5))
def test_pointer_leads_back_to_its_path(path: list[str]) -> None:
    """Undoing the steps of RFC 6901 sections 4 and 6 in turn gives the path again."""
    steps = unquote(fragment_pointer(path)[1:]).split("/")[1:]
    assert [step.replace("~1", "/").replace("~0", "~") for step in steps] == path


def test_long_pointer_is_cut_to_a_parent() -> None:
    """A name of many characters does not swell the answer: the pointer stops before it."""
    assert fragment_pointer(("lines", "x" * 100_000, "y")) == "#/lines"
