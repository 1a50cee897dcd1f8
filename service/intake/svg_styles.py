"""The small part of CSS that drawing programs write into SVG, worked out for each element.

Simple selectors alone: ``*``, an element, ``.class``, ``#id``, an element with one class, and lists
of these. No rule that begins with ``@``, no ``!important``: these are refused, for leaving them out
would change the look.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NoReturn

from service.intake.picture_refusals import refuse

MOST_RULES = 5_000
"""Selectors of a style sheet that are read. Design choice."""

_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_RULE = re.compile(r"\s*([^{}]+)\{([^{}]*)\}")
_SELECTOR = re.compile(r"(\*|[A-Za-z][\w-]*)?(\.[A-Za-z_-][\w-]*|#[A-Za-z_][\w.-]*)?")
_PROPERTY = re.compile(r"-{0,2}[A-Za-z][\w-]*")


class StyleSheet:
    """The rules of a drawing's ``style`` elements. Raises ``BadInput`` for what is not read."""

    def __init__(self, texts: Iterable[str]) -> None:
        self._rules: dict[str, list[tuple[int, int, dict[str, str]]]] = {}
        count = 0
        for selectors, body in _rules(texts):
            properties = declarations(body)
            for selector in selectors.split(","):
                count += 1
                if count > MOST_RULES:
                    _refuse(f"more than {MOST_RULES:,} selectors")
                key, weight = _key(selector.strip())
                self._rules.setdefault(key, []).append((weight, count, properties))

    def properties(self, name: str, id_: str | None, classes: Sequence[str]) -> dict[str, str]:
        """What the rules say of such an element, the more precise and later rule last."""
        if not self._rules:
            return {}
        keys = ["*", name, f"#{id_}", f"{name}#{id_}"]
        for each in set(classes):
            keys += [f".{each}", f"{name}.{each}", f"*.{each}"]
        found = [rule for key in keys for rule in self._rules.get(key, ())]
        told: dict[str, str] = {}
        for _, _, properties in sorted(found, key=lambda rule: rule[:2]):
            told |= properties
        return told


def _rules(texts: Iterable[str]) -> Iterable[tuple[str, str]]:
    for text in texts:
        plain = _COMMENT.sub(" ", text).replace("<!--", " ").replace("-->", " ").rstrip()
        if "@" in plain:
            _refuse("a rule that begins with '@'")
        at = 0
        while at < len(plain):
            rule = _RULE.match(plain, at)
            if rule is None:
                _refuse("a rule that cannot be read")
            yield rule.group(1), rule.group(2)
            at = rule.end()


def _key(selector: str) -> tuple[str, int]:
    """The selector and its weight (CSS specificity)."""
    parts = _SELECTOR.fullmatch(selector)
    if not selector or parts is None:
        _refuse(f"the selector {selector[:40]!r}")
    element, precise = parts.groups()
    weight = {"#": 100, ".": 10}.get((precise or " ")[0], 0)
    return selector, weight + (element not in {None, "*"})


def declarations(text: str) -> dict[str, str]:
    """The properties of a rule's body or of a ``style`` attribute, by name. Raises ``BadInput``."""
    told: dict[str, str] = {}
    for each in _COMMENT.sub(" ", text).split(";"):
        name, colon, value = (part.strip() for part in each.partition(":"))
        if not name and not value:
            continue
        if not colon or _PROPERTY.fullmatch(name) is None:
            _refuse(f"the declaration {each.strip()[:40]!r}")
        if "!" in value:
            _refuse("'!important'")
        told[name.lower()] = value
    return told


def _refuse(what: str) -> NoReturn:
    refuse(
        "picture-svg-style",
        f"The drawing's style holds {what}, which is not read. Export it with presentation "
        "attributes instead of a style sheet.",
    )
