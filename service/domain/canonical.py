"""One text for one value: canonical JSON, its SHA-256, and moments as text.

Fingerprints, catalogue hashes and stored documents are compared by their text, so equal values must
give equal text in every process, on every store and in every year.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime

_AS_THEY_ARE = frozenset({str, int, float, bool, type(None)})
_WRITER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), allow_nan=False)


def canonical_json(value: object) -> str:
    """JSON of ``value``: names sorted by code point, no blanks, ASCII alone.

    Takes what JSON has: mappings with text names, lists and tuples, text, whole numbers, finite
    floats, true, false and None. Raises :class:`TypeError` for anything else (a Decimal, a moment
    or a set must first be written the one way its document states) and :class:`ValueError` for NaN
    and infinity (RFC 8259 section 6).
    """
    return _WRITER.encode(_plain(value))


def canonical_sha256(value: object) -> str:
    """SHA-256 of the canonical JSON of ``value``, in lower-case hex."""
    return hashlib.sha256(canonical_json(value).encode("ascii")).hexdigest()


def rfc3339(moment: datetime) -> str:
    """``moment`` in UTC with three decimals, ``2026-03-01T09:30:00.000Z`` (RFC 3339 section 5.6).

    What is finer than a millisecond is cut off. Raises :class:`ValueError` for a naive moment.
    """
    if moment.utcoffset() is None:
        raise ValueError(f"a moment needs a time zone: {moment.isoformat()}")
    text = moment.astimezone(UTC).isoformat(timespec="milliseconds")
    return text.removesuffix("+00:00") + "Z"


def _plain(value: object) -> object:
    if type(value) in _AS_THEY_ARE:  # most values are, and what follows takes long to ask
        return value
    # json.dumps turns the names 1, True and None into text, which lets two values share a text.
    if isinstance(value, Mapping):
        return {_name(name): _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return value


def _name(name: object) -> str:
    if not isinstance(name, str):
        raise TypeError(f"a name in JSON is text, not {type(name).__name__}")
    return str(name)
