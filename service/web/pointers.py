"""JSON Pointers in fragment form: RFC 6901 sections 3, 4 and 6."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

_FRAGMENT_SAFE = "/?:@!$&'()*+,;=-._~"
"""What RFC 3986 section 3.5 (from memory) lets stand in a fragment besides letters and digits."""

_MAX_LENGTH = 300


def fragment_pointer(path: Sequence[str | int]) -> str:
    """The pointer to ``path`` in a body: ``#/lines/0/sizes/M``; ``#`` is the whole body.

    A pointer longer than 300 characters is cut to the innermost parent that fits, so that long
    names in a body cannot swell an answer.
    """
    pointer = "#"
    for step in path:
        longer = f"{pointer}/{_escaped(step)}"
        if len(longer) > _MAX_LENGTH:
            return pointer
        pointer = longer
    return pointer


def _escaped(step: str | int) -> str:
    token = str(step)[: _MAX_LENGTH + 1].replace("~", "~0").replace("/", "~1")
    return quote(token, safe=_FRAGMENT_SAFE, errors="replace")
