"""The exceptions a caller can be answered with.

    ServiceError
    ├── BadInput          the request is understood, and a field of it cannot be used
    ├── NotFound          no such thing, or not this caller's
    ├── Conflict          the thing's present state forbids it
    ├── Gone              it was there and its time is over
    └── Unavailable       cannot be done just now; try again later

Each carries a stable ``code``, a ``detail`` for a person, field faults and extra members. What
HTTP status and title belong to a code is the web's business alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class FieldFault:
    """What is wrong with one field.

    ``path`` walks the request body (names and list indexes); ``parameter`` names a query, path or
    form parameter instead. ``code`` is stable; ``detail`` names the limit and the way out.
    """

    detail: str
    path: tuple[str | int, ...] = ()
    parameter: str | None = None
    code: str = "invalid"


class ServiceError(Exception):
    """Base of all answers that are not a success."""

    def __init__(
        self,
        code: str,
        detail: str,
        *,
        faults: Sequence[FieldFault] = (),
        extra: Mapping[str, Any] | None = None,
    ) -> None:
        """Keep ``code``, ``detail``, field ``faults`` and JSON-ready ``extra`` members."""
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.faults = tuple(faults)
        self.extra = dict(extra or {})


class BadInput(ServiceError):
    """The request is understood, and a field of it cannot be used."""


class NotFound(ServiceError):
    """No such thing, or it is not this caller's: the two are not told apart."""


class Conflict(ServiceError):
    """The present state of the thing forbids what was asked."""


class Gone(ServiceError):
    """It was there, and its time is over."""


class Unavailable(ServiceError):
    """It cannot be done just now; ``retry_after_s`` says when to ask again."""

    def __init__(self, code: str, detail: str, *, retry_after_s: int) -> None:
        """Keep when to ask again, in whole seconds."""
        super().__init__(code, detail)
        self.retry_after_s = retry_after_s
