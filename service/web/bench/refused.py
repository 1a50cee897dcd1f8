"""Forms that could not be taken: why, in words, and what was typed, to be shown again."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Final

from pydantic import ValidationError

from service.domain.errors import ServiceError
from service.web.problems import kind_of

_CHANGED: Final = frozenset({"ticket-changed", "run-changed", "stock-changed"})
"""What a form is refused with that was made before somebody else's change."""

_VERSION: Final = re.compile(r"[0-9]{1,15}")


@dataclass(frozen=True, slots=True)
class Refused:
    """A form that was not taken: why, and its fields.

    ``changed`` says that someone else was quicker.
    """

    detail: str
    status: int
    fields: Mapping[str, str] = field(default_factory=dict)
    changed: bool = False

    @classmethod
    def unreadable(
        cls, error: ValidationError, fields: Mapping[str, str], words: Mapping[str, str]
    ) -> Refused:
        """Of fields that make no request; ``words`` says by field what to give there."""
        said = []
        for fault in error.errors(include_url=False, include_input=False):
            known = next((words[str(at)] for at in fault["loc"] if at in words), None)
            told = fault["msg"].removeprefix("Value error, ")
            said.append(known or f"{told[:1].upper()}{told[1:]}.")
        return cls(" ".join(dict.fromkeys(said)), HTTPStatus.UNPROCESSABLE_ENTITY, fields)

    @classmethod
    def by_service(cls, error: ServiceError, fields: Mapping[str, str]) -> Refused:
        """Of a request that the service does not carry out."""
        detail = " ".join(dict.fromkeys(fault.detail for fault in error.faults)) or error.detail
        changed = error.code in _CHANGED
        return cls(
            detail, HTTPStatus.CONFLICT if changed else kind_of(error).status, fields, changed
        )


def version_seen(fields: Mapping[str, str], name: str = "version") -> int | None:
    """The version, or whatever else counts changes, that the form's page showed; None for none."""
    text = fields.get(name, "")
    return int(text) if _VERSION.fullmatch(text) else None
