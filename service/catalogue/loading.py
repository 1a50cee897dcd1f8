"""From YAML files to one typed catalogue with its version, or to every fault in them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from importlib import resources
from pathlib import Path

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from service.catalogue.cross_checks import catalogue_faults
from service.catalogue.error_words import plain_words, shown
from service.catalogue.faults import (
    CatalogueFault,
    CatalogueFaults,
    DocumentPath,
    PathFault,
    json_pointer,
)
from service.catalogue.public_holidays import with_holidays
from service.catalogue.written_kinds import written_kind_faults
from service.catalogue.yaml_reader import MAX_BYTES, Plain, YamlDocument, read_yaml
from service.domain.canonical import canonical_json
from service.domain.shop import Catalogue


@dataclass(frozen=True, slots=True)
class LoadedCatalogue:
    """A catalogue, its canonical JSON, and its version: the SHA-256 of that JSON, in hex."""

    catalogue: Catalogue
    version: str
    document_json: str


@dataclass(slots=True)
class _Book:
    """Documents merged by top-level name, with where each came from."""

    root: str
    data: dict[str, Plain] = field(default_factory=dict)
    home: dict[str, tuple[str, YamlDocument]] = field(default_factory=dict)
    faults: list[CatalogueFault] = field(default_factory=list)
    lost: set[DocumentPath] = field(default_factory=set)
    complete: bool = True

    def say(self, path: DocumentPath, message: str) -> None:
        """Keep a fault at a path of the merged document, on the nearest line known."""
        file, line = self._place(path)
        self.faults.append(CatalogueFault(file, line, json_pointer(path), message))

    def _place(self, path: DocumentPath) -> tuple[str, int | None]:
        if not path or str(path[0]) not in self.home:
            return self.root, None
        file, document = self.home[str(path[0])]
        above = (path[:length] for length in range(len(path), 0, -1))
        return file, next((document.lines[p] for p in above if p in document.lines), None)


def load_catalogue(path: Path, today: date | None = None) -> LoadedCatalogue:
    """Read, validate and cross-check a catalogue: one YAML file, or a folder of ``*.yaml`` files.

    Each file holds one or more of the catalogue's top-level names; none stands in two files. Public
    holidays are found for the years around ``today``, by default the day it is in UTC.
    Raises :class:`CatalogueFaults` with every fault found: reading and validation first, then,
    where those found nothing, the cross checks.
    """
    book = _Book(root=str(path))
    for file, source in _sources(path, book):
        _take(book, file, read_yaml(source))
    catalogue = _validated(book, today or datetime.now(UTC).date())
    if catalogue is None or book.faults:
        raise CatalogueFaults(book.faults)
    return loaded_as(catalogue)


def catalogue_from_json(document_json: str) -> Catalogue:
    """The catalogue of a stored version.

    Raises :class:`CatalogueFaults` when the document is not one this program can use.
    """
    try:
        return Catalogue.model_validate_json(document_json)
    except ValidationError as error:
        raise CatalogueFaults(
            CatalogueFault("stored version", None, json_pointer(each["loc"]), plain_words(each))
            for each in error.errors()
        ) from error


def demo_shop_path() -> Path:
    """The folder of the invented demonstration shop that comes with the program."""
    return Path(str(resources.files("service.catalogue").joinpath("demo_shop")))


def loaded_as(catalogue: Catalogue) -> LoadedCatalogue:
    """The catalogue with its text and its version; it is not checked anew."""
    document_json = document_of(catalogue)
    version = hashlib.sha256(document_json.encode()).hexdigest()
    return LoadedCatalogue(catalogue, version, document_json)


def document_of(catalogue: BaseModel) -> str:
    """The catalogue as canonical JSON, its sets sorted, so that equal ones have equal text."""
    return canonical_json(_sets_sorted(catalogue.model_dump(mode="json"), catalogue.model_dump()))


def _sets_sorted(plain: object, typed: object) -> object:
    # A set is dumped in hash order, which for dates changes from process to process.
    if isinstance(typed, frozenset) and isinstance(plain, list):
        return sorted(plain)
    if isinstance(typed, Mapping) and isinstance(plain, dict):
        return {str(name): _sets_sorted(plain[str(name)], typed[name]) for name in typed}
    if isinstance(typed, Sequence) and isinstance(plain, list):
        return [_sets_sorted(*pair) for pair in zip(plain, typed, strict=True)]
    return plain


def _sources(path: Path, book: _Book) -> Iterator[tuple[str, bytes]]:
    files = sorted(path.glob("*.yaml")) if path.is_dir() else [path]
    if not files:
        book.say((), "the folder holds no *.yaml file")
        book.complete = False
    for stray in sorted(path.glob("*.yml")):
        book.faults.append(
            CatalogueFault(str(stray), None, "", "not read: catalogue files end in .yaml")
        )
    for file in files:
        try:
            with file.open("rb") as opened:
                yield str(file), opened.read(MAX_BYTES + 1)
        except OSError as error:
            reason = f"cannot be read: {error.strerror or 'no reason given'}"
            book.faults.append(CatalogueFault(str(file), None, "", reason))
            book.complete = False


def _take(book: _Book, file: str, document: YamlDocument) -> None:
    for fault in document.faults:
        book.faults.append(
            CatalogueFault(file, fault.line, json_pointer(fault.path), fault.message)
        )
        if fault.value_lost and document.complete:
            book.lost.add(fault.path)
    book.complete = book.complete and document.complete
    if not isinstance(document.data, dict):
        if document.complete:
            what = f"a file must be a mapping of names to values, not {shown(document.data)}"
            book.faults.append(CatalogueFault(file, 1, "", what))
        book.complete = False
        return
    for name, value in document.data.items():
        if name in book.home:
            first = book.home[name][0]
            line = document.lines[(name,)]
            what = f"'{name}' is written in two files, first in {first}"
            book.faults.append(CatalogueFault(file, line, json_pointer((name,)), what))
        else:
            book.data[name] = value
            book.home[name] = (file, document)


def _validated(book: _Book, today: date) -> Catalogue | None:
    try:
        catalogue = Catalogue.model_validate(book.data)
    except ValidationError as error:
        _say_invalid(book, error)
        return None
    checks: list[PathFault] = [*written_kind_faults(book.data, catalogue)]
    if not checks:
        catalogue, checks = with_holidays(catalogue, today)
    for path, message in checks or catalogue_faults(catalogue, today):
        book.say(_document_path(book.data, path), message)
    return catalogue


def _say_invalid(book: _Book, error: ValidationError) -> None:
    for each in error.errors(include_url=False):
        path = _document_path(book.data, each["loc"])
        if not _follows(book, path, each):
            words = plain_words(each)
            book.say((*path, *_field_meant(book.data, path, words)), words)


def _field_meant(data: Plain, path: DocumentPath, words: str) -> tuple[str, ...]:
    """The first field of the mapping at ``path`` that the words of its fault name, if any."""
    node: Plain = data
    for part in path:
        if isinstance(node, dict):
            node = node.get(str(part))
        elif isinstance(node, list) and isinstance(part, int) and part < len(node):
            node = node[part]
        else:
            return ()
    if not isinstance(node, dict):
        return ()
    return next(((name,) for name in re.findall(r"\w+", words) if name in node), ())


def _follows(book: _Book, path: DocumentPath, error: ErrorDetails) -> bool:
    """Whether the error only follows from another fault that is told already."""
    if error["type"] == "missing" and len(path) == 1 and not book.complete:
        return True
    if error["type"] == "too_short":
        # Only the sound entries of a list are counted; each other has its own error.
        return bool(len(error["input"]) >= error["ctx"]["min_length"])
    return any(path[:length] in book.lost for length in range(len(path) + 1))


def _document_path(data: Plain, path: DocumentPath) -> DocumentPath:
    """The path as the document is written, where ``path`` names a field the document leaves out.

    Fibre content is written as a plain list and validated as a value with ``shares``.
    """
    node: Plain = data
    walked: list[str | int] = []
    for part in path:
        if part == "[key]" or (isinstance(node, list) and isinstance(part, str)):
            continue
        walked.append(part)
        if isinstance(node, dict) and isinstance(part, str):
            node = node.get(part)
        elif isinstance(node, list) and isinstance(part, int) and part < len(node):
            node = node[part]
        else:
            node = None
    return tuple(walked)
