"""What is wrong with a field, in plain words: validation errors turned into fault entries.

An entry says where (``pointer`` in a JSON body, else ``parameter`` or ``header``), what limit was
broken, and a stable ``code``. The offending value itself is never repeated.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from starlette.datastructures import FormData

from service.domain.errors import FieldFault
from service.web.pointers import fragment_pointer

Path = tuple[str | int, ...]

_WORDS: Mapping[str, tuple[str, str]] = {
    "missing": ("missing", "This field is required."),
    "extra_forbidden": ("unknown-field", "This field is not known here; leave it out."),
    "int_type": ("wrong-type", "Give a whole number, without quotes and without a fraction."),
    "int_parsing": ("wrong-type", "Give a whole number."),
    "int_parsing_size": ("too-large", "Give a smaller whole number."),
    "int_from_float": ("wrong-type", "Give a whole number, without a fraction."),
    "float_type": ("wrong-type", "Give a number, without quotes."),
    "float_parsing": ("wrong-type", "Give a number."),
    "decimal_type": ("wrong-type", "Give a decimal number, as a number or as text."),
    "decimal_parsing": ("wrong-type", "Give a decimal number."),
    "bool_type": ("wrong-type", "Give true or false."),
    "bool_parsing": ("wrong-type", "Give true or false."),
    "string_type": ("wrong-type", "Give text."),
    "list_type": ("wrong-type", "Give a list."),
    "tuple_type": ("wrong-type", "Give a list."),
    "set_type": ("wrong-type", "Give a list."),
    "frozen_set_type": ("wrong-type", "Give a list."),
    "dict_type": ("wrong-type", "Give an object."),
    "model_type": ("wrong-type", "Give an object."),
    "model_attributes_type": ("wrong-type", "Give an object."),
    "none_required": ("wrong-type", "Give null, or leave the field out."),
    "greater_than": ("too-small", "Give a value above {gt}."),
    "greater_than_equal": ("too-small", "Give a value of at least {ge}."),
    "less_than": ("too-large", "Give a value below {lt}."),
    "less_than_equal": ("too-large", "Give a value of at most {le}."),
    "multiple_of": ("wrong-step", "Give a multiple of {multiple_of}."),
    "finite_number": ("not-finite", "Give a finite number."),
    "decimal_max_digits": ("too-precise", "Give at most {max_digits} digits in all."),
    "decimal_max_places": ("too-precise", "Give at most {decimal_places} decimal places."),
    "decimal_whole_digits": ("too-large", "Give at most {whole_digits} digits before the point."),
    "string_too_short": ("too-short", "Give at least {min_length} characters."),
    "string_too_long": ("too-long", "Give at most {max_length} characters."),
    "too_short": ("too-few", "Give at least {min_length} entries."),
    "too_long": ("too-many", "Give at most {max_length} entries."),
    "string_pattern_mismatch": ("wrong-form", "Give text that matches {pattern}"),
    "enum": ("unknown-value", "Give one of: {expected}."),
    "literal_error": ("unknown-value", "Give one of: {expected}."),
    "union_tag_invalid": ("unknown-value", "Give {discriminator} as one of: {expected_tags}."),
    "union_tag_not_found": ("missing", "Say which kind it is with {discriminator}."),
    "date_type": ("wrong-type", "Give a day as text, YYYY-MM-DD."),
    "date_parsing": ("wrong-form", "Give a day that exists, as YYYY-MM-DD."),
    "date_from_datetime_parsing": ("wrong-form", "Give a day that exists, as YYYY-MM-DD."),
    "datetime_type": ("wrong-type", "Give a time as text, YYYY-MM-DDThh:mm:ssZ."),
    "datetime_parsing": ("wrong-form", "Give a time that exists, as YYYY-MM-DDThh:mm:ssZ."),
    "timezone_aware": ("no-offset", "Give the time with its offset from UTC, as Z or +02:00."),
    "uuid_type": ("wrong-type", "Give a UUID as text."),
    "uuid_parsing": ("wrong-form", "Give a UUID."),
    "json_invalid": ("wrong-form", "Give well-formed JSON."),
}
_OTHER = ("invalid", "This value cannot be used here.")
_OWN_WORDS = ("value_error", "assertion_error")
_LONGEST_WORDS = 500


@dataclass(frozen=True, slots=True, order=True)
class FaultEntry:
    """One fault as the answer carries it; ordered by where it is."""

    place: Literal["pointer", "parameter", "header"]
    where: str
    code: str
    detail: str

    def as_json(self) -> dict[str, str]:
        """The members ``detail``, ``pointer`` (or ``parameter`` or ``header``) and ``code``."""
        return {"detail": self.detail, self.place: self.where, "code": self.code}


def entries_of_faults(faults: Iterable[FieldFault]) -> list[FaultEntry]:
    """Entries for the field ``faults`` that the inner rooms raise."""
    return [
        FaultEntry("pointer", fragment_pointer(fault.path), fault.code, fault.detail)
        if fault.parameter is None
        else FaultEntry("parameter", fault.parameter, fault.code, fault.detail)
        for fault in faults
    ]


def entries_of_errors(errors: Sequence[Mapping[str, Any]], body: object) -> list[FaultEntry]:
    """Entries for pydantic's ``errors``, whose places start with ``body``, ``query`` and so on.

    ``body`` is the document that was read; it tells steps of the path from the names of union
    members and validators that pydantic puts between them.
    """
    return [_entry(error, body) for error in errors if not _follows(error, body)]


def _follows(error: Mapping[str, Any], body: object) -> bool:
    """Whether a list is called too short for its faulty entries alone, which are told of anyway."""
    if error["type"] != "too_short":
        return False
    value = body
    for step in error["loc"][1:]:
        found, inner = _step_into(value, step)
        value = inner if found else value
    return isinstance(value, list) and len(value) >= error["ctx"]["min_length"]


def _entry(error: Mapping[str, Any], body: object) -> FaultEntry:
    source, *steps = error["loc"] or ("body",)
    kind = str(error["type"])
    code, detail = _words(kind, error.get("ctx") or {})
    if steps and steps[-1] == "[key]":
        steps, detail = steps[:-1], f"As a name: {detail}"
    if source == "body" and not isinstance(body, FormData):
        path = _real_path(steps, body, leads_out=kind == "missing")
        return FaultEntry("pointer", fragment_pointer(path), code, detail)
    where = ".".join(str(step) for step in steps) or str(source)
    return FaultEntry("header" if source == "header" else "parameter", where[:300], code, detail)


def _words(kind: str, context: Mapping[str, Any]) -> tuple[str, str]:
    if kind in _OWN_WORDS:
        # The text of a ValueError of our own validators: it names the limit already.
        return "invalid", str(context.get("error", _OTHER[1]))[:_LONGEST_WORDS]
    code, template = _WORDS.get(kind, _OTHER)
    limits = {name: _written(limit) for name, limit in context.items()}
    return code, template.format_map(defaultdict(lambda: "the limit", limits))


def _written(limit: object) -> object:
    return f"{limit:g}" if isinstance(limit, float) else limit


def _real_path(steps: Sequence[str | int], body: object, *, leads_out: bool) -> Path:
    """Those of ``steps`` that exist in ``body``; ``leads_out`` keeps a last one that does not."""
    path: list[str | int] = []
    value = body
    for position, step in enumerate(steps):
        found, inner = _step_into(value, step)
        if found:
            path.append(step)
            value = inner
        elif leads_out and position == len(steps) - 1:
            path.append(step)
    return tuple(path)


def _step_into(value: object, step: str | int) -> tuple[bool, object]:
    if isinstance(value, dict) and step in value:
        return True, value[step]
    if isinstance(value, list) and isinstance(step, int) and 0 <= step < len(value):
        return True, value[step]
    return False, None
