"""Strict reading of YAML into plain data, with the line every value stands on.

Scalars follow the core schema of YAML 1.2.2, narrowed: ``true`` and ``false`` alone are booleans,
``null``, ``~`` and nothing at all are None, decimal numbers are numbers, and all else is text, so
``no``, ``on``, ``12:30`` and ``0x1F`` stay as written. A number with a point or an exponent becomes
a Decimal, exactly as written. Names in a mapping are always text and may stand only once. Anchors,
aliases and tags are refused, and size, depth and number of values are bounded, so no small file
grows large in memory.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeAlias

import yaml

from service.catalogue.faults import DocumentPath

MAX_BYTES = 4_000_000
MAX_VALUES = 250_000
MAX_DEPTH = 32
MAX_DIGITS = 40
MAX_EXPONENT = 20

Plain: TypeAlias = "bool | int | Decimal | str | list[Plain] | dict[str, Plain] | None"
"""What a document is made of once it is read."""

_INTEGER = re.compile(r"[-+]?[0-9]+")
_DECIMAL = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE]([-+]?[0-9]+))?")
_WORDS: dict[str, bool | None] = {"true": True, "false": False, "null": None, "~": None, "": None}
_UNPRINTABLE = re.compile(
    "[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
)  # the complement of c-printable, YAML 1.2.2 production 1
_LOADER = yaml.CSafeLoader if yaml.__with_libyaml__ else yaml.SafeLoader


@dataclass(frozen=True, slots=True)
class YamlFault:
    """Why a piece of a document was not taken; ``line`` counts from 1.

    ``value_lost`` says that the value at ``path`` could not be read and stands as None.
    """

    line: int | None
    path: DocumentPath
    message: str
    value_lost: bool = False


@dataclass(frozen=True, slots=True)
class YamlDocument:
    """A document as plain data, the line of every path, and all faults of reading it.

    A value in a mapping stands on the line of its name, one in a list where it begins itself.
    ``complete`` is False when reading had to stop, so that data may be missing.
    """

    data: Plain
    lines: Mapping[DocumentPath, int]
    faults: tuple[YamlFault, ...]
    complete: bool = True


class _StopError(Exception):
    """Reading cannot go on."""

    def __init__(self, line: int | None, path: DocumentPath, message: str) -> None:
        super().__init__(message)
        self.fault = YamlFault(line, path, message, value_lost=True)


class _UnreadableError(ValueError):
    """A scalar that stands for nothing we take."""


def read_yaml(source: bytes) -> YamlDocument:
    """Read one YAML document, encoded in UTF-8, without ever raising for what it holds."""
    builder = _Builder()
    data: Plain = None
    try:
        data = builder.document(_events(_text(source)))
    except _StopError as stop:
        return YamlDocument(data, builder.lines, (*builder.faults, stop.fault), complete=False)
    return YamlDocument(data, builder.lines, tuple(builder.faults))


def _text(source: bytes) -> str:
    if len(source) > MAX_BYTES:
        raise _StopError(None, (), f"the file is larger than {MAX_BYTES} bytes")
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = source.count(b"\n", 0, error.start) + 1
        raise _StopError(line, (), "the file is not encoded in UTF-8") from error
    if odd := _UNPRINTABLE.search(text):
        line = text.count("\n", 0, odd.start()) + 1
        raise _StopError(line, (), f"character U+{ord(odd.group()):04X} may not stand in YAML")
    return text


def _events(text: str) -> Iterator[yaml.Event]:
    try:
        yield from yaml.parse(text, Loader=_LOADER)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else None
        raise _StopError(line, (), f"not readable as YAML: {error.problem}") from error
    except yaml.YAMLError as error:
        raise _StopError(None, (), "not readable as YAML") from error


class _Builder:
    """Builds plain data from parsing events, noting lines and faults on the way."""

    def __init__(self) -> None:
        self.lines: dict[DocumentPath, int] = {}
        self.faults: list[YamlFault] = []
        self._values = 0

    def document(self, events: Iterator[yaml.Event]) -> Plain:
        """The first document's data; a second document is a fault."""
        data: Plain = None
        seen = 0
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                seen += 1
                if seen > 1:
                    raise _StopError(_line(event), (), "a second document follows; one is read")
                data = self._value(next(events), events, ())
        return data

    def _value(self, event: yaml.Event, events: Iterator[yaml.Event], path: DocumentPath) -> Plain:
        self._count(event, path)
        self.lines.setdefault(path, _line(event))  # that of its name, if it has one
        if isinstance(event, yaml.AliasEvent):
            self._lose(event, path, f"alias *{event.anchor}: write the value out instead")
            return None
        if isinstance(event, yaml.NodeEvent) and event.anchor is not None:
            self._fault(event, path, f"anchor &{event.anchor}: anchors are not read here")
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event, path)
        return self._collection(event, events, path)

    def _count(self, event: yaml.Event, path: DocumentPath) -> None:
        self._values += 1
        if self._values > MAX_VALUES:
            raise _StopError(_line(event), path, f"more than {MAX_VALUES} values in one file")
        if len(path) > MAX_DEPTH:
            raise _StopError(_line(event), path[:3], f"nested more than {MAX_DEPTH} levels deep")

    def _scalar(self, event: yaml.ScalarEvent, path: DocumentPath) -> Plain:
        if event.tag is not None:
            self._lose(event, path, f"tag {event.tag}: tags are not read here")
            return None
        try:
            return _resolved(event)
        except _UnreadableError as error:
            self._lose(event, path, str(error))
            return None

    def _collection(
        self, event: yaml.Event, events: Iterator[yaml.Event], path: DocumentPath
    ) -> Plain:
        tag = getattr(event, "tag", None)
        if tag is not None:
            self._fault(event, path, f"tag {tag}: tags are not read here")
        if isinstance(event, yaml.SequenceStartEvent):
            return self._sequence(events, path)
        return self._mapping(events, path)

    def _sequence(self, events: Iterator[yaml.Event], path: DocumentPath) -> list[Plain]:
        items: list[Plain] = []
        for event in events:
            if isinstance(event, yaml.SequenceEndEvent):
                break
            items.append(self._value(event, events, (*path, len(items))))
        return items

    def _mapping(self, events: Iterator[yaml.Event], path: DocumentPath) -> dict[str, Plain]:
        data: dict[str, Plain] = {}
        for event in events:
            if isinstance(event, yaml.MappingEndEvent):
                break
            name = self._name(event, path)
            if name in data:
                self._twin(event, events, (*path, name))
            else:
                self.lines[(*path, name)] = _line(event)
                data[name] = self._value(next(events), events, (*path, name))
        return data

    def _name(self, event: yaml.Event, path: DocumentPath) -> str:
        # A tagged, anchored, aliased or nested name leaves no sure way to pair names and values.
        if isinstance(event, yaml.ScalarEvent) and event.tag is None and event.anchor is None:
            name = str(event.value)
            if not _UNPRINTABLE.search(name):
                return name
        raise _StopError(_line(event), path, "a name in a mapping must be plain text")

    def _twin(self, event: yaml.Event, events: Iterator[yaml.Event], path: DocumentPath) -> None:
        first = self.lines[path]
        kept, self.lines = self.lines, {}
        self._value(next(events), events, path)
        self.lines = kept
        self._fault(event, path, f"'{path[-1]}' is written twice, first on line {first}")

    def _lose(self, event: yaml.Event, path: DocumentPath, message: str) -> None:
        self.faults.append(YamlFault(_line(event), path, message, value_lost=True))

    def _fault(self, event: yaml.Event, path: DocumentPath, message: str) -> None:
        self.faults.append(YamlFault(_line(event), path, message))


def _line(event: yaml.Event) -> int:
    # Every event of a parser has a mark; only events made by hand for writing have none.
    return event.start_mark.line + 1 if event.start_mark else 1


def _resolved(event: yaml.ScalarEvent) -> bool | int | Decimal | str | None:
    text = str(event.value)
    if _UNPRINTABLE.search(text):
        raise _UnreadableError("the text holds a control character")
    quoted = not event.implicit[0]
    if quoted:
        return text
    if text in _WORDS:
        return _WORDS[text]
    return _number(text)


def _number(text: str) -> int | Decimal | str:
    match = _DECIMAL.fullmatch(text)
    if match is None:
        return text
    if len(text) > MAX_DIGITS:
        raise _UnreadableError(f"a number of more than {MAX_DIGITS} characters; quote it if text")
    if _INTEGER.fullmatch(text):
        return int(text)
    if abs(int(match.group(1) or 0)) > MAX_EXPONENT:
        raise _UnreadableError(f"a number with an exponent beyond {MAX_EXPONENT}")
    return Decimal(text)
