"""What a caller is told of a name that the shop does not have."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

MOST_LISTED = 12
"""So many known names are listed; of the rest only the number is told."""


def unknown_name(kind: str, named: str, known: Iterable[str], of: str = "") -> str:
    """That there is no such name, the nearest one that is known, and which are.

    ``kind`` says what was named, such as "film colour"; ``of`` what it should belong to, such as
    " of Classic cotton tee". ``named`` is repeated, so it must have been held to a harmless form.
    """
    names = list(known)
    near = difflib.get_close_matches(named, names, n=1)
    hint = f" Did you mean '{near[0]}'?" if near else ""
    more = [f"and {len(names) - MOST_LISTED} more"] if len(names) > MOST_LISTED else []
    listed = ", ".join([*names[:MOST_LISTED], *more])
    return f"There is no {kind} '{named}'{of}.{hint} Known: {listed}."
