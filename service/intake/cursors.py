"""Opaque page cursors, bound to the list and filter they were made for."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from dataclasses import dataclass
from datetime import date
from typing import Any

from service.domain.errors import BadInput, FieldFault

_ID_MAX = 2**31 - 1
"""What the store's column holds; PostgreSQL refuses to compare it with more."""

_AT_MAX = 2**62
"""The same of seconds."""


@dataclass(frozen=True, slots=True)
class Cursor:
    """The last row of a page, by its sort day and id: the next page starts after it."""

    day: date
    id: int


@dataclass(frozen=True, slots=True)
class MomentCursor:
    """The last row of a page that goes by whole seconds of the epoch, and its id."""

    at_s: int
    id: int


def write_moment_cursor(cursor: MomentCursor, bound_to: str) -> str:
    """URL-safe text of the cursor, as :func:`write_cursor` makes it."""
    return _written([cursor.at_s, cursor.id, _mark(bound_to)])


def read_moment_cursor(text: str, bound_to: str) -> MomentCursor:
    """The cursor, or ``BadInput`` as :func:`read_cursor` has it."""
    try:
        at_s, row_id, mark = _read(text)
        cursor = MomentCursor(int(at_s), int(row_id))
    except (binascii.Error, ValueError, TypeError, OverflowError) as error:
        raise _refused() from error
    if mark != _mark(bound_to) or not 0 <= cursor.id <= _ID_MAX or abs(cursor.at_s) > _AT_MAX:
        raise _refused()
    return cursor


def write_cursor(cursor: Cursor, bound_to: str) -> str:
    """URL-safe text of the cursor; ``bound_to`` names the list and its filter."""
    return _written([cursor.day.isoformat(), cursor.id, _mark(bound_to)])


def read_cursor(text: str, bound_to: str) -> Cursor:
    """The cursor, or ``BadInput`` for one that is garbled or belongs to another list."""
    try:
        day, row_id, mark = _read(text)
        cursor = Cursor(date.fromisoformat(day), int(row_id))
    except (binascii.Error, ValueError, TypeError, OverflowError) as error:
        raise _refused() from error
    if mark != _mark(bound_to) or not 0 <= cursor.id <= _ID_MAX:
        raise _refused()
    return cursor


def _written(parts: list[str | int]) -> str:
    return base64.urlsafe_b64encode(json.dumps(parts).encode()).decode().rstrip("=")


def _read(text: str) -> list[Any]:
    """What somebody wrote, whatever it is."""
    parts: list[Any] = json.loads(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)))
    return parts


def _mark(bound_to: str) -> str:
    return hashlib.sha256(bound_to.encode()).hexdigest()[:12]


def _refused() -> BadInput:
    detail = "This cursor was not made for this list and filter; start without one."
    fault = FieldFault(detail=detail, parameter="cursor", code="cursor-foreign")
    return BadInput("cursor-refused", detail, faults=[fault])
