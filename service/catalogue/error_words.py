"""Plain words for what validation says of a value, naming the value and the limit."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import StringConstraints
from pydantic_core import ErrorDetails

from service.domain.fibres import EU_LABEL_NAMES, US_LABEL_NAMES, fibre_named, plain_name
from service.domain.values import SizeName, Slug, SrgbHex

_MAX_SHOWN = 40
_MAX_TOLD = 400
_NEAR = 0.7
_NUMBER = "must be a number written without quotes"
_WHOLE = "must be a whole number written without quotes"
_MAPPING = "must be a mapping of names to values"
_LIST = "must be a list"


def shown(value: object) -> str:
    """A value as a person wrote it, cut to 40 characters; collections by their kind only."""
    if isinstance(value, Mapping):
        return "a mapping"
    if isinstance(value, list | tuple | set | frozenset):
        return "a list"
    if value is None or isinstance(value, bool):
        return {None: "nothing", True: "true", False: "false"}[value]
    text = f"'{value}'" if isinstance(value, str) else f"{value}"
    return _cut(text, _MAX_SHOWN)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def plain_words(error: ErrorDetails) -> str:
    """What is wrong, without a name from the program: the rule and what was found instead."""
    kind = error["type"]
    context = error.get("ctx", {})
    if kind == "missing":
        return f"{shown(str(error['loc'][-1]))} is missing"
    if kind == "extra_forbidden":
        return f"{shown(str(error['loc'][-1]))} is not a name known here"
    if kind == "value_error":
        return _cut(str(context["error"]), _MAX_TOLD)
    if kind == "enum":
        return _choice(str(error["loc"][-1]), error["input"], str(context["expected"]))
    return f"{_rule(kind, context)}, not {shown(error['input'])}"


def _rule(kind: str, context: Mapping[str, Any]) -> str:
    for start, words in _RULES.items():
        if kind.startswith(start):
            return words if isinstance(words, str) else words(context)
    return "must be a value of another kind"


def _limit(name: str, words: str) -> Callable[[Mapping[str, Any]], str]:
    def told(context: Mapping[str, Any]) -> str:
        limit = context[name]
        return words.format(f"{limit:g}" if isinstance(limit, float) else limit)

    return told


def _pattern(context: Mapping[str, Any]) -> str:
    pattern = str(context["pattern"])
    return _PATTERN_WORDS.get(pattern, f"must match the pattern {pattern}")


def _pattern_of(constrained: Any) -> str:  # noqa: ANN401 - an Annotated alias has no type of its own
    constraints: StringConstraints = constrained.__metadata__[0]
    return str(constraints.pattern)


_PATTERN_WORDS: dict[str, str] = {
    _pattern_of(Slug): "must be lower-case words and digits joined by single hyphens",
    _pattern_of(SizeName): "must be a size of up to 16 letters, digits, blanks, '/', '.' or '-'",
    _pattern_of(SrgbHex): "must be an sRGB colour in quotes, as in '#1f2a44'",
    r"^[A-Z]{2}$": "must be a country code of two capital letters, as in 'DE'",
    r"^[A-Z]{3}$": "must be a currency code of three capital letters",
    r"^\d{8,14}$": "must be 8 to 14 digits in quotes",
}

_RULES: dict[str, str | Callable[[Mapping[str, Any]], str]] = {
    "json": "must be JSON",
    "model": _MAPPING,
    "dict": _MAPPING,
    "mapping": _MAPPING,
    "tuple": _LIST,
    "list": _LIST,
    "frozen_set": _LIST,
    "too_short": _limit("min_length", "needs at least {} entries"),
    "too_long": _limit("max_length", "may hold at most {} entries"),
    "string_too_short": _limit("min_length", "must be text of at least {} characters"),
    "string_too_long": _limit("max_length", "must be text of at most {} characters"),
    "string_pattern": _pattern,
    "string": "must be text; put it in quotes if it looks like a number",
    "greater_than_equal": _limit("ge", "must be at least {}"),
    "greater_than": _limit("gt", "must be more than {}"),
    "less_than_equal": _limit("le", "must be at most {}"),
    "less_than": _limit("lt", "must be less than {}"),
    "decimal_max_digits": _limit("max_digits", "may have at most {} digits"),
    "decimal_max_places": _limit("decimal_places", "may have at most {} decimal places"),
    "decimal_whole": _limit("whole_digits", "may have at most {} digits before the point"),
    "decimal": _NUMBER,
    "float": _NUMBER,
    "finite_number": "must be a finite number",
    "int": _WHOLE,
    "bool": "must be true or false",
    "date": "must be a date as in 2026-12-24",
    "time": "must be a time of day in quotes, as in '12:00'",
}
"""Rules by how the kind of error starts; the first that fits is told."""


def _choice(field: str, value: object, expected: str) -> str:
    if not isinstance(value, str):
        return f"must be one of {expected}, not {shown(value)}"
    if field == "fibre" and (words := _fibre_words(value)):
        return f"{shown(value)} is {words}"
    close = difflib.get_close_matches(value, re.findall(r"'([^']*)'", expected), n=1)
    if close:
        return f"{shown(value)} is not known here: did you mean '{close[0]}'?"
    return f"{shown(value)} is not known here: it must be one of {expected}"


def _fibre_words(written: str) -> str | None:
    """The generic name for a name of elsewhere, also a misspelt one; None where nothing is near."""
    if fibre := fibre_named(written):
        return f"not the generic name used here: write '{fibre}'"
    elsewhere = {
        plain_name(name): fibre
        for names in (US_LABEL_NAMES, EU_LABEL_NAMES)
        for fibre, written_as in names.items()
        for name in written_as
    }
    near = difflib.get_close_matches(plain_name(written), elsewhere, n=1, cutoff=_NEAR)
    if not near:
        return None
    return f"no generic fibre name known here: did you mean '{fibre_named(near[0])}'?"
